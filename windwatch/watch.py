"""The watch: poll, judge, store, deliver. The only place where the rim meets; it holds no rules.

`Watch` turns the crank; whoever holds it says when: `run` by the clock, `replay` by the recording,
a test by hand.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any, Final

from windwatch import pipeline
from windwatch.clock import Clock
from windwatch.delivery.channels import ChannelBook
from windwatch.delivery.worker import DrainReport, Worker
from windwatch.episodes.books import Books, Setup
from windwatch.episodes.entries import Judged, stations_of
from windwatch.errors import FeedBusy, FeedError
from windwatch.feeds.values import Feed
from windwatch.fleet import Airfield
from windwatch.notices.compose import compose
from windwatch.notices.plain import compose_plain
from windwatch.notices.restate import state_now
from windwatch.notices.telling import situation_now
from windwatch.notices.values import Content, Notice
from windwatch.record import keep, load_states, words_for
from windwatch.reports.decode import read_wind
from windwatch.reports.raw import RawReport
from windwatch.settings.running import Settings
from windwatch.store.store import Store

log = logging.getLogger(__name__)

TICK: Final = timedelta(seconds=15)
# A step of the wall clock against the monotonic one by more than this is a jump.
JUMP_S: Final = 2.0
# Past this share of `stale_after` the feed is asked past every cache: a stale validator
# would otherwise answer "not modified" for ever.
ASK_FRESH_AT: Final = 2 / 3
# Asked back so far after a gap in watching: as long as late reports still count.
LOOK_BACK: Final = timedelta(hours=6)


@dataclass(slots=True)
class CycleReport:
    """What one poll came to.

    Attributes
    ----------
    fetched : int
        Reports that the feed gave.
    problems : list of str
        What could not be used, in words.
    feed_failed : str
        Why the feed gave nothing; '' where it answered.
    judged : list of (airfield, Judged)
        What became of each report.
    notices : list of Notice
        What goes out.
    """

    fetched: int = 0
    problems: list[str] = field(default_factory=list)
    feed_failed: str = ""
    judged: list[tuple[str, Judged]] = field(default_factory=list)
    notices: list[tuple[Notice, Content]] = field(default_factory=list)


class Watch:
    """One watch over all airfields of a configuration.

    Parameters
    ----------
    settings : Settings
    store : Store
        Held by this process.
    feed : Feed or None
        None where reports are handed in (`take`).
    channels : ChannelBook
    clock : Clock
    random : Random
        For the jitter of retries.
    """

    def __init__(
        self,
        settings: Settings,
        store: Store,
        feed: Feed | None,
        channels: ChannelBook,
        clock: Clock,
        random: Random | None = None,
    ) -> None:
        self.settings = settings
        self.setup = Setup(settings.fleet)
        self._store = store
        self._feed = feed
        self._channels = channels
        self._clock = clock
        # One step at a time: polls, ticks and restatements come from several threads.
        self._turn = threading.RLock()
        self._worker = Worker(
            store,
            channels,
            clock,
            self._restate,
            random or Random(),  # noqa: S311 - jitter, not cryptography
        )
        self._airfields = {a.id: a for a in settings.fleet.airfields}
        self._ask_fresh = False
        self._acknowledged: set[tuple[str, datetime]] = set()
        # Set whenever something was enqueued, so that it leaves at once.
        self.work = threading.Event()
        self.books = self._restore()

    def _restore(self) -> dict[str, Books]:
        now = self._clock.now()
        states = load_states(self._store)
        books = {}
        for airfield in self._airfields.values():
            state = states.get(airfield.id)
            if state is None:
                books[airfield.id] = pipeline.begin(self.setup, airfield, now)
            else:
                books[airfield.id] = pipeline.restore(self.setup, airfield, state)
        self._acknowledged = {(a.episode, a.at) for a in self._store.acknowledgements()}
        return books

    # --- one turn of the crank ------------------------------------------------

    def poll(self) -> CycleReport:
        """Ask the feed once, judge what came, and let time pass."""
        report = CycleReport()
        if self._feed is not None:
            self._fetch(self._feed, report)
        self.tick(report)
        return report

    def _fetch(self, feed: Feed, report: CycleReport) -> None:
        now = self._clock.now()
        stations = self.settings.fleet.stations()
        try:
            result = feed.fetch(
                stations, now, since=self._since(now), fresh=self._ask_fresh or self._aging(now)
            )
        except FeedBusy as busy:
            report.feed_failed = str(busy)
            log.warning("feed_busy", extra={"problem": busy.problem})
            return
        except FeedError as error:
            report.feed_failed = str(error)
            log.warning("feed_failed", extra={"problem": error.problem})
            return
        report.fetched = len(result.reports)
        report.problems = list(result.problems)
        for problem in result.problems:
            log.warning("feed_problem", extra={"problem": problem})
        self._ask_fresh = True  # until what came is stored
        self.take(result.reports, report)
        self._ask_fresh = False

    def _since(self, now: datetime) -> datetime | None:
        """After a gap in watching, ask back to the last report that was judged."""
        seen = [b.state.wind.at for b in self.books.values() if b.state.wind is not None]
        if not seen:
            return None
        oldest = min(seen)
        return max(oldest, now - LOOK_BACK) if now - oldest > timedelta(hours=2) else None

    def _aging(self, now: datetime) -> bool:
        for airfield in self._airfields.values():
            wind = self.books[airfield.id].state.wind
            if wind is not None and now - wind.at > airfield.stale_after * ASK_FRESH_AT:
                return True
        return False

    def take(self, reports: Iterable[RawReport], report: CycleReport | None = None) -> CycleReport:
        """Judge reports, each airfield's together as one event."""
        report = report if report is not None else CycleReport()
        by_airfield: dict[str, list[RawReport]] = {}
        for raw in reports:
            station = raw.station_asked or read_wind(raw.text, raw.received_at).station
            homes = [a.id for a in self._airfields.values() if station in stations_of(a)]
            if not homes:
                report.problems.append(f"a report of {station or 'nobody'} was not asked for")
            for home in homes:
                by_airfield.setdefault(home, []).append(raw)
        for airfield, raws in by_airfield.items():
            self._step(airfield, pipeline.ReportsCame(tuple(raws)), report)
        return report

    def tick(self, report: CycleReport | None = None) -> CycleReport:
        """Let time pass at every airfield, and take note of acknowledgements."""
        report = report if report is not None else CycleReport()
        self._take_acknowledgements(report)
        for airfield in self._airfields:
            self._step(airfield, pipeline.Tick(), report)
        return report

    def _take_acknowledgements(self, report: CycleReport) -> None:
        """Acknowledgements are written by other processes: the command, the board."""
        for ack in self._store.acknowledgements():
            if (ack.episode, ack.at) in self._acknowledged:
                continue
            self._acknowledged.add((ack.episode, ack.at))
            for airfield, books in self.books.items():
                if any(told.episode == ack.episode for told in books.state.ledger):
                    event = pipeline.Acknowledged((ack.episode,), ack.by)
                    self._step(airfield, event, report)

    def acknowledge(self, airfield: str, episodes: tuple[str, ...], by: str) -> CycleReport:
        """Take note of episodes by hand (a recorded acknowledgement)."""
        report = CycleReport()
        self._step(airfield, pipeline.Acknowledged(episodes, by), report)
        return report

    def _step(self, airfield: str, event: pipeline.Event, report: CycleReport) -> None:
        with self._turn:
            now = self._clock.now()
            before = self.books[airfield]
            outcome = pipeline.step(self.setup, before, event, now)
            report.judged += [(airfield, judged) for judged in outcome.judged]
            if outcome.books is before and not _news(outcome):
                return
            composed = tuple(
                (
                    notice,
                    words_for(notice, situation, self.settings.fleet, compose, compose_plain),
                )
                for notice, situation in outcome.notices
            )
            keep(
                self._store,
                event,
                before.state,
                outcome,
                now,
                composed,
                self._channels.kinds_of,
            )
            # Only what is stored is true: after a failed write the same reports come again.
            self.books[airfield] = outcome.books
            report.notices += composed
            for notice, _ in composed:
                log.info(
                    "notice_made",
                    extra={"notice": notice.id, "airfield": airfield, "steps": len(notice.steps)},
                )
            if composed:
                self.work.set()

    # --- delivery ---------------------------------------------------------------

    def deliver(
        self, stop: threading.Event | None = None, patience: timedelta | None = None
    ) -> DrainReport:
        """Send what is due."""
        if patience is None:
            return self._worker.drain(stop)
        return self._worker.drain(stop, patience)

    def next_due(self) -> datetime | None:
        """When the outbox has work next."""
        return self._store.next_due(self._clock.now())

    def _restate(
        self, contact: str, airfield: str, old: tuple[Notice, ...], now: datetime
    ) -> tuple[Notice, Content] | None:
        """One notice of the state now, in the place of notices that have become old."""
        field_ = self._airfields.get(airfield)
        if field_ is None:
            return None
        with self._turn:
            situation = situation_now(self.setup, field_, self.books[airfield], contact, now)
        notice = state_now(contact, field_, old, situation, now)
        content = words_for(notice, situation, self.settings.fleet, compose, compose_plain)
        return notice, content

    def airfield(self, airfield: str) -> Airfield:
        """The airfield of that identifier."""
        return self._airfields[airfield]


def _news(outcome: pipeline.Outcome) -> bool:
    """Whether there is anything to write: a step, a notice, or a report not seen before."""
    return bool(
        outcome.steps or outcome.notices or any(j.status != "duplicate" for j in outcome.judged)
    )


# --- by the clock -----------------------------------------------------------------


def run(watch: Watch, every: timedelta, clock: Clock, stop: threading.Event) -> None:
    """Turn the crank by the clock until told to stop.

    Parameters
    ----------
    every : timedelta
        Between two polls.
    stop : Event
        Set by whoever wants a clean end: nothing new is begun, what is under way ends.
    """
    from apscheduler.schedulers.background import (  # noqa: PLC0415 - slow to load
        BackgroundScheduler,
    )

    scheduler = BackgroundScheduler(timezone=UTC)
    common = {"coalesce": True, "max_instances": 1, "misfire_grace_time": None}
    now = clock.now()
    jobs = [
        scheduler.add_job(
            _guarded(watch.poll, "poll"),
            "interval",
            seconds=every.total_seconds(),
            next_run_time=now,
            **common,
        ),
        scheduler.add_job(
            _guarded(watch.tick, "tick"),
            "interval",
            seconds=TICK.total_seconds(),
            next_run_time=now + TICK,
            **common,
        ),
    ]
    courier = threading.Thread(target=_deliver_on, args=(watch, clock, stop), name="courier")
    courier.start()
    scheduler.start()
    try:
        _mind_the_clock(clock, stop, jobs)
    finally:
        scheduler.shutdown(wait=True)
        watch.work.set()
        courier.join(timeout=30)


def _guarded(turn: Callable[[], object], name: str) -> Callable[[], None]:
    """A failing turn is told and the next one tried; nothing stops the schedule."""

    def guarded() -> None:
        try:
            turn()
        except Exception:
            # The watch must outlive whatever fails in one turn; the next one tries again.
            log.exception("turn_failed", extra={"turn": name})

    return guarded


def _mind_the_clock(clock: Clock, stop: threading.Event, jobs: list[Any]) -> None:
    """Run the jobs at once when the wall clock has jumped: the scheduler would wait it out."""
    offset = clock.now().timestamp() - clock.monotonic()
    while not clock.wait(stop, 1.0):
        drift = clock.now().timestamp() - clock.monotonic() - offset
        if abs(drift) > JUMP_S:
            log.warning("clock_jumped", extra={"by_s": round(drift, 1)})
            offset += drift
            for job in jobs:
                job.modify(next_run_time=clock.now())


def _deliver_on(watch: Watch, clock: Clock, stop: threading.Event) -> None:
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
        wait = 5.0
        if due is not None:
            wait = min(5.0, max(0.2, (due - clock.now()).total_seconds()))
        clock.wait(watch.work, wait)
    try:
        watch.deliver(stop)
    except Exception:
        log.exception("turn_failed", extra={"turn": "deliver"})
