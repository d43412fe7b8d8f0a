"""What a bulk reader was asked for, and what it has to say afterwards."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from typing import Final

from windwatch.feeds.bulk_stream import Lines
from windwatch.feeds.report_text import quoted, report_text
from windwatch.reports.raw import RawReport

# Problems said in words; further ones are only counted.
MOST_SAID: Final = 20
BOM: Final = b"\xef\xbb\xbf"


class Asked:
    """Whose reports are wanted, what came of it, and what could not be used.

    Attributes
    ----------
    wanted : frozenset of bytes or None
        Stations, as they stand in the stream; None: everybody.
    now : datetime
        When the stream was received, UTC.
    source : str
        Who sent it.
    records : int
        How many reports there were, of anybody.
    """

    def __init__(
        self, stations: Iterable[str] | None, now: datetime, source: str, lines: Lines
    ) -> None:
        self.wanted = (
            None
            if stations is None
            else frozenset(station.upper().encode("utf-8", "replace") for station in stations)
        )
        self.now = now
        self.source = source
        self.records = 0
        self._lines = lines
        self._said: list[str] = []
        self._unsaid = 0
        self._odd = 0
        self._first_odd = ""
        self._counted: Counter[str] = Counter()

    @property
    def cut(self) -> bool:
        """Whether the stream broke off; known at its end."""
        return bool(self._lines.cut)

    def wants(self, station: bytes) -> bool:
        """Whether this station's reports are wanted."""
        return self.wanted is None or station in self.wanted

    def report(
        self,
        text: str,
        where: str,
        *,
        station: str | None = None,
        observed_at: datetime | None = None,
        kind: str | None = None,
    ) -> RawReport | None:
        """Make a report; None, and a problem, if its text is unusable."""
        line, problem = report_text(text)
        if problem:
            self.say(f"{where}: {problem}")
            return None
        return RawReport(line, self.now, self.source, station, observed_at, kind)

    def say(self, problem: str) -> None:
        """Note a problem of a report that is wanted."""
        if len(self._said) < MOST_SAID:
            self._said.append(problem)
        else:
            self._unsaid += 1

    def count(self, problem: str) -> None:
        """Note a problem that many reports have, to be told once with their number."""
        self._counted[problem] += 1

    def odd(self, number: int, line: bytes) -> None:
        """Note a line that is nobody's report: told once, however many there are."""
        self._odd += 1
        if self._odd == 1:
            self._first_odd = f"line {number}: {quoted_line(line)}"

    def begins(self) -> str:
        """Say what came first instead of a report."""
        if self._odd:
            return f"it begins at {self._first_odd}"
        unfinished = self._lines.unfinished
        said = f"it begins {quoted_line(unfinished)}" if unfinished else "it is empty"
        return f"{said}, and its end is missing ({self._lines.cut})" if self._lines.cut else said

    def problems(self) -> tuple[str, ...]:
        """Say all, each with the source before it."""
        said = [*self._said]
        if self._unsaid:
            said.append(f"{self._unsaid:,} more problems like these")
        said += [f"{number:,} {problem}" for problem, number in self._counted.items()]
        if self._odd == 1:
            said.append(f"no report at {self._first_odd}")
        elif self._odd:
            said.append(f"no report in {self._odd:,} lines; the first is {self._first_odd}")
        if self._lines.cut:
            said.append(f"its end is missing ({self._lines.cut}): only what is whole is used")
        return tuple(f"{self.source}: {problem}" for problem in said)


def quoted_line(line: bytes) -> str:
    """Quote a line of any length."""
    return quoted(line[:1000].decode("utf-8", errors="replace"))
