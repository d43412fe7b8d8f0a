"""Signed links out of a notice, to take note of what it tells: for one contact, for a day.

A link names a notice and a time; what is signed is those and the contact, so that it serves
nobody else and no longer. To open it changes nothing: mail scanners and previews do that, too.
"""

from __future__ import annotations

import hmac
import re
from base64 import urlsafe_b64encode
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Final, NamedTuple

from windwatch.board.sessions import derived
from windwatch.fleet import Fleet
from windwatch.notices.compose import compose
from windwatch.notices.values import Content, Notice, Situation
from windwatch.record import Compose
from windwatch.settings.running import BoardValues

PATH: Final = "/take-note/"
# Reliability, section 5: at most 24 h.
LASTS: Final = timedelta(hours=24)
_TOKEN: Final = re.compile(r"([0-9a-f]{8,64})\.([0-9a-f]{6,10})\.([A-Za-z0-9_-]{32})")


class Opened(NamedTuple):
    """What a link that holds is about."""

    notice: str
    contact: str
    until: datetime


class Links:
    """Makes and reads links.

    Parameters
    ----------
    secret : bytes
    address : str
        How people reach the board, without a slash at the end; '' where no link is made.
    """

    def __init__(self, secret: bytes, address: str = "") -> None:
        self._key = derived(secret, "take note")
        self._address = address

    def make(self, notice: Notice) -> str:
        """The link of a notice; the same whenever it is made."""
        until = int((notice.at + LASTS).timestamp())
        signature = self._signed(notice.id, notice.contact, until)
        return f"{self._address}{PATH}{notice.id}.{until:x}.{signature}"

    def read(
        self, token: str, contact_of: Callable[[str], str | None], now: datetime
    ) -> Opened | None:
        """What a token is about; None: forged, mistyped or too old.

        Parameters
        ----------
        contact_of : callable
            The contact of a notice; None where there is none of that id.
        """
        found = _TOKEN.fullmatch(token)
        if found is None:
            return None
        notice, until = found[1], int(found[2], 16)
        contact = contact_of(notice)
        # Reckoned in any case, so that it takes as long.
        signature = self._signed(notice, contact or "", until)
        if not hmac.compare_digest(signature, found[3]) or contact is None:
            return None
        ends = datetime.fromtimestamp(until, UTC)
        return Opened(notice, contact, ends) if now < ends else None

    def form_of(self, token: str) -> str:
        """What the form on its page bears: who only guesses that there is a form has it not."""
        return _text(hmac.digest(self._key, f"form {token}".encode(), "sha256"))

    def is_form(self, token: str, form: str) -> bool:
        """Whether a form came with the page of that link."""
        return hmac.compare_digest(form.encode(errors="replace"), self.form_of(token).encode())

    def _signed(self, notice: str, contact: str, until: int) -> str:
        text = "\0".join(("take note", notice, contact, str(until)))
        return _text(hmac.digest(self._key, text.encode(), "sha256"))[:32]


def links_of(values: BoardValues | None) -> Links | None:
    """Links as configured; None where notices bear none."""
    if values is None or values.secret is None or values.address is None:
        return None
    return Links(values.secret.reveal().encode(), values.address)


def composer(values: BoardValues | None) -> Compose | None:
    """How notices are put into words where they bear links; None where they do not."""
    links = links_of(values)
    return None if links is None else partial(_compose_with, links)


def _compose_with(links: Links, notice: Notice, situation: Situation, fleet: Fleet) -> Content:
    link = links.make(notice) if is_open(notice, situation) else ""
    return compose(notice, situation, fleet, link)


def is_open(notice: Notice, situation: Situation) -> bool:
    """Whether there is anything in a notice of which somebody can still take note."""
    told = {step.episode for step in notice.steps}
    return any(
        track.episode in told and not track.acknowledged_by for track in situation.open_tracks
    )


def _text(raw: bytes) -> str:
    return urlsafe_b64encode(raw).decode().rstrip("=")
