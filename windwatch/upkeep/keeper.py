"""The keeper of a watch: what it knows of itself, and whom it tells.

A watch asks it under which conditions to step, and tells it what happened; it never decides
anything about the wind.
"""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta

from windwatch.clock import Clock
from windwatch.delivery.channels import ChannelBook
from windwatch.delivery.worker import DrainReport
from windwatch.episodes.books import Books
from windwatch.episodes.clock_doubt import Conditions, Gap
from windwatch.errors import StoreError
from windwatch.fleet import Fleet
from windwatch.record import Change
from windwatch.store.store import Store
from windwatch.upkeep import words
from windwatch.upkeep.direct import Direct, OnceOnlyBook
from windwatch.upkeep.doubt_record import DoubtRecord
from windwatch.upkeep.feed_failing import FeedFailing
from windwatch.upkeep.health import STOPPED, WATCHING, Health, stations_of, write
from windwatch.upkeep.minded import MindedClock
from windwatch.upkeep.patience import Patience
from windwatch.upkeep.reach import Reach
from windwatch.upkeep.showing import Outward
from windwatch.upkeep.store_standing import StoreStanding
from windwatch.upkeep.telling import NOT_OURS, Teller
from windwatch.upkeep.unwritten import Written
from windwatch.upkeep.waking import Waking

log = logging.getLogger(__name__)


class Keeper:
    """What a watch knows of itself.

    Parameters
    ----------
    fleet : Fleet
    store : Store
    channels : ChannelBook
    clock : Clock
        The machine's.
    every : timedelta
        Between two polls.
    polls : bool
        False where reports are handed in: then nobody can tell a gap from a recording.
    outward : Outward
    """

    def __init__(
        self,
        fleet: Fleet,
        store: Store,
        channels: ChannelBook,
        clock: Clock,
        every: timedelta,
        *,
        polls: bool,
        outward: Outward | None = None,
    ) -> None:
        self.clock = MindedClock(clock, fleet.rules)
        self._fleet = fleet
        self._store = store
        self._every = every
        self._outward = outward or Outward()
        self._polls = polls
        self.direct = Direct(channels, self.clock)
        self.channels = OnceOnlyBook(channels, self.direct)
        self.patience = Patience()
        self._doubts = DoubtRecord(store, self.patience)
        self._teller = Teller(fleet, store, channels, self.direct, self.clock, self._outward.hide)
        self._reach = Reach(fleet, store, channels, self._teller)
        self._standing = StoreStanding(store, self.direct, self._teller, self.clock, self._outward)
        self.unwritten = self._standing.unwritten
        self._lock = threading.RLock()
        self._started_at = self.clock.now()
        self._config_problem = ""
        self._feed_failing = FeedFailing()
        self._polled = False
        self._last_cycle_at: datetime | None = None
        self._last_turn_at: datetime | None = None
        watched_until = self._standing.recall() if polls else None
        self._waking = Waking(self._longest(), watched_until)

    def _longest(self) -> timedelta:
        """The shortest `stale_after`: each airfield then judges by its own."""
        return min((a.stale_after for a in self._fleet.airfields), default=timedelta(hours=1))

    # --- the configuration ----------------------------------------------------------

    def adopt(
        self, fleet: Fleet, channels: ChannelBook, every: timedelta, outward: Outward | None
    ) -> None:
        """Take a new configuration."""
        with self._lock:
            self._fleet, self._every = fleet, every
            self._outward = outward or Outward()
            self.clock.rules = fleet.rules
            self.direct.replace_channels(channels)
            self.channels = OnceOnlyBook(channels, self.direct)
            self._waking.longest_is(self._longest())
            self._teller.adopt(fleet, channels, self._outward.hide)
            self._reach.adopt(fleet, channels)
            self._standing.adopt(self._outward)

    def config_stands(self, refused: str, restart: str) -> None:
        """Tell why the files are not, or not wholly, what is in force; '' where they are."""
        self._config_problem = self._outward.hide("; ".join(filter(None, (refused, restart))))
        for problem, trouble in (
            (refused, words.config_trouble(refused)),
            (restart, words.restart_trouble(restart)),
        ):
            if problem:
                self._teller.begun(trouble)
            else:
                self._teller.over(trouble.key)

    def housekeep(self) -> None:
        """Drop from the store what nobody looks up any more; not by a clock in doubt."""
        if self.clock.trust.in_doubt:
            log.info("housekeeping_waits", extra={"problem": "the clock is in doubt"})
            return
        tidied = self._store.tidy(self.clock.now())
        log.info("tidied", extra={"dropped": tidied.dropped, "size_bytes": tidied.size_bytes})

    # --- conditions ---------------------------------------------------------------

    def conditions(self, airfield: str) -> Conditions:
        """Under which conditions a step at an airfield is made now."""
        now, trust = self.clock.now(), self.clock.trust
        if self._polls:
            self._doubts.note(trust, now)
        return Conditions(
            clock_in_doubt=trust.in_doubt,
            unwritten=bool(self.unwritten),
            catching_up=self._waking.catching_up,
            not_watched=self._waking.to_tell(airfield),
        )

    def play_gap(self, gap: Gap | None) -> None:
        """Tell of a gap that was recorded, from the next step on; None: it is told."""
        self._waking.play(gap, (a.id for a in self._fleet.airfields))

    def turn(self) -> None:
        """A poll or a tick begins."""
        self.patience.turn()
        self._doubts.turn()
        if self._polls:
            self._waking.turn(self.clock.now(), (a.id for a in self._fleet.airfields))
        self.direct.turn()

    def told(self, change: Change) -> None:
        """A change was stored: whoever is to hear of it will."""
        self._no_more_of_the_gap(change)
        self.direct.remember(change.composed)
        count = 0
        for notice, content in change.composed:
            count += 1
            if content.payload.get("plain"):
                self._teller.begun(words.words_trouble(notice.id))
            else:
                self._teller.over(words.WORDS)
        self._count(notices=count)

    def _no_more_of_the_gap(self, change: Change) -> None:
        if change.outcome.gap is not None:
            self._waking.told(change.outcome.books.state.airfield)

    # --- the feed -----------------------------------------------------------------

    def asked(self, server_date: datetime | None, error: Exception | None, problem: str) -> None:
        """The feed was asked.

        Parameters
        ----------
        server_date : datetime or None
            What its clock says.
        error : Exception or None
            Why it gave nothing.
        problem : str
            The same in words; '' where it answered.
        """
        if words.NOT_YET_VALID in problem:
            self.clock.suspect(words.YEARS_BEHIND)
        before, after = self.clock.hear(server_date)
        moved = after.correction - before.correction
        self._waking.asked(
            self.clock.now(),
            moved,
            (a.id for a in self._fleet.airfields),
            corrected=before.disagreed or after.disagreed,
        )
        if after.in_doubt and not before.in_doubt:
            log.warning("clock_in_doubt", extra={"problem": after.reason})
        now = self.clock.now()
        hidden = self._outward.hide(problem)
        if error is None:
            self._feed_failing.answered(hidden)
            self._teller.over(words.FEED)
        elif self._feed_failing.failed(error, problem, hidden, now):
            self._teller.begun(words.feed_trouble(problem))

    def mind_the_clock(self, books: Mapping[str, Books]) -> None:
        """Tell that the clock is in doubt, or no longer, to operators and to whom it concerns."""
        trust = self.clock.trust
        if not trust.in_doubt:
            self._teller.over(words.CLOCK)
        elif trust.told and trust.since is not None:
            holding = {
                contact
                for each in books.values()
                for told in each.state.ledger
                if told.open
                for contact in told.contacts
            }
            known = [c.name for c in self._fleet.contacts if c.name in holding]
            self._teller.begun(words.clock_trouble(trust.since, trust.reason), known)

    # --- the store ----------------------------------------------------------------

    def could_not_write(self, change: Change, error: Exception) -> None:
        """Warn people directly of what could not be written."""
        if isinstance(error, NOT_OURS):
            return
        if isinstance(error, StoreError):
            self._standing.hold(change, error)
            self._no_more_of_the_gap(change)
        self.direct.send(change.composed)

    def could_not_deliver(self, error: StoreError) -> None:
        """The outbox cannot be used: what it holds of warnings goes out past it."""
        if not isinstance(error, NOT_OURS):
            self._standing.fails(error)
            self.direct.rescue()

    def write_unwritten(self, write: Callable[[Sequence[Change]], object]) -> Written:
        """Write what waits; say what became of it."""
        return self._standing.write_unwritten(write)

    def still_unwritten(self, error: StoreError) -> None:
        """The store cannot be written yet."""
        self._standing.still_unwritten(error)

    def written(self) -> None:
        """The store works."""
        self._standing.works()

    @property
    def gave_up(self) -> str:
        """Why it is of no use to go on; '' as long as it is."""
        return self._standing.gave_up

    # --- cycles -------------------------------------------------------------------

    def polled(self, fetched: int, failed: list[str], books: Mapping[str, Books]) -> None:
        """A poll has ended; note it in the store, which shows that it can be written."""
        now = self._last_turn_at = self.clock.now()
        self._count(polls=1, reports=fetched)
        self._waking.all_told()
        self.mind_the_clock(books)
        if self._polls and not self.unwritten and self.clock.trust.confirmed:
            self._standing.note_turn(now, [contact.name for contact in self._fleet.contacts])
        good = not (failed or self._feed_failing.problem or self._standing.problem)
        self._polled = good and not self.clock.trust.in_doubt
        if not self._polled:
            self.show(books)

    def drained(
        self, report: DrainReport, began_after_poll: bool, books: Mapping[str, Books]
    ) -> None:
        """Every due delivery was attempted; with a good poll before it, that is a cycle."""
        self._count(delivered=report.accepted, delivery_failures=report.failed + report.refused)
        if not (began_after_poll or report.for_operator):
            return
        now = self.clock.now()
        try:
            self._reach.look(now, at_once=bool(report.for_operator))
            due = self._store.next_due(now)
        except StoreError as error:
            log.warning("standing_unread", extra={"problem": str(error)})
            return
        if began_after_poll and (due is None or due > now or report.under_way):
            self._polled = False
            if not self._reach.deaf:
                self._last_cycle_at = now
                if self._outward.heartbeat is not None:
                    self._outward.heartbeat.beat()
        self.show(books)

    @property
    def polled_well(self) -> bool:
        """Whether a good poll waits for its deliveries."""
        return self._polled

    def _count(self, **by: int) -> None:
        if self._outward.metrics is not None:
            self._outward.metrics.count(**by)

    # --- showing ------------------------------------------------------------------

    def health(self, books: Mapping[str, Books], state: str = WATCHING) -> Health:
        """How the watch stands."""
        now = self.clock.now()
        trust = self.clock.trust
        heartbeat = self._outward.heartbeat
        return Health(
            written_at=now,
            started_at=self._started_at,
            pid=os.getpid(),
            interval=self._every,
            state=state,
            last_cycle_at=self._last_cycle_at,
            last_turn_at=self._last_turn_at,
            feed_problem=self._feed_failing.problem,
            store_problem=self._standing.problem,
            clock_problem=trust.reason if trust.in_doubt else "",
            heartbeat_problem="" if heartbeat is None else heartbeat.problem,
            config_problem=self._config_problem,
            stations=stations_of(self._fleet, books, now),
            deliveries_open=self._reach.deliveries.open,
            deliveries_dead=self._reach.deliveries.dead,
            unreached=self._reach.unreached,
            troubles=tuple(
                (each.trouble.key, each.trouble.headline, each.since)
                for each in self._teller.standing
            ),
        )

    def show(self, books: Mapping[str, Books], state: str = WATCHING) -> None:
        """Write how the watch stands; that it cannot be written stops nothing."""
        found = self.health(books, state)
        self._outward.hints.note((each.hint for each in found.stations), found.written_at)
        if self._outward.metrics is not None:
            self._outward.metrics.show(found, found.written_at)
        if self._outward.status is None:
            return
        try:
            with self._lock:
                write(self._outward.status, found)
        except OSError as error:
            log.warning("health_unwritten", extra={"problem": error.strerror})

    def close(self, books: Mapping[str, Books]) -> None:
        """The watch ends."""
        self.show(books, STOPPED)
        if self._outward.heartbeat is not None:
            self._outward.heartbeat.close()
        if self._outward.metrics is not None:
            self._outward.metrics.close()
