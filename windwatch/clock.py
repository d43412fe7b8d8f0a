"""The one place that asks what time it is."""

from __future__ import annotations

import threading
import time
from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """What the rim needs to know about time; the pure rooms get `now` as an argument."""

    def now(self) -> datetime:
        """Wall time, aware, UTC."""
        ...

    def monotonic(self) -> float:
        """Seconds on a clock that never jumps."""
        ...

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Wait for `event`, at most `seconds`; return whether it is set."""
        ...


class SystemClock:
    """The machine's clock."""

    def now(self) -> datetime:
        """Wall time, aware, UTC."""
        return datetime.now(UTC)

    def monotonic(self) -> float:
        """Seconds on the monotonic clock."""
        return time.monotonic()

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Wait for `event`, at most `seconds`; return whether it is set."""
        return event.wait(max(0.0, seconds))


class HandClock:
    """A clock that stands until somebody moves it: for replays and tests."""

    def __init__(self, start: datetime) -> None:
        self._now = start
        self._elapsed = 0.0

    def now(self) -> datetime:
        """The time it was set to."""
        return self._now

    def monotonic(self) -> float:
        """Seconds it has been moved forward since it was made."""
        return self._elapsed

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Move forward by `seconds` instead of waiting."""
        if not event.is_set() and seconds > 0:
            self.move(timedelta(seconds=seconds))
        return event.is_set()

    def move(self, by: timedelta) -> None:
        """Move forward."""
        self._now += by
        self._elapsed += by.total_seconds()

    def set(self, to: datetime) -> None:
        """Move to a given time (backwards moves only the wall time, as a real jump would)."""
        step = (to - self._now).total_seconds()
        self._now = to
        self._elapsed += max(0.0, step)


def utc_now() -> datetime:
    """Wall time, aware, UTC."""
    return datetime.now(UTC)
