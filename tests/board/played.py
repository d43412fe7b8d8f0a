"""The demo day in a real store by a real watch, up to a moment, and a board that reads it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from windwatch.board.reading import Reading
from windwatch.board.snapshot import Snapshot
from windwatch.board.values import Stand
from windwatch.clock import HandClock
from windwatch.feeds.recorded import read_recorded
from windwatch.forecasting import as_kept, stations_of
from windwatch.reports.raw import RawReport
from windwatch.settings.read import read_settings
from windwatch.settings.running import DeliveryValues, Settings, StoreValues
from windwatch.store.forecasts import StoredForecast, keep_forecasts
from windwatch.store.store import Store, open_store
from windwatch.upkeep import health
from windwatch.watch import Watch
from windwatch.wiring import make_channels, status_path

ROOT = Path(__file__).parent.parent.parent
MINUTE = timedelta(minutes=1)
FRONT = datetime(2026, 9, 22, 19, 10, tzinfo=UTC)


@dataclass
class Played:
    """A watch on a new store, turned by hand, and a board beside it."""

    settings: Settings
    clock: HandClock
    store: Store
    watch: Watch
    reading: Reading

    @property
    def now(self) -> datetime:
        return self.clock.now()

    def play(self, until: datetime) -> None:
        """The demo day's reports up to a moment, then the watch's word that it works."""
        for line in read_recorded(ROOT / "recorded_reports" / "front_day.txt"):
            if not self.clock.now() < line.at <= until:
                continue
            self.clock.set(line.at)
            if line.report is not None:
                self.watch.take([line.report])
                self.watch.deliver()
            if line.forecast is not None:
                self.forecast(line.forecast)
        self.wait(until)

    def forecast(self, raw: RawReport) -> None:
        """One forecast, kept as the watch keeps it."""
        kept = as_kept(raw, stations_of(self.settings.fleet))
        assert isinstance(kept, StoredForecast), kept
        keep_forecasts(self.store, [kept])

    def take(self, text: str, at: datetime | None = None) -> None:
        """One report, received now or at a moment."""
        if at is not None:
            self.clock.set(at)
        self.watch.take([RawReport(text, self.now, "test")])
        self.watch.deliver()
        self.beat()

    def wait(self, until: datetime) -> None:
        """Time passes; the watch goes on."""
        self.clock.set(until)
        self.watch.take([])
        self.beat()

    def beat(self, **changed: Any) -> None:
        """The watch's state into its file."""
        state = replace(self.watch.keeper.health(self.watch.books), last_turn_at=self.now)
        health.write(status_path(self.settings), replace(state, **changed))

    def snapshot(self, now: datetime | None = None) -> Snapshot:
        """What the board reads, half a second later than whatever was before."""
        return self.reading.snapshot(now or self.now)


def settings_in(folder: Path, config: Path = ROOT / "config" / "demo.toml") -> Settings:
    """A configuration with its store and notices in a folder."""
    found = read_settings([config], {}, require_secrets=False)
    fields = [replace(each, forecast_station="XBRN") for each in found.fleet.airfields]
    fleet = replace(found.fleet, airfields=tuple(fields))
    return replace(
        found,
        fleet=fleet,
        store=StoreValues(folder / "watch.db"),
        delivery=DeliveryValues(folder / "sent"),
    )


@contextmanager
def played(
    folder: Path, until: datetime | None = None, begin: datetime | None = None
) -> Iterator[Played]:
    """A board beside a watch that has played the demo day."""
    settings = settings_in(folder)
    clock = HandClock(begin or datetime(2026, 9, 22, 9, 0, tzinfo=UTC))
    with open_store(folder / "watch.db", clock, durable=False) as store:
        watch = Watch(settings, store, None, make_channels(settings), clock)
        each = Played(settings, clock, store, watch, Reading(settings, store))
        if until is not None:
            each.play(until)
        yield each


def everything_in(value: Any) -> Iterator[Any]:
    """A value and all that it holds."""
    yield value
    if is_dataclass(value) and not isinstance(value, type):
        for one in fields(value):
            yield from everything_in(getattr(value, one.name))
    elif isinstance(value, dict):
        for one in value.values():
            yield from everything_in(one)
    elif isinstance(value, (tuple, list)):
        for one in value:
            yield from everything_in(one)


def stands_in(page: Any) -> list[Stand]:
    return [each for each in everything_in(page) if isinstance(each, Stand)]


def texts_in(page: Any) -> list[str]:
    return [each for each in everything_in(page) if isinstance(each, str)]
