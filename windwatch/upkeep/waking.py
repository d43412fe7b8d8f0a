"""Gaps in watching: found at the first turn after them, told once at each airfield.

Here is only the telling. What was missed meanwhile is remembered with each airfield, until the
feed has answered for it (`episodes.missed`).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from windwatch.episodes.clock_doubt import Gap


class Waking:
    """Remembers the last turn, and what is to be told after a gap.

    Parameters
    ----------
    longest : timedelta
        No gap up to this is any.
    watched_until : datetime or None
        The last turn before the program was started; None: it never ran.
    """

    def __init__(self, longest: timedelta, watched_until: datetime | None) -> None:
        self._longest = longest
        self._last = watched_until
        # Whether that was by the clock of this run, which may have to be put right.
        self._own = False
        self._to_tell: set[str] = set()
        self.gap: Gap | None = None
        self.catching_up = False

    def longest_is(self, longest: timedelta) -> None:
        """Take another length of time up to which a gap is none: the configuration has changed."""
        self._longest = longest

    def turn(self, now: datetime, airfields: Iterable[str]) -> None:
        """Note a turn; the first one after a gap finds it.

        Parameters
        ----------
        now : datetime
            By the minded clock, aware, UTC.
        airfields : iterable of str
            Where it will be told.
        """
        last = self._last
        if last is not None and now - last > self._longest:
            # Two gaps before anything was told are one.
            since = self.gap.since if self._to_tell and self.gap is not None else last
            self.gap = Gap(since, now)
            self._to_tell = set(airfields)
            self.catching_up = True
        if last is None or self._own or now >= last:
            self._last = now
            self._own = True

    def asked(
        self, now: datetime, moved: timedelta, airfields: Iterable[str], *, corrected: bool
    ) -> None:
        """The feed was asked: whatever it said, it is time to tell.

        Parameters
        ----------
        now : datetime
            By the minded clock, after the feed's word.
        moved : timedelta
            By how much the minded clock moved at that word.
        corrected : bool
            A wrong clock was put right, which is no gap; else the machine slept.
        """
        if corrected and self._own and self._last is not None:
            self._last += moved
        self.turn(now, airfields)
        self.catching_up = False

    def play(self, gap: Gap | None, airfields: Iterable[str]) -> None:
        """Take a gap from a recording; None: whatever was to be told of one is.

        What was noted of one gap at several airfields stands in several lines: only the first of
        them begins it.
        """
        if gap is not None and gap == self.gap:
            return
        # Known still when it is told: the next line may be about it.
        self.gap = gap or self.gap
        self._to_tell = set() if gap is None else set(airfields)

    def to_tell(self, airfield: str) -> Gap | None:
        """The gap, if it is still to be told at an airfield."""
        if self.catching_up or airfield not in self._to_tell:
            return None
        return self.gap

    def told(self, airfield: str) -> None:
        """It was noted there, and told to whoever is to hear of it."""
        self._to_tell.discard(airfield)

    def all_told(self) -> None:
        """A poll has ended: wherever it could not be noted, it is no news at the next one."""
        if not self.catching_up:
            self._to_tell.clear()
