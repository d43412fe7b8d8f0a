"""The keeper of a watch: what it knows of itself, and whom it tells.

A watch asks it under which conditions to step, and tells it what happened; it never decides
anything about the wind.
"""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

from windwatch.clock import Clock
from windwatch.delivery.channels import ChannelBook
from windwatch.delivery.worker import DrainReport
from windwatch.episodes.books import Books
from windwatch.episodes.clock_doubt import WATCH, Conditions
from windwatch.episodes.intake import wind_is_known
from windwatch.errors import FeedBusy, LeadLost, StoreError, StoreHeld
from windwatch.fleet import Fleet
from windwatch.notices.operator import Trouble
from windwatch.notices.outbox import Route
from windwatch.notices.values import Content, Notice
from windwatch.record import Change
from windwatch.store.notes import note_watched, watched_until
from windwatch.store.standing import Deliveries, deliveries
from windwatch.store.store import Store
from windwatch.upkeep import words
from windwatch.upkeep.direct import Direct, OnceOnlyBook
from windwatch.upkeep.health import STOPPED, WATCHING, Health, StationHealth, write
from windwatch.upkeep.minded import MindedClock
from windwatch.upkeep.showing import Outward
from windwatch.upkeep.troubles import AGAIN_AFTER, TroubleBook
from windwatch.upkeep.unwritten import Unwritten
from windwatch.upkeep.waking import Waking

log = logging.getLogger(__name__)

# A feed that fails for so long is told to the operator; one that bans us at once.
FEED_PATIENCE: Final = timedelta(minutes=15)
LONG_RETRY: Final = timedelta(minutes=10)
# A route that is still tried counts as failing after so long.
ROUTE_PATIENCE: Final = timedelta(minutes=5)
# Troubles of a store that another run of the program would not find mended: F41.
LASTING: Final = frozenset({"read-only", "gone", "damaged", "newer", "other"})
# Anything else about the store is another watcher's business.
NOT_OURS: Final = (LeadLost, StoreHeld)

_NOBODY: Final = Deliveries(0, 0, ())


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
        self.clock = MindedClock(clock)
        self._fleet = fleet
        self._store = store
        self._book = channels
        self._every = every
        self._outward = outward or Outward()
        self._polls = polls
        self.direct = Direct(channels, self.clock)
        self.channels = OnceOnlyBook(channels, self.direct)
        self.unwritten = Unwritten()
        operators = tuple(c.name for c in fleet.contacts if c.operator)
        self._troubles = TroubleBook(operators)
        self._lock = threading.RLock()
        self._started_at = self.clock.now()
        self._deliveries = _NOBODY
        self._failing_since: dict[Route, datetime] = {}
        self._feed_problem = ""
        self._feed_fails_since: datetime | None = None
        self._store_problem = ""
        self._polled = False
        self._last_cycle_at: datetime | None = None
        self._last_turn_at: datetime | None = None
        self._waking = Waking(self._longest(), self._recall(operators))

    def _longest(self) -> timedelta:
        """The shortest `stale_after`: each airfield then judges by its own."""
        return min((a.stale_after for a in self._fleet.airfields), default=timedelta(hours=1))

    def _recall(self, operators: tuple[str, ...]) -> datetime | None:
        """What the watch before left: when it last turned, and what operators were told."""
        if not self._polls:
            return None
        try:
            since = self.clock.now() - AGAIN_AFTER
            for contact in operators:
                kept = self._store.notices(since, contact, limit=100)
                self._troubles.remember((k.notice, k.content) for k in kept)
            return watched_until(self._store)
        except StoreError as error:
            self._store_problem = self._outward.hide(str(error))
            return None

    def _tell_of_the_store(self) -> None:
        """Tell everybody once that the store is not the one of before: repeats are possible."""
        why = self._store.repaired
        if not why:
            return
        everybody = [contact.name for contact in self._fleet.contacts]
        self._begun(words.repaired_trouble(why), everybody)
        with self._store.transaction() as books:
            books.repair_told()
        with self._lock:
            self._troubles.dismiss(words.REPAIRED)

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
        return Conditions(
            clock_in_doubt=self.clock.trust.in_doubt,
            unwritten=bool(self.unwritten),
            catching_up=self._waking.catching_up,
            not_watched=self._waking.to_tell(airfield),
        )

    def turn(self) -> None:
        """A poll or a tick begins."""
        if self._polls:
            self._waking.turn(self.clock.now(), (a.id for a in self._fleet.airfields))
        if self.unwritten:
            self.direct.turn()

    def told(self, change: Change) -> None:
        """A change was stored: whoever is to hear of it will."""
        self._no_more_of_the_gap(change)
        count = 0
        for notice, content in change.composed:
            count += 1
            if content.payload.get("plain"):
                self._begun(words.words_trouble(notice.id))
            else:
                self._over(words.WORDS)
        self._count(notices=count)

    def _no_more_of_the_gap(self, change: Change) -> None:
        if any(step.track.quantity == WATCH for step in change.outcome.steps):
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
        self._feed_problem = self._outward.hide(problem)
        if error is None:
            self._feed_fails_since = None
            self._over(words.FEED)
            return
        self._feed_fails_since = self._feed_fails_since or now
        banned = isinstance(error, FeedBusy) and error.retry_after >= LONG_RETRY
        at_once = banned or "certificate" in problem or "HTTP 403" in problem
        if at_once or now - self._feed_fails_since >= FEED_PATIENCE:
            self._begun(words.feed_trouble(problem))

    def mind_the_clock(self, books: Mapping[str, Books]) -> None:
        """Tell that the clock is in doubt, or no longer, to operators and to whom it concerns."""
        trust = self.clock.trust
        if not trust.in_doubt:
            self._over(words.CLOCK)
        elif trust.told and trust.since is not None:
            holding = {
                contact
                for each in books.values()
                for told in each.state.ledger
                if told.open
                for contact in told.contacts
            }
            known = [c.name for c in self._fleet.contacts if c.name in holding]
            self._begun(words.clock_trouble(trust.since, trust.reason), known)

    # --- the store ----------------------------------------------------------------

    def could_not_write(self, change: Change, error: Exception) -> None:
        """Warn people directly of what could not be written."""
        if isinstance(error, NOT_OURS):
            return
        if isinstance(error, StoreError):
            self.unwritten.failed(error, self.clock.now())
            self.unwritten.add(change)
            self._no_more_of_the_gap(change)
            self._store_fails(error)
        self.direct.send(change.composed)

    def _store_fails(self, error: StoreError) -> None:
        self._store_problem = self._outward.hide(str(error))
        self._begun(words.store_trouble(str(error)))

    def still_unwritten(self, error: StoreError) -> None:
        """The store cannot be written yet."""
        self.unwritten.failed(error, self.clock.now())
        self._store_fails(error)

    def written(self) -> None:
        """The store works."""
        if self.unwritten:
            self.unwritten.written()
            try:
                self._store.finish(self.direct.hand_over(), self.clock.now())
            except StoreError as error:
                # The channels know what was taken, and do not send it again.
                log.warning("directly_taken_unwritten", extra={"problem": str(error)})
        self._store_problem = ""
        self._over(words.STORE)

    @property
    def gave_up(self) -> str:
        """Why it is of no use to go on; '' as long as it is."""
        error, since = self.unwritten.error, self.unwritten.since
        if error is None or since is None or error.kind not in LASTING:
            return ""
        lasted = self.clock.now() - since
        return str(error) if lasted >= self._outward.store_patience else ""

    # --- cycles -------------------------------------------------------------------

    def polled(self, fetched: int, failed: list[str], books: Mapping[str, Books]) -> None:
        """A poll has ended; note it in the store, which shows that it can be written."""
        now = self._last_turn_at = self.clock.now()
        self._count(polls=1, reports=fetched)
        self._waking.all_told()
        self.mind_the_clock(books)
        if self._polls and not self.unwritten:
            try:
                note_watched(self._store, now)
                self.written()
                self._tell_of_the_store()
            except StoreError as error:
                if not isinstance(error, NOT_OURS):
                    self._store_fails(error)
        good = not (failed or self._feed_problem or self._store_problem)
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
            self._look_at_routes(now, at_once=bool(report.for_operator))
            due = self._store.next_due(now)
        except StoreError as error:
            log.warning("standing_unread", extra={"problem": str(error)})
            return
        if began_after_poll and (due is None or due > now or report.under_way):
            self._polled = False
            if not self._deaf():
                self._last_cycle_at = now
                if self._outward.heartbeat is not None:
                    self._outward.heartbeat.beat()
        self.show(books)

    @property
    def polled_well(self) -> bool:
        """Whether a good poll waits for its deliveries."""
        return self._polled

    def _look_at_routes(self, now: datetime, *, at_once: bool) -> None:
        self._deliveries = deliveries(self._store)
        failing = {each.route: each for each in self._deliveries.failing}
        self._failing_since = {route: self._failing_since.get(route, now) for route in failing}
        for route, each in failing.items():
            if each.ended or at_once or now - self._failing_since[route] >= ROUTE_PATIENCE:
                self._begun(words.route_trouble(route, each.answer), route=route)
        for contact in self._fleet.contacts:
            routes = [Route(contact.name, kind) for kind in self._book.kinds_of(contact.name)]
            for route in routes:
                if route not in failing:
                    self._over(words.route_key(route))
            if self._is_unreached(contact.name):
                answers = "; ".join(f"{r.channel}: {failing[r].answer}" for r in routes)
                self._begun(words.contact_trouble(contact.name, answers))
            else:
                self._over(words.contact_key(contact.name))

    def _is_unreached(self, contact: str) -> bool:
        kinds = self._book.kinds_of(contact)
        return bool(kinds) and all(
            self._troubles.has(words.route_key(Route(contact, kind))) for kind in kinds
        )

    @property
    def unreached(self) -> tuple[str, ...]:
        """Contacts that no channel reaches."""
        return tuple(c.name for c in self._fleet.contacts if self._is_unreached(c.name))

    def _deaf(self) -> bool:
        """Somebody is reached by no channel, and no operator can be told: that is no good cycle."""
        unreached = self.unreached
        return bool(unreached) and not any(
            c.operator and c.name not in unreached for c in self._fleet.contacts
        )

    # --- telling ------------------------------------------------------------------

    def _begun(
        self, trouble: Trouble, also: Iterable[str] = (), route: Route | None = None
    ) -> None:
        with self._lock:
            clean = replace(trouble, reason=self._outward.hide(trouble.reason))
            told = self._troubles.begun(clean, self.clock.now(), also)
        self._post(told, route)

    def _over(self, key: str) -> None:
        with self._lock:
            told = self._troubles.over(key, self.clock.now())
        self._post(told)

    def _post(self, told: list[tuple[Notice, Content]], failing: Route | None = None) -> None:
        """Send notices about windwatch itself, by channels that work."""
        if not told:
            return
        try:
            with self._store.transaction() as books:
                for notice, content in told:
                    books.enqueue(notice, content, self._working(notice.contact, failing))
        except NOT_OURS:
            return
        except StoreError:
            self.direct.send(told)

    def _working(self, contact: str, failing: Route | None) -> tuple[str, ...]:
        """The first channel of a contact that is not known to fail; where all do, all of them."""
        kinds = self._book.kinds_of(contact)
        bad = {*self._failing_since, *((failing,) if failing is not None else ())}
        hosts = {channel.host for route in bad if (channel := self._book.get(route)) is not None}
        good = [
            kind
            for kind in kinds
            if (channel := self._book.get(Route(contact, kind))) is not None
            and channel.host not in hosts
        ]
        return tuple(good[:1]) or kinds

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
            feed_problem=self._feed_problem,
            store_problem=self._store_problem,
            clock_problem=trust.reason if trust.in_doubt else "",
            heartbeat_problem="" if heartbeat is None else heartbeat.problem,
            stations=tuple(
                StationHealth(
                    airfield.id,
                    airfield.station.id,
                    None if (seen := books[airfield.id].state.wind) is None else seen.at,
                    wind_is_known(airfield, books[airfield.id].state, now),
                )
                for airfield in self._fleet.airfields
                if airfield.id in books
            ),
            deliveries_open=self._deliveries.open,
            deliveries_dead=self._deliveries.dead,
            unreached=self.unreached,
            troubles=tuple(
                (each.trouble.key, each.trouble.headline, each.since)
                for each in self._troubles.standing
            ),
        )

    def show(self, books: Mapping[str, Books], state: str = WATCHING) -> None:
        """Write how the watch stands; that it cannot be written stops nothing."""
        found = self.health(books, state)
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
