"""An invented field with one aircraft, and a watch on a real store that tests turn by hand."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from windwatch.clock import Clock, HandClock
from windwatch.feeds.values import Feed
from windwatch.reports.raw import RawReport
from windwatch.settings.read import read_settings
from windwatch.settings.running import Settings
from windwatch.store.store import Store, open_store
from windwatch.upkeep.showing import Outward
from windwatch.watch import CycleReport, Watch
from windwatch.wiring import make_channels, make_feed

MINUTE = timedelta(minutes=1)
START = datetime(2026, 9, 22, 14, 56, tzinfo=UTC)
QUIET = "27006KT"
STORM = "27025G41KT"
LOOPBACK = 'allow_http = true\nallow_networks = ["127.0.0.0/8"]\n'

AIRFIELD = """
[[airfield]]
id = "{id}"
latitude = 42.93
longitude = -76.02
elevation_ft = 960
time_zone = "America/New_York"
  [[airfield.runway]]
  ends = [{{ name = "10", heading_true_deg = 91.4 }}, {{ name = "28", heading_true_deg = 271.4 }}]

[[aircraft]]
name = "X-{id}"
gear = "tailwheel"
wing = "high"
based_at = "{id}"
limits = {{ tie_down_kt = 25 }}
"""
DESK = '\n[[contact]]\nname = "desk"\nfolder = "dropped"\n'


def config_text(
    *, feed: str = "", airfields: tuple[str, ...] = ("XLKS",), people: str = DESK, rim: str = ""
) -> str:
    """A whole configuration; `feed` is the address of a local server."""
    where = f'url = "{feed}"\n{LOOPBACK}' if feed else ""
    return (
        f'[feed]\nkind = "awc"\ncontact = "ops@larkspur.example"\nevery = "60s"\n{where}'
        f'[store]\npath = "watch.db"\n{rim}'
        + "".join(AIRFIELD.format(id=name) for name in airfields)
        + people
    )


def metar(at: datetime, wind: str, station: str = "XLKS") -> str:
    return f"METAR {station} {at:%d%H%M}Z {wind} 10SM SCT035 23/12 A2980"


@dataclass
class Bench:
    """A watch, and everything to turn it with."""

    folder: Path
    settings: Settings
    clock: Clock
    store: Store
    watch: Watch
    feed: Feed | None = None
    ids: list[str] = field(default_factory=list)

    def at(self, moment: datetime) -> None:
        assert isinstance(self.clock, HandClock)
        self.clock.set(moment)

    def take(self, *winds: str, station: str = "XLKS") -> CycleReport:
        """Hand in reports of this very minute."""
        now = self.clock.now()
        return self.watch.take([RawReport(metar(now, w, station), now, "test") for w in winds])

    def again(self) -> None:
        """A new watch from the store alone, as after a restart."""
        self.watch = Watch(
            self.settings, self.store, self.feed, make_channels(self.settings), self.clock
        )

    def anew(self, feed: Feed, outward: Outward) -> None:
        """A new watch on another feed, that shows itself outward."""
        self.feed = feed
        self.watch = Watch(
            self.settings,
            self.store,
            feed,
            make_channels(self.settings),
            self.clock,
            outward=outward,
        )


@contextmanager
def bench(folder: Path, text: str, clock: Clock | None = None, **env: str) -> Iterator[Bench]:
    """A watch on a new store in a folder; with a feed, where the configuration has an address."""
    path = folder / "watch.toml"
    path.write_text(text, encoding="utf-8")
    settings = read_settings([path], env)
    clock = clock or HandClock(START)
    feed = make_feed(settings, clock) if "url =" in text.partition("[store]")[0] else None
    with open_store(folder / "watch.db", clock, durable=False) as store:
        watch = Watch(settings, store, feed, make_channels(settings), clock)
        try:
            yield Bench(folder, settings, clock, store, watch, feed)
        finally:
            if feed is not None:
                feed.close()


def recording(path: Path, reports: Iterable[tuple[datetime, str]]) -> Path:
    """A recorded file: time of receipt and text."""
    lines = [f"{at:%Y-%m-%dT%H:%M:%SZ} {text}\n" for at, text in reports]
    path.write_text("".join(lines), encoding="utf-8")
    return path


def said(report: CycleReport) -> list[tuple[str, str]]:
    """Who was told which steps: (contact, step)."""
    return [(n.contact, step.name.value) for n, _ in report.notices for step in n.steps]


def ids(report: CycleReport) -> list[str]:
    return [notice.id for notice, _ in report.notices]
