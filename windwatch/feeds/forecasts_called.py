"""Forecasts that are called for over the network: kinds ``awc`` and ``noaa-text``.

Facts of the formats: reference/feeds.md sections 1.2, 1.3 and 4. An answer without a forecast is
an answer: most stations have none.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, Final
from urllib.parse import quote, urlencode

from windwatch.feeds.awc import BASE as AWC_BASE
from windwatch.feeds.awc import MAX_ENTRIES
from windwatch.feeds.forecasts import A_STATION, FORECAST, TOLD, Newest, forecast_station
from windwatch.feeds.gather import Ask, Found, Gatherer
from windwatch.feeds.http import FeedClient, Reply
from windwatch.feeds.json_text import NotTheFormat, members, read_json
from windwatch.feeds.noaa_text import BASE as NOAA_BASE
from windwatch.feeds.report_text import FIRST_LINE, quoted, report_text
from windwatch.feeds.values import FeedSettings, FetchResult
from windwatch.reports.raw import RawReport

# Superseded forecasts may come along with the one that holds.
TOGETHER: Final = MAX_ENTRIES // 4


class _Called(ABC):
    """Asks address after address of one server."""

    def __init__(self, settings: FeedSettings, client: FeedClient, usual_base: str) -> None:
        self._kind = settings.kind
        self._base = (settings.url or usual_base).rstrip("/")
        self._client = client
        self._gatherer = Gatherer(f"{settings.kind} forecasts", client)

    def close(self) -> None:
        """Give back connections."""
        self._client.close()

    def fetch(
        self,
        stations: tuple[str, ...],
        now: datetime,
        *,
        since: datetime | None = None,  # noqa: ARG002 - only what holds now is given
        fresh: bool = False,
    ) -> FetchResult:
        """Ask for the forecasts that hold; see `Feed.fetch`."""
        asks = self._asks(tuple(station.upper() for station in stations), now)
        return self._gatherer.gather(asks, now, fresh=fresh)

    @abstractmethod
    def _asks(self, stations: tuple[str, ...], now: datetime) -> list[Ask]:
        """Every address that is to be asked."""

    def _forecast(
        self, text: Any, station: str, issued_at: datetime | None, now: datetime
    ) -> RawReport:
        """One forecast of a station.

        Raises
        ------
        NotTheFormat
            If it is none, or another station's.
        """
        if not isinstance(text, str):
            raise NotTheFormat(f"{quoted(station)}: no text of a forecast")
        line, problem = report_text(text)
        if problem:
            raise NotTheFormat(f"{quoted(station)}: {problem}")
        whose = forecast_station(line)
        if whose is None:
            raise NotTheFormat(f"{quoted(station)}: no TAF: {quoted(line)}")
        if whose != station:
            raise NotTheFormat(f"{quoted(station)}: a forecast of {whose}")
        return RawReport(line, now, self._kind, station, issued_at, FORECAST)


class AwcForecasts(_Called):
    """Forecasts of the Data API, many stations at once."""

    def __init__(self, settings: FeedSettings, client: FeedClient) -> None:
        super().__init__(settings, client, AWC_BASE)

    def _asks(self, stations: tuple[str, ...], now: datetime) -> list[Ask]:
        parts = [stations[i : i + TOGETHER] for i in range(0, len(stations), TOGETHER)]
        return [Ask(part, self._address(part), self._reader(part, now)) for part in parts]

    def _address(self, stations: tuple[str, ...]) -> str:
        query = urlencode({"ids": ",".join(stations), "format": "json"}, safe=",")
        return f"{self._base}/taf?{query}"

    def _reader(self, stations: tuple[str, ...], now: datetime) -> Callable[[Reply], Found]:
        return lambda reply: self._read(reply, frozenset(stations), now)

    def _read(self, reply: Reply, wanted: frozenset[str], now: datetime) -> Found:
        """Read an array of TAF objects; an empty one says that there is no forecast."""
        value = read_json(reply.body)
        if isinstance(value, dict) and "error" in value:
            raise NotTheFormat(f"the feed reports an error: {quoted(str(value['error']))}")
        if not isinstance(value, list):
            raise NotTheFormat("no JSON list of TAF objects")
        newest = Newest(wanted)
        problems: list[str] = []
        bad = 0
        for number, item in enumerate(value, start=1):
            try:
                report = self._record(members(item, "it"), wanted, now)
            except NotTheFormat as error:
                bad += 1
                if bad <= TOLD:
                    problems.append(f"awc forecasts: record {number}: {error}")
            else:
                if report is not None:
                    newest.offer(report)
        if value and bad == len(value):
            raise NotTheFormat(f"none of {len(value)} records holds a forecast; {problems[0]}")
        return newest.reports, [*_left_out(newest), *_in_short(problems, bad)]

    def _record(
        self, item: dict[str, Any], wanted: frozenset[str], now: datetime
    ) -> RawReport | None:
        """One record; None where a newer one stands beside it."""
        station = item.get("icaoId")
        if not isinstance(station, str) or station.upper() not in wanted:
            raise NotTheFormat(f"{quoted(str(station))} was not asked for")
        if item.get("mostRecent") == 0:
            return None
        return self._forecast(item.get("rawTAF"), station.upper(), _moment(item), now)


def _left_out(newest: Newest) -> list[str]:
    """Say for whom more came than anybody needs."""
    return [
        f"awc forecasts: {station}: {count} more than the newest {A_STATION} are left out"
        for station, count in newest.left_out.items()
    ]


def _in_short(problems: list[str], bad: int) -> list[str]:
    """The first problems, headed by how many there are if those are not all."""
    if bad <= len(problems):
        return problems
    return [f"awc forecasts: {bad} records hold no forecast", *problems]


def _moment(item: dict[str, Any]) -> datetime | None:
    """Time of issue; None where it cannot be read, and the text's own day and hour count."""
    try:
        found = datetime.fromisoformat(str(item.get("issueTime")))
    except ValueError:
        return None
    return found.astimezone(UTC) if found.tzinfo else found.replace(tzinfo=UTC)


class NoaaTextForecasts(_Called):
    """One file a station: the date first, then the forecast over several lines."""

    def __init__(self, settings: FeedSettings, client: FeedClient) -> None:
        super().__init__(settings, client, NOAA_BASE)

    def _asks(self, stations: tuple[str, ...], now: datetime) -> list[Ask]:
        return [Ask((each,), self._address(each), self._reader(each, now)) for each in stations]

    def _address(self, station: str) -> str:
        return f"{self._base}/forecasts/taf/stations/{quote(station, safe='')}.TXT"

    def _reader(self, station: str, now: datetime) -> Callable[[Reply], Found]:
        return lambda reply: ([self._read(reply, station, now)], [])

    def _read(self, reply: Reply, station: str, now: datetime) -> RawReport:
        """Read a station's file; its first line alone has year and month."""
        lines = [line.strip() for line in reply.body.decode("latin-1").splitlines()]
        lines = [line for line in lines if line]
        dated = FIRST_LINE.fullmatch(lines[0]) if lines else None
        if not dated:
            raise NotTheFormat("the first line is no date like 2026/10/14 17:53")
        if not reply.whole and not reply.body.endswith(b"\n"):
            raise NotTheFormat("the forecast may be cut: no length was given and no line end came")
        try:
            dated_at = datetime(*(int(part) for part in dated.groups()), tzinfo=UTC)  # type: ignore[misc,arg-type]
        except ValueError as error:
            raise NotTheFormat(f"the first line {quoted(lines[0])} is no date: {error}") from error
        return self._forecast(" ".join(lines[1:]), station, dated_at, now)
