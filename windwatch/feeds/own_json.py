"""Kind ``json``: a field's own anemometer, or an aggregator, that answers with JSON.

The mapping says where the values are and what they mean. The wind becomes a report in the
form of a METAR, true and in knots, so that it is judged like any other. Momentary values are
made into a two-minute mean and a ten-minute peak first.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from math import isfinite
from typing import Any, Final

from windwatch.feeds.gather import Ask, Found, Gatherer
from windwatch.feeds.http import FeedClient, Reply
from windwatch.feeds.json_text import Ambiguous, NotTheFormat, members, read_json
from windwatch.feeds.report_text import quoted, report_text
from windwatch.feeds.samples import MEAN_OVER, PEAK_OVER, Sample, reduce_samples
from windwatch.feeds.values import FeedSettings, FetchResult, JsonMapping
from windwatch.feeds.wind_group import KNOTS_PER, reduced_group, wind_group, wind_report
from windwatch.reports.raw import RawReport

# Twice the strongest gust ever measured at an airfield would still be below it; devices say
# -999, 999 or 65535 for "no value".
FASTEST_KT: Final = 250.0
MOST_SAMPLES: Final = 1200  # ten minutes at two a second
MOST_STATIONS: Final = 100
SENSIBLE_SECONDS: Final = (946_684_800.0, 4_102_444_800.0)  # 2000 to 2100


class OwnJsonFeed:
    """Reports made from a JSON document."""

    def __init__(self, settings: FeedSettings, client: FeedClient, mapping: JsonMapping) -> None:
        self._url = settings.url
        self._mapping = mapping
        self._client = client
        self._gatherer = Gatherer("json", client)
        self._samples: dict[str, deque[Sample]] = {}

    def close(self) -> None:
        """Give back connections."""
        self._client.close()

    def fetch(
        self,
        stations: tuple[str, ...],
        now: datetime,
        *,
        since: datetime | None = None,  # noqa: ARG002 - a device shows the present
        fresh: bool = False,
    ) -> FetchResult:
        """Ask the address; see `Feed.fetch`."""
        own = self._mapping.station.upper()
        asked = tuple(s.upper() for s in stations if not own or s.upper() == own)
        if not asked:
            return FetchResult(())
        ask = Ask(asked, self._url, lambda reply: self._read(reply, frozenset(asked), now))
        return self._gatherer.gather([ask], now, fresh=fresh)

    def _read(self, reply: Reply, wanted: frozenset[str], now: datetime) -> Found:
        """Read the record or records of an answer."""
        value = _at(read_json(reply.body), self._mapping.records)
        records = value if isinstance(value, list) else [value]
        if value is None or not records:
            raise NotTheFormat(f"no records at {self._mapping.records or 'the top'!r}")
        reports: list[RawReport] = []
        problems: list[str] = []
        for number, record in enumerate(records, start=1):
            odd: list[str] = []
            try:
                report = self._report(members(record, "it"), wanted, now, odd.append)
            except NotTheFormat as error:
                odd.append(str(error))
                report = None
            reports += [report] if report else []
            problems += [f"json: record {number}: {problem}" for problem in odd]
        if not reports and len(problems) >= len(records) and self._nothing_kept(wanted):
            raise NotTheFormat(f"none of {len(records)} records can be used; {problems[0]}")
        return _last_of_each(reports), problems

    def _nothing_kept(self, wanted: frozenset[str]) -> bool:
        """Whether no samples are being collected for these stations."""
        return not any(self._samples.get(station) for station in wanted)

    def _report(
        self,
        record: dict[str, Any],
        wanted: frozenset[str],
        now: datetime,
        tell: Callable[[str], None],
    ) -> RawReport | None:
        """Make a report of one record; say what is odd about it."""
        mapping = self._mapping
        station = mapping.station.upper() or str(_at(record, mapping.station_key)).upper()
        if station not in wanted:
            tell(f"{quoted(station, 20)} was not asked for")
            return None
        if mapping.report:
            text, problem = report_text(str(_at(record, mapping.report) or ""))
            if problem:
                raise NotTheFormat(f"{station}: {problem}")
            given = _given(record, mapping.observed_at)
            at = None if given is None else moment(given)
            return RawReport(text, now, "json", station, at)
        observed_at = moment(_at(record, mapping.observed_at))
        sample = self._sample(record, station, observed_at, tell)
        period = mapping.averaging_period or timedelta(0)
        if period < MEAN_OVER:
            return self._collect(station, sample, now, tell)
        group = wind_group(sample.wind_from_true, sample.speed_kt, sample.gust_kt)
        return self._made(station, observed_at, group, now)

    def _sample(
        self,
        record: dict[str, Any],
        station: str,
        observed_at: datetime,
        tell: Callable[[str], None],
    ) -> Sample:
        """Read the wind of one record, true and in knots; a value that makes no sense is none."""
        mapping = self._mapping
        knots = KNOTS_PER[mapping.unit]

        def read(path: str, what: str, factor: float, most: float) -> float | None:
            value = _given(record, path)
            if value is None:
                return None
            found = number(value)
            if found is None or not 0 <= found * factor <= most:
                tell(f"{station}: {what} {quoted(str(value), 20)} makes no sense and is not used")
                return None
            return found * factor

        wind_from = read(mapping.wind_from, "direction", 1.0, 360.0)
        if wind_from is not None and mapping.reference == "magnetic":
            # East variation: true is the greater of the two.
            wind_from = (wind_from + (mapping.variation_deg or 0.0)) % 360
        speed = read(mapping.speed, "speed", knots, FASTEST_KT)
        gust = read(mapping.gust, "gust", knots, FASTEST_KT)
        return Sample(observed_at, wind_from, speed, gust)

    def _collect(
        self, station: str, sample: Sample, now: datetime, tell: Callable[[str], None]
    ) -> RawReport | None:
        """Keep a momentary sample, and report what the last minutes make of it."""
        if station not in self._samples and len(self._samples) >= MOST_STATIONS:
            raise NotTheFormat(f"{station}: more than {MOST_STATIONS} stations")
        kept = self._samples.setdefault(station, deque(maxlen=MOST_SAMPLES))
        if sample.at not in {old.at for old in kept}:
            kept.append(sample)
        newest = max((old.at for old in kept if old.at <= now), default=sample.at)
        while kept and kept[0].at <= newest - PEAK_OVER:
            kept.popleft()
        if sample.speed_kt is None:
            # Sensor lost: said at once, not hidden behind the mean of before.
            group = wind_group(sample.wind_from_true, None, sample.gust_kt)
            return self._made(station, sample.at, group, now)
        if sample.at > now:
            # Left to whoever judges times; it takes part in no mean.
            group = wind_group(sample.wind_from_true, sample.speed_kt, sample.gust_kt)
            return self._made(station, sample.at, group, now)
        reduced = reduce_samples(kept, now)
        if reduced is None:
            tell(f"{station}: collecting samples for the two-minute mean")
            return None
        return self._made(station, reduced.observed_at, reduced_group(reduced), now)

    def _made(self, station: str, observed_at: datetime, group: str, now: datetime) -> RawReport:
        """Put a wind group into a report."""
        text = wind_report(station, observed_at, group)
        return RawReport(text, now, "json", station, observed_at, "METAR")


def _last_of_each(reports: list[RawReport]) -> list[RawReport]:
    """Keep each text once, oldest first."""
    once = {(report.station_asked, report.text): report for report in reports}
    return sorted(once.values(), key=lambda report: report.observed_at or report.received_at)


def _at(value: Any, path: str) -> Any:
    """Follow a dotted path; None where it leads nowhere."""
    for part in path.split(".") if path else ():
        if isinstance(value, Ambiguous):
            raise NotTheFormat(f"the key {quoted(value.twice, 40)} comes twice")
        if isinstance(value, dict):
            value = value.get(part)
        elif isinstance(value, list) and part.isdecimal() and int(part) < len(value):
            value = value[int(part)]
        else:
            return None
    return value


def _given(record: Any, path: str) -> Any:
    """Follow a path in a record; without a path there is no such value."""
    return _at(record, path) if path else None


def number(value: Any) -> float | None:
    """Read a number, also one written as text."""
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        return None
    try:
        found = float(value)
    except (ValueError, OverflowError):
        return None
    return found if isfinite(found) else None


def moment(value: Any) -> datetime:
    """Read an observation time: ISO 8601 with zone, or Unix seconds or milliseconds.

    Raises
    ------
    NotTheFormat
        If it is neither; a time without a zone could be anybody's.
    """
    first, last = SENSIBLE_SECONDS
    seconds = number(value)
    if seconds is not None:
        seconds = seconds / 1000 if seconds > last else seconds
        if first <= seconds <= last:
            return datetime.fromtimestamp(seconds, UTC)
    try:
        found = datetime.fromisoformat(value)
    except (TypeError, ValueError):
        raise NotTheFormat(f"the observation time {quoted(str(value), 40)} is none") from None
    if found.tzinfo is None:
        raise NotTheFormat(f"the observation time {quoted(str(value), 40)} has no zone")
    return found.astimezone(UTC)
