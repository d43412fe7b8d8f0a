"""Asking the feed: for what, back to when, and whether past every cache."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from windwatch.episodes.books import Books
from windwatch.feeds.values import Feed, FetchResult
from windwatch.fleet import Airfield, Fleet

# Past this share of `stale_after` the feed is asked past every cache: a stale validator
# would otherwise answer "not modified" for ever.
ASK_FRESH_AT: Final = 2 / 3
# Asked back so far after a gap in watching: as far as the feeds that keep a history go at once.
LOOK_BACK: Final = timedelta(hours=24)
# A feed with a history gives so much without being asked for more.
USUAL_BACK: Final = timedelta(hours=2)


@dataclass(frozen=True, slots=True)
class Question:
    """What one poll asks for.

    Attributes
    ----------
    since : datetime or None
        After a gap in watching: back to then.
    fresh : bool
        Past every cache.
    added : frozenset of str
        Airfields for which nobody has asked before.
    """

    stations: tuple[str, ...]
    now: datetime
    since: datetime | None
    fresh: bool
    added: frozenset[str]


class Asking:
    """The feed of a watch, which the configuration may exchange.

    Parameters
    ----------
    feed : Feed or None
        None where reports are handed in.
    """

    def __init__(self, feed: Feed | None) -> None:
        self.feed = feed
        # What could not be stored must come again, past "not modified".
        self.again = False
        # Airfields that were added, until the feed has been asked for them.
        self.unasked: frozenset[str] = frozenset()
        self._replaced: list[Feed] = []
        # When it last answered for every station.
        self._answered_at: datetime | None = None

    def question(self, fleet: Fleet, books: Mapping[str, Books], now: datetime) -> Question:
        """What to ask for now.

        Parameters
        ----------
        now : datetime
            Aware, UTC.
        """
        # A station that was added is in no reply yet, modified or not.
        fresh = self.again or bool(self.unasked) or _is_aging(fleet.airfields, books, now)
        since = None if self._lacks_nothing(now) else _back_to(books.values(), now)
        return Question(fleet.stations(), now, since, fresh, self.unasked)

    def _lacks_nothing(self, now: datetime) -> bool:
        """Whether the feed was just asked: a station that is silent all the same has no more."""
        at = self._answered_at
        return not (at is None or now - at > USUAL_BACK or self.again or self.unasked)

    def ask(self, feed: Feed, question: Question) -> FetchResult:
        """Ask; whatever the feed says, it has been asked then.

        Raises
        ------
        Exception
            Whatever the feed raises.
        """
        try:
            found = feed.fetch(
                question.stations, question.now, since=question.since, fresh=question.fresh
            )
        except Exception:
            self.again = self.again or bool(question.added)
            raise
        finally:
            self.unasked -= question.added
        if set(question.stations) <= set(found.asked):
            self._answered_at = question.now
        return found

    def replace(self, feed: Feed | None, added: Iterable[str]) -> None:
        """Take a new configuration; a request under way ends by the old one."""
        if self.feed is None:
            return
        if feed is not self.feed:
            self._replaced.append(self.feed)
            self.feed = feed
        self.unasked |= frozenset(added)

    def close_replaced(self) -> None:
        """Give back the connections of feeds that are asked no more, between two polls."""
        while self._replaced:
            self._replaced.pop().close()

    def close(self) -> None:
        """Give back all connections."""
        self.close_replaced()
        if self.feed is not None:
            self.feed.close()


def _back_to(books: Iterable[Books], now: datetime) -> datetime | None:
    """After a gap in watching: the last report that was judged; None where there was none."""
    seen = [each.state.wind.at for each in books if each.state.wind is not None]
    if not seen:
        return None
    oldest = min(seen)
    return max(oldest, now - LOOK_BACK) if now - oldest > USUAL_BACK else None


def _is_aging(airfields: Iterable[Airfield], books: Mapping[str, Books], now: datetime) -> bool:
    """Whether the newest wind of any airfield will soon be too old."""
    for airfield in airfields:
        wind = books[airfield.id].state.wind
        if wind is not None and now - wind.at > airfield.stale_after * ASK_FRESH_AT:
            return True
    return False
