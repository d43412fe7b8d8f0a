"""Push services, through Apprise (the extra ``push``): a short text to a telephone or a chat.

Apprise knows how each service is spoken to; everything it sends goes out by our own door: checked
addresses, no redirects, our time limits, a capped answer, and no tries of its own.
"""

from __future__ import annotations

import logging
import sys
import threading
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any, Final

import requests

from windwatch.airmanship.cautions import CAUTION
from windwatch.clock import SystemClock
from windwatch.delivery.channels import ANSWER_LIMIT, Accepted, fingerprint
from windwatch.delivery.message import one_line
from windwatch.delivery.retry import Rule, SendFailed, http_rule
from windwatch.notices.outbox import Delivery
from windwatch.outward import (
    OutwardError,
    Refused,
    check_url,
    in_words,
    open_session,
    read_capped,
)
from windwatch.push_schemes import PLAIN, check_push

# What a telephone shows without scrolling far; the mail has all of it.
MOST_LETTERS: Final = 500
ANSWER_WIRE_LIMIT: Final = 64 * 1024
_METHODS: Final = ("get", "post", "put", "patch", "delete", "head")

_monotonic = SystemClock().monotonic


@dataclass(frozen=True, slots=True)
class PushTarget:
    """One contact's push service.

    Attributes
    ----------
    url : str
        As Apprise writes it; it holds the key, so it is not shown.
    allow_networks : tuple of str
        Private networks that may be called nevertheless.
    """

    url: str = field(repr=False)
    allow_networks: tuple[str, ...] = ()
    ca_file: Path | None = None
    connect_s: float = 5.0
    whole_s: float = 15.0


@dataclass(slots=True)
class _Call:
    """One sending under way in this thread: by which rules, and what the service said last."""

    target: PushTarget
    status: int | None = None
    error: Exception | None = None


_calling = threading.local()


class PushChannel:
    """A push service of one contact.

    Raises
    ------
    Refused
        If the address is not allowed.
    """

    def __init__(self, target: PushTarget) -> None:
        check_push(target.url)
        self._target = target

    @property
    def host(self) -> str:
        """Which service: addresses of one service share what it can bear."""
        return self._target.url.partition("://")[0].lower()

    @property
    def fingerprint(self) -> str:
        """Of the address."""
        return fingerprint("push", self._target.url)

    def send(self, delivery: Delivery, now: datetime) -> Accepted:
        """Hand the text to the service.

        Raises
        ------
        DeliveryFailed
            If the service did not take it, or Apprise is not installed.
        """
        del now
        plugin = _plugin(self._target)
        call = _Call(self._target)
        _calling.call = call
        try:
            taken = plugin.notify(
                title=one_line(delivery.content.subject),
                body=short_text(delivery.content.text),
                body_format="text",
            )
        except (OutwardError, requests.RequestException) as error:
            raise _failed(error) from None
        finally:
            _calling.call = None
        if taken:
            return Accepted(f"{call.status or ''} taken by the push service".strip())
        if call.error is not None:
            raise _failed(call.error)
        if call.status is not None:
            said = f"{call.status} from the push service"
            raise SendFailed(said, http_rule(call.status), status=call.status)
        raise SendFailed("the push service did not take it", Rule.AGAIN)


def short_text(text: str) -> str:
    """The first lines of a notice, and who decides."""
    kept = text.strip()
    if len(kept) > MOST_LETTERS:
        kept = kept[:MOST_LETTERS].rpartition("\n")[0].rstrip() or kept[:MOST_LETTERS]
        kept += "\n…"
    return f"{kept}\n\n{CAUTION}"


def _failed(error: Exception) -> SendFailed:
    said = one_line(in_words(error), ANSWER_LIMIT)
    if isinstance(error, Refused):
        return SendFailed(said, Rule.BLINK)
    insecure = isinstance(error, requests.exceptions.SSLError)
    return SendFailed(said, Rule.INSECURE if insecure else Rule.AGAIN)


def _plugin(target: PushTarget) -> Any:
    """Apprise's way to speak to the service, with our door and none of its own tries."""
    try:
        import apprise  # noqa: PLC0415 - an extra, and slow to load
    except ImportError:
        said = "push needs the extra: pip install 'windwatch[push]'"
        raise SendFailed(said, Rule.CHANNEL_DOWN) from None
    # Its log may hold addresses and texts.
    logging.getLogger("apprise").setLevel(logging.CRITICAL + 1)
    asset = apprise.AppriseAsset(storage_mode="memory", secure_logging=True, allow_templates=False)
    plugin = apprise.Apprise.instantiate(target.url, asset=asset)
    if plugin is None:
        raise SendFailed("Apprise does not understand the address", Rule.REFUSED)
    plugin.retry = plugin.service_retry = 0
    plugin.request_rate_per_sec = 0
    module = sys.modules[type(plugin).__module__]
    if not isinstance(getattr(module, "requests", None), _Door | type(requests)):
        raise SendFailed("this service does not speak HTTP", Rule.REFUSED)
    module.requests = _DOOR  # type: ignore[attr-defined]
    return plugin


class _Door:
    """Stands in for `requests` where a push service is called."""

    def __getattr__(self, name: str) -> Any:
        if name in _METHODS:
            return partial(self.request, name.upper())
        return getattr(requests, name)

    def request(self, method: str, url: str, **how: Any) -> requests.Response:
        """Call an address as every other address is called."""
        call: _Call = _calling.call
        try:
            answer = self._exchange(call.target, method, url, how)
        except (OutwardError, requests.RequestException) as error:
            call.error = error
            raise
        call.status = answer.status_code
        return answer

    @staticmethod
    def _exchange(
        target: PushTarget, method: str, url: str, how: dict[str, Any]
    ) -> requests.Response:
        plain = target.url.partition("://")[0].lower() in PLAIN
        check_url(url, allow_http=plain)
        allowed = {"data", "json", "params", "headers", "auth"}
        with open_session(
            allow_networks=target.allow_networks,
            connect_timeout_s=target.connect_s,
            read_timeout_s=target.whole_s,
            total_s=target.whole_s,
            ca_file=target.ca_file,
            pool_size=1,
        ) as session:
            sent = {key: value for key, value in how.items() if key in allowed}
            answer = session.request(method, url, **sent)
            answer._content = _body(answer, target)  # noqa: SLF001 - read by our own limits
            return answer


def _body(answer: requests.Response, target: PushTarget) -> bytes:
    """A little of the answer; the status counts, whatever the body does."""
    limit = ANSWER_WIRE_LIMIT
    try:
        return read_capped(
            answer, limit, limit, _monotonic() + target.whole_s, _monotonic, cut=True
        )
    except OutwardError:
        return b""


_DOOR: Final = _Door()
