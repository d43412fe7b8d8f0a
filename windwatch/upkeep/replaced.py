"""A store that was replaced: what happened since is not in it, so it clears nothing (F43, F45)."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from datetime import datetime

from windwatch.episodes.state import AirfieldState
from windwatch.errors import StoreError
from windwatch.rules import Rules
from windwatch.store.notes import forget_replaced, replaced_at
from windwatch.store.store import Store

log = logging.getLogger(__name__)


class Replaced:
    """Holds every all-clear until two reports of after the replacement could give one.

    Once people have been told, the store itself remembers since when (`Books.repair_told`), so
    that a restart does not end it.

    Parameters
    ----------
    store : Store
        As it was opened.
    now : datetime
        When it was, aware, UTC.
    """

    def __init__(self, store: Store, now: datetime) -> None:
        self._store = store
        self._since: datetime | None = None
        try:
            self._since = now if store.repaired else replaced_at(store)
        except StoreError:
            # Nothing can be cleared either in a store that cannot be read.
            return

    def holds(self, state: AirfieldState, rules: Rules) -> bool:
        """Whether nothing may be called back within limits at an airfield yet."""
        if self._since is None:
            return False
        new = [entry.observed_at for entry in state.entries if entry.observed_at >= self._since]
        return not new or max(new) - min(new) < rules.low_apart

    def look(self, states: Iterable[AirfieldState], rules: Rules) -> None:
        """Forget it once it holds nothing that is open, at no airfield.

        Parameters
        ----------
        states : iterable of AirfieldState
            Of every airfield that is watched.
        """
        if self._since is None:
            return
        known = tuple(states)
        if any(self.holds(each, rules) and _waits(each) for each in known):
            return
        try:
            # Until people have been told, nothing is to be forgotten.
            if not self._store.repaired:
                forget_replaced(self._store)
                self._since = None
        except StoreError as error:
            # It is looked at again, and holds nothing meanwhile.
            log.warning("replacement_kept", extra={"problem": str(error)})


def _waits(state: AirfieldState) -> bool:
    """Whether anything is open, or not known yet: then nobody can tell what is."""
    return not state.entries or any(told.open for told in state.ledger)
