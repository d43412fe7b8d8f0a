"""Reports one under the other: hourly collective files, and bulletins."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Final

from windwatch.feeds.bulk_asked import BOM, Asked
from windwatch.feeds.bulk_stream import MAX_LINE
from windwatch.feeds.report_text import FIRST_LINE, quoted, settled_time
from windwatch.reports.raw import RawReport

_DATE: Final = re.compile(FIRST_LINE.pattern.encode())
# How a report begins. Possessive, so that no text makes it try twice.
_KIND_WORDS: Final = rb"(?P<kind>(?:(?:METAR|SPECI|TAF)[ \t]++)*+)(?:(?:COR|AMD)[ \t]++)*+"
_BEGINS: Final = re.compile(_KIND_WORDS + rb"(?P<station>[A-Z][A-Z0-9]{3})[ \t]")
_BEGINS_SURELY: Final = re.compile(
    _KIND_WORDS + rb"(?P<station>[A-Z][A-Z0-9]{3})[ \t]++(?:[0-9]{6}Z(?:[ \t]|$)|NIL\b)"
)
# Heading of a bulletin: what it holds, from whom, when (Manual on the GTS, WMO-No. 386,
# part II, section 2.3, from memory).
_HEADING: Final = re.compile(
    rb"(?P<holds>[A-Z]{2})[A-Z]{2}[0-9]{2} [A-Z]{4} [0-9]{6}(?: [A-Z]{3})?"
)
_HOLDS: Final = {b"SA": "METAR", b"SP": "SPECI", b"FT": "TAF", b"FC": "TAF"}
# A line that says only what follows.
_KIND_LINE: Final = re.compile(rb"(?P<kind>METAR|SPECI|TAF)(?: (?:COR|AMD))?(?: [0-9]{6}Z?)?")
# Lines of the old teleprinter circuits: start, number, circuit name, end.
_FURNITURE: Final = re.compile(rb"ZCZC.*|NNNN|[0-9]{1,5}|[A-Z]{6}|[A-Z]{3}[A-Z0-9]{3}")
_FRAME: Final = b"\x01\x02\x03 \t\r\v\f"
_OTHER: Final = "other"


# --- hourly collective files -----------------------------------------------


def is_date_line(line: bytes) -> bool:
    """Whether a report's date stands here."""
    return line[4:5] == b"/" and bool(_DATE.fullmatch(line.strip()))


def read_cycle(lines: Iterator[bytes], asked: Asked) -> Iterator[RawReport]:
    """Read an hourly collective file: a date, the report, a blank line, and again.

    It is unsorted, holds reports twice and corrections, and some dates are wrong
    (reference/feeds.md section 4): the report's own day and hour then count, and the
    contradiction is a problem.
    """
    dated = b""
    block: list[bytes] = []
    size = 0
    for number, line in enumerate(lines, 1):
        part = line.strip() if len(line) <= MAX_LINE else line
        if part and not is_date_line(part):
            size += len(part)
            if not dated or size > MAX_LINE:
                asked.odd(number, line)
                dated, block, size = b"", [], 0
            else:
                block.append(part)
            continue
        yield from _cycle_report(dated, block, asked)
        dated, block, size = part, [], 0
    if not asked.cut:
        yield from _cycle_report(dated, block, asked)


def _cycle_report(dated: bytes, block: list[bytes], asked: Asked) -> Iterator[RawReport]:
    """Take one block."""
    if not block:
        return
    asked.records += 1
    text = b" ".join(block)
    found = _BEGINS.match(text)
    if not found or b"TAF" in found["kind"] or not asked.wants(found["station"]):
        return
    station = found["station"].decode()
    report = asked.report(text.decode("latin-1"), station)
    if report is None:
        return
    shown = dated.decode("latin-1")
    try:
        dated_at = datetime.strptime(shown, "%Y/%m/%d %H:%M").replace(tzinfo=UTC)
    except ValueError:
        asked.say(f"{station}: dated {quoted(shown)}, which is no date")
        yield report
        return
    observed_at, agrees = settled_time(report.text, dated_at)
    if not agrees:
        asked.say(f"{station}: dated {shown} but {quoted(report.text, 30)}")
    yield RawReport(report.text, asked.now, asked.source, None, observed_at)


# --- bulletins -------------------------------------------------------------


def begins_bulletin(line: bytes) -> bool:
    """Whether a heading or a report stands here."""
    part = line.removeprefix(BOM).strip(_FRAME)
    return bool(
        len(line) <= MAX_LINE
        and (_HEADING.fullmatch(part) or _KIND_LINE.fullmatch(part) or _BEGINS_SURELY.match(part))
    )


def read_bulletin(lines: Iterator[bytes], asked: Asked) -> Iterator[RawReport]:
    """Read bulletins: headings, and reports over one or several lines, most ended by ``=``.

    A heading (``SAUS31 KWBC 221800``) or a line ``METAR`` or ``SPECI`` says what follows, as
    long as a report does not say so itself. A line that begins like a report begins one, also
    where the one before has no end mark. Forecasts and what else a heading announces are
    passed over.
    """
    reports = _Bulletin(asked)
    for number, line in enumerate(lines, 1):
        if len(line) > MAX_LINE:
            asked.odd(number, line)
            continue
        part = (line.removeprefix(BOM) if number == 1 else line).strip(_FRAME)
        yield from reports.take(number, part)
    if not asked.cut:
        yield from reports.end()


class _Bulletin:
    """What has been read of a bulletin: what it holds, and the report that is open."""

    def __init__(self, asked: Asked) -> None:
        self._asked = asked
        self._holds: str | None = None
        self._open: list[bytes] = []
        self._size = 0

    def take(self, number: int, part: bytes) -> Iterator[RawReport]:
        """Take one line."""
        heading = _HEADING.fullmatch(part)
        kind = _KIND_LINE.fullmatch(part.removesuffix(b"="))
        if heading or kind or not part or part == b"NNNN":
            yield from self.end()
            if heading:
                self._holds = _HOLDS.get(heading["holds"], _OTHER)
            elif kind:
                self._holds = kind["kind"].decode()
            return
        if not self._open and (_FURNITURE.fullmatch(part) or part.startswith(b"#")):
            return
        *ended, rest = part.split(b"=")
        for text in ended:
            yield from self._add(number, text.strip())
            yield from self.end()
        if rest.strip():
            yield from self._add(number, rest.strip())

    def _add(self, number: int, part: bytes) -> Iterator[RawReport]:
        """Begin a report, or go on with the one that is open."""
        if _BEGINS_SURELY.match(part):
            yield from self.end()
            self._open = [part]
        elif self._open and self._size <= MAX_LINE:
            self._open.append(part)
        elif part and self._holds != _OTHER:
            self._asked.odd(number, part)
        self._size = self._size + len(part) if self._open else 0

    def end(self) -> Iterator[RawReport]:
        """Give the report that is open, if it is wanted."""
        parts, self._open, self._size = self._open, [], 0
        found = _BEGINS_SURELY.match(parts[0]) if parts else None
        if not found:
            return
        self._asked.records += 1
        station = found["station"]
        own = found["kind"].split()
        kind = own[0].decode() if own else self._holds
        if kind in ("TAF", _OTHER) or not self._asked.wants(station):
            return
        text = b" ".join(parts).decode("latin-1")
        report = self._asked.report(text, station.decode(), kind=kind)
        if report:
            yield report
