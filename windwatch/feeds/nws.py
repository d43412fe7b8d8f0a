"""Kind ``nws``: the observations of one US station at a time, as GeoJSON.

Facts of the format: reference/feeds.md section 3. Only ``rawMessage`` is used. Rows of the
five-minute data have none, and their null gust may be a loss in decoding (24-05-06 KDAL:
``15013G19KT`` with a null gust), so that no report is made up from their values.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any, Final
from urllib.parse import quote, urlencode

from windwatch.feeds.gather import Ask, Found, Gatherer
from windwatch.feeds.http import FeedClient, Reply
from windwatch.feeds.json_text import NotTheFormat, members, read_json
from windwatch.feeds.report_text import quoted, report_text
from windwatch.feeds.values import FeedSettings, FetchResult
from windwatch.reports.raw import RawReport

BASE: Final = "https://api.weather.gov"
MOST_ROWS: Final = 500  # the API's own maximum
WINDOW: Final = timedelta(hours=2)


class NwsFeed:
    """Observations of the National Weather Service."""

    def __init__(self, settings: FeedSettings, client: FeedClient) -> None:
        self._base = (settings.url or BASE).rstrip("/")
        self._client = client
        self._gatherer = Gatherer("nws", client)

    def close(self) -> None:
        """Give back connections."""
        self._client.close()

    def fetch(
        self,
        stations: tuple[str, ...],
        now: datetime,
        *,
        since: datetime | None = None,
        fresh: bool = False,
    ) -> FetchResult:
        """Ask for each station's rows; see `Feed.fetch`."""
        start = min(since or now, now - WINDOW).astimezone(UTC)
        # On the hour, so that the address stays the same and "not modified" is possible.
        start = start.replace(minute=0, second=0, microsecond=0)
        asks = [self._ask(station, start, now) for station in stations]
        return self._gatherer.gather(asks, now, fresh=fresh)

    def _ask(self, station: str, start: datetime, now: datetime) -> Ask:
        """One station, and how its rows are read."""
        query = urlencode({"start": f"{start:%Y-%m-%dT%H:%M:%SZ}", "limit": MOST_ROWS}, safe=":")
        url = f"{self._base}/stations/{quote(station.upper(), safe='')}/observations?{query}"
        return Ask((station,), url, lambda reply: read_observations(reply, station, now))


def read_observations(reply: Reply, station: str, now: datetime) -> Found:
    """Read a FeatureCollection of observations, or one Feature.

    Raises
    ------
    NotTheFormat
        If it is neither.
    """
    value = members(read_json(reply.body), "the answer")
    rows = [value] if value.get("type") == "Feature" else value.get("features")
    if not isinstance(rows, list):
        raise NotTheFormat("neither a Feature nor a FeatureCollection of observations")
    if not rows:
        return [], [f"nws: {station}: no observations"]
    reports: list[RawReport] = []
    problems: list[str] = []
    without: list[str] = []
    for number, row in enumerate(rows, start=1):
        try:
            properties = members(members(row, "it").get("properties"), "its properties")
            observed_at = _moment(properties.get("timestamp"))
        except NotTheFormat as error:
            problems.append(f"nws: {station}: row {number}: {error}")
            continue
        raw = properties.get("rawMessage")
        if not isinstance(raw, str) or not raw.strip():
            without.append(f"{observed_at:%H:%M}Z")
            continue
        text, problem = report_text(raw)
        if problem:
            problems.append(f"nws: {station}: row {number}: {problem}")
        else:
            reports.append(RawReport(text, now, "nws", station, observed_at))
    if len(problems) == len(rows):
        raise NotTheFormat(f"none of {len(rows)} rows holds a report; {problems[0]}")
    if without:
        problems.append(
            f"nws: {station}: no report text in {len(without)} of {len(rows)} rows"
            f" (newest {max(without)}); their values are not used"
        )
    return sorted(reports, key=lambda report: report.observed_at or now), problems


def _moment(value: Any) -> datetime:
    """Read a timestamp with its zone."""
    try:
        found = datetime.fromisoformat(value)
    except (TypeError, ValueError):
        raise NotTheFormat(f"the timestamp {quoted(str(value), 40)} is no date") from None
    if found.tzinfo is None:
        raise NotTheFormat(f"the timestamp {quoted(str(value), 40)} has no zone")
    return found.astimezone(UTC)
