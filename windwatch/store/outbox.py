"""The outbox in the store: claiming, finishing and replacing deliveries."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any, Final

from sqlalchemy import (
    ColumnElement,
    Connection,
    FromClause,
    and_,
    bindparam,
    case,
    exists,
    func,
    literal,
    or_,
    select,
    true,
    tuple_,
    union,
    update,
)
from sqlalchemy.sql.dml import ReturningUpdate

from windwatch.notices.outbox import (
    OPEN_STATES,
    Backlog,
    Delivery,
    DeliveryState,
    Lane,
    Outcome,
    Route,
    delivery_id,
)
from windwatch.notices.values import Content, Notice
from windwatch.store.access import Access, add_new, insert_or
from windwatch.store.books import OTHER_RANK, URGENT_RANK, Books
from windwatch.store.ended import UNCERTAIN, UNDER_WAY, write_ended
from windwatch.store.pictures import pictures_of
from windwatch.store.reading import CHUNK, delivery_of, notice_of
from windwatch.store.tables import ATTEMPTS, CHANNELS_OFF, DELIVERIES, NOTICES, UtcTime

# No rule waits longer (15 min, 20 % more). A time beyond it was written by a clock that has
# been set back since, and must not hold up an alert.
FARTHEST: Final = timedelta(minutes=20)

_D: Final = DELIVERIES
_LANE: Final = (_D.c.contact, _D.c.channel, _D.c.airfield)
_TURNED_OFF: Final = select(CHANNELS_OFF.c.at).where(
    CHANNELS_OFF.c.contact == bindparam("of_contact"),
    CHANNELS_OFF.c.channel == bindparam("by_channel"),
    CHANNELS_OFF.c.address == bindparam("to"),
)
# Said so, and not "is not null", the database goes by the index and not through all history.
_OPEN: Final = _D.c.open_rank.in_((URGENT_RANK, OTHER_RANK))


class StoredOutbox(Access):
    """What delivery needs of the store (`windwatch.notices.outbox.Outbox`)."""

    def claim_due(
        self, now: datetime, limit: int, lease: timedelta, *, except_for: Collection[Route] = ()
    ) -> tuple[Delivery, ...]:
        """Take what is due, urgent first, of each lane only the oldest; attempts are written."""
        parts = {"now": now, "far": now + FARTHEST, "until": now + lease, "most": limit}
        with self.writing() as connection:
            claimed = connection.execute(_claim(tuple(except_for)), parts).all()
            rows = sorted(claimed, key=lambda row: (row.open_rank, row.number))
            _begin_attempts(connection, [(row.id, row.attempt) for row in rows], now)
            return _deliveries(connection, rows)

    def renew(self, deliveries: Collection[Delivery], until: datetime) -> None:
        """Hold attempts under way a while longer; nothing, where another watcher leads now."""
        with self.writing(fenced=False) as connection:
            if self.lead_lost(connection):
                return
            for delivery in deliveries:
                connection.execute(
                    update(_D).where(*_still_ours(delivery)).values(lease_until=until)
                )

    def finish(self, ended: Collection[tuple[Delivery, Outcome]], now: datetime) -> None:
        """Write how attempts ended; a late word from an attempt that lost its lease is ignored.

        From a watcher that has lost the lead only what was accepted is taken.
        """
        with self.writing(fenced=False) as connection:
            lost = self.lead_lost(connection)
            taken = [
                (delivery, outcome)
                for delivery, outcome in ended
                if not lost or outcome.state is DeliveryState.ACCEPTED
            ]
            write_ended(connection, taken, now)

    def backlogs(self, now: datetime) -> tuple[Backlog, ...]:
        """Lanes that may need one notice of the state now."""
        lanes = union(
            select(*_LANE).where(_OPEN, _D.c.valid_until <= now),
            select(*_LANE).where(
                _OPEN, _D.c.state == DeliveryState.WAITING.value, _another_open(_D.c.number)
            ),
            select(*_LANE).where(_D.c.unreached, _another_open()),
        )
        with self.reading() as connection:
            found = (_backlog(connection, Lane(*row)) for row in connection.execute(lanes).all())
            return tuple(
                backlog
                for backlog in found
                if backlog.waiting and not _under_way(backlog.waiting[0], now)
            )

    def replace(self, backlog: Backlog, by: tuple[Notice, Content] | None, now: datetime) -> bool:
        """End a backlog: one notice says it all; with None only what has expired ends."""
        with self.writing() as connection:
            there = _backlog(connection, backlog.lane)
            if _stamps(there) != _stamps(backlog):
                return False
            new = ""
            if by is not None:
                new = delivery_id(by[0].id, backlog.lane.channel)
                known = connection.execute(select(_D.c.id).where(_D.c.id == new)).first()
                if known is not None:
                    return False
                stands_in = any(delivery.fall_back for delivery in backlog.waiting)
                start = by[0].at if stands_in else None
                Books(connection).enqueue(*by, {backlog.lane.channel: start})
            for delivery in backlog.waiting:
                expired = delivery.valid_until <= now
                if expired or new:
                    state = DeliveryState.EXPIRED if expired else DeliveryState.SUPERSEDED
                    connection.execute(
                        update(_D)
                        .where(_D.c.id == delivery.id)
                        .values(
                            state=state.value, open_rank=None, lease_until=None, replaced_by=new
                        )
                    )
            ids = [delivery.id for delivery in backlog.unreached]
            connection.execute(
                update(_D).where(_D.c.id.in_(ids)).values(unreached=False, replaced_by=new)
            )
            return True

    def unreached_channels(self) -> dict[str, tuple[str, ...]]:
        """Channels by which something did not arrive and nothing has arrived since, by contact."""
        query = select(_D.c.contact, _D.c.channel).where(_D.c.unreached).distinct()
        found: dict[str, tuple[str, ...]] = {}
        with self.reading() as connection:
            for contact, channel in sorted(tuple(row) for row in connection.execute(query)):
                found[contact] = (*found.get(contact, ()), channel)
        return found

    def next_due(self, now: datetime) -> datetime | None:
        """When there is work next, at the head of any lane; None: no delivery is open."""
        when = case(
            # It waits for a notice to take its place; that is tried at every drain.
            (_D.c.valid_until <= now, literal(now + timedelta(minutes=1), UtcTime)),
            (_D.c.state == DeliveryState.SENDING.value, _D.c.lease_until),
            else_=func.coalesce(_D.c.due_at, literal(now, UtcTime)),
        )
        query = select(func.min(when, type_=UtcTime)).where(_OPEN, _first_in_its_lane())
        with self.reading() as connection:
            found: datetime | None = connection.execute(query).scalar()
            return found

    def turn_off(self, route: Route, address: str, answer: str, now: datetime) -> None:
        """Remember that an address is gone; `address` is a fingerprint, never the address."""
        row = {
            "contact": route.contact,
            "channel": route.channel,
            "address": address,
            "at": now,
            "answer": answer,
        }
        with self.writing() as connection:
            insert = insert_or(connection, CHANNELS_OFF)
            changing = {name: insert.excluded[name] for name in ("address", "at", "answer")}
            connection.execute(
                insert.on_conflict_do_update(index_elements=["contact", "channel"], set_=changing),
                [row],
            )

    def turned_off(self, route: Route, address: str) -> bool:
        """Whether that very address was turned off."""
        with self.reading() as connection:
            found = connection.execute(
                _TURNED_OFF,
                {"of_contact": route.contact, "by_channel": route.channel, "to": address},
            )
            return found.first() is not None

    def turn_on(self, route: Route) -> None:
        """Let a person enable an address again that was turned off."""
        table = CHANNELS_OFF
        with self.writing() as connection:
            connection.execute(
                table.delete().where(
                    table.c.contact == route.contact, table.c.channel == route.channel
                )
            )


# To make a statement takes SQLAlchemy longer than the database to carry it out. Which hosts have
# no room changes all the time; most often none has none.
@lru_cache(maxsize=64)
def _claim(except_for: tuple[Route, ...]) -> ReturningUpdate[Any]:
    """Take what is due, but for some routes."""
    # Under a name, so that no plan of the database can look it up twice and take more.
    chosen = (
        select(_D.c.number)
        .where(_ready(), *_not_by(except_for))
        .order_by(_D.c.open_rank, _D.c.number)
        .limit(bindparam("most"))
        .with_for_update(skip_locked=True)
        .cte("chosen")
    )
    return (
        update(_D)
        .where(_D.c.number.in_(select(chosen.c.number)))
        .values(
            state=DeliveryState.SENDING.value,
            lease_until=bindparam("until"),
            attempt=_D.c.attempt + 1,
            tries=_D.c.tries + 1,
        )
        .returning(_D)
    )


def _ready() -> ColumnElement[bool]:
    """Due, or left by somebody whose lease expired, still valid, and first in its lane."""
    now, far = bindparam("now", type_=UtcTime), bindparam("far", type_=UtcTime)
    due = or_(_D.c.due_at.is_(None), _D.c.due_at <= now, _D.c.due_at > far)
    left = or_(_D.c.lease_until <= now, _D.c.lease_until > far)
    sending = _D.c.state == DeliveryState.SENDING.value
    return and_(
        _OPEN,
        _D.c.valid_until > now,
        or_(and_(~sending, due), and_(sending, left)),
        _first_in_its_lane(),
    )


def _first_in_its_lane() -> ColumnElement[bool]:
    ahead = _D.alias("ahead")
    return ~_in_the_same_lane(ahead, ahead.c.number < _D.c.number)


def _another_open(behind: ColumnElement[int] | None = None) -> ColumnElement[bool]:
    """Something is open in the same lane, behind a number where one is given."""
    other = _D.alias("other")
    return _in_the_same_lane(other, true() if behind is None else other.c.number > behind)


def _in_the_same_lane(other: FromClause, which: ColumnElement[bool]) -> ColumnElement[bool]:
    return exists().where(
        other.c.contact == _D.c.contact,
        other.c.channel == _D.c.channel,
        other.c.airfield == _D.c.airfield,
        other.c.open_rank.is_not(None),
        which,
    )


def _not_by(routes: Collection[Route]) -> list[ColumnElement[bool]]:
    everybody = [route.channel for route in routes if not route.contact]
    some = [tuple(route) for route in routes if route.contact]
    conditions: list[ColumnElement[bool]] = []
    if everybody:
        conditions.append(_D.c.channel.not_in(everybody))
    conditions.extend(
        tuple_(_D.c.contact, _D.c.channel).not_in(some[start : start + CHUNK])
        for start in range(0, len(some), CHUNK)
    )
    return conditions


def _begin_attempts(connection: Connection, claimed: list[tuple[str, int]], now: datetime) -> None:
    """Write the attempts before the first byte leaves; unfinished earlier ones are uncertain."""
    ids = [delivery for delivery, number in claimed if number > 1]
    for start in range(0, len(ids), CHUNK):
        connection.execute(
            update(ATTEMPTS)
            .where(
                ATTEMPTS.c.delivery.in_(ids[start : start + CHUNK]),
                ATTEMPTS.c.outcome == UNDER_WAY,
            )
            .values(outcome=UNCERTAIN, ended_at=now)
        )
    add_new(
        connection,
        ATTEMPTS,
        [
            {
                "delivery": delivery,
                "number": number,
                "started_at": now,
                "ended_at": None,
                "outcome": UNDER_WAY,
                "answer": "",
            }
            for delivery, number in claimed
        ],
    )


def _deliveries(connection: Connection, rows: list[Any]) -> tuple[Delivery, ...]:
    """Make deliveries from rows, with their notices."""
    texts: dict[str, tuple[Notice, Content]] = {}
    wanted = sorted({row.notice for row in rows})
    for start in range(0, len(wanted), CHUNK):
        ids = wanted[start : start + CHUNK]
        pictures = pictures_of(connection, ids)
        for row in connection.execute(select(NOTICES).where(NOTICES.c.id.in_(ids))):
            texts[row.id] = notice_of(row, pictures.get(row.id, ()))
    return tuple(delivery_of(row, *texts[row.notice]) for row in rows)


def _still_ours(delivery: Delivery) -> tuple[ColumnElement[bool], ...]:
    """Nobody has taken the delivery over since this attempt began."""
    return (
        _D.c.id == delivery.id,
        _D.c.attempt == delivery.attempt,
        _D.c.state == DeliveryState.SENDING.value,
    )


def _in(lane: Lane) -> tuple[ColumnElement[bool], ...]:
    return tuple(column == part for column, part in zip(_LANE, lane, strict=True))


def _backlog(connection: Connection, lane: Lane) -> Backlog:
    rows = connection.execute(
        select(_D)
        .where(*_in(lane), or_(_D.c.open_rank.is_not(None), _D.c.unreached))
        .order_by(_D.c.number)
    ).all()
    deliveries = _deliveries(connection, list(rows))
    return Backlog(
        lane,
        tuple(d for d in deliveries if d.state not in OPEN_STATES),
        tuple(d for d in deliveries if d.state in OPEN_STATES),
    )


def _stamps(backlog: Backlog) -> list[tuple[str, DeliveryState, int]]:
    """What must not have changed between reading a lane and ending it."""
    return [(d.id, d.state, d.attempt) for d in (*backlog.unreached, *backlog.waiting)]


def _under_way(delivery: Delivery, now: datetime) -> bool:
    lease = delivery.lease_until
    return (
        delivery.state is DeliveryState.SENDING
        and lease is not None
        and now < lease <= now + FARTHEST
    )
