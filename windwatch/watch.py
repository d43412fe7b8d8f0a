"""The watch: poll, judge, store, deliver. The only place where the rim meets; it holds no rules.

Whoever holds a `Watch` says when it turns: `schedule.run` by the clock, `replay` by the recording,
a test by hand.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from random import Random
from typing import Final

from windwatch import pipeline
from windwatch.asking import Asking
from windwatch.clock import Clock
from windwatch.cycle import (
    CycleReport,
    fail,
    knows_wind,
    news,
    received,
    sort_by_airfield,
    why_not_fetched,
)
from windwatch.delivery.channels import ChannelBook
from windwatch.delivery.worker import DrainReport, Worker
from windwatch.episodes.books import Books, Setup
from windwatch.errors import StoreError
from windwatch.feeds.values import Feed
from windwatch.fleet import Airfield
from windwatch.noted import Noted
from windwatch.notices.compose import compose
from windwatch.notices.plain import compose_plain
from windwatch.notices.restate import state_now
from windwatch.notices.telling import situation_now
from windwatch.notices.values import Content, Notice
from windwatch.record import (
    Change,
    Compose,
    configured,
    is_kept,
    keep,
    keep_configured,
    load_states,
    noting_dead_letters,
    words_for,
)
from windwatch.reports.raw import RawReport
from windwatch.settings.running import Settings
from windwatch.store.leading import Leadership
from windwatch.store.store import Store
from windwatch.taking_up import left_open, take_up
from windwatch.upkeep.keeper import Keeper
from windwatch.upkeep.replaced import Replaced
from windwatch.upkeep.showing import Outward
from windwatch.upkeep.unwritten import ends_something
from windwatch.wiring import Parts

log = logging.getLogger(__name__)

# So many airfields' notices are committed together: fewer waits for the disk, none of them long.
TOGETHER: Final = 16


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
    outward : Outward or None
        Where it shows how it stands: the state for `windwatch health`, the heartbeat, metrics.
    leadership : Leadership or None
        The right to watch, where other watchers stand by: asked again just before each sending.
    with_links : callable or None
        Puts notices into words where they bear links to take note.
    """

    def __init__(
        self,
        settings: Settings,
        store: Store,
        feed: Feed | None,
        channels: ChannelBook,
        clock: Clock,
        random: Random | None = None,
        outward: Outward | None = None,
        leadership: Leadership | None = None,
        with_links: Compose | None = None,
    ) -> None:
        self.settings = settings
        self._with_links = with_links
        self.setup = Setup(settings.fleet)
        self._store = store
        self._asking = Asking(feed)
        self._channels = channels
        self.keeper = Keeper(
            settings.fleet,
            store,
            channels,
            clock,
            settings.feed.every,
            polls=feed is not None,
            outward=outward,
        )
        # Goes on evenly where the machine's own jumps.
        self._clock = self.keeper.clock
        # One step at a time: polls, ticks and restatements come from several threads.
        self._turn = threading.RLock()
        self._worker = Worker(
            store,
            self.keeper.channels,
            self._clock,
            self._restate,
            random or Random(),  # noqa: S311 - jitter, not cryptography
            may_send=None if leadership is None else leadership.still_leads,
        )
        self._airfields = {a.id: a for a in settings.fleet.airfields}
        self._replaced = Replaced(store, self._clock.now())
        self._noted = Noted(store)
        # Set whenever something was enqueued, so that it leaves at once.
        self.work = threading.Event()
        states = load_states(store)
        self.books = take_up(self.setup, settings.fleet.airfields, states, self._clock.now())
        # Watched before, and not configured any more: whoever holds an alert is told.
        self._dropped = left_open(states.values(), self._airfields)
        started = configured(settings.fleet, self._clock.now())
        # Written together with the first that is judged by it.
        self._unrecorded = None if is_kept(store, started) else started

    # --- the configuration ------------------------------------------------------

    def adopt(self, settings: Settings, parts: Parts, changed: tuple[str, ...]) -> bool:
        """Take a new configuration; what is the same goes on untouched.

        Parameters
        ----------
        parts : Parts
            The rim that goes with it.
        changed : tuple of str
            What is different, in words, for the record.

        Returns
        -------
        bool
            False: not now, because what the old one came to could not be stored yet.

        Raises
        ------
        StoreError
            If it cannot be recorded; then the old one goes on.
        """
        with self._turn:
            if self.keeper.unwritten:
                return False
            now = self._clock.now()
            setup = Setup(settings.fleet, self.setup.desk)
            airfields = {a.id: a for a in settings.fleet.airfields}
            added = [a for a in airfields.values() if a.id not in self.books]
            taken_up = take_up(setup, added, load_states(self._store) if added else {}, now)
            config = configured(settings.fleet, now, changed)
            # First of all, so that what follows can be judged anew from the record.
            with self._store.transaction() as record:
                keep_configured(record, config)
            self._unrecorded = None
            present = [each.state for each in (*self._dropped.values(), *self.books.values())]
            self._dropped = left_open(present, airfields)
            self.books = {each: self.books.get(each) or taken_up[each] for each in airfields}
            self._airfields, self.settings, self.setup = airfields, settings, setup
            # What is under way ends by the old rim.
            self._asking.replace(parts.feed, (a.id for a in added))
            self._channels = parts.channels
            self.keeper.adopt(settings.fleet, parts.channels, settings.feed.every, parts.outward)
            self._worker.replace_channels(self.keeper.channels)
        return True

    def config_stands(self, refused: str, waits: str) -> None:
        """Tell why the configuration's files are not, or not wholly, what is in force."""
        self.keeper.config_stands(refused, waits)
        self.keeper.show(self.books)
        self.work.set()

    # --- one turn of the crank ------------------------------------------------

    def poll(self) -> CycleReport:
        """Ask the feed once, judge what came, and let time pass."""
        report = CycleReport()
        self._asking.close_replaced()
        self.keeper.turn()
        if self._asking.feed is not None:
            self._fetch(self._asking.feed, report)
        self.tick(report)
        self.keeper.polled(report.fetched, report.failed, self.books)
        if not report.feed_failed:
            # What could not be stored must come again, past "not modified".
            self._asking.again = bool(report.failed)
        return report

    def _fetch(self, feed: Feed, report: CycleReport) -> None:
        with self._turn:
            now = self._clock.now()
            question = self._asking.question(self.settings.fleet, self.books, now)
        try:
            result = self._asking.ask(feed, question)
        except Exception as error:  # noqa: BLE001 - told; what depends on the time goes on
            report.feed_failed = why_not_fetched(error)
            self.keeper.asked(None, error, report.feed_failed)
            return
        self.keeper.asked(result.server_date, None, "")
        report.fetched = len(result.reports)
        report.problems = list(result.problems)
        for problem in result.problems:
            log.warning("feed_problem", extra={"problem": problem})
        rules = self.settings.fleet.rules
        self.take(received(result.reports, now, self._clock.now(), rules), report)

    def take(self, reports: Iterable[RawReport], report: CycleReport | None = None) -> CycleReport:
        """Judge reports, each airfield's together as one event."""
        report = report if report is not None else CycleReport()
        by_airfield = sort_by_airfield(self._airfields.values(), reports, report.problems)
        with self._turn:
            self._write_unwritten(report)
            # The configuration may have changed since they were asked for.
            by_airfield = {each: raws for each, raws in by_airfield.items() if each in self.books}
            told: list[Change] = []
            quiet: list[Change] = []
            # The first notices go at once, whatever the other airfields still need.
            room = 1
            left = len(by_airfield)
            for airfield, raws in by_airfield.items():
                left -= 1
                change = self._judge_in_words(airfield, tuple(raws), report)
                if change is not None:
                    (told if change.composed else quiet).append(change)
                if left and len(told) == room:
                    self._keep_together(told, report)
                    told, room = [], TOGETHER
            self._keep_together([*told, *quiet], report)
        return report

    def _judge_in_words(
        self, airfield: str, raws: tuple[RawReport, ...], report: CycleReport
    ) -> Change | None:
        """Work out what one airfield's reports come to; None, if there is nothing to store."""
        try:
            change = self._judge(airfield, pipeline.ReportsCame(raws), report)
            return None if change is None else self._in_words(change)
        except Exception as error:  # noqa: BLE001 - told, and the others go on
            self._take_singly(airfield, raws, error, report)
            return None

    def _take_singly(
        self, airfield: str, raws: tuple[RawReport, ...], error: Exception, report: CycleReport
    ) -> None:
        """Where an airfield's reports fail together, judge and store each by itself."""
        if len(raws) == 1 or isinstance(error, StoreError):
            fail(report, airfield, error)
            return
        for raw in raws:
            self._try_step(airfield, pipeline.ReportsCame((raw,)), report)

    def _keep_together(self, changes: list[Change], report: CycleReport) -> None:
        """Store what reports at several airfields came to at once, for the disk is slow."""
        together = not self.keeper.unwritten
        if together:
            try:
                self._write(changes)
            except Exception:  # noqa: BLE001 - each by itself, and told by name
                together = False
        if not together:
            for change in changes:
                self._keep_singly(change, report)
            return
        for change in changes:
            self._adopt(change, report)

    def _keep_singly(self, change: Change, report: CycleReport) -> None:
        try:
            self._keep(change, report)
        except Exception as error:  # noqa: BLE001 - told, and the others go on
            raws = change.event.reports if isinstance(change.event, pipeline.ReportsCame) else ()
            self._take_singly(change.outcome.books.state.airfield, raws, error, report)

    def tick(self, report: CycleReport | None = None) -> CycleReport:
        """Let time pass at every airfield, and take note of acknowledgements."""
        report = report if report is not None else CycleReport()
        self.keeper.turn()
        self._write_unwritten(report)
        self._take_acknowledgements(report)
        for airfield in self._airfields:
            self._try_step(airfield, pipeline.Tick(), report)
        for airfield in tuple(self._dropped):
            self._drop(airfield, report)
        self._replaced.look([b.state for b in self.books.values()], self.settings.fleet.rules)
        return report

    def _drop(self, airfield: str, report: CycleReport) -> None:
        """Tell the end of what was open at an airfield that is not configured any more."""
        with self._turn:
            before = self._dropped.get(airfield)
            if before is None:
                return
            now = self._clock.now()
            try:
                outcome = pipeline.drop(self.settings.fleet, before, now)
                self._keep(Change(pipeline.Tick(), before.state, outcome, now), report)
            except Exception as error:  # noqa: BLE001 - told, and the others go on
                fail(report, airfield, error)
                return
            del self._dropped[airfield]

    def _take_acknowledgements(self, report: CycleReport) -> None:
        lasts = self.settings.fleet.rules.acknowledged_for
        with self._turn:
            states = [self._present(airfield).state for airfield in self.books]
        for airfield, ack in self._noted.waiting(states, lasts, self._clock.now()):
            if self._try_step(airfield, pipeline.Acknowledged((ack.episode,), ack.by), report):
                self._noted.taken(ack)

    def acknowledge(
        self, airfield: str, episodes: tuple[str, ...], by: str, report: CycleReport | None = None
    ) -> CycleReport:
        """Take note of episodes by hand (a recorded acknowledgement)."""
        report = report if report is not None else CycleReport()
        self._try_step(airfield, pipeline.Acknowledged(episodes, by), report)
        return report

    def _try_step(self, airfield: str, event: pipeline.Event, report: CycleReport) -> bool:
        """Step, and say whether it went well; a failing airfield never stops the others."""
        try:
            self._step(airfield, event, report)
        except Exception as error:  # noqa: BLE001 - told, and the others go on
            fail(report, airfield, error)
            return False
        return True

    def _step(self, airfield: str, event: pipeline.Event, report: CycleReport) -> None:
        with self._turn:
            if airfield not in self.books:
                return  # not configured any more
            change = self._judge(airfield, event, report)
            if change is not None:
                self._keep(change, report)

    def _present(self, airfield: str) -> Books:
        """The books as they stand, with what could not be stored yet."""
        return self.keeper.unwritten.books(airfield) or self.books[airfield]

    def _judge(
        self, airfield: str, event: pipeline.Event, report: CycleReport, *, may_end: bool = True
    ) -> Change | None:
        """Work out what an event comes to; None, if there is nothing to store."""
        now = self._clock.now()
        before = self._present(airfield)
        conditions = self.keeper.conditions(airfield)
        if airfield in self._asking.unasked:
            conditions = replace(conditions, catching_up=True)
        if not may_end or self._replaced.holds(before.state, self.settings.fleet.rules):
            conditions = replace(conditions, unwritten=True)
        outcome = pipeline.step(self.setup, before, event, now, conditions)
        if outcome.books is before and not news(outcome):
            report.judged += [(airfield, judged) for judged in outcome.judged]
            return None
        return Change(event, before.state, outcome, now)

    def _keep(self, change: Change, report: CycleReport) -> None:
        """Put a change into words and into the store, all of it or nothing, and adopt it."""
        change = self._in_words(change)
        # What could not be written before goes first, in the same transaction: a newer state
        # alone in the store would be written over by the older one later.
        waiting = self.keeper.unwritten.changes() if self.keeper.unwritten else []
        try:
            self._write([*waiting, change])
        except Exception as error:
            self._warn_all_the_same(change, error, report)
            raise
        if waiting:
            self.keeper.written()
        for each in (*waiting, change):
            self._adopt(each, report)

    def _write(self, changes: Sequence[Change]) -> None:
        with self.keeper.patience:
            keep(self._store, changes, self._channels.starts_of, self._unrecorded)
        if changes:
            self._unrecorded = None

    def _in_words(self, change: Change) -> Change:
        fleet, in_words = self.settings.fleet, self._with_links or compose
        notices = change.outcome.notices
        if self.keeper.patience.lost is None:
            notices = noting_dead_letters(self._store, notices)
        composed = tuple(
            (notice, words_for(notice, situation, fleet, in_words, compose_plain))
            for notice, situation in notices
        )
        return replace(change, composed=composed)

    def _warn_all_the_same(self, change: Change, error: Exception, report: CycleReport) -> None:
        """Have people warned past the store; nothing ends in what they are told so."""
        airfield = change.outcome.books.state.airfield
        if airfield not in self.books:
            return
        warning: Change | None = change
        if ends_something(change):
            warning = self._judge(airfield, change.event, report, may_end=False)
        if warning is not None:
            self.keeper.could_not_write(self._in_words(warning), error)

    def _write_unwritten(self, report: CycleReport) -> None:
        """Write first of all what could not be written before."""
        with self._turn:
            if not self.keeper.unwritten:
                return
            written = self.keeper.write_unwritten(self._write)
            report.failed += [] if written.error is None else [str(written.error)]
            for change, error in written.set_aside:
                fail(report, change.outcome.books.state.airfield, error)
            for change in written.changes:
                self._adopt(change, report)

    def _adopt(self, change: Change, report: CycleReport) -> None:
        """Only what is stored is true: after a failed write the same reports come again."""
        airfield = change.outcome.books.state.airfield
        if airfield in self.books:
            self.books[airfield] = change.outcome.books
        report.judged += [(airfield, judged) for judged in change.outcome.judged]
        report.notices += change.composed
        self.keeper.told(change)
        for notice, _ in change.composed:
            fields = {"notice": notice.id, "airfield": airfield, "steps": len(notice.steps)}
            log.info("notice_made", extra=fields)
        if change.composed:
            self.work.set()

    def knows_a_wind(self) -> bool:
        """Whether the wind of any airfield is known now, if only by a fall-back station."""
        return any(
            knows_wind(a, self.books[a.id], self._clock.now()) for a in self._airfields.values()
        )

    # --- delivery ---------------------------------------------------------------

    def deliver(
        self, stop: threading.Event | None = None, patience: timedelta | None = None
    ) -> DrainReport:
        """Send what is due."""
        after_poll = self.keeper.polled_well
        args = () if patience is None else (patience,)
        try:
            drained = self._worker.drain(stop, *args)
        except StoreError as error:
            self.keeper.could_not_deliver(error)
            raise
        self.keeper.drained(drained, after_poll, self.books)
        return drained

    def close(self) -> None:
        """Show that the watch has ended, and give back what it has open."""
        self._asking.close()
        self.keeper.close(self.books)

    def next_due(self) -> datetime | None:
        """When the outbox has work next."""
        return self._store.next_due(self._clock.now())

    def _restate(
        self, contact: str, airfield: str, old: tuple[Notice, ...], now: datetime
    ) -> tuple[Notice, Content] | None:
        """One notice of the state now, in the place of notices that have become old."""
        with self._turn:
            field_ = self._airfields.get(airfield)
            if field_ is None:
                return None
            situation = situation_now(self.setup, field_, self.books[airfield], contact, now)
        fleet, in_words = self.settings.fleet, self._with_links or compose
        notice = state_now(contact, field_, old, situation, fleet.rules, now)
        content = words_for(notice, situation, fleet, in_words, compose_plain)
        return notice, content

    def airfield(self, airfield: str) -> Airfield:
        """The airfield of that identifier."""
        return self._airfields[airfield]
