"""Kind ``noaa-cycles``: the reports of the whole world, one file an hour.

Facts of the format: reference/feeds.md section 4 (from memory there). The file of an hour holds
what was observed from 1 h 45 min before it to 44 min after it, and is written over the next
day: until then it holds yesterday's, which are left out.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

from windwatch.feeds.bulk_feed import BulkFiles
from windwatch.feeds.gather import Gatherer
from windwatch.feeds.http import FeedClient
from windwatch.feeds.report_text import settled_time
from windwatch.feeds.values import FeedSettings, FetchResult
from windwatch.reports.raw import RawReport

HOUR: Final = timedelta(hours=1)
BASE: Final = "https://tgftp.nws.noaa.gov/data"
# A file goes on until 44 minutes past its hour.
BEGINS_BEFORE: Final = timedelta(minutes=15)
# The file before holds what came just before this one began.
LEAST_BACK: Final = HOUR
MOST_FILES: Final = 23
YESTERDAYS: Final = timedelta(hours=20)


def cycles(now: datetime, since: datetime | None) -> list[int]:
    """Hours whose files are asked for, the newest first.

    Parameters
    ----------
    now : datetime
        UTC.
    since : datetime or None
        Back to when; None: so that nothing falls between two askings.
    """
    newest = _cycle_of(now)
    oldest = _cycle_of(min(now - LEAST_BACK, since or now))
    count = min((newest - oldest) // HOUR + 1, MOST_FILES)
    return [(newest - number * HOUR).hour for number in range(count)]


def _cycle_of(moment: datetime) -> datetime:
    """The full hour whose file holds this moment."""
    return (moment + BEGINS_BEFORE).replace(minute=0, second=0, microsecond=0)


class NoaaCyclesFeed:
    """Hourly collective files."""

    def __init__(self, settings: FeedSettings, client: FeedClient) -> None:
        self._base = (settings.url or BASE).rstrip("/")
        self._client = client
        self._files = BulkFiles("noaa-cycles", "cycle")
        self._gatherer = Gatherer("noaa-cycles", client)

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
        """Ask for the files of the last hours; see `Feed.fetch`."""
        asks = [
            self._files.ask(self._url(hour), _name(hour), stations, now)
            for hour in cycles(now, since)
        ]
        fresh = fresh or self._files.new_to([ask.url for ask in asks], stations)
        result = _without_yesterdays(self._gatherer.gather(asks, now, fresh=fresh), now)
        # One file after the other came, the newest first; late reports stand in both.
        in_order = sorted(dict.fromkeys(result.reports), key=lambda r: r.observed_at or now)
        return replace(result, reports=tuple(in_order))

    def _url(self, hour: int) -> str:
        return f"{self._base}/observations/metar/cycles/{_name(hour)}"


def _name(hour: int) -> str:
    return f"{hour:02}Z.TXT"


def _without_yesterdays(result: FetchResult, now: datetime) -> FetchResult:
    """Leave out what stands in a file that has not been written over yet."""
    todays = tuple(report for report in result.reports if not _is_yesterdays(report, now))
    left_out = len(result.reports) - len(todays)
    if not left_out:
        return result
    problem = (
        f"noaa-cycles: {left_out} reports older than {YESTERDAYS // HOUR} h are not used;"
        " a file may still be yesterday's"
    )
    return replace(result, reports=todays, problems=(*result.problems, problem))


def _is_yesterdays(report: RawReport, now: datetime) -> bool:
    """Whether a report is old by its date and by its own time; a date alone may be wrong."""
    observed_at = report.observed_at
    return (
        observed_at is not None
        and now - observed_at > YESTERDAYS
        and settled_time(report.text, observed_at)[1]
    )
