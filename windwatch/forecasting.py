"""The watch's dealings with forecasts: asked for now and then, and kept to be shown.

Shown, not yet judged: a forecast opens nothing, clears nothing and tells nobody. So nothing of it
may touch the watch either. It has a client, a thread and deadlines of its own, and where it fails
there is simply no newer forecast.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import Final

from windwatch.clock import Clock
from windwatch.errors import StoreError, WindwatchError
from windwatch.feeds.forecasts import TOLD, build_forecasts, newest_of
from windwatch.feeds.values import Feed, FeedSettings
from windwatch.fleet import Fleet
from windwatch.reports.raw import RawReport
from windwatch.reports.taf import decode_forecast
from windwatch.settings.running import Settings
from windwatch.store.forecasts import StoredForecast, keep_forecasts
from windwatch.store.store import Store
from windwatch.wiring import feed_settings

log = logging.getLogger(__name__)

# The first polls go before it.
FIRST: Final = timedelta(seconds=10)
# Clocks differ, and forecasts are dated to the minute.
AHEAD: Final = timedelta(hours=1)
# The longest reach thirty hours ahead.
OLD: Final = timedelta(hours=48)
# What a feed says beside the text of the time of issue, and the text, may differ by so much.
SAME_TIME: Final = timedelta(hours=2)


def stations_of(fleet: Fleet) -> tuple[str, ...]:
    """Whose forecasts are shown, each once."""
    wanted = (airfield.forecast_station for airfield in fleet.airfields)
    return tuple(dict.fromkeys(station for station in wanted if station))


def as_kept(raw: RawReport, wanted: tuple[str, ...]) -> StoredForecast | str:
    """A forecast as it is kept, or what is wrong with it, in words.

    Parameters
    ----------
    raw : RawReport
        As the feed handed it over; `received_at` aware, UTC.
    wanted : tuple of str
        Stations that were asked for: another one's forecast is refused.
    """
    forecast = decode_forecast(raw.text, raw.observed_at or raw.received_at)
    station, issued_at = forecast.station, forecast.issued_at
    if station not in wanted or raw.station_asked not in (None, station):
        return f"a forecast of {station or 'nobody'} where none was asked for"
    if issued_at is None:
        return f"{station}: a forecast that does not say when it was issued"
    dated = f"{station}: a forecast issued {issued_at:%Y-%m-%d %H:%M}Z"
    if raw.observed_at is not None and abs(issued_at - raw.observed_at) > SAME_TIME:
        return f"{dated} by its text, {raw.observed_at:%Y-%m-%d %H:%M}Z by its feed"
    if issued_at > raw.received_at + AHEAD:
        return f"{dated}, which is still to come"
    if raw.received_at - issued_at > OLD:
        return f"{dated} is old; the station may have none any more"
    return StoredForecast(station, issued_at, raw.received_at, raw.text, raw.source)


class Forecasting:
    """Asks for forecasts and keeps them.

    Parameters
    ----------
    settings : callable
        Gives the configuration that is in force: whose forecasts, from where, how often.
    store : Store
        Written only as long as this process leads.
    clock : Clock
    """

    def __init__(self, settings: Callable[[], Settings], store: Store, clock: Clock) -> None:
        self._settings = settings
        self._store = store
        self._clock = clock
        # Set by whoever wants it to look up: a new configuration, or the end.
        self.woken = threading.Event()
        self._stop = threading.Event()
        self._feed: Feed | None = None
        # By which it was made; None: it has to be made.
        self._made_by: FeedSettings | None = None
        self._asked: tuple[str, ...] = ()
        # What could not be stored must come again, past "not modified".
        self._again = False
        self._said: frozenset[str] = frozenset()

    def look_on(self, stop: threading.Event) -> None:
        """Ask again and again, until told to stop.

        Parameters
        ----------
        stop : Event
            To be followed by setting `woken`.
        """
        self._stop = stop
        due_s = self._clock.monotonic() + FIRST.total_seconds()
        while not stop.is_set():
            left_s = due_s - self._clock.monotonic()
            every_s = self._settings().feed.forecasts_every.total_seconds()
            if left_s > 0 and self._clock.wait(self.woken, left_s):
                self.woken.clear()
                if not self._has_changed():
                    due_s = min(due_s, self._clock.monotonic() + every_s)
                    continue
            if stop.is_set():
                break
            try:
                self.turn()
            except Exception:
                # Whatever fails here, the watch goes on, and so does this.
                log.exception("turn_failed", extra={"turn": "forecasts"})
            due_s = self._clock.monotonic() + every_s
        self.close()

    def _has_changed(self) -> bool:
        """Whether there is something to ask for that nobody has asked for."""
        settings = self._settings()
        wanted = set(stations_of(settings.fleet))
        elsewhere = feed_settings(settings.feed) != self._made_by
        return bool(wanted) and (elsewhere or not wanted <= set(self._asked))

    def turn(self) -> int:
        """Ask once and keep what is new; say how many forecasts that were."""
        settings = self._settings()
        stations = stations_of(settings.fleet)
        if not stations:
            return 0
        self._asked = stations
        try:
            feed = self._feed_of(settings)
            if feed is None:
                return 0
            result = feed.fetch(stations, self._clock.now(), fresh=self._again)
        except WindwatchError as error:
            self._tell([str(error)])
            return 0
        # Before anything is decoded: an answer may hold any number of them.
        read = [as_kept(raw, stations) for raw in newest_of(result.reports, stations)]
        self._tell([*result.problems, *(each for each in read if isinstance(each, str))])
        return self._keep([each for each in read if isinstance(each, StoredForecast)])

    def _feed_of(self, settings: Settings) -> Feed | None:
        """The feed of the configuration in force; None for a kind without forecasts."""
        wanted = feed_settings(settings.feed)
        if wanted != self._made_by:
            self.close()
            self._feed = build_forecasts(wanted, self._clock)
            self._made_by = wanted
        return self._feed

    def _keep(self, forecasts: list[StoredForecast]) -> int:
        if self._stop.is_set():
            # Nobody waits for a server that hangs, and the store may be closed by now.
            return 0
        try:
            new = keep_forecasts(self._store, forecasts)
        except StoreError as error:
            # The watch itself tells people of its store's trouble.
            self._again = True
            log.warning("forecasts_not_kept", extra={"problem": str(error)})
            return 0
        self._again = False
        if new:
            log.info("forecasts_kept", extra={"forecasts": new})
        return new

    def _tell(self, problems: Iterable[str]) -> None:
        """What is wrong is told once, until a turn is without it: the first few and a count."""
        found = list(dict.fromkeys(problems))
        told, rest = found[:TOLD], len(found) - TOLD
        if rest > 0:
            told.append(f"{rest} further problems with forecasts")
        for problem in told:
            if problem not in self._said:
                log.warning("forecast_problem", extra={"problem": problem})
        self._said = frozenset(told)

    def close(self) -> None:
        """Give back all connections."""
        if self._feed is not None:
            self._feed.close()
        self._feed, self._made_by = None, None
