"""The watch: poll, judge, store, deliver. The only place where the rim meets; it holds no rules.

Whoever holds a `Watch` says when it turns: `schedule.run` by the clock, `replay` by the recording,
a test by hand.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from random import Random
from typing import Final

from windwatch import pipeline
from windwatch.clock import Clock
from windwatch.cycle import CycleReport, fail, news, received, single, why_not_fetched
from windwatch.delivery.channels import ChannelBook
from windwatch.delivery.worker import DrainReport, Worker
from windwatch.episodes.books import Books, Setup
from windwatch.episodes.entries import stations_of
from windwatch.episodes.intake import covering, wind_is_known
from windwatch.episodes.track import Folded
from windwatch.errors import StoreError
from windwatch.feeds.values import Feed
from windwatch.fleet import Airfield
from windwatch.notices.compose import compose
from windwatch.notices.plain import compose_plain
from windwatch.notices.restate import state_now
from windwatch.notices.telling import situation_now
from windwatch.notices.values import Content, Notice
from windwatch.record import Change, keep, load_states, noting_dead_letters, words_for
from windwatch.reports.decode import read_wind
from windwatch.reports.raw import RawReport
from windwatch.settings.running import Settings
from windwatch.store.leading import Leadership
from windwatch.store.store import Store
from windwatch.store.values import Acknowledgement as StoredAcknowledgement
from windwatch.upkeep.keeper import Keeper
from windwatch.upkeep.showing import Outward
from windwatch.upkeep.unwritten import ends_something

log = logging.getLogger(__name__)

# Past this share of `stale_after` the feed is asked past every cache: a stale validator
# would otherwise answer "not modified" for ever.
ASK_FRESH_AT: Final = 2 / 3
# So many airfields' notices are committed together: fewer waits for the disk, none of them long.
TOGETHER: Final = 16
# Asked back so far after a gap in watching: as long as late reports still count.
LOOK_BACK: Final = timedelta(hours=6)


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
    ) -> None:
        self.settings = settings
        self.setup = Setup(settings.fleet)
        self._store = store
        self._feed = feed
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
            state = states.pop(airfield.id, None)
            if state is not None:
                try:
                    books[airfield.id] = pipeline.restore(self.setup, airfield, state)
                    continue
                except Exception:
                    # Rather watched from now on than not at all; nothing is cleared by it.
                    log.exception("state_unusable", extra={"airfield": airfield.id})
            books[airfield.id] = pipeline.begin(self.setup, airfield, now)
        # Watched before, and not configured any more: whoever holds an alert is told.
        self._dropped = {
            airfield: Books(state, Folded())
            for airfield, state in states.items()
            if any(told.open for told in state.ledger)
        }
        return books

    # --- one turn of the crank ------------------------------------------------

    def poll(self) -> CycleReport:
        """Ask the feed once, judge what came, and let time pass."""
        report = CycleReport()
        self.keeper.turn()
        if self._feed is not None:
            self._fetch(self._feed, report)
        self.tick(report)
        self.keeper.polled(report.fetched, report.failed, self.books)
        if not report.feed_failed:
            # What could not be stored must come again, past "not modified".
            self._ask_fresh = bool(report.failed)
        return report

    def _fetch(self, feed: Feed, report: CycleReport) -> None:
        now = self._clock.now()
        stations = self.settings.fleet.stations()
        try:
            result = feed.fetch(
                stations, now, since=self._since(now), fresh=self._ask_fresh or self._aging(now)
            )
        except Exception as error:  # noqa: BLE001 - told; what depends on the time goes on
            report.feed_failed = why_not_fetched(error)
            self.keeper.asked(None, error, report.feed_failed)
            return
        self.keeper.asked(result.server_date, None, "")
        report.fetched = len(result.reports)
        report.problems = list(result.problems)
        for problem in result.problems:
            log.warning("feed_problem", extra={"problem": problem})
        self.take(received(result.reports, now, self._clock.now()), report)

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
        by_airfield = self._by_airfield(reports, report)
        with self._turn:
            self._write_unwritten(report)
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

    def _by_airfield(
        self, reports: Iterable[RawReport], report: CycleReport
    ) -> dict[str, list[RawReport]]:
        """Sort reports by the airfields that listen to their stations."""
        homes_of: dict[str, list[str]] = {}
        for airfield in self._airfields.values():
            for station in dict.fromkeys(stations_of(airfield)):
                homes_of.setdefault(station, []).append(airfield.id)
        by_airfield: dict[str, list[RawReport]] = {}
        for raw in (one for several in reports for one in single(several)):
            station = raw.station_asked or read_wind(raw.text, raw.received_at).station
            homes = homes_of.get(station, [])
            if not homes:
                report.problems.append(f"a report of {station or 'nobody'} was not asked for")
            for home in homes:
                by_airfield.setdefault(home, []).append(raw)
        return by_airfield

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
                keep(self._store, changes, self._channels.starts_of)
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
        return report

    def _drop(self, airfield: str, report: CycleReport) -> None:
        """Tell the end of what was open at an airfield that is not configured any more."""
        with self._turn:
            now = self._clock.now()
            before = self._dropped[airfield]
            try:
                outcome = pipeline.drop(self.settings.fleet, before, now)
                self._keep(Change(pipeline.Tick(), before.state, outcome, now), report)
            except Exception as error:  # noqa: BLE001 - told, and the others go on
                fail(report, airfield, error)
                return
            del self._dropped[airfield]

    def _take_acknowledgements(self, report: CycleReport) -> None:
        """Acknowledgements are written by other processes: the command, the board."""
        try:
            acknowledgements = self._store.acknowledgements()
        except StoreError as error:
            log.error(  # noqa: TRY400 - its sentence says it all
                "acknowledgements_unread", extra={"problem": str(error)}
            )
            return
        now = self._clock.now()
        for ack in acknowledgements:
            key = (ack.episode, ack.at)
            if key in self._acknowledged:
                continue
            lasts = self.settings.fleet.rules.acknowledged_for
            if now - ack.at < lasts and not self._take_note(ack, report):
                continue
            self._acknowledged.add(key)

    def _take_note(self, ack: StoredAcknowledgement, report: CycleReport) -> bool:
        """Take one acknowledgement; say whether nothing of it is left to store."""
        event = pipeline.Acknowledged((ack.episode,), ack.by)
        for airfield in self.books:
            state = self._present(airfield).state
            known = any(told.episode == ack.episode for told in state.ledger)
            # True after a restart for what was taken before it.
            taken = any(a.episode == ack.episode and a.at >= ack.at for a in state.acknowledged)
            if known and not taken:
                return self._try_step(airfield, event, report)
        return True

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
        if not may_end:
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
            keep(self._store, [*waiting, change], self._channels.starts_of)
        except Exception as error:
            self._warn_all_the_same(change, error, report)
            raise
        if waiting:
            self.keeper.written()
        for each in (*waiting, change):
            self._adopt(each, report)

    def _in_words(self, change: Change) -> Change:
        fleet = self.settings.fleet
        composed = tuple(
            (notice, words_for(notice, situation, fleet, compose, compose_plain))
            for notice, situation in noting_dead_letters(self._store, change.outcome.notices)
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
            waiting = self.keeper.unwritten.changes()
            try:
                keep(self._store, waiting, self._channels.starts_of)
            except StoreError as error:
                self.keeper.still_unwritten(error)
                report.failed.append(str(error))
                return
            self.keeper.written()
            for change in waiting:
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
        now = self._clock.now()
        return any(
            wind_is_known(airfield, self.books[airfield.id].state, now)
            or covering(airfield, self.books[airfield.id].state, now) is not None
            for airfield in self._airfields.values()
        )

    # --- delivery ---------------------------------------------------------------

    def deliver(
        self, stop: threading.Event | None = None, patience: timedelta | None = None
    ) -> DrainReport:
        """Send what is due."""
        after_poll = self.keeper.polled_well
        args = () if patience is None else (patience,)
        drained = self._worker.drain(stop, *args)
        self.keeper.drained(drained, after_poll, self.books)
        return drained

    def close(self) -> None:
        """Show that the watch has ended."""
        self.keeper.close(self.books)

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
        fleet = self.settings.fleet
        notice = state_now(contact, field_, old, situation, fleet.rules, now)
        content = words_for(notice, situation, fleet, compose, compose_plain)
        return notice, content

    def airfield(self, airfield: str) -> Airfield:
        """The airfield of that identifier."""
        return self._airfields[airfield]
