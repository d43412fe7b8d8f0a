"""How attempts ended, written down: a few statements for many, for a storm has thousands."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any, Final

from sqlalchemy import (
    Column,
    ColumnElement,
    Connection,
    Update,
    bindparam,
    func,
    or_,
    select,
    update,
)

from windwatch.notices.outbox import OPEN_STATES, Delivery, DeliveryState, Outcome
from windwatch.store.tables import ATTEMPTS, DELIVERIES

UNDER_WAY: Final = "under way"
UNCERTAIN: Final = "uncertain"
# So many notices that a notice stands in for are looked at; no list of them is longer.
MOST_REPLACED: Final = 400

_D: Final = DELIVERIES
_LOST: Final = frozenset({DeliveryState.REFUSED, DeliveryState.EXPIRED, DeliveryState.DEAD})
_NOT_YET: Final = (DeliveryState.QUEUED.value, DeliveryState.WAITING.value)

# Statements are made once: to make one takes SQLAlchemy longer than the database to carry it out.


def _one_of(column: Column[str], words: tuple[str, ...]) -> ColumnElement[bool]:
    """Not as a list: a statement with a list cannot be carried out for many rows at once."""
    return or_(*(column == word for word in words))


def _attempt(*outcomes: str) -> Update:
    return (
        update(ATTEMPTS)
        .where(
            ATTEMPTS.c.delivery == bindparam("of_delivery"),
            ATTEMPTS.c.number == bindparam("of_attempt"),
            _one_of(ATTEMPTS.c.outcome, outcomes),
        )
        .values(
            outcome=bindparam("word"), ended_at=bindparam("now"), answer=bindparam("new_answer")
        )
    )


_CHANGES: Final[dict[str, Any]] = {
    "state": bindparam("new_state"),
    "due_at": bindparam("new_due_at"),
    "lease_until": None,
    "last_answer": bindparam("new_answer"),
    "tries": bindparam("new_tries"),
    "plain": bindparam("new_plain"),
    "unreached": bindparam("new_unreached"),
}
_THIS: Final = update(_D).where(_D.c.id == bindparam("of_delivery"))
# Nobody has taken the delivery over since this attempt began.
_OURS: Final = _THIS.where(
    _D.c.attempt == bindparam("of_attempt"), _D.c.state == DeliveryState.SENDING.value
)
_ATTEMPT_ACCEPTED: Final = _attempt(UNDER_WAY, UNCERTAIN)
_ATTEMPT_FAILED: Final = _attempt(UNDER_WAY)
# What arrived has arrived, whoever sent it; anything else is for the holder to say.
_ACCEPTED: Final = _THIS.where(_D.c.open_rank.is_not(None)).values(
    **_CHANGES, open_rank=None, accepted_at=bindparam("now")
)
_ENDED: Final = _OURS.values(**_CHANGES, open_rank=None)
_OPEN: Final = _OURS.values(**_CHANGES)
_WITHDRAWN: Final[dict[str, Any]] = {
    "state": DeliveryState.WITHDRAWN.value,
    "open_rank": None,
    "last_answer": bindparam("new_answer"),
}
_NOT_NEEDED: Final = (
    update(_D)
    .where(
        _D.c.notice == bindparam("of_notice"),
        _D.c.channel != bindparam("by_channel"),
        _D.c.fall_back,
        _one_of(_D.c.state, _NOT_YET),
    )
    .values(**_WITHDRAWN)
)
_THIS_NOT_NEEDED: Final = _THIS.where(_D.c.fall_back, _one_of(_D.c.state, _NOT_YET)).values(
    **_WITHDRAWN
)
_REACHED: Final = (
    update(_D)
    .where(
        _D.c.contact == bindparam("of_contact"),
        _D.c.channel == bindparam("by_channel"),
        _D.c.airfield == bindparam("of_airfield"),
        _D.c.unreached,
    )
    .values(unreached=False)
)


def write_ended(
    connection: Connection, ended: Collection[tuple[Delivery, Outcome]], now: datetime
) -> None:
    """Write how attempts ended, and what that means for the other channels of their notices."""
    accepted = [pair for pair in ended if pair[1].state is DeliveryState.ACCEPTED]
    others = [pair for pair in ended if pair[1].state is not DeliveryState.ACCEPTED]
    over = [pair for pair in others if pair[1].state not in OPEN_STATES]
    waiting = [pair for pair in others if pair[1].state in OPEN_STATES]
    for statement, pairs in (
        (_ATTEMPT_ACCEPTED, accepted),
        (_ATTEMPT_FAILED, others),
        (_ACCEPTED, accepted),
        (_ENDED, over),
        (_OPEN, waiting),
    ):
        _write(connection, statement, [_row(*pair, now) for pair in pairs])
    for delivery, outcome in others:
        if outcome.fall_back:
            _start_next(connection, delivery)
        if delivery.fall_back and outcome.state in OPEN_STATES:
            _end_what_has_arrived(connection, delivery)
    for delivery, outcome in accepted:
        if outcome.fall_back:
            _start_next(connection, delivery)
    _end_fall_backs(connection, [delivery for delivery, _ in accepted])
    _reached(connection, [delivery for delivery, _ in accepted])


def _write(connection: Connection, statement: Update, rows: list[dict[str, Any]]) -> None:
    if rows:
        connection.execute(statement, rows)


def _row(delivery: Delivery, outcome: Outcome, now: datetime) -> dict[str, Any]:
    accepted = outcome.state is DeliveryState.ACCEPTED
    return {
        "of_delivery": delivery.id,
        "of_attempt": delivery.attempt,
        "word": "accepted" if accepted else ("failed" if outcome.spent else "put off"),
        "now": now,
        "new_answer": outcome.answer,
        "new_state": outcome.state.value,
        "new_due_at": outcome.due_at,
        "new_tries": delivery.tries if outcome.spent else delivery.tries - 1,
        "new_plain": outcome.plain or delivery.plain,
        "new_unreached": outcome.state in _LOST,
    }


def _start_next(connection: Connection, delivery: Delivery) -> None:
    """Let the next channel of the notice start now, where it waits for this one to fail."""
    own = select(_D.c.number).where(_D.c.id == delivery.id).scalar_subquery()
    following = (
        select(func.min(_D.c.number))
        .where(_D.c.notice == delivery.notice.id, _D.c.fall_back, _D.c.number > own)
        .scalar_subquery()
    )
    connection.execute(
        update(_D)
        .where(
            _D.c.number == following,
            _D.c.state == DeliveryState.QUEUED.value,
            _D.c.attempt == 0,
        )
        .values(due_at=None)
    )


def _end_fall_backs(connection: Connection, arrived: list[Delivery]) -> None:
    """What has arrived needs no other channel; one that is just being sent goes on."""
    rows = [
        {
            "of_notice": notice,
            "by_channel": delivery.channel,
            "new_answer": _not_needed(delivery.channel),
        }
        for delivery in arrived
        for notice in (delivery.notice.id, *delivery.notice.replaces[-MOST_REPLACED:])
    ]
    _write(connection, _NOT_NEEDED, rows)


def _reached(connection: Connection, arrived: list[Delivery]) -> None:
    """Whatever did not arrive earlier in their lanes has now been made up for."""
    rows = [
        {"of_contact": lane.contact, "by_channel": lane.channel, "of_airfield": lane.airfield}
        for lane in (delivery.lane for delivery in arrived)
    ]
    _write(connection, _REACHED, rows)


def _end_what_has_arrived(connection: Connection, delivery: Delivery) -> None:
    """A fall-back that failed while another channel got through needs no further try."""
    arrived = connection.execute(
        select(_D.c.channel).where(
            _D.c.notice == delivery.notice.id, _D.c.state == DeliveryState.ACCEPTED.value
        )
    ).scalar()
    if arrived is not None:
        row = {"of_delivery": delivery.id, "new_answer": _not_needed(arrived)}
        _write(connection, _THIS_NOT_NEEDED, [row])


def _not_needed(channel: str) -> str:
    return f"not needed: {channel} took it"
