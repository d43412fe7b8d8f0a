"""Asking several addresses in one fetch: one that fails does not lose the others."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import NamedTuple

from windwatch.errors import FeedBusy, FeedError
from windwatch.feeds.http import FeedClient, Reply
from windwatch.feeds.json_text import NotTheFormat
from windwatch.feeds.values import FetchResult
from windwatch.reports.raw import RawReport

Found = tuple[list[RawReport], list[str]]


class Partial(NamedTuple):
    """What is whole in a reply that broke off.

    Attributes
    ----------
    found : tuple
        Reports and problems.
    stations : tuple of str
        Whose reports were before the break; the others were not looked up.
    """

    found: Found
    stations: tuple[str, ...]


class Ask(NamedTuple):
    """One address to ask.

    Attributes
    ----------
    stations : tuple of str
        Whom it is about.
    url : str
        The whole address.
    read : callable
        Turns a reply of status 200 into reports and problems; raises `NotTheFormat`.
    file : str
        Names the batch where several addresses are about the same stations.
    """

    stations: tuple[str, ...]
    url: str
    read: Callable[[Reply], Found | Partial]
    file: str = ""

    @property
    def batch(self) -> str:
        """What is asked for: at most once a minute."""
        return self.file or " ".join(self.stations)


class Gatherer:
    """Asks address after address within one deadline.

    Where time runs out, or the host asks to be left alone, the next fetch begins with those
    that were not asked, so that one slow address cannot hide the others for ever.
    """

    def __init__(self, source: str, client: FeedClient) -> None:
        self._source = source
        self._client = client
        self._first = ""

    def gather(
        self, asks: Iterable[Ask], now: datetime, *, fresh: bool, problems: Sequence[str] = ()
    ) -> FetchResult:
        """Ask all, in turn.

        Raises
        ------
        FeedError
            If not one of them answered as it should: the first reason.
        """
        waiting = self._in_turn(list(asks))
        deadline_at = self._client.deadline()
        found: list[RawReport] = []
        trouble = list(problems)
        replies: list[Reply] = []
        asked: list[str] = []
        failed: list[FeedError] = []
        self._first = ""
        late = False
        for number, ask in enumerate(waiting):
            if self._client.out_of_time(deadline_at):
                self._first = ask.batch
                late = True
                break
            try:
                reply = self._client.get(
                    ask.url,
                    batch=ask.batch,
                    now=now,
                    deadline_at=deadline_at,
                    fresh=fresh,
                )
                (reports, odd), looked_up = self._read(ask, reply)
            except FeedBusy as error:
                # It holds for the whole host; asking on would be what it asked us not to do.
                # The next fetch begins behind this one, which may be the only one to fail.
                self._first = waiting[(number + 1) % len(waiting)].batch
                failed.append(error)
                break
            except FeedError as error:
                failed.append(error)
                continue
            replies.append(replace(reply, body=b""))  # read, and too large to keep
            asked.extend(station for station in looked_up if station not in asked)
            found += reports
            trouble += odd
        if failed and not replies:
            raise failed[0]
        if late:
            trouble.append(f"{self._source}: no time left for {_left(waiting, number, asked)}")
        dates = [reply.server_date for reply in replies if reply.server_date]
        return FetchResult(
            reports=tuple(found),
            problems=(*trouble, *(str(error) for error in failed)),
            asked=tuple(asked),
            not_modified=bool(replies) and all(reply.status == 304 for reply in replies),
            server_date=max(dates, default=None),
        )

    def _in_turn(self, asks: list[Ask]) -> list[Ask]:
        """Begin where the fetch before had to stop."""
        start = next((i for i, ask in enumerate(asks) if ask.batch == self._first), 0)
        return asks[start:] + asks[:start]

    def _read(self, ask: Ask, reply: Reply) -> tuple[Found, tuple[str, ...]]:
        """Read a reply, and say whose; remember it only if it could be read to its end."""
        if reply.status != 200:
            return ([], []), ask.stations
        source = f"{self._source} {reply.url.partition('?')[0]}"
        if not reply.body.strip():
            raise FeedError(source, f"{reply.came()}: an empty answer says nothing of the stations")
        try:
            found = ask.read(reply)
        except NotTheFormat as error:
            raise FeedError(source, f"{reply.came()}: {error}") from error
        if isinstance(found, Partial):
            return found
        self._client.remember(reply)
        return found, ask.stations


def _left(waiting: list[Ask], reached: int, asked: list[str]) -> str:
    """Name what was not asked: the stations, or the files where several are about them."""
    left = waiting[reached:]
    if left[0].file:
        return ", ".join(ask.file for ask in left)
    return ", ".join(s for ask in waiting for s in ask.stations if s not in asked)
