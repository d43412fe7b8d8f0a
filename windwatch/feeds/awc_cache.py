"""Kind ``awc-cache``: the latest report of every station of the world, in one file.

Facts of the format: reference/feeds.md section 2. About 5,000 stations in 250 kB, built anew
each minute: for those who watch more stations than the Data API gives at once. It holds one
report a station: a special that is followed by another report before the next asking is never
seen, and nothing comes back after a gap in watching.
"""

from __future__ import annotations

from datetime import datetime
from typing import Final

from windwatch.feeds.bulk_feed import BulkFiles
from windwatch.feeds.gather import Gatherer
from windwatch.feeds.http import FeedClient
from windwatch.feeds.values import FeedSettings, FetchResult

ADDRESS: Final = "https://aviationweather.gov/data/cache/metars.cache.csv.gz"


class AwcCacheFeed:
    """The cache file."""

    def __init__(self, settings: FeedSettings, client: FeedClient) -> None:
        self._url = settings.url or ADDRESS
        self._client = client
        self._files = BulkFiles("awc-cache", "cache")
        self._gatherer = Gatherer("awc-cache", client)

    def close(self) -> None:
        """Give back connections."""
        self._client.close()

    def fetch(
        self,
        stations: tuple[str, ...],
        now: datetime,
        *,
        since: datetime | None = None,  # noqa: ARG002 - the file holds the latest reports only
        fresh: bool = False,
    ) -> FetchResult:
        """Ask for the file; see `Feed.fetch`."""
        ask = self._files.ask(self._url, "the cache file", stations, now)
        fresh = fresh or self._files.new_to([self._url], stations)
        return self._gatherer.gather([ask], now, fresh=fresh)
