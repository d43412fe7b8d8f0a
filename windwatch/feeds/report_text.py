"""Text from outside: made harmless to quote, and fit to be called a report."""

from __future__ import annotations

import re
import unicodedata
from datetime import UTC, datetime, timedelta
from typing import Final

MAX_REPORT: Final = 2000  # characters: reliability.md section 5
QUOTED: Final = 80

# The date line of the two-line formats.
FIRST_LINE: Final = re.compile(r"([0-9]{4})/([0-9]{2})/([0-9]{2}) ([0-9]{2}):([0-9]{2})")
# That line may be rounded; further off, one of the two times is wrong.
SAME_TIME: Final = timedelta(hours=2)

# Bulletins come framed by start and end marks of the old teleprinter code.
_FRAME: Final = "\x01\x02\x03\ufeff"
_REPORT: Final = re.compile(
    r"(?:(?:METAR|SPECI) )?(?:COR )?(?P<station>[A-Z][A-Z0-9]{3}) (?P<time>[0-9]{6})Z(?: |$)"
)


def quoted(text: str, limit: int = QUOTED) -> str:
    """Quote the beginning of a text from outside, with everything odd made visible."""
    # Cut first: a line of a megabyte is not worth going through.
    line = " ".join(text[: 8 * limit].split())
    shown = "".join(letter if letter.isprintable() else _visible(letter) for letter in line[:limit])
    more = "…" if len(line) > limit or len(text) > 8 * limit else ""
    return f'"{shown}{more}"'


def _visible(letter: str) -> str:
    """Write a control, bidirectional or otherwise unprintable character as its number."""
    return f"\\x{ord(letter):02x}" if ord(letter) < 0x100 else f"\\u{ord(letter):04x}"


def report_text(text: str) -> tuple[str, str | None]:
    """Join a report into one line, and say what makes it unusable.

    Parameters
    ----------
    text : str
        As it came, over one or several lines.

    Returns
    -------
    tuple of str and (str or None)
        The report in one line (empty if unusable), and the problem.
    """
    if len(text) > 2 * MAX_REPORT:
        return "", f"a report of {len(text):,} characters: {quoted(text)}"
    line = " ".join(text.strip(_FRAME).split()).strip(_FRAME)
    if len(line) > MAX_REPORT:
        return "", f"a report of {len(line):,} characters: {quoted(line)}"
    if not line:
        return "", "a report without text"
    # Nearly all are printable as they stand; only of the others each letter is looked at.
    if not line.isprintable() and any(unicodedata.category(c).startswith("C") for c in line):
        return "", f"a report with control characters: {quoted(line)}"
    return line, None


def station_of(line: str) -> str | None:
    """Return who reports, or None if the line does not begin like a METAR or SPECI."""
    found = _REPORT.match(line)
    return found["station"] if found else None


def observed_near(line: str, moment: datetime) -> datetime | None:
    """Give the report's own day, hour and minute the month and year nearest to a moment.

    Parameters
    ----------
    line : str
        One report in one line.
    moment : datetime
        Aware, UTC: when it was received, or the date that came with it.

    Returns
    -------
    datetime or None
        Aware, UTC; None if the line has no readable time.
    """
    found = _REPORT.match(line)
    if not found:
        return None
    day, hour, minute = (int(found["time"][i : i + 2]) for i in (0, 2, 4))
    best: datetime | None = None
    for months in (-1, 0, 1):
        year, month = divmod(moment.year * 12 + moment.month - 1 + months, 12)
        try:
            candidate = datetime(year, month + 1, day, hour, minute, tzinfo=UTC)
        except ValueError:
            continue
        if best is None or abs(candidate - moment) < abs(best - moment):
            best = candidate
    return best


def settled_time(line: str, dated_at: datetime) -> tuple[datetime, bool]:
    """Settle when a report was observed, from its own time and the date that stands above it.

    Parameters
    ----------
    line : str
        One report in one line.
    dated_at : datetime
        The date above it, aware, UTC.

    Returns
    -------
    tuple of datetime and bool
        The report's own time where the two agree; else the date as it stands, so that the
        contradiction is seen where times are judged, and False.
    """
    observed_at = observed_near(line, dated_at)
    if observed_at is None or abs(observed_at - dated_at) > SAME_TIME:
        return dated_at, False
    return observed_at, True


def in_minutes(length: timedelta) -> str:
    """Say a length of time in whole minutes or seconds."""
    seconds = round(length.total_seconds())
    return f"{seconds} s" if seconds < 120 else f"{round(seconds / 60)} min"
