"""Forecasts as they came, to be shown beside what was observed. Nothing is judged by them yet."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from hashlib import sha256
from typing import NamedTuple

from sqlalchemy import select

from windwatch.store.access import Access, add_new
from windwatch.store.tables import FORECASTS


class StoredForecast(NamedTuple):
    """One forecast.

    Attributes
    ----------
    station : str
        For where.
    issued_at, received_at : datetime
        As the text says; when it came first. UTC.
    raw : str
        As it came.
    source : str
        Which feed.
    """

    station: str
    issued_at: datetime
    received_at: datetime
    raw: str
    source: str


def keep_forecasts(access: Access, forecasts: Iterable[StoredForecast]) -> int:
    """Keep what is not known yet, and say how many that were; a text counts as it came first.

    Raises
    ------
    LeadLost
        If another watcher leads now.
    StoreError
        If the store cannot be read or written; then nothing was kept.
    """
    by_id = {_id(each): each for each in forecasts}
    with access.reading() as connection:
        query = select(FORECASTS.c.id).where(FORECASTS.c.id.in_(list(by_id)))
        known = set(connection.execute(query).scalars())
    new = [{"id": id_, **each._asdict()} for id_, each in by_id.items() if id_ not in known]
    if new:
        with access.writing() as connection:
            add_new(connection, FORECASTS, new)
    return len(new)


def newest_forecast(access: Access, station: str) -> StoredForecast | None:
    """The forecast issued last, and of several of one minute the one that came last.

    Raises
    ------
    StoreError
        If the store cannot be read.
    """
    f = FORECASTS.c
    query = (
        select(f.station, f.issued_at, f.received_at, f.raw, f.source)
        .where(f.station == station)
        .order_by(f.issued_at.desc(), f.number.desc())
        .limit(1)
    )
    with access.reading() as connection:
        row = connection.execute(query).first()
    return None if row is None else StoredForecast(**row._asdict())


def _id(forecast: StoredForecast) -> str:
    return sha256(f"{forecast.station}\n{forecast.raw}".encode(errors="replace")).hexdigest()
