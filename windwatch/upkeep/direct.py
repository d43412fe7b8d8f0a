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
from windwatch.delivery.retry import URGENT_WAITS
from windwatch.errors import DeliveryFailed
from windwatch.notices.outbox import (
    Delivery,
    DeliveryState,
    Lane,
    Outcome,
    Route,
    new_delivery,
)
from windwatch.notices.values import Content, Notice

LOG: Final = logging.getLogger("windwatch.delivery")
THREADS: Final = 8
# As many deliveries as may wait, and as many as are remembered: memory stays bounded.
MOST: Final = 10_000
PAST: Final = "taken directly, while the store could not be written"
Kept = TypeVar("Kept")


@dataclass(slots=True)
class _Waiting:
    delivery: Delivery
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

    def send(self, composed: Iterable[tuple[Notice, Content]]) -> int:
        """Send notices by every channel of their contacts; return how many deliveries are new."""
        new = 0
        with self._lock:
            for notice, content in composed:
                for kind in self._channels.kinds_of(notice.contact):
                    delivery = new_delivery(notice, content, kind)
                    if delivery.id in self._sent:
                        continue
                    _remember(self._sent, delivery.id, delivery)
                    _remember(self._waiting, delivery.id, _Waiting(delivery))
                    new += 1
        self.turn()
        return new

    def turn(self) -> None:
        """Start what waits, as far as there is room."""
        now, clock_s = self._clock.now(), self._clock.monotonic()
        with self._lock:
            started = self._choose(now, clock_s)
        for waiting, channel in started:
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
        with self._lock:
            self._flying.pop(delivery.id, None)
            if isinstance(result, Accepted):
                self._waiting.pop(delivery.id, None)
                _remember(self._taken, delivery.id, result)
            elif isinstance(result, DeliveryFailed):
                waiting.tries += 1
                wait = URGENT_WAITS[min(waiting.tries, len(URGENT_WAITS)) - 1]
                waiting.not_before_s = self._clock.monotonic() + wait.total_seconds()
                if result.permanent:
                    self._waiting.pop(delivery.id, None)
        if isinstance(result, Accepted):
            LOG.warning("sent_directly", extra=fields)
        elif result is not None:
            LOG.warning("direct_failed", extra=fields)

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

    def under_way(self, delivery: str) -> bool:
        """Whether a delivery is just being sent directly."""
        with self._lock:
            return delivery in self._flying

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
        if self._direct.under_way(delivery.id):
            raise DeliveryFailed("it is just being sent directly", permanent=False)
        return self._channel.send(delivery, now)


class OnceOnlyBook(ChannelBook):
    """The channels of a watch, for its outbox."""

    def __init__(self, book: ChannelBook, direct: Direct) -> None:
        super().__init__({})
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
