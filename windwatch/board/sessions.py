"""Who is who between two requests: a signed cookie, and the token that forms must bear."""

from __future__ import annotations

import base64
import binascii
import hmac
import json
import secrets
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from hashlib import sha256
from typing import Final, NamedTuple

COOKIE: Final = "windwatch_session"
# A shift at the desk; a screen on the wall that somebody logs in once a month.
LASTS: Final = {"desk": timedelta(hours=12), "viewer": timedelta(days=30)}
# Of somebody who has not logged in: only so that forms can be told from forged ones.
ANONYMOUS_LASTS: Final = timedelta(hours=12)
_MOST_COOKIE: Final = 1_000


class Role(StrEnum):
    """What somebody may do.

    Attributes
    ----------
    NOBODY
        Nothing but log in, or open a signed link.
    VIEWER
        Look.
    DESK
        Look, and take note of episodes.
    """

    NOBODY = "nobody"
    VIEWER = "viewer"
    DESK = "desk"

    @property
    def may_look(self) -> bool:
        """See pages and their figures."""
        return self is not Role.NOBODY

    @property
    def may_acknowledge(self) -> bool:
        """Take note of episodes."""
        return self is Role.DESK


class Session(NamedTuple):
    """One browser.

    Attributes
    ----------
    id : str
        Drawn; the form token is made of it.
    role : Role
        That they logged in as; ``nobody`` before.
    name : str
        As they gave it, for the record of what they take note of.
    until : datetime
    """

    id: str
    role: Role
    name: str
    until: datetime


class Sessions:
    """Makes and reads cookies.

    Parameters
    ----------
    secret : bytes
        Signs them.
    passwords : str
        The hashes in force: with another password every login ends.
    """

    def __init__(self, secret: bytes, passwords: str) -> None:
        self._key = derived(secret, "session " + sha256(passwords.encode()).hexdigest())

    def begin(self, now: datetime, role: Role = Role.NOBODY, name: str = "") -> Session:
        """A new one; after each login, so that nobody knows it from before."""
        lasts = LASTS.get(role.value, ANONYMOUS_LASTS)
        return Session(secrets.token_urlsafe(16), role, name[:60], now + lasts)

    def as_cookie(self, session: Session) -> str:
        """What the browser keeps."""
        facts = [session.id, session.role.value, session.name, int(session.until.timestamp())]
        body = _text(json.dumps(facts, separators=(",", ":")).encode())
        return f"{body}.{self._signed('cookie', body)}"

    def read(self, cookie: str, now: datetime) -> Session | None:
        """Who sent it; None: forged, from before the last start, or too old."""
        body, _, signature = cookie.partition(".")
        if len(cookie) > _MOST_COOKIE or not _same(signature, self._signed("cookie", body)):
            return None
        id_, role, name, until = json.loads(_bytes(body))
        session = Session(id_, Role(role), name, datetime.fromtimestamp(until, UTC))
        return session if now < session.until else None

    def token(self, session: Session) -> str:
        """What every form of theirs must bear: nobody else can know it."""
        return self._signed("form", session.id)

    def is_token(self, session: Session, token: str) -> bool:
        """Whether a form is theirs."""
        return _same(token, self.token(session))

    def _signed(self, what: str, text: str) -> str:
        return _text(hmac.digest(self._key, f"{what} {text}".encode(), "sha256"))


def derived(secret: bytes, purpose: str) -> bytes:
    """A key for one purpose, from the one secret."""
    return hmac.digest(secret, f"windwatch board: {purpose}".encode(), "sha256")


def _same(one: str, other: str) -> bool:
    return hmac.compare_digest(one.encode(errors="replace"), other.encode())


def _text(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).decode().rstrip("=")


def _bytes(text: str) -> bytes:
    try:
        return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except binascii.Error as error:
        raise ValueError("not base64") from error
