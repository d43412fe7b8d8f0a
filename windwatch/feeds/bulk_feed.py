"""What the feeds of bulk files share: one file holds everybody, and the address says nobody."""

from __future__ import annotations

from collections import Counter
from datetime import datetime
from typing import Final

from windwatch.errors import FeedError
from windwatch.feeds.bulk import BulkReader
from windwatch.feeds.bulk_stream import pieces_of
from windwatch.feeds.gather import Ask, Found, Partial
from windwatch.feeds.http import Reply
from windwatch.feeds.json_text import NotTheFormat
from windwatch.feeds.report_text import station_of
from windwatch.reports.raw import RawReport

# A station may report every minute for two hours; more is no observing.
MOST_OF_ONE: Final = 120


class BulkFiles:
    """Files of one form, and for whom each was last read.

    A file's address is the same whoever is asked for: "not modified" is only true for those
    whose reports were taken out of it before.
    """

    def __init__(self, source: str, form: str) -> None:
        self._source = source
        self._form = form
        self._read_for: dict[str, frozenset[str]] = {}

    def ask(self, url: str, file: str, stations: tuple[str, ...], now: datetime) -> Ask:
        """One file, and how it is read."""

        def read(reply: Reply) -> Found | Partial:
            try:
                found = self._take(reply, stations, now)
            except FeedError as error:
                # The gatherer says from where, and what came.
                raise NotTheFormat(error.problem) from error
            if isinstance(found, Partial):
                return found
            self._read_for[url] = frozenset(stations)
            return found

        return Ask(stations, url, read, file)

    def new_to(self, urls: list[str], stations: tuple[str, ...]) -> bool:
        """Whether a file was last read without one of these stations."""
        return any(
            not self._read_for.get(url, frozenset(stations)) >= set(stations) for url in urls
        )

    def _take(self, reply: Reply, stations: tuple[str, ...], now: datetime) -> Found | Partial:
        """Take the reports of the stations asked for out of a reply."""
        reader = BulkReader(
            pieces_of(reply.body),
            stations,
            now,
            source=self._source,
            form=self._form,
            whole=reply.whole,
        )
        reports: dict[RawReport, None] = {}
        of_one: Counter[str] = Counter()
        for report in reader:
            if report in reports:
                continue
            station = report.station_asked or station_of(report.text) or ""
            of_one[station] += 1
            if of_one[station] <= MOST_OF_ONE:
                reports[report] = None
        in_order = sorted(reports, key=lambda report: report.observed_at or now)
        problems = list(reader.problems)
        problems += [
            f"{self._source}: {number:,} reports of {station}; {MOST_OF_ONE} are used"
            for station, number in of_one.items()
            if number > MOST_OF_ONE
        ]
        if not reader.cut:
            return in_order, problems
        there = tuple(station for station in stations if of_one[station.upper()])
        return Partial((in_order, problems), there)
