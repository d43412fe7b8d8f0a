"""Acknowledgements, which other processes write (the command, the board): each is taken once."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta

from windwatch.episodes.state import AirfieldState
from windwatch.errors import StoreError
from windwatch.store.store import Store
from windwatch.store.values import Acknowledgement

log = logging.getLogger(__name__)


class Noted:
    """What has been taken of the acknowledgements in a store."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._taken: set[tuple[str, datetime]] = set()

    def waiting(
        self, states: Iterable[AirfieldState], lasts: timedelta, now: datetime
    ) -> Iterator[tuple[str, Acknowledgement]]:
        """Acknowledgements to be taken, each with its airfield; say `taken` once it is stored.

        Parameters
        ----------
        lasts : timedelta
            An older one counts no more.
        """
        try:
            acknowledgements = self._store.acknowledgements()
        except StoreError as error:
            log.error(  # noqa: TRY400 - its sentence says it all
                "acknowledgements_unread", extra={"problem": str(error)}
            )
            return
        known = tuple(states)
        for ack in acknowledgements:
            if (ack.episode, ack.at) in self._taken:
                continue
            airfield = _whose(ack, known) if now - ack.at < lasts else None
            if airfield is None:
                self.taken(ack)
            else:
                yield airfield, ack

    def taken(self, ack: Acknowledgement) -> None:
        """Nothing of it is left to store."""
        self._taken.add((ack.episode, ack.at))


def _whose(ack: Acknowledgement, states: Iterable[AirfieldState]) -> str | None:
    """The airfield that still has to take note; None where none has."""
    for state in states:
        known = any(told.episode == ack.episode for told in state.ledger)
        # True after a restart for what was taken before it.
        taken = any(a.episode == ack.episode and a.at >= ack.at for a in state.acknowledged)
        if known and not taken:
            return state.airfield
    return None
