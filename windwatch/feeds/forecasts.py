"""Forecasts (TAF) of the kinds of feed that have them, handed over as they came.

They are shown beside what was observed and judge nothing yet. A forecast is handed over as a
`RawReport` of the kind ``TAF``, whose `observed_at` is the time of issue where the feed says it.
"""

from __future__ import annotations

import re
from bisect import insort
from collections import Counter
from collections.abc import Collection, Iterable
from datetime import datetime, timedelta
from typing import Final, NamedTuple

from windwatch.clock import Clock
from windwatch.errors import FeedError
from windwatch.feeds.recorded import read_all_recorded
from windwatch.feeds.values import Feed, FeedSettings, FetchResult
from windwatch.reports.raw import RawReport

FORECAST_KINDS: Final = ("awc", "noaa-text", "recorded")
FORECAST: Final = "TAF"
# The longest reach thirty hours ahead: what was received before is over.
LASTS: Final = timedelta(hours=36)
# The one that holds, what amends it, and what came in the same minute. No station needs more, and
# a broken or hostile server must not fill memory and store with them.
A_STATION: Final = 4
# Problems of one answer that are told one by one; of the rest their number is.
TOLD: Final = 10
_FORECAST: Final = re.compile(r"(?:TAF )*(?:(?:AMD|COR) )*(?P<station>[A-Z][A-Z0-9]{3}) [0-9]{6}")


def forecast_station(line: str) -> str | None:
    """Whose forecast a line is, or None if it does not begin like a TAF."""
    found = _FORECAST.match(line)
    return found["station"] if found else None


class Newest:
    """The newest few forecasts of each station, however many are offered.

    Parameters
    ----------
    wanted : collection of str
        Stations; whatever is of no such station shares one place among them.
    """

    def __init__(self, wanted: Collection[str]) -> None:
        self._wanted = frozenset(wanted)
        self._held: dict[str | None, list[tuple[_Age, RawReport]]] = {}
        self._offered = 0
        # How many were not kept, by station; None: of no station that was wanted.
        self.left_out: Counter[str | None] = Counter()

    def offer(self, report: RawReport) -> None:
        """Take one in, and let the oldest of its station go where there are too many."""
        whose = forecast_station(report.text)
        station = whose if whose in self._wanted else None
        held = self._held.setdefault(station, [])
        self._offered += 1
        if any(report.text == each.text for _, each in held):
            return
        insort(held, (_age(report, self._offered), report), key=lambda each: each[0])
        if len(held) > A_STATION:
            del held[0]
            self.left_out[station] += 1

    @property
    def reports(self) -> list[RawReport]:
        """What is kept, in the order in which it was offered."""
        held = [each for kept in self._held.values() for each in kept]
        return [report for _, report in sorted(held, key=lambda each: each[0].place)]


class _Age(NamedTuple):
    """The greater, the newer: without a time of issue last, and of one time what came last."""

    dated: bool
    at: datetime
    received_at: datetime
    place: int


def _age(report: RawReport, place: int) -> _Age:
    at = report.observed_at
    return _Age(at is not None, at or report.received_at, report.received_at, place)


def newest_of(reports: Iterable[RawReport], wanted: Collection[str]) -> list[RawReport]:
    """The newest few of each station, in the order they came; see `Newest`."""
    newest = Newest(wanted)
    for report in reports:
        newest.offer(report)
    return newest.reports


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
