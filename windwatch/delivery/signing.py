"""What a webhook carries: the very bytes of its body, and headers that sign them.

The scheme is that of Standard Webhooks. Nothing here calls anybody.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import json
from datetime import UTC, datetime
from typing import Any, Final

from windwatch.delivery.channels import WebhookTarget
from windwatch.notices.outbox import Delivery

BODY_LIMIT: Final = 20_000  # bytes (reliability, section 3)
SECRET_LEAST: Final = 24  # bytes
SECRET_MARK: Final = "whsec_"  # noqa: S105 - what every secret begins with is none


def body_of(delivery: Delivery) -> bytes:
    """Make the very bytes that are signed and sent, never more than the limit."""
    payload = delivery.content.payload
    body = _dump(payload)
    if len(body) <= BODY_LIMIT and not delivery.plain:
        return body
    # The bare facts: what a machine needs to fetch, or to wake a person for, the rest.
    notice, content = delivery.notice, delivery.content
    facts: dict[str, Any] = {
        "id": notice.id,
        "kind": notice.kind,
        "airfield": notice.airfield,
        "at": _z(notice.at),
        "valid_until": _z(notice.valid_until),
        "subject": content.subject[:500],
        "text": content.text[:2_000],
        "cut": True,
    }
    return _dump(facts)


def headers_of(
    delivery: Delivery, body: bytes, target: WebhookTarget, now: datetime
) -> dict[str, str]:
    """Headers of one try: the id is the same in all tries, the time is new in each.

    Parameters
    ----------
    body : bytes
        The very bytes that are sent.
    now : datetime
        When this try is made.
    """
    stamp = str(int(now.timestamp()))
    headers = {
        "content-type": "application/json",
        "user-agent": "windwatch",
        "webhook-id": delivery.notice.id,
        "webhook-timestamp": stamp,
    }
    if target.secrets:
        headers["webhook-signature"] = " ".join(
            sign(secret, delivery.notice.id, stamp, body) for secret in target.secrets
        )
    return headers


def sign(secret: str, message: str, stamp: str, body: bytes) -> str:
    """Sign ``id.time.body`` with one secret.

    References
    ----------
    .. [1] Standard Webhooks specification 1.0.0, "Signature scheme" (from memory; checked
       against the reference implementation `standardwebhooks` in the tests).
    """
    signed = b".".join((message.encode(), stamp.encode(), body))
    mark = hmac.new(secret_bytes(secret), signed, hashlib.sha256).digest()
    return f"v1,{base64.b64encode(mark).decode()}"


def secret_bytes(secret: str) -> bytes:
    """Bytes of a secret.

    Raises
    ------
    ValueError
        If it is not ``whsec_`` and base64 of at least 24 bytes. The message does not quote it.
    """
    text = secret.removeprefix(SECRET_MARK)
    # Some tools leave the padding out.
    text += "=" * (-len(text) % 4)
    try:
        found = base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        found = b""
    if len(found) < SECRET_LEAST:
        raise ValueError(
            f"a webhook secret is {SECRET_MARK} and base64 of at least {SECRET_LEAST} random bytes"
        )
    return found


def _dump(payload: dict[str, Any]) -> bytes:
    return json.dumps(payload, ensure_ascii=False, separators=(",", ":"), sort_keys=False).encode()


def _z(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
