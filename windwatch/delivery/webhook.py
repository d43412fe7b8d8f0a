"""Webhook: one call with a signed JSON document."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Final
from urllib.parse import unquote, urlsplit

import requests

from windwatch.clock import SystemClock
from windwatch.delivery.channels import ANSWER_LIMIT, Accepted, WebhookTarget, fingerprint
from windwatch.delivery.message import one_line
from windwatch.delivery.retry import Rule, SendFailed, http_rule
from windwatch.delivery.signing import body_of, headers_of, secret_bytes
from windwatch.notices.outbox import Delivery
from windwatch.outward import OutwardError, Refused, check_url, in_words, open_session, read_capped

ANSWER_WIRE_LIMIT: Final = 64 * 1024
# A path that may hold a key is at least so long; a shorter one would blot out words.
KEY_LENGTH: Final = 12

_monotonic = SystemClock().monotonic


class WebhookChannel:
    """Calls to one contact's machine."""

    def __init__(self, target: WebhookTarget, monotonic: Callable[[], float] = _monotonic) -> None:
        self._target = target
        self._monotonic = monotonic
        for secret in target.secrets:
            secret_bytes(secret)

    @property
    def host(self) -> str:
        """Host and port of the address."""
        found = re.match(r"[a-z]+://([^/?#]*)", self._target.url, re.IGNORECASE)
        return (found[1] if found else "").rpartition("@")[2].lower()

    @property
    def fingerprint(self) -> str:
        """Of the address."""
        return fingerprint("webhook", self._target.url)

    def send(self, delivery: Delivery, now: datetime) -> Accepted:
        """Call the address.

        Raises
        ------
        DeliveryFailed
            If the answer was not 2xx, or none came.
        """
        target = self._target
        body = body_of(delivery)
        try:
            check_url(target.url, allow_http=target.allow_http)
            # A session a call: a connection that was kept open may be dead, and a POST that
            # fails on it may have been taken.
            with open_session(
                allow_networks=target.allow_networks,
                connect_timeout_s=target.connect_s,
                read_timeout_s=target.whole_s,
                total_s=target.whole_s,
                ca_file=target.ca_file,
                pool_size=1,
            ) as session:
                answer = session.post(
                    target.url, data=body, headers=headers_of(delivery, body, target, now)
                )
                text = self._read(answer)
        except Refused as error:
            # Not for good: a name may lead elsewhere tomorrow, and a person may list the network.
            # The address may carry a key: only its host is said.
            said = str(error).replace(repr(target.url), self.host).replace(target.url, self.host)
            raise SendFailed(one_line(said, ANSWER_LIMIT), Rule.BLINK) from error
        except OutwardError as error:
            raise SendFailed(one_line(str(error), ANSWER_LIMIT), Rule.AGAIN) from error
        except requests.RequestException as error:
            insecure = isinstance(error, requests.exceptions.SSLError)
            rule = Rule.INSECURE if insecure else Rule.AGAIN
            raise SendFailed(one_line(in_words(error), ANSWER_LIMIT), rule) from error
        words = self._without_address(f"{answer.reason or ''} {text}")
        said = one_line(f"{answer.status_code} {words}", ANSWER_LIMIT)
        if 200 <= answer.status_code < 300:
            return Accepted(said)
        raise SendFailed(
            said,
            http_rule(answer.status_code),
            retry_after=retry_after(answer.headers.get("Retry-After"), now),
            status=answer.status_code,
        )

    def _without_address(self, said: str) -> str:
        """What a server said, without the address that it likes to quote: it may hold a key."""
        parts = urlsplit(self._target.url)
        whole = f"{parts.path}?{parts.query}"
        for part in (self._target.url, whole, parts.query, parts.path):
            if len(part) >= KEY_LENGTH or (part and part == parts.query):
                said = said.replace(part, "…").replace(unquote(part), "…")
        return said

    def _read(self, answer: requests.Response) -> str:
        """Read a little of the answer's body; the status counts, whatever the body does."""
        try:
            body = read_capped(
                answer,
                ANSWER_WIRE_LIMIT,
                ANSWER_WIRE_LIMIT,
                self._monotonic() + self._target.whole_s,
                self._monotonic,
                cut=True,
            )
        except OutwardError:
            return ""
        return body[: 4 * ANSWER_LIMIT].decode("utf-8", "replace")


def retry_after(text: str | None, now: datetime) -> timedelta | None:
    """How long the other side asks us to wait: seconds, or a date; None where it says nothing."""
    if text is None:
        return None
    if re.fullmatch(r"[0-9]{1,9}", text.strip()):
        return timedelta(seconds=int(text))
    try:
        until = parsedate_to_datetime(text)
    except ValueError:
        return None
    if until.tzinfo is None:
        until = until.replace(tzinfo=UTC)
    return max(timedelta(0), until - now)
