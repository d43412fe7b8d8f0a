"""What a board looks at again and again: whether anything changed, and the latest notices.

Every question here is answered from an index or from the newest rows, so that a long history
costs nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime
from hashlib import sha256
from typing import Any, Final, NamedTuple

from sqlalchemy import Select, Table, func, select

from windwatch.episodes.values import StepName, TrackKey, TrackKind
from windwatch.notices.outbox import Delivery
from windwatch.notices.values import Content, Notice
from windwatch.store.access import Access
from windwatch.store.reading import delivery_of
from windwatch.store.tables import (
    ACKNOWLEDGEMENTS,
    AIRFIELD_STATES,
    DELIVERIES,
    EVENTS,
    FORECASTS,
    NOTICES,
    REPORTS,
    SETTINGS_SEEN,
    STEPS,
)

# A delivery that changes is open, has just ended, or is one of the newest.
NEWEST_DELIVERIES: Final = 200
MOST_OPEN: Final = 500
_OPENS: Final = (StepName.OPENED, StepName.UNSETTLED)


class Pulse(NamedTuple):
    """What is different as soon as anything that a board shows has changed.

    Attributes
    ----------
    event : int
        Number of the newest event; 0 where there is none.
    digest : str
        Of everything else: reports, forecasts, notices, deliveries, acknowledgements, states.
    """

    event: int
    digest: str


def pulse(access: Access) -> Pulse:
    """Look whether anything changed.

    Raises
    ------
    StoreError
        If the store cannot be read.
    """
    counted = (EVENTS, REPORTS, NOTICES, ACKNOWLEDGEMENTS, SETTINGS_SEEN, FORECASTS)
    d = DELIVERIES.c
    columns = (d.number, d.state, d.attempt, d.replaced_by)
    newest = select(*columns).order_by(d.number.desc()).limit(NEWEST_DELIVERIES)
    still = select(*columns).where(d.open_rank.is_not(None)).order_by(d.open_rank, d.number)
    with access.reading() as connection:
        numbers = [int(connection.scalar(_newest(table)) or 0) for table in counted]
        turned = connection.scalar(select(func.max(AIRFIELD_STATES.c.updated_at)))
        rows = [tuple(row) for row in connection.execute(newest)]
        rows += [tuple(row) for row in connection.execute(still.limit(MOST_OPEN))]
    told = repr((numbers, turned, rows))
    return Pulse(numbers[0], sha256(told.encode()).hexdigest()[:12])


def _newest(table: Table) -> Select[Any]:
    return select(func.max(table.c.number))


def latest_notices(
    access: Access, since: datetime, limit: int, airfield: str | None = None
) -> tuple[str, ...]:
    """Ids of the latest notices made since a time, newest first.

    Parameters
    ----------
    airfield : str or None
        Only those about it; None: all.
    """
    query = select(NOTICES.c.id).where(NOTICES.c.at >= since)
    if airfield is not None:
        query = query.where(NOTICES.c.airfield == airfield)
    query = query.order_by(NOTICES.c.at.desc(), NOTICES.c.number.desc()).limit(limit)
    with access.reading() as connection:
        return tuple(row.id for row in connection.execute(query))


def deliveries_of(
    access: Access, notices: Mapping[str, tuple[Notice, Content]]
) -> dict[str, tuple[Delivery, ...]]:
    """The deliveries of some notices as they stand now, by the notice's id, in order."""
    query = (
        select(DELIVERIES)
        .where(DELIVERIES.c.notice.in_(list(notices)))
        .order_by(DELIVERIES.c.number)
    )
    found: dict[str, list[Delivery]] = {notice: [] for notice in notices}
    with access.reading() as connection:
        for row in connection.execute(query):
            found[row.notice].append(delivery_of(row, *notices[row.notice]))
    return {notice: tuple(several) for notice, several in found.items()}


class Crossing(NamedTuple):
    """Where a subject went past its limit, or was back within it."""

    at: datetime
    over: bool
    track: TrackKey


def crossings(access: Access, airfield: str, since: datetime) -> tuple[Crossing, ...]:
    """What opened and what came back at an airfield since a time, in order."""
    s = STEPS.c
    names = [name.value for name in (*_OPENS, StepName.BACK)]
    query = (
        select(s.at, s.name, s.track_kind, s.aircraft, s.pilot_limits, s.quantity)
        .where(s.at >= since, s.airfield == airfield, s.name.in_(names))
        .order_by(s.number)
    )
    with access.reading() as connection:
        return tuple(
            Crossing(
                row.at,
                row.name != StepName.BACK,
                TrackKey(
                    TrackKind(row.track_kind),
                    airfield,
                    row.aircraft,
                    row.pilot_limits,
                    row.quantity,
                ),
            )
            for row in connection.execute(query)
        )


def latest_acknowledgements(
    access: Access, episodes: Collection[str], since: datetime
) -> dict[str, tuple[str, datetime, str]]:
    """Who took note last of some episodes since a time, when, and with which word."""
    a = ACKNOWLEDGEMENTS.c
    query = (
        select(a.episode, a.by, a.at, a.note)
        .where(a.episode.in_(list(episodes)), a.at >= since)
        .order_by(a.number)
    )
    with access.reading() as connection:
        return {row.episode: (row.by, row.at, row.note) for row in connection.execute(query)}
