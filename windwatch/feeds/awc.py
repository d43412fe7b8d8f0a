"""Kind ``awc``: the Data API of the Aviation Weather Center, worldwide, all stations at once.

Facts of the format: reference/feeds.md section 1 (OpenAPI v4.0 and live objects of 2026).
The text in ``rawOb`` is what counts; of the other fields only the station, the observation
time and the kind are used. ``reportTime`` is rounded up to the hour and is not the
observation's time; ``receiptTime`` only puts a correction after what it corrects.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import Any, Final
from urllib.parse import urlencode

from windwatch.feeds.gather import Ask, Found, Gatherer
from windwatch.feeds.http import FeedClient, Reply
from windwatch.feeds.json_text import NotTheFormat, members, read_json
from windwatch.feeds.report_text import observed_near, quoted, report_text, station_of
from windwatch.feeds.values import FeedSettings, FetchResult
from windwatch.reports.raw import RawReport

BASE: Final = "https://aviationweather.gov/api/data"
MAX_ENTRIES: Final = 400  # per answer, says the site
# Half-hourly reports, or three an hour from a small automatic station, and specials.
ENTRIES_PER_HOUR: Final = 4
# Without hours only the latest report of a station comes, and a special that is followed by
# a routine report a minute later would never be seen.
LEAST_HOURS: Final = 2
MOST_HOURS: Final = MAX_ENTRIES // ENTRIES_PER_HOUR
# Seconds since 1970 that can be meant: 2000 to 2100.
SENSIBLE_SECONDS: Final = range(946_684_800, 4_102_444_800)


def hours_back(now: datetime, since: datetime | None) -> int:
    """How far to ask back, in whole hours, with half an hour to spare for late reports."""
    if since is None:
        return LEAST_HOURS
    hours = math.ceil((now - since + timedelta(minutes=30)) / timedelta(hours=1))
    return min(max(hours, LEAST_HOURS), MOST_HOURS)


def batches(stations: tuple[str, ...], hours: int) -> list[tuple[str, ...]]:
    """Divide stations so that no answer needs more entries than the feed gives."""
    size = max(1, MAX_ENTRIES // (hours * ENTRIES_PER_HOUR))
    return [stations[i : i + size] for i in range(0, len(stations), size)]


class AwcFeed:
    """Reports of the Data API, as JSON or as raw text."""

    def __init__(self, settings: FeedSettings, client: FeedClient) -> None:
        self._base = (settings.url or BASE).rstrip("/")
        self._raw = settings.format == "raw"
        self._client = client
        self._gatherer = Gatherer("awc", client)

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
        """Ask for these stations; see `Feed.fetch`."""
        hours = hours_back(now, since)
        problems = []
        if since is not None and now - since > timedelta(hours=MOST_HOURS):
            problems.append(
                f"awc: asked for the last {MOST_HOURS} h only; the feed gives no more at once"
            )
        names = tuple(station.upper() for station in stations)
        asks = [self._ask(batch, hours, now) for batch in batches(names, hours)]
        return self._gatherer.gather(asks, now, fresh=fresh, problems=problems)

    def _ask(self, stations: tuple[str, ...], hours: int, now: datetime) -> Ask:
        """One batch, and how its answer is read."""
        form = "raw" if self._raw else "json"
        query = urlencode({"ids": ",".join(stations), "format": form, "hours": hours}, safe=",")

        def read(reply: Reply) -> Found:
            wanted = frozenset(stations)
            return _from_raw(reply, wanted, now) if self._raw else _from_json(reply, wanted, now)

        return Ask(stations, f"{self._base}/metar?{query}", read)


# --- JSON ------------------------------------------------------------------


def _from_json(reply: Reply, wanted: frozenset[str], now: datetime) -> Found:
    """Read an array of METAR objects."""
    value = read_json(reply.body)
    if isinstance(value, dict) and "error" in value:
        raise NotTheFormat(f"the feed reports an error: {quoted(str(value['error']))}")
    if not isinstance(value, list):
        raise NotTheFormat("no JSON list of METAR objects")
    if not value:
        raise NotTheFormat("an empty list; a window without reports would be HTTP 204")
    dated: list[tuple[datetime, str, RawReport]] = []
    problems: list[str] = []
    for number, item in enumerate(value, start=1):
        try:
            report, problem = _report(members(item, "it"), wanted, now)
        except NotTheFormat as error:
            problems.append(f"awc: record {number}: {error}")
            continue
        if problem:
            problems.append(f"awc: record {number}: {problem}")
        if report:
            receipt = str(item.get("receiptTime", "")).replace(" ", "T")
            dated.append((report.observed_at or now, receipt, report))
    if not dated and len(problems) == len(value):
        raise NotTheFormat(f"none of {len(value)} records holds a report; {problems[0]}")
    if len(value) >= MAX_ENTRIES:
        problems.append(f"awc: {len(value)} records, the most that come; older ones are missing")
    return [report for _, _, report in sorted(dated, key=lambda d: d[:2])], problems


def _report(
    item: dict[str, Any], wanted: frozenset[str], now: datetime
) -> tuple[RawReport | None, str | None]:
    """Take one record, as a report or a problem or both; an odd field does not lose the text."""
    station = item.get("icaoId")
    name = station if isinstance(station, str) else "a record without icaoId"
    raw = item.get("rawOb")
    if not isinstance(raw, str):
        return None, f"{quoted(name)}: no rawOb, so no report text"
    text, problem = report_text(raw)
    if problem:
        return None, f"{quoted(name)}: {problem}"
    kind = item.get("metarType")
    if kind not in ("METAR", "SPECI", None):
        return None, f"{quoted(name)}: a {quoted(str(kind))}, neither METAR nor SPECI"
    asked = station.upper() if isinstance(station, str) else None
    if asked is not None and asked not in wanted:
        return None, f"{quoted(name)} was not asked for"
    observed_at, problem = _moment(item.get("obsTime"))
    return RawReport(text, now, "awc", asked, observed_at, kind), (
        f"{quoted(name)}: {problem}" if problem else None
    )


def _moment(value: Any) -> tuple[datetime | None, str | None]:
    """Read obsTime."""
    if isinstance(value, int) and not isinstance(value, bool) and value in SENSIBLE_SECONDS:
        return datetime.fromtimestamp(value, UTC), None
    return None, f"obsTime {quoted(str(value), 30)} is no Unix time; the text's own time is used"


# --- raw text --------------------------------------------------------------


def _from_raw(reply: Reply, wanted: frozenset[str], now: datetime) -> Found:
    """Read one report a line; a line that begins with a blank continues the one before."""
    lines: list[str] = []
    for line in reply.body.decode("utf-8-sig", errors="replace").splitlines():
        if line[:1] in (" ", "\t") and lines:
            lines[-1] += line
        elif line.strip():
            lines.append(line)
    problems: list[str] = []
    if not reply.whole and not reply.body.endswith(b"\n"):
        problems.append(f"awc: the last line may be cut and is not used: {quoted(lines.pop())}")
    reports = []
    for number, line in enumerate(lines, start=1):
        text, problem = report_text(line)
        station = station_of(text)
        if not problem and station is None:
            problem = f"no METAR or SPECI: {quoted(text)}"
        elif not problem and station not in wanted:
            problem = f"{station} was not asked for"
        if problem:
            problems.append(f"awc: line {number}: {problem}")
        else:
            reports.append(RawReport(text, now, "awc"))
    if not reports:
        raise NotTheFormat("no line is a METAR or SPECI of the stations asked for")
    # The newest comes first, but that is no promise; told oldest first, like everywhere else.
    reports.reverse()
    return sorted(reports, key=lambda report: observed_near(report.text, now) or now), problems
