"""Many reports in one stream: only those of the stations asked for are taken out.

Four forms are read, each in constant memory, each skipping the others' reports by the first
bytes or columns of their lines: the cache files of the Aviation Weather Center (``cache``),
hourly collective files (``cycle``), archive tables (``archive``) and bulletins with several
reports (``bulletin``). Facts of the formats: reference/feeds.md sections 2, 4 and 5.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from itertools import chain
from typing import Final

from windwatch.errors import FeedError
from windwatch.feeds.bulk_asked import Asked, quoted_line
from windwatch.feeds.bulk_csv import is_archive_header, is_cache_header, read_archive, read_cache
from windwatch.feeds.bulk_stream import MAX_DECODED, Lines
from windwatch.feeds.bulk_text import begins_bulletin, is_date_line, read_bulletin, read_cycle
from windwatch.reports.raw import RawReport

READERS: Final[dict[str, Callable[[Iterator[bytes], Asked], Iterator[RawReport]]]] = {
    "cache": read_cache,
    "cycle": read_cycle,
    "archive": read_archive,
    "bulletin": read_bulletin,
}
_SIGNS: Final = (
    ("cache", is_cache_header),
    ("archive", is_archive_header),
    ("cycle", is_date_line),
    ("bulletin", begins_bulletin),
)
# Status lines and comments stand before the table; more of them is no table.
LOOK_AT: Final = 50


class BulkReader:
    r"""Reports of the stations asked for, one after the other, out of a stream of bytes.

    Parameters
    ----------
    pieces : iterable of bytes
        The stream in pieces of any size, as it came: plain, or gzip.
    stations : iterable of str or None
        Whose reports are wanted; None: everybody's.
    now : datetime
        When it was received, aware, UTC.
    source : str
        Who sent it: becomes `RawReport.source`.
    form : str or None
        One of `READERS`; None: told from how it begins.
    whole : bool
        Whether something outside (a length) proves that nothing is missing at the end. No
        such thing is known of an archive's transfer: a short file may be a cut one.
    most : int
        Most bytes after decompression.

    Attributes
    ----------
    problems : tuple of str
        What could not be used, in words; bounded, whatever comes.
    records : int
        How many reports there were, of anybody.
    cut : str
        Why the end is missing; empty if it is not. A station without a report may then have
        one behind the cut.

    Raises
    ------
    FeedError
        While going through: if it has no such form, holds nothing, is damaged or too large.
        Reports given before are then not to be trusted.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> lines = [b"2026/10/14 17:53\nXLKS 141753Z 24018G31KT 6SM\n\n"]
    >>> reader = BulkReader(lines, ("XLKS",), datetime(2026, 10, 14, 18, tzinfo=UTC), source="file")
    >>> [report.text for report in reader]
    ['XLKS 141753Z 24018G31KT 6SM']
    """

    def __init__(
        self,
        pieces: Iterable[bytes | memoryview],
        stations: Iterable[str] | None,
        now: datetime,
        *,
        source: str,
        form: str | None = None,
        whole: bool = True,
        most: int = MAX_DECODED,
    ) -> None:
        self._lines = Lines(pieces, source, whole=whole, most=most)
        self._asked = Asked(stations, now, source, self._lines)
        self._form = form

    def __iter__(self) -> Iterator[RawReport]:
        lines = iter(self._lines)
        seen: list[bytes] = []
        form = self._form or self._look(lines, seen)
        yield from READERS[form](chain(seen, lines), self._asked)
        if not self._asked.records and form != "archive":
            raise FeedError(self._asked.source, f"no report in it; {self._asked.begins()}")

    @property
    def problems(self) -> tuple[str, ...]:
        """What could not be used, in words."""
        return self._asked.problems()

    @property
    def records(self) -> int:
        """How many reports there were, of anybody."""
        return self._asked.records

    @property
    def cut(self) -> str:
        """Why the end is missing; empty if it is not."""
        return self._lines.cut

    def _look(self, lines: Iterator[bytes], seen: list[bytes]) -> str:
        """Find out the form from the first lines, which are kept in `seen`."""
        for line in lines:
            seen.append(line)
            for form, is_sign in _SIGNS:
                if is_sign(line):
                    return form
            if len(seen) >= LOOK_AT:
                break
        first = next((line for line in seen if line.strip()), b"")
        said = f"it begins {quoted_line(first)}" if first else self._asked.begins()
        raise FeedError(self._asked.source, f"no known form of reports; {said}")
