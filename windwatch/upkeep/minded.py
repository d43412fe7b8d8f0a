"""The machine's clock, minded: the time that is judged by goes on evenly."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import datetime

from windwatch.clock import Clock
from windwatch.episodes import clock_doubt
from windwatch.episodes.clock_doubt import Trust
from windwatch.rules import USUAL, Rules


class MindedClock:
    """A clock that looks at the wall clock and at the monotonic one each time it is asked.

    Over a step it goes on evenly, until a poll says which time it is: where the feed's clock
    disagrees it follows the feed, so that warnings go out by a clock that stands at 1970, too.
    """

    def __init__(self, clock: Clock, rules: Rules = USUAL) -> None:
        self._clock = clock
        # By which a step, or a difference from the feed's clock, puts it in doubt.
        self.rules = rules
        self._lock = threading.Lock()
        self._trust = clock_doubt.begin(clock.now(), clock.monotonic())

    @property
    def trust(self) -> Trust:
        """What is known of the wall clock."""
        with self._lock:
            return self._trust

    def now(self) -> datetime:
        """Corrected time, aware, UTC."""
        with self._lock:
            wall = self._look()
            return wall + self._trust.correction

    def monotonic(self) -> float:
        """Seconds on a clock that never jumps."""
        return self._clock.monotonic()

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Wait for `event`, at most `seconds`; return whether it is set."""
        return self._clock.wait(event, seconds)

    def hear(self, feed_says: datetime | None) -> tuple[Trust, Trust]:
        """Take one poll's word for the time; return the trust before and after."""
        with self._lock:
            wall = self._look()
            before = self._trust
            self._trust = clock_doubt.hear(before, wall, feed_says, self.rules)
            return before, self._trust

    def play(self, doubt: str) -> None:
        """Take from a recording why the clock was in doubt; '': it was believed again."""
        with self._lock:
            wall = self._look()
            since = wall + self._trust.correction if doubt else None
            self._trust = replace(self._trust, since=since, reason=doubt)

    def suspect(self, reason: str) -> None:
        """Doubt the clock, though nobody says which time it is."""
        with self._lock:
            self._trust = clock_doubt.suspect(self._trust, self._look(), reason)

    def _look(self) -> datetime:
        wall = self._clock.now()
        self._trust = clock_doubt.look(self._trust, wall, self._clock.monotonic(), self.rules)
        return wall
