"""One page of memory that the test and the watch it kills both see: the time, and who is where.

A process that is killed leaves the page as it stood, so that the test can read which step the
kill has hit.
"""

import mmap
import struct
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Self

SIZE = 4096
# Times, as seconds: set by the test; and up to which the watch is through with each turn.
NOW, POLLED, TICKED, IDLE = range(4)
_TIMES = 4
# Of a pair, behind the stages: the clock of the lease; by that clock, when a watch that stands by
# looks again, since when it leads (0: it does not), and when it last renewed.
LEASE_NOW, LOOKS_AT, LEADS, RENEWED = range(32, 36)
# By the machine's own clock: when it took the lead, and when it began to watch.
TOOK_LEAD, WATCHES = range(36, 38)
# The point at which it kills itself (its place, from 1; 0: none), passed so many times more.
ARMED, LEFT = range(38, 40)
# Within a poll, a tick or a delivery, and in none of the stages before.
REST = "rest of a turn"
# Where the watch may be; a thread each, so that several may hold.
STAGES = (
    "starting",
    "fetch",
    "parse",
    "judge and word",
    "commit",
    "claim",
    "connect",
    "send",
    "mark",
    REST,
)
_POLL_S = 0.004


class Page:
    """The page, made by the test and opened by the watch."""

    def __init__(self, path: Path) -> None:
        if not path.exists():
            path.write_bytes(bytes(SIZE))
        with path.open("r+b") as file:
            self._map = mmap.mmap(file.fileno(), SIZE)
        self._lock = threading.Lock()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *what: object) -> None:
        self.close()

    def close(self) -> None:
        self._map.close()

    def read(self, slot: int) -> float:
        return float(struct.unpack_from("d", self._map, slot * 8)[0])

    def write(self, slot: int, value: float) -> None:
        struct.pack_into("d", self._map, slot * 8, value)

    def stages(self) -> list[str]:
        """Where it is, or was when it was killed."""
        counts = struct.unpack_from(f"{len(STAGES)}i", self._map, _TIMES * 8)
        found = [stage for stage, count in zip(STAGES, counts, strict=True) if count > 0]
        return [stage for stage in found if stage != REST] or found

    def clear_stages(self) -> None:
        struct.pack_into(f"{len(STAGES)}i", self._map, _TIMES * 8, *([0] * len(STAGES)))

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        self._count(name, 1)
        try:
            yield
        finally:
            self._count(name, -1)

    def _count(self, name: str, by: int) -> None:
        place = _TIMES * 8 + STAGES.index(name) * 4
        with self._lock:
            (count,) = struct.unpack_from("i", self._map, place)
            struct.pack_into("i", self._map, place, count + by)


class PageClock:
    """A clock that goes as the test says; waiting ends when it has gone far enough."""

    def __init__(self, page: Page, slot: int = NOW) -> None:
        self._page = page
        self._slot = slot

    def now(self) -> datetime:
        return datetime.fromtimestamp(self.monotonic(), UTC)

    def monotonic(self) -> float:
        return self._page.read(self._slot)

    def wait(self, event: threading.Event, seconds: float) -> bool:
        until = self.monotonic() + seconds
        while not event.is_set() and self.monotonic() < until:
            event.wait(_POLL_S)
        return event.is_set()

    def set(self, moment: datetime) -> None:
        self._page.write(self._slot, moment.timestamp())


def wait_for(true, seconds: float) -> bool:
    """Look often whether something holds; say whether it did in time."""
    ends_at = time.monotonic() + seconds
    while not true():
        if time.monotonic() > ends_at:
            return False
        time.sleep(_POLL_S)
    return True
