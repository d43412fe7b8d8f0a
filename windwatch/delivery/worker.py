"""The worker: drains the outbox, so that no contact holds up another.

One thread, the caller's, claims deliveries and writes how they ended; each delivery is sent
in a thread of its own. A few calls to one host at a time, one delivery of a lane at a time,
and where a host hangs, the others go on.
"""

from __future__ import annotations

import contextlib
import logging
import queue
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from random import Random
from typing import Final

from windwatch.clock import Clock, SystemClock
from windwatch.delivery.channels import ANSWER_LIMIT, Accepted, Channel, ChannelBook
from windwatch.delivery.hosts import Hosts
from windwatch.delivery.lanes import needs_one_notice
from windwatch.delivery.message import one_line
from windwatch.delivery.retry import Decision, Verdict, next_try
from windwatch.errors import DeliveryFailed, StoreError
from windwatch.notices.outbox import Delivery, DeliveryState, Outbox, Outcome, Route
from windwatch.notices.values import Content, Notice

LOG: Final = logging.getLogger("windwatch.delivery")

LEASE: Final = timedelta(seconds=60)
THREADS: Final = 24
PER_HOST: Final = 4
# How long one drain waits for deliveries under way; they go on behind it.
PATIENCE: Final = timedelta(seconds=20)
# Claimed at a time: few, so that what is urgent never waits behind many that are not. Each claim
# is a commit, so where hosts have room for all of them, more.
CLAIM: Final = 8
_TICK_S: Final = 0.05
NO_THREAD_WAIT: Final = timedelta(seconds=5)

# Patience is with real servers, also where a test's clock stands.
_elapsed: Final = SystemClock().monotonic

# Contact, airfield, the notices that became old (oldest first), now; None: nothing more to say.
# It is called in the thread that drains.
Restate = Callable[[str, str, tuple[Notice, ...], datetime], tuple[Notice, Content] | None]


@dataclass(slots=True)
class DrainReport:
    """What one drain did.

    Attributes
    ----------
    accepted, failed, refused, put_off, restated : int
        How many deliveries; `failed` will be tried again.
    under_way : int
        Still being sent when the drain ended.
    for_operator : list of str
        What a person should mend: contact, channel, what was said.
    fall_backs : list of Route
        Whose next channel should start now.
    """

    accepted: int = 0
    failed: int = 0
    refused: int = 0
    put_off: int = 0
    restated: int = 0
    under_way: int = 0
    for_operator: list[str] = field(default_factory=list)
    fall_backs: list[Route] = field(default_factory=list)


_WITHDRAWN: Final = Outcome(
    DeliveryState.WITHDRAWN,
    "the configuration no longer has this contact or channel",
    fall_back=True,
)


def _tell_of(error: Exception, event: str, **fields: str) -> None:
    """Log a mistake of ours by kind and place: its message may hold an address or a secret."""
    frames = traceback.extract_tb(error.__traceback__)
    place = f"{Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else ""
    LOG.error(event, extra={**fields, "error": type(error).__name__, "place": place})


def _not_begun(delivery: Delivery) -> Outcome:
    tried = delivery.tries > 1
    state = DeliveryState.WAITING if tried else DeliveryState.QUEUED
    return Outcome(state, delivery.last_answer, spent=False)


def _outcome(decision: Decision, answer: str, report: DrainReport) -> Outcome:
    """Turn a decision into what is written down, and count it."""
    match decision.verdict:
        case Verdict.RETRY:
            report.failed += 1
            return Outcome(
                DeliveryState.WAITING,
                answer,
                decision.at,
                plain=decision.plain,
                fall_back=decision.fall_back,
            )
        case Verdict.PUT_OFF:
            report.put_off += 1
            return Outcome(
                DeliveryState.WAITING,
                answer,
                decision.at,
                spent=False,
                fall_back=decision.fall_back,
            )
        case Verdict.GONE | Verdict.REFUSED:
            report.refused += 1
            return Outcome(DeliveryState.REFUSED, answer, fall_back=decision.fall_back)


@dataclass(frozen=True, slots=True)
class _Sent:
    """What came back from a sending thread: from whom, and from which address."""

    delivery: Delivery
    host: str
    address: str
    result: Accepted | DeliveryFailed


class Worker:
    """Drains one outbox; made once, it remembers what is under way and which host is down."""

    def __init__(
        self,
        outbox: Outbox,
        channels: ChannelBook,
        clock: Clock,
        restate: Restate,
        random: Random,
        *,
        threads: int = THREADS,
        per_host: int = PER_HOST,
        lease: timedelta = LEASE,
        may_send: Callable[[], bool] | None = None,
    ) -> None:
        self._outbox = outbox
        self._channels = channels
        self._clock = clock
        self._restate = restate
        # Asked just before each sending, where another watcher may have taken over meanwhile.
        self._may_send = may_send
        self._random = random
        self._threads = threads
        # Claimed together: more, while whatever is claimed finds room at its host at once.
        self._together = CLAIM
        self._hosts = Hosts(per_host)
        self._lease = lease
        self._draining = threading.Lock()
        self._under_way: dict[str, Delivery] = {}
        # Claimed, and waiting for a host that has as many calls as it gets.
        self._ready: dict[str, list[Delivery]] = {}
        self._back: queue.SimpleQueue[_Sent] = queue.SimpleQueue()
        self._seen: list[_Sent] = []
        # How attempts ended that the store would not take down: kept until it does, so that
        # what arrived is not sent again.
        self._unwritten: dict[str, tuple[Delivery, Outcome]] = {}

    def replace_channels(self, channels: ChannelBook) -> None:
        """Take a new configuration; what is under way ends by the old one."""
        self._channels = channels
        self._hosts.all_up()

    def drain(
        self, stop: threading.Event | None = None, patience: timedelta = PATIENCE
    ) -> DrainReport:
        """Send what is due, until nothing is, or nothing has moved for `patience`.

        Parameters
        ----------
        stop : Event or None
            Once set, nothing more is taken; what is under way may still end.
        patience : timedelta
            How long to wait for deliveries under way when nothing else moves. They go on in
            their threads, and the next drain writes down how they ended.

        Raises
        ------
        StoreError
            If the outbox cannot be read or written.
        """
        with self._draining:
            report = DrainReport()
            try:
                self._drain(report, stop or threading.Event(), patience.total_seconds())
            finally:
                self._release()
                report.under_way = len(self._under_way)
            return report

    def _drain(self, report: DrainReport, stop: threading.Event, patience_s: float) -> None:
        if self._unwritten:
            self._finish([], self._clock.now())
        ends_at = _elapsed() + patience_s
        # What an earlier drain left goes on; its lease must not run out meanwhile.
        renew_at = _elapsed()
        settle = True
        while True:
            came = self._collect()
            if came:
                ends_at = _elapsed() + patience_s
            settle = self._write_down(came, report) or settle
            if self._under_way and _elapsed() >= renew_at:
                self._renew()
                renew_at = _elapsed() + self._lease.total_seconds() / 3
            if not stop.is_set():
                if settle:
                    self._settle(report)
                    settle = False
                if self._take():
                    continue
            if not self._under_way or _elapsed() >= ends_at:
                return
            self._await()

    def _renew(self) -> None:
        held = [*self._under_way.values(), *(d for ready in self._ready.values() for d in ready)]
        self._outbox.renew(held, self._clock.now() + self._lease)

    def _release(self) -> None:
        """Give back what was claimed and not begun."""
        ended = [(delivery, _not_begun(delivery)) for r in self._ready.values() for delivery in r]
        self._ready.clear()
        if ended:
            self._finish(ended, self._clock.now())

    # --- taking -----------------------------------------------------------

    def _take(self) -> bool:
        """Start what there is room for, claim more; say whether anything moved."""
        moved = self._start_ready()
        if self._free() <= 0:
            return moved
        now = self._clock.now()
        claimed = self._outbox.claim_due(
            now, min(self._free(), self._together), self._lease, except_for=self._closed()
        )
        ended: list[tuple[Delivery, Outcome]] = []
        for delivery in claimed:
            channel = self._channels.get(delivery.route)
            known = self._unwritten.pop(delivery.id, None)
            if delivery.id in self._under_way:
                # Its lease ran out between two drains, but it is still going on here.
                self._under_way[delivery.id] = delivery
            elif known is not None:
                ended.append((delivery, known[1]))
            elif channel is None:
                ended.append((delivery, _WITHDRAWN))
            else:
                self._ready.setdefault(channel.host, []).append(delivery)
        if ended:
            self._finish(ended, now)
        moved = self._start_ready() or bool(claimed) or moved
        self._together = CLAIM if self._ready else min(2 * self._together, self._threads)
        return moved

    def _closed(self) -> list[Route]:
        """Routes to hosts that have as many calls as they get."""
        full = self._hosts.full() | set(self._ready)
        return [route for host in sorted(full) for route in self._channels.routes_to(host)]

    def _start_ready(self) -> bool:
        """Start what is claimed, as far as there is room; say whether anything moved."""
        now = self._clock.now()
        ended: list[tuple[Delivery, Outcome]] = []
        moved = False
        for host in tuple(self._ready):
            waiting = self._ready[host]
            while waiting and self._hosts.has_room(host) and self._free():
                delivery = waiting.pop(0)
                moved = True
                outcome = self._start(host, delivery, now)
                if outcome is not None:
                    ended.append((delivery, outcome))
            if not waiting:
                del self._ready[host]
        if ended:
            self._finish(ended, now)
        return moved

    def _free(self) -> int:
        return self._threads - len(self._under_way)

    def _start(self, host: str, delivery: Delivery, now: datetime) -> Outcome | None:
        """Start sending, or say why not."""
        channel = self._channels.get(delivery.route)
        if channel is None:
            return _WITHDRAWN
        if delivery.valid_until <= now:
            return Outcome(DeliveryState.WAITING, "no longer valid", now, spent=False)
        wait_s = self._hosts.wait_s(host, self._clock.monotonic())
        if wait_s > 0:
            due = min(now + timedelta(seconds=wait_s), delivery.valid_until)
            return Outcome(
                DeliveryState.WAITING, "the channel is down", due, spent=False, fall_back=True
            )
        if self._outbox.turned_off(delivery.route, channel.fingerprint):
            said = "the address is gone (410), and turned off"
            return Outcome(DeliveryState.REFUSED, said, fall_back=True)
        thread = threading.Thread(
            target=self._send,
            args=(channel, host, delivery, now),
            name=f"delivery {delivery.channel}",
            # A server may take ten minutes over its last word; leaving must not wait for it.
            daemon=True,
        )
        self._under_way[delivery.id] = delivery
        self._hosts.begin(host)
        try:
            thread.start()
        except RuntimeError:
            # No thread to be had now: nothing was sent, and others may end meanwhile.
            del self._under_way[delivery.id]
            self._hosts.end(host)
            due = min(now + NO_THREAD_WAIT, delivery.valid_until)
            return Outcome(DeliveryState.WAITING, "no thread to be had", due, spent=False)
        return None

    def _send(self, channel: Channel, host: str, delivery: Delivery, now: datetime) -> None:
        """Send one delivery; in a thread of its own."""
        result: Accepted | DeliveryFailed
        try:
            result = self._send_as_leader(channel, delivery, now)
        except DeliveryFailed as failure:
            result = failure
        except Exception as error:  # noqa: BLE001 - told, and the others go on
            # A mistake in a channel is one failed try, not the end of the watch.
            _tell_of(error, "delivery_broke", channel=delivery.channel)
            result = DeliveryFailed(f"windwatch: {type(error).__name__}", permanent=False)
        self._back.put(_Sent(delivery, host, channel.fingerprint, result))

    def _send_as_leader(self, channel: Channel, delivery: Delivery, now: datetime) -> Accepted:
        """Send, unless another watcher has taken over since the delivery was claimed."""
        if self._may_send is not None and not self._may_send():
            raise DeliveryFailed("another watcher leads now", permanent=False)
        return channel.send(delivery, now)

    # --- writing down -----------------------------------------------------

    def _collect(self) -> list[_Sent]:
        """Take what came back."""
        found, self._seen = self._seen, []
        while True:
            try:
                found.append(self._back.get_nowait())
            except queue.Empty:
                return found

    def _await(self) -> None:
        """Wait a tick for something to come back."""
        with contextlib.suppress(queue.Empty):
            self._seen.append(self._back.get(timeout=_TICK_S))

    def _write_down(self, sent: list[_Sent], report: DrainReport) -> bool:
        """Write how deliveries ended; say whether any failed."""
        if not sent:
            return False
        now = self._clock.now()
        ended = []
        gone: list[tuple[Route, str, str]] = []
        for one in sent:
            delivery = self._under_way.pop(one.delivery.id)
            self._hosts.end(one.host)
            ended.append((delivery, self._judge(one, now, report, gone)))
        self._finish(ended, now)
        for route, address, answer in gone:
            self._outbox.turn_off(route, address, answer, now)
        return any(outcome.state is not DeliveryState.ACCEPTED for _, outcome in ended)

    def _finish(self, ended: list[tuple[Delivery, Outcome]], now: datetime) -> None:
        everything = [*self._unwritten.values(), *ended]
        try:
            self._outbox.finish(everything, now)
        except StoreError:
            self._unwritten = {delivery.id: (delivery, outcome) for delivery, outcome in everything}
            raise
        self._unwritten = {}

    def _judge(
        self, sent: _Sent, now: datetime, report: DrainReport, gone: list[tuple[Route, str, str]]
    ) -> Outcome:
        """Turn what came back into what becomes of the delivery, and note what is gone."""
        delivery = sent.delivery
        fields = {"channel": delivery.channel, "delivery": delivery.id, "attempt": delivery.attempt}
        if isinstance(sent.result, Accepted):
            self._hosts.up(sent.host)
            report.accepted += 1
            LOG.info("delivery_accepted", extra=fields)
            return Outcome(DeliveryState.ACCEPTED, sent.result.answer)
        failure = sent.result
        decision = next_try(
            delivery.urgent,
            delivery.tries,
            now,
            delivery.valid_until,
            self._random.uniform(-1.0, 1.0),
            failure,
            plain=delivery.plain,
            rules=self._channels.rules,
        )
        answer = one_line(failure.answer, ANSWER_LIMIT)
        LOG.warning("delivery_failed", extra={**fields, "verdict": decision.verdict.value})
        if decision.operator:
            report.for_operator.append(f"{delivery.contact}, {delivery.channel}: {answer}")
        if decision.fall_back:
            report.fall_backs.append(delivery.route)
        if decision.verdict is Verdict.PUT_OFF:
            seconds = self._channels.rules.channel_down_for.total_seconds()
            self._hosts.down(sent.host, self._clock.monotonic() + seconds)
        else:
            self._hosts.up(sent.host)
        if decision.verdict is Verdict.GONE:
            gone.append((delivery.route, sent.address, answer))
        return _outcome(decision, answer, report)

    # --- what has become old ----------------------------------------------

    def _settle(self, report: DrainReport) -> None:
        """Put one notice of the state now in the place of what has become old."""
        now = self._clock.now()
        for backlog in self._outbox.backlogs(now):
            old = needs_one_notice(backlog, now)
            if not old:
                continue
            lane = backlog.lane
            by: tuple[Notice, Content] | None = None
            if lane.airfield and self._leads_somewhere(Route(lane.contact, lane.channel)):
                try:
                    by = self._restate(lane.contact, lane.airfield, old, now)
                except Exception as error:  # noqa: BLE001 - told, and the others go on
                    # Rather the old notices in their order than none.
                    _tell_of(error, "restate_broke", airfield=lane.airfield)
                    continue
            if self._outbox.replace(backlog, by, now):
                report.restated += by is not None
            else:
                LOG.info("restate_too_late", extra={"airfield": lane.airfield})

    def _leads_somewhere(self, route: Route) -> bool:
        """Whether a notice of the state now could arrive by a route.

        By an address that was turned off it could not, and the fall-backs of what it would
        replace start as soon as that is refused.
        """
        channel = self._channels.get(route)
        return channel is not None and not self._outbox.turned_off(route, channel.fingerprint)


def drain(
    outbox: Outbox,
    channels: ChannelBook,
    clock: Clock,
    restate: Restate,
    random: Random,
    *,
    stop: threading.Event | None = None,
    patience: timedelta = PATIENCE,
) -> DrainReport:
    """Drain an outbox once, for a command that ends afterwards.

    Raises
    ------
    StoreError
        If the outbox cannot be read or written.
    """
    return Worker(outbox, channels, clock, restate, random).drain(stop, patience)
