"""Whether what the store says can be taken for the present: how the watch stands now."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from windwatch.board.snapshot import Snapshot, WatchRead
from windwatch.upkeep.health import INTERVALS, STANDING_BY, STOPPED, Health

# With an interval of seconds, one slow mail server is no watch that has ended.
LEAST_SILENCE: Final = timedelta(minutes=2)

RUNNING: Final = "watching"
NOT_RUNNING: Final = "not running"
STANDS_BY: Final = "standing by; another watch leads"


def silent_at(health: Health) -> datetime:
    """From when on a watch that says nothing more counts as not running."""
    return last_sign(health) + max(INTERVALS * health.interval, LEAST_SILENCE)


def last_sign(health: Health) -> datetime:
    """Its last poll, whatever came of it; for one that stands by, its last word."""
    if health.state == STANDING_BY:
        return health.written_at
    return health.last_turn_at or health.started_at


def runs(watch: WatchRead, now: datetime) -> bool:
    """Whether a watch works on this store.

    Parameters
    ----------
    watch : WatchRead
    now : datetime
        Aware, UTC.
    """
    health = watch.health
    if health is None or health.state == STOPPED or not watch.there or now > silent_at(health):
        return False
    if health.state == STANDING_BY:
        return watch.led_until is not None and now < watch.led_until
    return True


def in_words(watch: WatchRead, now: datetime) -> str:
    """``watching``, ``not running``, ``standing by; another watch leads``."""
    if not runs(watch, now):
        return NOT_RUNNING
    standing_by = watch.health is not None and watch.health.state == STANDING_BY
    return STANDS_BY if standing_by else RUNNING


def is_blind(snapshot: Snapshot, now: datetime) -> bool:
    """Whether nothing in the store can be taken for the present.

    No watch runs, or it cannot write what it learns, or the store cannot be read.
    """
    health = snapshot.watch.health
    unwritten = health is not None and bool(health.store_problem)
    return snapshot.store_problem or unwritten or not runs(snapshot.watch, now)
