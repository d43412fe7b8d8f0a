"""Tables with a report in each row: the cache files, and archives.

One row is one line: a quotation mark that is never closed costs its own row and no other.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import islice
from typing import Final

from windwatch.errors import FeedError
from windwatch.feeds.bulk_asked import BOM, Asked, quoted_line
from windwatch.feeds.bulk_stream import MAX_LINE
from windwatch.feeds.report_text import SAME_TIME, observed_near, quoted
from windwatch.reports.raw import RawReport

CACHE_HEADER: Final = b"raw_text,"
STATION: Final = re.compile(rb"[A-Z][A-Z0-9]{3}")
KINDS: Final = ("METAR", "SPECI")
# Status lines stand before the header of the cache ("No errors", ...), comments before the
# archive's; their number is nobody's promise.
MOST_PREAMBLE: Final = 50
NO_TEXT: Final = frozenset({"", "M", "null"})
# An archive may have been asked for local time.
FURTHEST_ZONE: Final = timedelta(hours=14)


# --- cache -----------------------------------------------------------------


def is_cache_header(line: bytes) -> bool:
    """Whether the names of the cache's columns stand here."""
    return line.removeprefix(BOM).startswith(CACHE_HEADER)


def read_cache(lines: Iterator[bytes], asked: Asked) -> Iterator[RawReport]:
    """Read a cache file of the Aviation Weather Center (reference/feeds.md section 2).

    The text in ``raw_text`` is what counts; of the other columns only the station, the
    observation time and the kind are used. The wind columns are not: one copy writes a
    variable wind as direction 0.

    Raises
    ------
    FeedError
        If no header is found.
    """
    above, header = _find_header(lines, is_cache_header, asked, 'no line begins "raw_text,"')
    # Of names that come several times (sky_cover) the first counts; none of those is used.
    names = _cells(header.removeprefix(BOM)) or []
    columns = {name.strip(): index for index, name in reversed([*enumerate(names)])}
    if "station_id" not in columns:
        raise FeedError(asked.source, f"no column station_id in its header {quoted_line(header)}")
    usual = columns["station_id"] == 1
    for number, line in enumerate(lines, above + 1):
        if not line:
            continue
        if usual and b'""' not in line:
            station = _second_cell(line)
        else:
            station = _cell(line, columns["station_id"])
        if len(line) > MAX_LINE or not STATION.fullmatch(station):
            if line.strip() and not is_cache_header(line):
                asked.odd(number, line)
            continue
        asked.records += 1
        if asked.wants(station):
            report = _cache_report(line, columns, len(names), station.decode(), asked)
            if report:
                yield report


def _second_cell(line: bytes) -> bytes:
    """Return the cell behind the text, which is quoted or free of commas."""
    start = line.find(b'",') + 2 if line.startswith(b'"') else line.find(b",") + 1
    return line[start : line.find(b",", start)]


def _cache_report(
    line: bytes, columns: dict[str, int], width: int, station: str, asked: Asked
) -> RawReport | None:
    """Take one row; an odd cell does not lose the text."""
    row = _cells(line)
    if row is None or len(row) != width:
        asked.say(f"{station}: no row of {width} columns: {quoted_line(line)}")
        return None

    def cell(name: str) -> str:
        return row[columns[name]].strip() if name in columns else ""

    kind = cell("metar_type") or None
    if kind is not None and kind not in KINDS:
        asked.say(f"{station}: a {quoted(kind)}, neither METAR nor SPECI")
        return None
    observed_at = _moment(cell("observation_time"))
    if observed_at is None and cell("observation_time"):
        shown = quoted(cell("observation_time"), 30)
        asked.say(f"{station}: observation_time {shown} is no time; the text's own time is used")
    return asked.report(row[0], station, station=station, observed_at=observed_at, kind=kind)


# --- archive ---------------------------------------------------------------


def is_archive_header(line: bytes) -> bool:
    """Whether the names of an archive's columns stand here."""
    return {"station", "valid"} <= set(_archive_names(line))


def _archive_names(line: bytes) -> list[str]:
    """Names of columns; old downloads have blanks around them."""
    if len(line) > MAX_LINE:
        return []
    text = line.removeprefix(BOM).decode("utf-8", errors="replace")
    return [name.strip().lower() for name in text.split("\t" if "\t" in text else ",")]


def read_archive(lines: Iterator[bytes], asked: Asked) -> Iterator[RawReport]:
    """Read an archive table (reference/feeds.md section 5.1): ``station``, ``valid``, ``metar``.

    A US station is filed without its K. ``valid`` gives the report month and year. A header
    without rows is an answer; a table that ends early looks like a short one.

    Raises
    ------
    FeedError
        If there is no such header, or no column with the report's text.
    """
    above, header = _find_header(lines, is_archive_header, asked, "no table of reports")
    names = _archive_names(header)
    if "metar" not in names:
        raise FeedError(
            asked.source,
            f"no column metar in its header {quoted_line(header)}, so no report text;"
            " ask the archive for data=metar",
        )
    tab = "\t" if b"\t" in header else ","
    delimiter = tab.encode()
    at = {name: names.index(name) for name in ("station", "valid", "metar")}
    filed = _filed_as(asked)
    for number, line in enumerate(lines, above + 1):
        if len(line) > MAX_LINE or delimiter not in line:
            if line.strip() and not line.startswith(b"#"):
                asked.odd(number, line)
            continue
        if line == header:
            continue
        asked.records += 1
        name = line[: line.index(delimiter)] if at["station"] == 0 else _cell(line, at["station"])
        name = name.strip()
        if filed is not None and name not in filed:
            continue
        row = _cells(line, tab)
        if row is None or len(row) != len(names):
            asked.odd(number, line)
            continue
        text = row[at["metar"]].strip()
        if text in NO_TEXT:
            asked.count("rows without a report text")
            continue
        observed_at = _filed_at(text, row[at["valid"]].strip(), asked)
        station = None if filed is None else filed[name]
        report = asked.report(text, f"line {number}", station=station, observed_at=observed_at)
        if report:
            yield report


def _filed_as(asked: Asked) -> dict[bytes, str] | None:
    """Under which names the stations asked for are filed."""
    if asked.wanted is None:
        return None
    filed = {name[1:]: name.decode() for name in asked.wanted if name[:1] == b"K"}
    return filed | {name: name.decode() for name in asked.wanted}


def _filed_at(text: str, valid: str, asked: Asked) -> datetime | None:
    """When it was observed: the text's day, hour and minute, the archive's month and year."""
    filed_at = _moment(valid)
    if filed_at is None:
        asked.count("rows whose valid is no time; the text's own time is used")
        return None
    observed_at = observed_near(text, filed_at)
    off = timedelta(0) if observed_at is None else abs(observed_at - filed_at)
    if off > FURTHEST_ZONE:
        # Left as filed, so that the contradiction is seen where times are judged.
        asked.count("rows whose report says another day than valid")
        return filed_at
    if off > SAME_TIME:
        asked.count("rows whose valid is not the report's own time (ask the archive for tz=UTC)")
    return observed_at or filed_at


# --- both ------------------------------------------------------------------


def _find_header(
    lines: Iterator[bytes], is_header: Callable[[bytes], bool], asked: Asked, problem: str
) -> tuple[int, bytes]:
    """Find the header behind whatever stands before it."""
    first = b""
    for number, line in enumerate(islice(lines, MOST_PREAMBLE), 1):
        if is_header(line):
            return number, line
        first = first or line.strip()
    said = f"it begins {quoted_line(first)}" if first else asked.begins()
    raise FeedError(asked.source, f"{problem}; {said}")


def _cells(line: bytes, delimiter: str = ",") -> list[str] | None:
    """Part one row; None if it is none."""
    text = line.decode("utf-8", errors="replace").removesuffix("\r")
    if '"' not in text:
        return text.split(delimiter)
    try:
        return next(csv.reader((text,), delimiter=delimiter, strict=True), None)
    except csv.Error:
        return None


def _cell(line: bytes, index: int) -> bytes:
    """Return one cell of a row; empty if there is none."""
    row = _cells(line) if len(line) <= MAX_LINE else None
    return row[index].strip().encode() if row and index < len(row) else b""


def _moment(text: str) -> datetime | None:
    """Read a date and time in UTC, with or without seconds and milliseconds."""
    try:
        found = datetime.fromisoformat(text)
        return (found if found.tzinfo else found.replace(tzinfo=UTC)).astimezone(UTC)
    except (ValueError, OverflowError):
        return None
