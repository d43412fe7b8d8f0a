"""When the clock was in doubt, kept with the events: a replay must hold back what the watch did."""

from __future__ import annotations

import logging
from datetime import datetime

from windwatch.episodes.clock_doubt import Trust
from windwatch.errors import StoreError
from windwatch.store.clock_events import CLOCK_EVENT, clock_was_doubted
from windwatch.store.store import Store
from windwatch.upkeep.patience import Patience

log = logging.getLogger(__name__)


class DoubtRecord:
    """Writes an event when a doubt begins and when it ends, before anything is judged under it.

    Parameters
    ----------
    store : Store
    patience : Patience
        Shared with whatever else is written in a turn.
    """

    def __init__(self, store: Store, patience: Patience) -> None:
        self._store = store
        self._patience = patience
        self._failed = False
        # None: what an earlier run of the program left was not looked at yet.
        self._recorded: bool | None = None

    def note(self, trust: Trust, now: datetime) -> None:
        """Note what is known of the clock, where it is news.

        A store that fails stops nothing, and is tried again in the next turn.
        """
        if self._recorded is trust.in_doubt or self._failed:
            return
        try:
            with self._patience:
                self._write(trust, now)
        except StoreError as error:
            self._failed = True
            log.warning("clock_unrecorded", extra={"problem": str(error)})

    def turn(self) -> None:
        """Another turn: what failed is tried again."""
        self._failed = False

    def _write(self, trust: Trust, now: datetime) -> None:
        if self._recorded is None:
            self._recorded = clock_was_doubted(self._store)
        if self._recorded is not trust.in_doubt:
            detail = {"in_doubt": trust.in_doubt, "reason": trust.reason}
            with self._store.transaction() as books:
                books.save_event(CLOCK_EVENT, now, detail)
            self._recorded = trust.in_doubt
