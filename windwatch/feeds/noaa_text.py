"""Kind ``noaa-text``: one two-line file a station, the date first, then the report.

Facts of the format: reference/feeds.md section 4. The first line is the only place with year
and month. A file exists for ever: a closed station keeps its last report for years.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Final
from urllib.parse import quote

from windwatch.feeds.gather import Ask, Found, Gatherer
from windwatch.feeds.http import FeedClient, Reply
from windwatch.feeds.json_text import NotTheFormat
from windwatch.feeds.report_text import FIRST_LINE, quoted, report_text, settled_time
from windwatch.feeds.values import FeedSettings, FetchResult
from windwatch.reports.raw import RawReport

BASE: Final = "https://tgftp.nws.noaa.gov/data"
LONG_AGO: Final = timedelta(days=1)


class NoaaTextFeed:
    """Two-line station files."""

    def __init__(self, settings: FeedSettings, client: FeedClient) -> None:
        self._base = (settings.url or BASE).rstrip("/")
        self._client = client
        self._gatherer = Gatherer("noaa-text", client)

    def close(self) -> None:
        """Give back connections."""
        self._client.close()

    def fetch(
        self,
        stations: tuple[str, ...],
        now: datetime,
        *,
        since: datetime | None = None,  # noqa: ARG002 - a file holds one report only
        fresh: bool = False,
    ) -> FetchResult:
        """Ask for each station's file; see `Feed.fetch`."""
        asks = [self._ask(station, now) for station in stations]
        return self._gatherer.gather(asks, now, fresh=fresh)

    def _ask(self, station: str, now: datetime) -> Ask:
        """One file, and how it is read."""
        name = quote(station.upper(), safe="")
        url = f"{self._base}/observations/metar/stations/{name}.TXT"
        return Ask((station,), url, lambda reply: read_station_file(reply, station, now))


def read_station_file(reply: Reply, station: str, now: datetime) -> Found:
    """Read a station file.

    Raises
    ------
    NotTheFormat
        If its first line is no date, or nothing follows.
    """
    lines = [line.strip() for line in reply.body.decode("latin-1").splitlines() if line.strip()]
    dated = FIRST_LINE.fullmatch(lines[0]) if lines else None
    if not dated:
        raise NotTheFormat("the first line is no date like 2026/10/14 17:53")
    try:
        dated_at = datetime(*(int(part) for part in dated.groups()), tzinfo=UTC)  # type: ignore[misc,arg-type]
    except ValueError as error:
        raise NotTheFormat(f"the first line {quoted(lines[0])} is no date: {error}") from error
    if len(lines) == 1:
        raise NotTheFormat("a date without a report")
    if not reply.whole and not reply.body.endswith(b"\n"):
        raise NotTheFormat("the report may be cut: no length was given and no line end came")
    text, problem = report_text(" ".join(lines[1:]))
    if problem:
        raise NotTheFormat(problem)
    problems = []
    observed_at, agrees = settled_time(text, dated_at)
    if not agrees:
        problems.append(f"noaa-text: {station}: dated {lines[0]} but {quoted(text, 30)}")
    if now - observed_at > LONG_AGO:
        problems.append(
            f"noaa-text: {station}: its last report is of {observed_at:%Y-%m-%d %H:%M}Z;"
            " the station may be closed"
        )
    return [RawReport(text, now, "noaa-text", station, observed_at)], problems
