"""Forecasts (TAF) of the kinds of feed that have them, handed over as they came.

They are shown beside what was observed and judge nothing yet. A forecast is handed over as a
`RawReport` of the kind ``TAF``, whose `observed_at` is the time of issue where the feed says it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

from windwatch.clock import Clock
from windwatch.errors import FeedError
from windwatch.feeds.recorded import read_all_recorded
from windwatch.feeds.values import Feed, FeedSettings, FetchResult
from windwatch.reports.raw import RawReport

FORECAST_KINDS: Final = ("awc", "noaa-text", "recorded")
FORECAST: Final = "TAF"
# The longest reach thirty hours ahead: what was received before is over.
LASTS: Final = timedelta(hours=36)
_FORECAST: Final = re.compile(r"(?:TAF )*(?:(?:AMD|COR) )*(?P<station>[A-Z][A-Z0-9]{3}) [0-9]{6}")


def forecast_station(line: str) -> str | None:
    """Whose forecast a line is, or None if it does not begin like a TAF."""
    found = _FORECAST.match(line)
    return found["station"] if found else None


class RecordedForecasts:
    """The forecasts in files of recorded reports: what was received up to now."""

    def __init__(self, forecasts: Iterable[RawReport]) -> None:
        self._forecasts = tuple(forecasts)

    def close(self) -> None:
        """Nothing to give back."""

    def fetch(
        self,
        stations: tuple[str, ...],
        now: datetime,
        *,
        since: datetime | None = None,
        fresh: bool = False,  # noqa: ARG002 - a file has no cache
    ) -> FetchResult:
        """Give what was received up to `now` and can still hold."""
        since = now - LASTS if since is None else since
        found = tuple(
            each
            for each in self._forecasts
            if since < each.received_at <= now and forecast_station(each.text) in stations
        )
        return FetchResult(found, asked=stations)


def build_forecasts(settings: FeedSettings, clock: Clock) -> Feed | None:
    """Make a feed of forecasts; None for a kind that has none.

    It has a client of its own: what goes wrong with forecasts, and how long their server asks to
    be left alone, holds up no poll of the reports.

    Parameters
    ----------
    settings : FeedSettings
        Of the feed of reports, judged already.
    clock : Clock
        For spacing, waiting and deadlines.

    Raises
    ------
    FeedError
        If a recorded file cannot be read, or the address may not be called.
    """
    if settings.kind not in FORECAST_KINDS:
        return None
    if settings.kind == "recorded":
        lines = read_all_recorded(settings.files)
        return RecordedForecasts(line.forecast for line in lines if line.forecast)
    # Imported where used: replaying a file needs no network library.
    from windwatch.addresses import Refused  # noqa: PLC0415
    from windwatch.feeds.forecasts_called import AwcForecasts, NoaaTextForecasts  # noqa: PLC0415
    from windwatch.feeds.http import FeedClient  # noqa: PLC0415

    try:
        client = FeedClient(settings, clock)
    except Refused as error:
        raise FeedError(settings.kind, str(error)) from error
    called = AwcForecasts if settings.kind == "awc" else NoaaTextForecasts
    return called(settings, client)
