"""Past the outbox: warnings go out directly while the store cannot be written (promise 17).

Each delivery has the id that it would have in the outbox; what was taken directly is not sent
again by the outbox once the store is back.
"""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, TypeVar

from windwatch.clock import Clock
from windwatch.delivery.channels import Accepted, Channel, ChannelBook
from windwatch.delivery.retry import Rule, rule_of, usual_wait
from windwatch.errors import DeliveryFailed
from windwatch.notices.outbox import (
    Delivery,
    DeliveryState,
    Lane,
    Outcome,
    Route,
    delivery_id,
    new_delivery,
)
from windwatch.notices.values import Content, Notice
from windwatch.upkeep.unwritten import ENDING

LOG: Final = logging.getLogger("windwatch.delivery")
THREADS: Final = 8
# As many deliveries as may wait, and as many as are remembered: memory stays bounded.
MOST: Final = 10_000
# No notice is valid for longer (a withdrawal, reliability section 3).
LONGEST: Final = timedelta(hours=24)
PAST: Final = "taken directly, while the store could not be written"
# After these the contact's next channel starts now; after any other, when its time comes.
STARTS_NEXT: Final = frozenset({Rule.REFUSED, Rule.GONE, Rule.CHANNEL_DOWN, Rule.INSECURE})
Kept = TypeVar("Kept")


@dataclass(slots=True)
class _Waiting:
    """A delivery that nobody has taken yet; one that stands in for another has a time to start."""

    delivery: Delivery
    stands_in: bool = False
    starts_at: datetime | None = None
    tries: int = 0
    not_before_s: float = float("-inf")


class Direct:
    """Sends deliveries in threads of its own, of each lane one at a time, until they are taken."""

    def __init__(self, channels: ChannelBook, clock: Clock) -> None:
        self._channels = channels
        self._clock = clock
        self._lock = threading.Lock()
        self._waiting: OrderedDict[str, _Waiting] = OrderedDict()
        self._flying: dict[str, Lane] = {}
        self._taken: OrderedDict[str, Accepted] = OrderedDict()
        self._sent: OrderedDict[str, Delivery] = OrderedDict()
        # What the outbox itself is sending, and what it got rid of.
        self._outbox_sends: set[str] = set()
        self._outbox_sent: OrderedDict[str, datetime] = OrderedDict()
        self._made: OrderedDict[str, tuple[Notice, Content]] = OrderedDict()

    def replace_channels(self, channels: ChannelBook) -> None:
        """Take a new configuration; what is under way ends by the old one."""
        with self._lock:
            self._channels = channels

    def remember(self, composed: Iterable[tuple[Notice, Content]]) -> None:
        """Note urgent warnings that the outbox has, should it be of no use when they are due."""
        with self._lock:
            self._forget_what_is_over(self._clock.now())
            for notice, content in composed:
                if notice.urgent and not any(step.name in ENDING for step in notice.steps):
                    _remember(self._made, notice.id, (notice, content))

    def _forget_what_is_over(self, now: datetime) -> None:
        """What is no longer valid is not rescued, and a day later nothing of it is asked for."""
        valid = [pair for pair in self._made.values() if pair[0].valid_until > now]
        self._made = OrderedDict((pair[0].id, pair) for pair in valid)
        while self._outbox_sent and now - next(iter(self._outbox_sent.values())) > LONGEST:
            self._outbox_sent.popitem(last=False)

    def rescue(self) -> int:
        """The outbox cannot be used: send the warnings in it that it has not got rid of."""
        with self._lock:
            self._forget_what_is_over(self._clock.now())
            made = tuple(self._made.values())
        return self.send(made)

    def send(self, composed: Iterable[tuple[Notice, Content]]) -> int:
        """Send notices by the channels of their contacts; return how many deliveries are new.

        Where a contact's channels stand in for each other, the next one waits for the one before
        it to fail, as it does in the outbox.
        """
        with self._lock:
            new = sum(self._add(notice, content) for notice, content in composed)
        self.turn()
        return new

    def _add(self, notice: Notice, content: Content) -> int:
        known = (self._sent, self._taken, self._outbox_sends, self._outbox_sent)
        arrived = (self._taken, self._outbox_sent)
        new = 0
        there = False
        for kind, starts_at in self._channels.starts_of(notice).items():
            delivery = new_delivery(notice, content, kind)
            there = there or any(delivery.id in ids for ids in arrived)
            stands_in = starts_at is not None
            if any(delivery.id in ids for ids in known) or (stands_in and there):
                continue
            _remember(self._sent, delivery.id, delivery)
            _remember(self._waiting, delivery.id, _Waiting(delivery, stands_in, starts_at))
            new += 1
        return new

    def turn(self) -> None:
        """Start what waits, as far as there is room."""
        now, clock_s = self._clock.now(), self._clock.monotonic()
        with self._lock:
            started = self._choose(now, clock_s)
        self._start(started, now)

    def _start(self, chosen: list[tuple[_Waiting, Channel]], now: datetime) -> None:
        for waiting, channel in chosen:
            thread = threading.Thread(
                target=self._send, args=(waiting, channel, now), name="direct", daemon=True
            )
            try:
                thread.start()
            except RuntimeError:
                # No thread to be had: it waits for the next turn.
                self._land(waiting, None)

    def _choose(self, now: datetime, clock_s: float) -> list[tuple[_Waiting, Channel]]:
        chosen = []
        busy = set(self._flying.values())
        for waiting in tuple(self._waiting.values()):
            delivery = waiting.delivery
            channel = self._channels.get(delivery.route)
            if channel is None or delivery.valid_until <= now:
                del self._waiting[delivery.id]
                continue
            if len(self._flying) >= THREADS:
                break
            if delivery.lane in busy or delivery.id in self._flying:
                continue
            if waiting.starts_at is not None and now < waiting.starts_at:
                continue
            if waiting.stands_in and self._has_arrived(delivery):
                del self._waiting[delivery.id]  # by the outbox, meanwhile
                continue
            busy.add(delivery.lane)
            if waiting.not_before_s > clock_s:
                continue
            self._flying[delivery.id] = delivery.lane
            chosen.append((waiting, channel))
        return chosen

    def _send(self, waiting: _Waiting, channel: Channel, now: datetime) -> None:
        result: Accepted | DeliveryFailed
        try:
            result = channel.send(waiting.delivery, now)
        except DeliveryFailed as failure:
            result = failure
        except Exception as error:  # noqa: BLE001 - its text may hold an address
            LOG.error(  # noqa: TRY400 - so may its traceback
                "direct_broke", extra={"error": type(error).__name__}
            )
            result = DeliveryFailed(type(error).__name__, permanent=False)
        self._land(waiting, result)

    def _land(self, waiting: _Waiting, result: Accepted | DeliveryFailed | None) -> None:
        delivery = waiting.delivery
        fields = {"channel": delivery.channel, "delivery": delivery.id}
        now, clock_s = self._clock.now(), self._clock.monotonic()
        started: list[tuple[_Waiting, Channel]] = []
        with self._lock:
            self._flying.pop(delivery.id, None)
            if isinstance(result, Accepted):
                self._waiting.pop(delivery.id, None)
                _remember(self._taken, delivery.id, result)
                self._end_stand_ins(delivery.notice.id)
            elif isinstance(result, DeliveryFailed):
                waiting.tries += 1
                wait = usual_wait(True, waiting.tries, self._channels.rules)
                waiting.not_before_s = clock_s + wait.total_seconds()
                if result.permanent or (waiting.stands_in and self._has_arrived(delivery)):
                    self._waiting.pop(delivery.id, None)
                if rule_of(result) in STARTS_NEXT and self._start_next(delivery):
                    started = self._choose(now, clock_s)
        self._start(started, now)
        if isinstance(result, Accepted):
            LOG.warning("sent_directly", extra=fields)
        elif result is not None:
            LOG.warning("direct_failed", extra=fields)

    def _end_stand_ins(self, notice: str) -> None:
        """What has arrived needs no other channel; one that is just being sent goes on."""
        for id_, waiting in tuple(self._waiting.items()):
            same = waiting.delivery.notice.id == notice
            if waiting.stands_in and same and id_ not in self._flying:
                del self._waiting[id_]

    def _has_arrived(self, delivery: Delivery) -> bool:
        kinds = self._channels.kinds_of(delivery.contact)
        ids = [delivery_id(delivery.notice.id, kind) for kind in kinds]
        return any(id_ in self._taken or id_ in self._outbox_sent for id_ in ids)

    def _start_next(self, failed: Delivery) -> bool:
        """Let the next channel of a notice start now; say whether there is one that waited."""
        kinds = self._channels.kinds_of(failed.contact)
        place = kinds.index(failed.channel) if failed.channel in kinds else -1
        for kind in kinds[place + 1 :]:
            waiting = self._waiting.get(delivery_id(failed.notice.id, kind))
            if waiting is not None and waiting.starts_at is not None:
                waiting.starts_at = None
                return True
        return False

    def hand_over(self) -> tuple[tuple[Delivery, Outcome], ...]:
        """The outbox has it all now; return what was taken directly, for it to write down.

        What was not taken is the outbox's own to send.
        """
        with self._lock:
            taken = [
                (delivery, self._taken[delivery.id])
                for delivery in self._sent.values()
                if delivery.id in self._taken
            ]
            self._sent.clear()
            self._waiting.clear()
        return tuple(
            (delivery, Outcome(DeliveryState.ACCEPTED, f"{PAST}: {answer.answer}"))
            for delivery, answer in taken
        )

    def answer(self, delivery: str) -> Accepted | None:
        """What was said to a delivery that was taken directly; None: it was not."""
        with self._lock:
            return self._taken.get(delivery)

    def leave_to_outbox(self, delivery: str) -> bool:
        """The outbox is about to send a delivery; False: it is just being sent directly."""
        with self._lock:
            if delivery in self._flying:
                return False
            self._waiting.pop(delivery, None)
            self._outbox_sends.add(delivery)
            return True

    def outbox_tried(self, delivery: str, *, taken: bool) -> None:
        """The outbox has sent a delivery, or it was not taken."""
        with self._lock:
            self._outbox_sends.discard(delivery)
            if taken:
                _remember(self._outbox_sent, delivery, self._clock.now())

    def wait(self, timeout: timedelta) -> bool:
        """Wait until nothing is under way; return whether that came to pass."""
        end = threading.Event()
        for _ in range(int(timeout.total_seconds() / 0.02)):
            with self._lock:
                if not self._flying:
                    return True
            end.wait(0.02)
        return False


def _remember(known: OrderedDict[str, Kept], key: str, value: Kept) -> None:
    known[key] = value
    if len(known) > MOST:
        known.popitem(last=False)


class _OnceOnly:
    """A channel that does not send again what was taken directly."""

    def __init__(self, channel: Channel, direct: Direct) -> None:
        self._channel = channel
        self._direct = direct

    @property
    def host(self) -> str:
        """Who is called."""
        return self._channel.host

    @property
    def fingerprint(self) -> str:
        """Of the address."""
        return self._channel.fingerprint

    def send(self, delivery: Delivery, now: datetime) -> Accepted:
        """Send, unless that was done.

        Raises
        ------
        DeliveryFailed
            If it was not taken, or is just being sent directly.
        """
        answer = self._direct.answer(delivery.id)
        if answer is not None:
            return Accepted(f"{PAST}: {answer.answer}")
        if not self._direct.leave_to_outbox(delivery.id):
            raise DeliveryFailed("it is just being sent directly", permanent=False)
        taken = False
        try:
            accepted = self._channel.send(delivery, now)
            taken = True
        finally:
            self._direct.outbox_tried(delivery.id, taken=taken)
        return accepted


class OnceOnlyBook(ChannelBook):
    """The channels of a watch, for its outbox."""

    def __init__(self, book: ChannelBook, direct: Direct) -> None:
        super().__init__({}, rules=book.rules)
        self._book = book
        self._direct = direct

    def get(self, route: Route) -> Channel | None:
        """Find the channel of a route; None where the configuration no longer has it."""
        channel = self._book.get(route)
        return None if channel is None else _OnceOnly(channel, self._direct)

    def kinds_of(self, contact: str) -> tuple[str, ...]:
        """Names of a contact's channels."""
        return self._book.kinds_of(contact)

    def starts_of(self, notice: Notice) -> dict[str, datetime | None]:
        """When each channel starts to carry a notice; None: at once."""
        return self._book.starts_of(notice)

    def routes_to(self, host: str) -> tuple[Route, ...]:
        """Routes that lead to a host."""
        return self._book.routes_to(host)
