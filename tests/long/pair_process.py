"""One of two watches on one database, on a clock of the day and a clock of the lease.

    python -m tests.long.pair_process CONFIG PAGE

As `watch_process`, but the point at which it kills itself is written on the page, so that the
one that leads can be chosen while it runs. The day's clock stands still while the lease's goes
on: a take-over takes no time of the day, and the day's notices stay those of `replay`. How long
a lease runs, how often it is renewed and how often the other one looks are the product's own.
"""

import sys
import threading
import time
from pathlib import Path

import windwatch.cli.watch
from tests.long.shared_page import (
    ARMED,
    LEADS,
    LEASE_NOW,
    LEFT,
    LOOKS_AT,
    RENEWED,
    TOOK_LEAD,
    WATCHES,
    Page,
    PageClock,
)
from tests.long.watch_process import LOOK_S, POINTS, Fuse, die, run, serve, wrap
from windwatch.store.leading import RENEW_EVERY, Leadership
from windwatch.store.store import Store
from windwatch.upkeep.keeper import Keeper


class ArmedFuse(Fuse):
    """Looks on the page at which point to kill; the test may write it there at any time."""

    def __init__(self, page: Page) -> None:
        super().__init__("-", 0)
        self._page = page

    def passed(self, point: str) -> None:
        with self._lock:
            if self._page.read(ARMED) != POINTS.index(point) + 1:
                return
            left = self._page.read(LEFT) - 1
            self._page.write(LEFT, left)
            if left == 0:
                self._page.write(ARMED, 0)
                die()


class LeaseClock(PageClock):
    """The clock by which a watch that stands by waits; the test sees when it will look again."""

    def __init__(self, page: Page) -> None:
        super().__init__(page, LEASE_NOW)

    def wait(self, event: threading.Event, seconds: float) -> bool:
        looks_at = self.monotonic() + seconds
        self._page.write(LOOKS_AT, looks_at)
        while not event.is_set() and self.monotonic() < looks_at:
            event.wait(LOOK_S)
        return event.is_set()


def keep_the_lease(page: Page) -> None:
    """Look and renew by the lease's clock, and let the test see it."""
    lease_clock = LeaseClock(page)

    def wait_to_lead(original, store, owner, clock, stop, **how):
        return original(store, owner, lease_clock, stop, **how)

    def lead(original, *args, **kwargs):
        now = lease_clock.monotonic()
        leadership = original(*args, **kwargs)
        if leadership is not None:
            page.write(RENEWED, now)
            page.write(TOOK_LEAD, time.monotonic())
            page.write(LEADS, now)
        return leadership

    def watch(original, *args, **kwargs):
        page.write(WATCHES, time.monotonic())
        return original(*args, **kwargs)

    def renew(original, leadership):
        now = lease_clock.monotonic()
        if now - page.read(RENEWED) < RENEW_EVERY.total_seconds():
            return True  # the scheduler, which looks all the time here, does not owe it yet
        leads = original(leadership)
        if leads:
            page.write(RENEWED, now)
        else:
            page.write(LEADS, 0)
        return leads

    wrap(windwatch.cli.watch, "wait_to_lead", wait_to_lead)
    wrap(Store, "lead", lead)
    wrap(Leadership, "renew", renew)
    wrap(windwatch.cli.watch, "run", watch)


def tidy_once_a_moment(page: Page) -> None:
    """The scheduler that looks all the time would do nothing else on a server."""
    clock = PageClock(page)
    done_at = 0.0

    def housekeep(original, keeper):
        nonlocal done_at
        if clock.monotonic() > done_at:
            done_at = clock.monotonic()
            original(keeper)

    wrap(Keeper, "housekeep", housekeep)


def run_one_of_two(config: str, page: Page, fuse: Fuse) -> None:
    del fuse  # the one on the page takes its place
    keep_the_lease(page)
    tidy_once_a_moment(page)
    run(config, page, ArmedFuse(page))


if __name__ == "__main__":
    serve(sys.argv[1], Page(Path(sys.argv[2])), run_one_of_two)
