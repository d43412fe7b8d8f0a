"""Notices on their way: one delivery per contact and channel, and what an outbox can do.

The store keeps the outbox, delivery empties it, and neither knows the other: both speak in
the values of this module. ::

    queued ─claim─> sending ─┬─> accepted
      ^                      ├─> waiting ──(due)──> claimed again
      └── lease expired: outcome uncertain, same id
                 refused · expired · superseded · withdrawn     (end states, kept and visible)
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final, NamedTuple, Protocol

from windwatch.episodes.values import computed_id
from windwatch.notices.values import Content, Notice


class DeliveryState(StrEnum):
    """Where a delivery stands. `ACCEPTED` means the next hop took it, never that it was read."""

    QUEUED = "queued"
    SENDING = "sending"
    WAITING = "waiting"
    ACCEPTED = "accepted"
    REFUSED = "refused"
    EXPIRED = "expired"
    SUPERSEDED = "superseded"
    WITHDRAWN = "withdrawn"
    DEAD = "dead"


OPEN_STATES: Final = frozenset({DeliveryState.QUEUED, DeliveryState.SENDING, DeliveryState.WAITING})


class Lane(NamedTuple):
    """What keeps its order: one contact, one channel, one airfield ('' for tests and briefs)."""

    contact: str
    channel: str
    airfield: str


class Route(NamedTuple):
    """A contact's channel; an empty contact means everybody's channel of that name."""

    contact: str
    channel: str


@dataclass(frozen=True, slots=True)
class Delivery:
    """One notice to one contact by one channel.

    Attributes
    ----------
    id : str
        hash(notice, channel): the same however often it is tried.
    channel : str
        ``email``, ``webhook``, ``folder`` ...
    due_at : datetime or None
        When to try next; None: at once.
    attempt : int
        Number of the latest attempt, counted from 1; 0 before the first.
    tries : int
        Attempts that count for the retry schedule: a channel that is down spends none.
    lease_until : datetime or None
        Until when the attempt under way holds it; afterwards its outcome is uncertain.
    last_answer : str
        What the other side said last, cut and cleaned.
    plain : bool
        To be sent as minimal plain text, after a refusal of the full form.
    fall_back : bool
        It waits for the contact's first channel to fail.
    replaced_by : str
        The delivery that says it instead, '' where none does.
    """

    id: str
    notice: Notice
    content: Content
    channel: str
    created_at: datetime
    state: DeliveryState = DeliveryState.QUEUED
    due_at: datetime | None = None
    attempt: int = 0
    tries: int = 0
    lease_until: datetime | None = None
    accepted_at: datetime | None = None
    last_answer: str = ""
    plain: bool = False
    fall_back: bool = False
    replaced_by: str = ""

    @property
    def contact(self) -> str:
        """Whom it is for."""
        return self.notice.contact

    @property
    def urgent(self) -> bool:
        """Whether it goes by the urgent schedule."""
        return self.notice.urgent

    @property
    def valid_until(self) -> datetime:
        """Never sent as current after this."""
        return self.notice.valid_until

    @property
    def lane(self) -> Lane:
        """In which order it stands."""
        return Lane(self.notice.contact, self.channel, self.notice.airfield)

    @property
    def route(self) -> Route:
        """Which channel of which contact carries it."""
        return Route(self.notice.contact, self.channel)


@dataclass(frozen=True, slots=True)
class Attempt:
    """One try at one delivery, written before its first byte left.

    Attributes
    ----------
    outcome : str
        ``under way``, ``accepted``, ``failed``, ``put off`` (nothing was sent, the channel is
        down) or ``uncertain`` (whoever made it died; it may have arrived).
    """

    delivery: str
    number: int
    started_at: datetime
    ended_at: datetime | None
    outcome: str
    answer: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """How an attempt ended, and what becomes of the delivery.

    Attributes
    ----------
    state : DeliveryState
        The state that follows.
    due_at : datetime or None
        For `WAITING`: when to try again.
    spent : bool
        Whether the attempt counts for the retry schedule.
    plain : bool
        Whether to send minimal plain text from now on.
    fall_back : bool
        Whether the contact's next channel should start now.
    """

    state: DeliveryState
    answer: str = ""
    due_at: datetime | None = None
    spent: bool = True
    plain: bool = False
    fall_back: bool = False


@dataclass(frozen=True, slots=True)
class Backlog:
    """What stands in one lane.

    Attributes
    ----------
    unreached : tuple of Delivery
        Ended without arriving since the lane's last accepted one, and not yet said by another.
    waiting : tuple of Delivery
        Not ended, oldest first.
    """

    lane: Lane
    unreached: tuple[Delivery, ...]
    waiting: tuple[Delivery, ...]


class Outbox(Protocol):
    """What delivery needs of whoever keeps the deliveries."""

    def claim_due(
        self, now: datetime, limit: int, lease: timedelta, *, except_for: Collection[Route] = ()
    ) -> tuple[Delivery, ...]:
        """Take what is due, urgent first, of each lane only the oldest; attempts are written.

        Deliveries whose lease has expired are taken like those that are due.
        """
        ...

    def renew(self, deliveries: Collection[Delivery], until: datetime) -> None:
        """Hold attempts under way a while longer."""
        ...

    def finish(self, ended: Collection[tuple[Delivery, Outcome]], now: datetime) -> None:
        """Write how attempts ended; a late word from an attempt that lost its lease is ignored.

        `ACCEPTED` is always taken: what arrived has arrived.
        """
        ...

    def backlogs(self, now: datetime) -> tuple[Backlog, ...]:
        """Lanes that may need one notice of the state now.

        In them something has expired, or a newer delivery stands behind one that was tried, or
        something did not arrive at all.
        """
        ...

    def replace(self, backlog: Backlog, by: tuple[Notice, Content] | None, now: datetime) -> bool:
        """End a backlog: one notice says it all; with None only what has expired ends.

        Returns
        -------
        bool
            False where the lane has changed since it was read: read again.
        """
        ...

    def next_due(self, now: datetime) -> datetime | None:
        """When there is work next; None: no delivery is open."""
        ...

    def turn_off(self, route: Route, address: str, answer: str, now: datetime) -> None:
        """Remember that an address is gone (410); `address` is a fingerprint, never the address."""
        ...

    def turned_off(self, route: Route, address: str) -> bool:
        """Whether that very address was turned off."""
        ...


def delivery_id(notice: str, channel: str) -> str:
    """Id of a delivery: the same notice by the same channel has the same id for ever."""
    return computed_id("delivery", notice, channel)


def new_delivery(notice: Notice, content: Content, channel: str) -> Delivery:
    """Make the delivery of a notice by a channel, to be sent at once."""
    return Delivery(delivery_id(notice.id, channel), notice, content, channel, notice.at)
