"""How the store stands for a watch: what waits to be written, and that it fails is told."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from functools import partial

from windwatch.errors import StoreError
from windwatch.record import Change
from windwatch.store.notes import note_watched, watched_until
from windwatch.store.store import Store
from windwatch.upkeep import words
from windwatch.upkeep.direct import Direct
from windwatch.upkeep.minded import MindedClock
from windwatch.upkeep.showing import Outward
from windwatch.upkeep.telling import NOT_OURS, Teller
from windwatch.upkeep.unwritten import StoreFailing, Unwritten, Written, note_missing

log = logging.getLogger(__name__)


class StoreStanding:
    """Whether the store takes what a watch writes, and who is told that it does not.

    Parameters
    ----------
    store : Store
    direct : Direct
        What went out past the store while it could not be used.
    teller : Teller
    clock : MindedClock
    outward : Outward

    Attributes
    ----------
    unwritten : Unwritten
        What waits to be written.
    """

    def __init__(
        self, store: Store, direct: Direct, teller: Teller, clock: MindedClock, outward: Outward
    ) -> None:
        self.unwritten = Unwritten()
        self._store = store
        self._direct = direct
        self._teller = teller
        self._clock = clock
        self._outward = outward
        self._failing = StoreFailing()

    def adopt(self, outward: Outward) -> None:
        """Take a new configuration."""
        self._outward = outward

    @property
    def problem(self) -> str:
        """What it said last; '' where it works."""
        return self._failing.problem

    @property
    def gave_up(self) -> str:
        """Why it is of no use to go on; '' as long as it is."""
        return self._failing.gave_up(self._clock.now(), self._outward.store_patience)

    # --- what the watch before left -------------------------------------------------

    def recall(self) -> datetime | None:
        """When the watch before last turned; with it comes what operators were told."""
        try:
            self._teller.recall()
            return watched_until(self._store)
        except StoreError as error:
            self._note(error)
            return None

    def _tell_of_repair(self, everybody: Iterable[str]) -> None:
        """Tell once that the store is not the one of before: repeats are possible."""
        why = self._store.repaired
        if not why:
            return
        self._teller.begun(words.repaired_trouble(why), everybody)
        with self._store.transaction() as books:
            # The clock is confirmed here; it may not have been when the store was opened.
            books.repair_told(self._clock.now())
        self._teller.dismiss(words.REPAIRED)

    # --- it fails, or works ---------------------------------------------------------

    def hold(self, change: Change, error: StoreError) -> None:
        """Keep what could not be written."""
        self.unwritten.failed(error, self._clock.now())
        self.unwritten.add(change)
        self.fails(error)

    def fails(self, error: StoreError) -> None:
        """Note that it fails, and tell."""
        self._note(error)
        self._teller.begun(words.store_trouble(str(error)))

    def _note(self, error: StoreError) -> None:
        self._failing.failed(error.kind, self._outward.hide(str(error)), self._clock.now())

    def write_unwritten(self, write: Callable[[Sequence[Change]], object]) -> Written:
        """Write what waits; say what became of it."""
        testify = partial(note_missing, self._store, self._clock.now())
        written = self.unwritten.write(write, testify)
        if written.error is None:
            self.works()
        else:
            self.still_unwritten(written.error)
        return written

    def still_unwritten(self, error: StoreError) -> None:
        """It cannot be written yet."""
        self.unwritten.failed(error, self._clock.now())
        self.fails(error)

    def works(self) -> None:
        """It works, and nothing waits."""
        # What an outbox that could only not be read has left to others is its own again, too.
        if self.unwritten or self._failing.problem:
            self.unwritten.written()
            try:
                self._store.finish(self._direct.hand_over(), self._clock.now())
            except StoreError as error:
                # The channels know what was taken, and do not send it again.
                log.warning("directly_taken_unwritten", extra={"problem": str(error)})
        self._failing.works()
        self._teller.over(words.STORE)

    def note_turn(self, now: datetime, everybody: Iterable[str]) -> None:
        """Note that somebody watches, which shows that it can be written.

        Parameters
        ----------
        now : datetime
            Aware, UTC.
        everybody : iterable of str
            The contacts, who are told where it is another store than before.
        """
        try:
            note_watched(self._store, now)
            self.works()
            self._tell_of_repair(everybody)
        except StoreError as error:
            if not isinstance(error, NOT_OURS):
                self.fails(error)
