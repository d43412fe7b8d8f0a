"""Housekeeping: what nobody looks up any more goes, a little at a time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from sqlalchemy import ColumnElement, Connection, Table, and_, delete, exists, func, select, text

from windwatch.episodes.values import Step
from windwatch.errors import StoreError
from windwatch.store.access import Access
from windwatch.store.codec import from_json
from windwatch.store.tables import (
    ACKNOWLEDGEMENTS,
    ATTEMPTS,
    DELIVERIES,
    EPISODES,
    EVENTS,
    FORECASTS,
    METADATA,
    NOTICE_PICTURES,
    NOTICE_STEPS,
    NOTICES,
    PICTURES,
    REPORTS,
    SETTINGS_SEEN,
    STEPS,
)
from windwatch.store.values import Tidied


@dataclass(frozen=True, slots=True)
class Keep:
    """How long things are kept; what belongs to an open episode or delivery is kept anyway.

    The figures are judgement: a year and a month, so that the same season can be looked at
    again; the words sent to people only as long as somebody may ask what they were told.

    Attributes
    ----------
    reports : timedelta
        Reports and events, counted from receipt.
    episodes : timedelta
        Ended episodes with their steps and acknowledgements.
    notices : timedelta
        Notices with their deliveries and attempts, dead letters too (reliability, section 3).
    refused_reports : timedelta
        Reports that were not accepted, where there is no room.
    forecasts : timedelta
        Forecasts, counted from receipt; the longest reach thirty hours ahead.
    size_bytes : int
        From here on younger things go too, the oldest first.
    at_least : timedelta
        What is younger stays, however large the store is.
    """

    reports: timedelta = timedelta(days=400)
    episodes: timedelta = timedelta(days=400)
    notices: timedelta = timedelta(days=90)
    refused_reports: timedelta = timedelta(hours=1)
    forecasts: timedelta = timedelta(days=7)
    size_bytes: int = 1 << 30
    at_least: timedelta = timedelta(days=2)


KEEP: Final = Keep()
# Rows in one transaction: each is over before anybody notices.
BATCH: Final = 500
# A clock that is years ahead must not empty the store: ages are counted from the newest thing
# that is in it, and at most so much later.
AHEAD: Final = timedelta(days=2)


def tidy(access: Access, now: datetime, keep: Keep) -> Tidied:
    """Drop what is old, and more where the store is larger than it may be.

    Parameters
    ----------
    now : datetime
        Not to be called while the clock is in doubt.
    """
    dropped: Counter[str] = Counter()
    with access.reading() as connection:
        newest = _newest(connection)
        if newest is not None:
            now = min(now, newest + AHEAD)
        evidence = _evidence(connection)
    for ages in _ages(keep):
        for table, old in _old(now, ages, evidence):
            dropped += _drop(access, table, old)
        with access.reading() as connection:
            size = _size(connection)
        if size <= keep.size_bytes:
            return Tidied(dict(dropped), size, over_cap=False)
    return Tidied(dict(dropped), size, over_cap=True)


def _ages(keep: Keep) -> Iterator[Keep]:
    """First as long as wanted; then, while there is no room, half as long again and again."""
    yield replace(keep, refused_reports=keep.reports)
    ages = keep
    yield ages
    while max(ages.reports, ages.episodes, ages.notices) > keep.at_least:
        ages = replace(
            keep,
            reports=max(keep.at_least, ages.reports / 2),
            episodes=max(keep.at_least, ages.episodes / 2),
            notices=max(keep.at_least, ages.notices / 2),
            forecasts=max(keep.at_least, ages.forecasts / 2),
        )
        yield ages


def _newest(connection: Connection) -> datetime | None:
    """Time of the newest thing kept."""
    times = (REPORTS.c.received_at, EVENTS.c.at, NOTICES.c.at)
    found = [connection.execute(select(func.max(column))).scalar() for column in times]
    return max((at for at in found if at is not None), default=None)


def _evidence(connection: Connection) -> frozenset[str]:
    """Ids of the reports on which open episodes rest."""
    still = EPISODES.c.closed_at.is_(None)
    found = set(connection.execute(select(EPISODES.c.opened_by).where(still)).scalars())
    steps = select(STEPS.c.step).join(EPISODES, EPISODES.c.id == STEPS.c.episode).where(still)
    for written in connection.execute(steps).scalars():
        try:
            found |= {report.id for report in from_json(written, Step).reports}
        except StoreError:
            # A step that cannot be read rests on nothing that could be kept for it.
            continue
    return frozenset(found)


def _old(
    now: datetime, keep: Keep, evidence: frozenset[str]
) -> Iterator[tuple[Table, ColumnElement[bool]]]:
    """What may go, table by table."""
    since = now - keep.reports
    ours = REPORTS.c.id.in_(sorted(evidence))
    yield NOTICES, and_(NOTICES.c.at < now - keep.notices, ~_on_its_way(), ~_of_open_episode())
    yield PICTURES, unnamed()
    yield EPISODES, EPISODES.c.closed_at < now - keep.episodes
    without = ~exists().where(EPISODES.c.id == STEPS.c.episode)
    yield STEPS, and_(STEPS.c.at < now - keep.episodes, without)
    yield REPORTS, and_(REPORTS.c.received_at < since, ~ours)
    refused = REPORTS.c.status == "quarantined"
    yield REPORTS, and_(REPORTS.c.received_at < now - keep.refused_reports, refused, ~ours)
    yield EVENTS, EVENTS.c.at < since
    yield FORECASTS, FORECASTS.c.received_at < now - keep.forecasts
    # Whatever is kept from then on was judged by it.
    in_force = select(func.max(SETTINGS_SEEN.c.number)).where(SETTINGS_SEEN.c.at < since)
    yield (
        SETTINGS_SEEN,
        and_(SETTINGS_SEEN.c.at < since, SETTINGS_SEEN.c.number != in_force.scalar_subquery()),
    )


def unnamed() -> ColumnElement[bool]:
    """Pictures that no notice names any more."""
    return ~exists().where(NOTICE_PICTURES.c.picture == PICTURES.c.id)


def _on_its_way() -> ColumnElement[bool]:
    return exists().where(DELIVERIES.c.notice == NOTICES.c.id, DELIVERIES.c.open_rank.is_not(None))


def _of_open_episode() -> ColumnElement[bool]:
    return exists().where(
        NOTICE_STEPS.c.notice == NOTICES.c.id,
        STEPS.c.id == NOTICE_STEPS.c.step,
        EPISODES.c.id == STEPS.c.episode,
        EPISODES.c.closed_at.is_(None),
    )


# What goes with a row: a table, and its column that names the row's id.
_GOES_ALONG: Final[dict[str, tuple[tuple[Table, str], ...]]] = {
    NOTICES.name: (
        (NOTICE_STEPS, "notice"),
        (NOTICE_PICTURES, "notice"),
        (DELIVERIES, "notice"),
    ),
    EPISODES.name: ((STEPS, "episode"), (ACKNOWLEDGEMENTS, "episode")),
}


def _drop(access: Access, table: Table, old: ColumnElement[bool]) -> Counter[str]:
    """Drop rows, the oldest first, a batch to a transaction."""
    dropped: Counter[str] = Counter()
    chosen = select(table.c.number).where(old).order_by(table.c.number).limit(BATCH)
    while True:
        with access.writing() as connection:
            numbers = connection.execute(chosen).scalars().all()
            rows = table.c.number.in_(numbers)
            if table.name in _GOES_ALONG and numbers:
                ids = connection.execute(select(table.c.id).where(rows)).scalars().all()
                for other, column in _GOES_ALONG[table.name]:
                    dropped += _drop_with(connection, other, other.c[column].in_(ids))
            if numbers:
                connection.execute(delete(table).where(rows))
        dropped[table.name] += len(numbers)
        if len(numbers) < BATCH:
            return dropped


def _drop_with(connection: Connection, table: Table, which: ColumnElement[bool]) -> Counter[str]:
    dropped: Counter[str] = Counter()
    if table is DELIVERIES:
        of_these = ATTEMPTS.c.delivery.in_(select(DELIVERIES.c.id).where(which))
        dropped[ATTEMPTS.name] += connection.execute(delete(ATTEMPTS).where(of_these)).rowcount
    dropped[table.name] += connection.execute(delete(table).where(which)).rowcount
    return dropped


def _size(connection: Connection) -> int:
    """What is kept, in bytes: room that was freed in the file and waits for use is not counted."""
    if connection.dialect.name == "postgresql":
        return sum(
            int(
                connection.execute(
                    select(
                        func.coalesce(func.sum(func.pg_column_size(text(f'"{name}".*'))), 0)
                    ).select_from(table)
                ).scalar_one()
            )
            for name, table in METADATA.tables.items()
        )
    pages, free, size = (
        connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
        for name in ("page_count", "freelist_count", "page_size")
    )
    return (int(pages) - int(free)) * int(size)
