"""The schedule: turns the crank of a watch by the clock, until told to stop."""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Callable
from datetime import UTC, timedelta
from typing import Any, Final

from windwatch.clock import Clock
from windwatch.errors import StoreError
from windwatch.forecasting import Forecasting
from windwatch.reload import Reload
from windwatch.store.leading import RENEW_EVERY, Leadership
from windwatch.upkeep.watchdog import GAVE_UP, Watchdog, limits
from windwatch.watch import Watch

log = logging.getLogger(__name__)

TICK: Final = timedelta(seconds=15)
# A step of the wall clock against the monotonic one by more than this is a jump.
JUMP_S: Final = 2.0
HOUSEKEEPING: Final = timedelta(days=1)
# Not in the first minutes, which belong to what was missed.
FIRST_HOUSEKEEPING: Final = timedelta(minutes=10)
LOST: Final = "another watcher has taken over"


def run(
    watch: Watch,
    every: timedelta,
    clock: Clock,
    stop: threading.Event,
    end: Callable[[int], object] = os._exit,
    leadership: Leadership | None = None,
    reload: Reload | None = None,
    forecasting: Forecasting | None = None,
) -> None:
    """Turn the crank by the clock until told to stop, or until another watcher has taken over.

    Parameters
    ----------
    every : timedelta
        Between two polls.
    stop : Event
        Set by whoever wants a clean end: nothing new is begun, what is under way ends.
    end : callable
        Ends the process where something hangs: a hanging thread lets nothing else end it.
    leadership : Leadership or None
        Renewed as long as it runs, where other watchers stand by.
    reload : Reload or None
        Looks whether the configuration has changed.
    forecasting : Forecasting or None
        Asks for forecasts, in a thread of its own.

    Raises
    ------
    StoreError
        If the store could not be written for so long that it is of no use to go on.
    """
    from apscheduler.schedulers.background import (  # noqa: PLC0415 - slow to load
        BackgroundScheduler,
    )

    scheduler = BackgroundScheduler(timezone=UTC)
    common = {"coalesce": True, "max_instances": 1, "misfire_grace_time": None}
    now = clock.now()
    dog = Watchdog(clock, limits(every))
    polls = _Polls(watch, clock)
    jobs = [
        scheduler.add_job(
            _guarded(polls.poll, "poll", dog),
            "interval",
            seconds=every.total_seconds(),
            next_run_time=now,
            **common,
        ),
        scheduler.add_job(
            _guarded(watch.tick, "tick", dog),
            "interval",
            seconds=TICK.total_seconds(),
            next_run_time=now + TICK,
            **common,
        ),
    ]
    scheduler.add_job(
        _guarded(watch.keeper.housekeep, "housekeeping"),
        "interval",
        seconds=HOUSEKEEPING.total_seconds(),
        next_run_time=now + FIRST_HOUSEKEEPING,
        **common,
    )
    lost = threading.Event()
    if leadership is not None:
        scheduler.add_job(
            lambda: _lead_on(leadership, lost),
            "interval",
            seconds=RENEW_EVERY.total_seconds(),
            **common,
        )
    halt = threading.Event()
    courier = threading.Thread(target=_deliver_on, args=(watch, clock, halt, dog), name="courier")
    foreseer: threading.Thread | None = None
    reader: threading.Thread | None = None
    started = False

    def adopted() -> None:
        polls.move(jobs[0], dog)
        if forecasting is not None:
            forecasting.woken.set()

    def trouble() -> str:
        if lost.is_set():
            return LOST
        hangs = dog.look()
        if hangs:
            log.critical("watch_hangs", extra={"problem": hangs})
            end(GAVE_UP)
        return hangs or watch.keeper.gave_up

    why = ""
    courier.start()
    # From here on whatever fails must set `halt`: the courier would keep the process from ending.
    try:
        scheduler.start()
        started = True
        foreseer = _forecast_on(forecasting, halt)
        reader = _read_on(reload, halt, adopted)
        why = _mind_the_clock(clock, stop, jobs, trouble)
    finally:
        halt.set()
        # First of all, for it moves the polls.
        _end_reading(reload, reader)
        _end_forecasting(forecasting, foreseer)
        if started:
            scheduler.shutdown(wait=True)
        watch.work.set()
        courier.join(timeout=30)
        watch.close()
    if why and why != LOST:
        raise StoreError(f"{why}; the watch ends, so that its supervisor starts it anew")


class _Polls:
    """The polls of a watch, and when the last one began."""

    def __init__(self, watch: Watch, clock: Clock) -> None:
        self._watch = watch
        self._clock = clock
        self._began_s = clock.monotonic()

    def poll(self) -> None:
        """Ask once."""
        self._began_s = self._clock.monotonic()
        self._watch.poll()

    def move(self, job: Any, dog: Watchdog) -> None:
        """Go on by a new configuration, and soon, for what was added in it."""
        every = self._watch.settings.feed.every
        dog.expect(limits(every))
        job.reschedule("interval", seconds=every.total_seconds())
        # No feed minds to be asked once a minute.
        since = timedelta(seconds=self._clock.monotonic() - self._began_s)
        wait = max(min(every, timedelta(minutes=1)) - since, timedelta(0))
        job.modify(next_run_time=self._clock.now() + wait)


def _read_on(
    reload: Reload | None, halt: threading.Event, adopted: Callable[[], object]
) -> threading.Thread | None:
    """Look after the configuration in a thread of its own: no file may hold up the watch."""
    if reload is None:
        return None
    # A file on a server that hangs must not hold up the end either.
    reader = threading.Thread(
        target=reload.look_on, args=(halt, adopted), name="reload", daemon=True
    )
    reader.start()
    return reader


def _forecast_on(forecasting: Forecasting | None, halt: threading.Event) -> threading.Thread | None:
    """Ask for forecasts in a thread of its own: they are only shown, and may hold up nothing."""
    if forecasting is None:
        return None
    # A server that hangs must not hold up the end either.
    foreseer = threading.Thread(
        target=forecasting.look_on, args=(halt,), name="forecasts", daemon=True
    )
    try:
        foreseer.start()
    except (RuntimeError, MemoryError) as error:
        # No thread is left for it: the watch itself goes on without forecasts.
        log.error("no_forecasts", extra={"problem": str(error)})  # noqa: TRY400 - no mistake
        return None
    return foreseer


def _end_forecasting(forecasting: Forecasting | None, foreseer: threading.Thread | None) -> None:
    if forecasting is not None and foreseer is not None:
        forecasting.woken.set()
        foreseer.join(timeout=1)


def _end_reading(reload: Reload | None, reader: threading.Thread | None) -> None:
    if reload is not None and reader is not None:
        reload.asked.set()
        reader.join(timeout=10)


def _lead_on(leadership: Leadership, lost: threading.Event) -> None:
    """Renew the lead; where another watcher has taken over, this one must end."""
    try:
        if not leadership.renew():
            lost.set()
    except StoreError as error:
        # Nobody can take over either while the store does not answer.
        log.warning("lead_not_renewed", extra={"problem": str(error)})


def _guarded(
    turn: Callable[[], object], name: str, dog: Watchdog | None = None
) -> Callable[[], None]:
    """A failing turn is told and the next one tried; nothing stops the schedule."""

    def guarded() -> None:
        try:
            turn()
        except Exception:
            # The watch must outlive whatever fails in one turn; the next one tries again.
            log.exception("turn_failed", extra={"turn": name})
        if dog is not None:
            dog.turned(name)

    return guarded


def _mind_the_clock(
    clock: Clock,
    stop: threading.Event,
    jobs: list[Any],
    trouble: Callable[[], str] = lambda: "",
) -> str:
    """Run the jobs at once when the wall clock has jumped: the scheduler would wait it out.

    Returns
    -------
    str
        The trouble that ended it; '' if it was told to stop.
    """
    offset = clock.now().timestamp() - clock.monotonic()
    while not clock.wait(stop, 1.0):
        if why := trouble():
            return why
        drift = clock.now().timestamp() - clock.monotonic() - offset
        if abs(drift) > JUMP_S:
            log.warning("clock_jumped", extra={"by_s": round(drift, 1)})
            offset += drift
            for job in jobs:
                job.modify(next_run_time=clock.now())
    return ""


def _deliver_on(watch: Watch, clock: Clock, stop: threading.Event, dog: Watchdog) -> None:
    """Send what is due, at once when something new was made."""
    while not stop.is_set():
        watch.work.clear()
        try:
            watch.deliver(stop)
            due = watch.next_due()
        except Exception:
            # As above: told, and tried again.
            log.exception("turn_failed", extra={"turn": "deliver"})
            due = None
        dog.turned("delivery")
        wait = 5.0
        if due is not None:
            wait = min(5.0, max(0.2, (due - clock.now()).total_seconds()))
        # Also woken when the watch ends.
        clock.wait(watch.work, wait)
    try:
        watch.deliver(stop)
    except Exception:
        log.exception("turn_failed", extra={"turn": "deliver"})
