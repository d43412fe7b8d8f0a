"""The newest forecast of a station, from the store."""

from __future__ import annotations

from typing import NamedTuple

from windwatch.reports.forecast import Forecast
from windwatch.reports.taf import decode_forecast
from windwatch.store.access import Access
from windwatch.store.forecasts import newest_forecast


class ForecastRead(NamedTuple):
    """One forecast as it came, and decoded."""

    raw: str
    forecast: Forecast


def read_forecast(store: Access, station: str | None) -> ForecastRead | None:
    """The forecast issued last; None where none is kept, or none is wanted.

    Raises
    ------
    StoreError
        If the store cannot be read.
    """
    kept = None if station is None else newest_forecast(store, station)
    if kept is None:
        return None
    return ForecastRead(kept.raw, decode_forecast(kept.raw, kept.issued_at))
