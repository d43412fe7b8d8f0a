"""Kind ``recorded``: files of reports with their times of receipt, and what else happened.

A line is a time (ISO 8601, Z), a space, and what happened then::

    2026-09-22T19:09:00Z SPECI XLKS 221907Z 30028G41KT 2SM +TSRA SQ BR ...
    2026-09-22T17:34:00Z TAF XBRN 221730Z 2218/2318 19017G25KT P6SM ...
    2026-09-22T20:00:00Z TICK
    2026-09-22T20:01:00Z ACKNOWLEDGE all BY operations desk
    2026-09-22T20:02:00Z DESK {"kind": "runway_in_use", "airfield": "XLKS", "runway": "28"}
    2026-09-22T20:03:00Z CLOCK DOUBTED it stepped by 60 min
    2026-09-22T20:40:00Z CLOCK BELIEVED
    2026-09-22T23:10:00Z UNWATCHED SINCE 2026-09-22T21:00:00Z
    2026-09-23T04:10:05Z UNWATCHED SINCE 2026-09-23T01:00:00Z UNTIL 2026-09-23T04:10:00Z

While the clock is doubted nothing is called back within limits or silent. Nobody watched from the
second time of an UNWATCHED line to its third, or to its first where there is no third: what
follows it was asked for on waking. Several lines may be about one gap. Reports of one moment came
in one reply. A forecast (TAF) is no report: it is shown, not judged.

Lines that begin with ``#`` and blank lines are skipped. A line that cannot be read is kept
as a problem with its file and number; the others go on.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from enum import Enum
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from windwatch.errors import FeedError
from windwatch.feeds.json_text import NotTheFormat, members, read_json
from windwatch.feeds.report_text import quoted, report_text, station_of
from windwatch.feeds.values import FeedSettings, FetchResult
from windwatch.reports.raw import RawReport

# A year of reports every few minutes; more is no recording but a mistake.
MAX_FILE: Final = 64 * 1024 * 1024
ACKNOWLEDGED: Final = re.compile(r"(?P<what>\S+) BY (?P<who>\S.*)")


class RecordedKind(Enum):
    """What happened."""

    REPORT = "report"
    FORECAST = "forecast"
    TICK = "tick"
    ACKNOWLEDGE = "acknowledge"
    DESK = "desk"
    CLOCK = "clock"
    UNWATCHED = "unwatched"
    UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True)
class RecordedLine:
    """One line of a recorded file.

    Attributes
    ----------
    at : datetime
        When it happened or was received, UTC; the line before's time where it is unreadable.
    file : str
        As the user named it.
    line : int
        From 1.
    report : RawReport or None
        For a report.
    forecast : RawReport or None
        For a forecast, of the kind ``TAF``.
    episode, by : str
        For an acknowledgement: an episode's id or ``all``, and who took note.
    entry : mapping
        For a desk entry: its JSON object.
    doubt : str
        For a line about the clock: why it is in doubt; '' where it is believed again.
    since : datetime or None
        For a gap in watching: when it began, UTC.
    until : datetime or None
        For a gap in watching: when it ended, UTC.
    problem : str
        For a line that cannot be read: file, line, what is wrong, and the mend.
    """

    at: datetime
    file: str
    line: int
    kind: RecordedKind
    report: RawReport | None = None
    forecast: RawReport | None = None
    episode: str = ""
    by: str = ""
    entry: MappingProxyType[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    doubt: str = ""
    since: datetime | None = None
    until: datetime | None = None
    problem: str = ""


def read_recorded(path: Path) -> tuple[RecordedLine, ...]:
    """Read a recorded file, in the order of its lines.

    Raises
    ------
    FeedError
        If the file cannot be read or is no recording at all.
    """
    try:
        if path.stat().st_size > MAX_FILE:
            raise FeedError(f"recorded {path}", f"larger than {MAX_FILE:,} bytes")
        text = path.read_bytes().decode("utf-8-sig", errors="replace")
    except OSError as error:
        raise FeedError(f"recorded {path}", f"cannot be read: {error.strerror}") from error
    lines: list[RecordedLine] = []
    at = datetime(1970, 1, 1, tzinfo=UTC)
    # Only line ends count: splitlines() would also cut at form feeds and odd separators.
    for number, line in enumerate(re.split(r"\r\n|\n|\r", text), start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        read = _line(line.strip(), str(path), number, at)
        lines.append(read)
        at = read.at
    if lines and all(line.kind is RecordedKind.UNREADABLE for line in lines):
        raise FeedError(f"recorded {path}", f"no line can be read; {lines[0].problem}")
    return tuple(lines)


def read_all_recorded(paths: Iterable[Path]) -> tuple[RecordedLine, ...]:
    """Read several files into one order of time; lines of one moment keep their order."""
    lines = [line for path in paths for line in read_recorded(path)]
    return tuple(sorted(lines, key=lambda line: line.at))


def _line(line: str, file: str, number: int, before: datetime) -> RecordedLine:
    """Read one line."""
    time_text, _, rest = line.partition(" ")
    at = before
    try:
        at = _moment(time_text)
        return _event(at, rest.strip(), file, number)
    except NotTheFormat as error:
        problem = f"{file}:{number}: {error}"
        return RecordedLine(at, file, number, RecordedKind.UNREADABLE, problem=problem)


def _moment(text: str) -> datetime:
    """Read the time at the beginning of a line."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise NotTheFormat(
            f"{quoted(text, 40)} is no time; begin the line with one like 2026-09-22T19:09:00Z"
        ) from None
    if found.tzinfo is None:
        raise NotTheFormat(f"the time {quoted(text, 40)} has no zone; write {quoted(text + 'Z')}")
    return found.astimezone(UTC)


def _event(at: datetime, rest: str, file: str, number: int) -> RecordedLine:
    """Read what happened."""
    word, _, details = rest.partition(" ")
    read = _READERS.get(word)
    if read is not None:
        return read(RecordedLine(at, file, number, RecordedKind.TICK), details.strip())
    text, problem = report_text(rest)
    if problem:
        raise NotTheFormat(problem)
    if word == "TAF":
        forecast = RawReport(text, at, "recorded", kind="TAF")
        return RecordedLine(at, file, number, RecordedKind.FORECAST, forecast=forecast)
    report = RawReport(text, at, "recorded")
    return RecordedLine(at, file, number, RecordedKind.REPORT, report=report)


def _tick(line: RecordedLine, details: str) -> RecordedLine:
    if details:
        raise NotTheFormat(f"TICK takes nothing, but {quoted(details, 40)} follows")
    return line


def _acknowledgement(line: RecordedLine, details: str) -> RecordedLine:
    found = ACKNOWLEDGED.fullmatch(details)
    if not found:
        raise NotTheFormat(
            f"{quoted(f'ACKNOWLEDGE {details}'.strip())} does not say what is acknowledged by"
            " whom; write for example ACKNOWLEDGE all BY operations desk"
        )
    kind = RecordedKind.ACKNOWLEDGE
    return replace(line, kind=kind, episode=found["what"], by=found["who"])


def _desk_entry(line: RecordedLine, details: str) -> RecordedLine:
    entry = members(read_json(details.encode()), "the desk entry")
    return replace(line, kind=RecordedKind.DESK, entry=MappingProxyType(dict(entry)))


def _clock(line: RecordedLine, details: str) -> RecordedLine:
    word, _, reason = details.partition(" ")
    if word == "BELIEVED" and not reason:
        return replace(line, kind=RecordedKind.CLOCK)
    if word == "DOUBTED" and reason.strip():
        return replace(line, kind=RecordedKind.CLOCK, doubt=reason.strip())
    raise NotTheFormat(
        f"{quoted(f'CLOCK {details}'.strip())} does not say how the clock stands; write for"
        " example CLOCK DOUBTED it stepped by 60 min, or CLOCK BELIEVED"
    )


def _gap(line: RecordedLine, details: str) -> RecordedLine:
    word, _, moments = details.partition(" ")
    if word != "SINCE" or not moments:
        raise NotTheFormat(
            f"{quoted(f'UNWATCHED {details}'.strip())} does not say since when nobody watched;"
            " write for example UNWATCHED SINCE 2026-09-22T21:00:00Z"
        )
    begin, _, end = moments.partition(" UNTIL ")
    since = _moment(begin.strip())
    if since >= line.at:
        raise NotTheFormat(f"nobody watched since {quoted(begin, 40)}: that is still to come")
    until = _moment(end.strip()) if end else line.at
    if until <= since:
        raise NotTheFormat(f"nobody watched until {quoted(end, 40)}: that is before it began")
    return replace(line, kind=RecordedKind.UNWATCHED, since=since, until=until)


_READERS: Final[Mapping[str, Callable[[RecordedLine, str], RecordedLine]]] = {
    "TICK": _tick,
    "ACKNOWLEDGE": _acknowledgement,
    "DESK": _desk_entry,
    "CLOCK": _clock,
    "UNWATCHED": _gap,
}


def recorded_line(line: RecordedLine) -> str:
    """Write a line as it stands in a file."""
    at = _written(line.at)
    match line.kind:
        case RecordedKind.REPORT:
            what = line.report.text if line.report else ""
        case RecordedKind.FORECAST:
            what = line.forecast.text if line.forecast else ""
        case RecordedKind.TICK:
            what = "TICK"
        case RecordedKind.ACKNOWLEDGE:
            what = f"ACKNOWLEDGE {line.episode} BY {line.by}"
        case RecordedKind.DESK:
            what = f"DESK {json.dumps(dict(line.entry), sort_keys=True)}"
        case RecordedKind.CLOCK:
            doubt = " ".join(line.doubt.split())
            what = f"CLOCK DOUBTED {doubt}" if doubt else "CLOCK BELIEVED"
        case RecordedKind.UNWATCHED:
            what = f"UNWATCHED SINCE {_written(line.since or line.at)}"
            if line.until is not None and line.until != line.at:
                what += f" UNTIL {_written(line.until)}"
        case RecordedKind.UNREADABLE:
            return f"# {quoted(line.problem, 200)}"
    return f"{at} {what}"


def _written(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


class RecordedFeed:
    """Plays files: what was received up to now.

    A file is read when the feed is made, so that a missing one is told at once.
    """

    def __init__(self, settings: FeedSettings) -> None:
        if not settings.files:
            raise FeedError("recorded", "no files are named; give files = ['recorded.txt']")
        lines = read_all_recorded(settings.files)
        self._reports = tuple(line.report for line in lines if line.report)
        self._problems = tuple(line.problem for line in lines if line.problem)

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
        """Give what was received up to `now`, and after `since` where that is given.

        A text that does not begin like a report is given too: somebody has to say what is
        wrong with it.
        """
        reports = tuple(
            report
            for report in self._reports
            if report.received_at <= now
            and (since is None or report.received_at > since)
            and (station_of(report.text) or "") in {*stations, ""}
        )
        return FetchResult(reports, self._problems, stations)
