"""How deliveries stand, for whoever looks after windwatch: counts, and routes that fail."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from sqlalchemy import case, func, select

from windwatch.notices.outbox import DeliveryState, Route
from windwatch.store.access import Access
from windwatch.store.tables import DELIVERIES

# Looked at: the newest, so that a long history costs nothing.
NEWEST: Final = 20_000
_D: Final = DELIVERIES
_ENDED_BADLY: Final = tuple(
    state.value for state in (DeliveryState.REFUSED, DeliveryState.EXPIRED, DeliveryState.DEAD)
)


@dataclass(frozen=True, slots=True)
class FailingRoute:
    """A contact's channel by which the latest deliveries did not arrive.

    Attributes
    ----------
    ended : bool
        One has ended so; else it is still tried.
    answer : str
        What the other side said last.
    """

    route: Route
    ended: bool
    answer: str


@dataclass(frozen=True, slots=True)
class Deliveries:
    """How the newest deliveries stand.

    Attributes
    ----------
    open : int
        Not ended.
    dead : int
        Ended without arriving (refused, expired, dead), and said by no other.
    failing : tuple of FailingRoute
    """

    open: int
    dead: int
    failing: tuple[FailingRoute, ...]


def deliveries(access: Access) -> Deliveries:
    """Look at the newest deliveries.

    Raises
    ------
    StoreError
        If the store cannot be read.
    """
    arrived = case((_D.c.state == DeliveryState.ACCEPTED.value, _D.c.number), else_=0)
    lost = case((_D.c.state.in_(_ENDED_BADLY), _D.c.number), else_=0)
    tried = (_D.c.state == DeliveryState.WAITING.value) & (_D.c.attempt > 0)
    waits = case((tried, _D.c.number), else_=0)
    # What another notice has said in its place is not lost.
    lost_for_good = _D.c.state.in_(_ENDED_BADLY) & (_D.c.replaced_by == "")
    newest = select(func.coalesce(func.max(_D.c.number), 0)).scalar_subquery()
    query = (
        select(
            _D.c.contact,
            _D.c.channel,
            func.max(arrived).label("arrived"),
            func.max(lost).label("lost"),
            func.max(waits).label("waits"),
            func.sum(case((_D.c.open_rank.is_not(None), 1), else_=0)).label("open"),
            func.sum(case((lost_for_good, 1), else_=0)).label("dead"),
        )
        .where(_D.c.number > newest - NEWEST)
        .group_by(_D.c.contact, _D.c.channel)
    )
    with access.reading() as connection:
        rows = connection.execute(query).all()
        numbers = {max(row.lost, row.waits): row for row in rows}
        bad = {n: row for n, row in numbers.items() if n > row.arrived}
        said = select(_D.c.number, _D.c.last_answer).where(_D.c.number.in_(list(bad)))
        answers = {row.number: row.last_answer for row in connection.execute(said)}
    return Deliveries(
        open=sum(row.open for row in rows),
        dead=sum(row.dead for row in rows),
        failing=tuple(
            FailingRoute(Route(row.contact, row.channel), row.lost > row.arrived, answers[n] or "")
            for n, row in sorted(bad.items())
        ),
    )
