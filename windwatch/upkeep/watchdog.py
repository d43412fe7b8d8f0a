"""The watchdog: a turn that hangs ends the process, for its supervisor to start anew (F37, F41)."""

from __future__ import annotations

import logging
import threading
from datetime import timedelta
from typing import Final

from windwatch.clock import Clock

LOG: Final = logging.getLogger(__name__)
# No finished turn in so many intervals: something hangs.
INTERVALS: Final = 3
# Between two looks less than this is counted: a process that was stopped has hung nowhere.
LOOK_S: Final = 10.0
# Sending may take long with many deliveries, and a hanging host; a drain ends by itself before.
SENDING: Final = timedelta(minutes=10)
# Exit status of a watch that gave up; its supervisor starts it anew.
GAVE_UP: Final = 4


class Watchdog:
    """Counts the time since each kind of turn last ended.

    Parameters
    ----------
    limits : dict of str to timedelta
        Kinds of turn, and how long each may stay away.
    """

    def __init__(self, clock: Clock, limits: dict[str, timedelta]) -> None:
        self._clock = clock
        self._limits = limits
        self._lock = threading.Lock()
        self._away_s = dict.fromkeys(limits, 0.0)
        self._looked_s = clock.monotonic()

    def expect(self, limits: dict[str, timedelta]) -> None:
        """Allow the same kinds of turn other times: the configuration has changed."""
        with self._lock:
            self._limits = limits

    def turned(self, kind: str) -> None:
        """A turn has ended, well or not."""
        with self._lock:
            self._away_s[kind] = 0.0

    def look(self) -> str:
        """Say what hangs; '' if nothing does. To be asked every second or so."""
        now_s = self._clock.monotonic()
        with self._lock:
            passed_s = min(max(0.0, now_s - self._looked_s), LOOK_S)
            self._looked_s = now_s
            for kind in self._away_s:
                self._away_s[kind] += passed_s
            for kind, limit in self._limits.items():
                if self._away_s[kind] > limit.total_seconds():
                    return f"no {kind} has ended for {self._away_s[kind]:.0f} s"
        return ""


def limits(every: timedelta) -> dict[str, timedelta]:
    """How long each kind of turn may stay away, by the interval of polls."""
    cycle = max(INTERVALS * every, timedelta(minutes=1))
    return {"poll": cycle, "tick": cycle, "delivery": max(cycle, SENDING)}
