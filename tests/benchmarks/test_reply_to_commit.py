"""From a feed's reply to the notices committed: 10 airfields × 10 aircraft × 3 standards.

Issue 2, figure 5: under 50 ms. The store is a real file, and every commit waits for the disk.
One crossing of ten must hold it as a whole, and the first notice always. Where all ten cross in
one reply, two commits tell it: the first airfield's, and the nine others' together. How long that
may take is no promise of the issue's; it is bounded here by what this program achieves.
"""

import json
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from windwatch import pipeline, watch
from windwatch.clock import HandClock
from windwatch.reports.raw import RawReport
from windwatch.settings.read import read_settings
from windwatch.store.store import open_store
from windwatch.wiring import make_channels

MORNING = datetime(2026, 9, 22, 14, 56, tzinfo=UTC)
STATIONS = [f"XB{letter}K" for letter in "ABCDEFGHIJ"]
WARM_UP = "XWRM"
QUIET = "27006KT"
RISING = "30013G19KT"
GUST_FRONT = "31031G46KT 240V340"
LIMIT_MS = 50.0
ALL_CROSS_MS = 150.0
# 180 steps at each airfield, told to three contacts: four megabytes are committed.
EVERYTHING_MS = 250.0
# Reliability, section 6: measured in CI with 30 % slack.
SLACK = 1.3
ROUNDS = 7
# What the yardstick takes of the processor where this was written (an ordinary 3 GHz core);
# on a slower or busier one the figure may be as much longer.
YARDSTICK_MS = 8.0

RUNWAYS = """  [[airfield.runway]]
  ends = [{ name = "10", heading_true_deg = 91.4 }, { name = "28", heading_true_deg = 271.4 }]
  [[airfield.runway]]
  ends = [{ name = "1", heading_true_deg = 1.2 }, { name = "19", heading_true_deg = 181.2 }]
  [[airfield.taxi_leg]]
  name = "apron to hold 28"
  heading_magnetic_deg = 193
  [[airfield.taxi_leg]]
  name = "apron to hold 1"
  heading_magnetic_deg = 283
"""
STANDARDS = (("student solo", 7, 15), ("dual", 14, 28), ("owner", 12, 22))
CONTACTS = ("operations desk", "instructor", "owners")


def airfield(station: str, number: int) -> str:
    return (
        f'[[airfield]]\nid = "{station}"\nlatitude = {42 + number / 10}\nlongitude = -76.0\n'
        f'elevation_ft = 900\ntime_zone = "America/New_York"\n{RUNWAYS}'
    )


def aircraft(station: str, number: int) -> str:
    gear = "tailwheel" if number % 3 == 0 else "nosewheel"
    wing = "low" if number % 2 else "high"
    return (
        f'[[aircraft]]\nname = "{station}-{number}"\ngear = "{gear}"\nwing = "{wing}"\n'
        f'based_at = "{station}"\nstall_speed_kt = {40 + number}\n'
        f"limits = {{ crosswind_kt = {12 + number}, tailwind_kt = 8, gust_spread_kt = 12, "
        f"taxi_wind_kt = {28 + number}, tie_down_kt = {25 + number}, "
        f"shelter_kt = {38 + number} }}\n"
        'flown_by = ["student solo", "dual", "owner"]\n'
    )


def configuration(folder: Path) -> Path:
    parts = [
        '[feed]\nkind = "awc"\ncontact = "ops@larkspur.example"\n[store]\npath = "watch.db"\n',
        airfield(WARM_UP, 20) + aircraft(WARM_UP, 0),
    ]
    for number, station in enumerate(STATIONS):
        parts.append(airfield(station, number))
        parts += [aircraft(station, craft) for craft in range(10)]
    parts += [
        f'[[pilot_limits]]\nname = "{name}"\n'
        f"limits = {{ crosswind_kt = {crosswind}, wind_kt = {wind} }}\n"
        for name, crosswind, wind in STANDARDS
    ]
    parts += [f'[[contact]]\nname = "{name}"\nfolder = "dropped"\n' for name in CONTACTS]
    path = folder / "ten.toml"
    path.write_text("\n".join(parts), encoding="utf-8")
    return path


@dataclass
class Timing:
    """One reply, in milliseconds by the wall; `queued` it waited for a processor, of that."""

    total: float = 0.0
    first: float = 0.0
    queued: float = 0.0
    queued_first: float = 0.0
    commits: int = 0
    notices: int = 0
    steps: int = 0
    shares: Counter[str] = field(default_factory=Counter)

    def __str__(self) -> str:
        parts = ", ".join(f"{name} {ms:.1f}" for name, ms in self.shares.items())
        return (
            f"{self.notices} notices of {self.steps} steps: first committed after "
            f"{self.first:.1f} ms, all after {self.total:.1f} ms ({parts})"
        )


def queued() -> float:
    """How long this thread has waited for a processor that others had, in milliseconds."""
    try:
        return int(Path("/proc/thread-self/schedstat").read_text().split()[1]) / 1e6
    except OSError:
        return 0.0  # not told here: the wall counts


@contextmanager
def timed(monkeypatch: pytest.MonkeyPatch, timing: Timing) -> Iterator[None]:
    """Take the time of the parts: judging, words, the store."""

    def wrap(place: object, name: str, share: str) -> None:
        real = getattr(place, name)

        def measured(*args: object, **more: object) -> object:
            began = time.perf_counter()
            try:
                return real(*args, **more)
            finally:
                timing.shares[share] += (time.perf_counter() - began) * 1e3
                timing.commits += share == "store"
                told = share == "store" and any(change.composed for change in args[1])
                if told and not timing.first:
                    timing.first = (time.perf_counter() - start) * 1e3
                    timing.queued_first = queued() - before

        monkeypatch.setattr(place, name, measured)

    wrap(pipeline, "step", "judging")
    wrap(watch, "words_for", "words")
    wrap(watch, "keep", "store")
    before, start = queued(), time.perf_counter()
    yield
    timing.total = (time.perf_counter() - start) * 1e3
    timing.queued = queued() - before
    monkeypatch.undo()


def reports(at: datetime, winds: dict[str, str]) -> list[RawReport]:
    return [
        RawReport(f"SPECI {station} {at:%d%H%M}Z {wind} 10SM SCT035 23/12 A2980", at, "awc")
        for station, wind in winds.items()
    ]


def one_reply(
    folder: Path, monkeypatch: pytest.MonkeyPatch, wind: str, crossing: list[str]
) -> Timing:
    """A reply with a new report of each airfield, some of which cross; on a watch that runs."""
    folder.mkdir()
    settings = read_settings([configuration(folder)], {})
    clock = HandClock(MORNING)
    timing = Timing()
    with open_store(folder / "watch.db", clock) as store:
        w = watch.Watch(settings, store, None, make_channels(settings), clock)
        w.take(reports(clock.now(), dict.fromkeys(STATIONS, QUIET)))
        clock.move(timedelta(minutes=5))
        # The first notice of a process loads templates and prepares statements.
        assert w.take(reports(clock.now(), {WARM_UP: GUST_FRONT})).notices
        clock.move(timedelta(minutes=5))
        winds = {s: wind if s in crossing else QUIET for s in STATIONS}
        reply = reports(clock.now(), winds)
        with timed(monkeypatch, timing):
            report = w.take(reply)
        assert report.failed == []
        assert len(report.judged) == 10
        assert len(report.notices) == len(CONTACTS) * len(crossing)
        assert len(store.notices(since=clock.now())) == len(report.notices)
    timing.notices = len(report.notices)
    timing.steps = sum(len(notice.steps) for notice, _ in report.notices)
    return timing


def yardstick() -> float:
    """What a fixed piece of work takes of the processor here and now, in milliseconds."""
    began = time.thread_time()
    rows = [{"n": n, "t": str(n), "of": [n] * 5} for n in range(4000)]
    json.loads(json.dumps({"rows": rows}))
    return (time.thread_time() - began) * 1e3


@pytest.mark.benchmark
@pytest.mark.promise(11)
@pytest.mark.parametrize(
    ("wind", "crossing", "limit"),
    [
        pytest.param(RISING, STATIONS[-1:], LIMIT_MS, id="one of ten airfields crosses"),
        pytest.param(RISING, STATIONS, ALL_CROSS_MS, id="all ten cross"),
        pytest.param(
            GUST_FRONT, STATIONS, EVERYTHING_MS, id="a gust front at all ten: everything is over"
        ),
    ],
)
def test_a_reply_is_judged_and_its_first_notice_committed_in_time(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    request: pytest.FixtureRequest,
    wind: str,
    crossing: list[str],
    limit: float,
) -> None:
    rounds, yardsticks = [], []
    for number in range(ROUNDS):
        yardsticks.append(yardstick())
        rounds.append(one_reply(tmp_path / str(number), monkeypatch, wind, crossing))
    best = min(rounds, key=lambda timing: timing.total)
    slower = max(1.0, min(yardsticks) / YARDSTICK_MS)
    first = min(t.first - t.queued_first for t in rounds)
    total = min(t.total - t.queued for t in rounds)
    print(  # noqa: T201
        f"{request.node.callspec.id}: {best}; without other processes {first:.1f} and "
        f"{total:.1f} ms; yardstick {min(yardsticks):.1f} ms"
    )
    assert best.commits == min(2, len(crossing))
    assert first < LIMIT_MS * SLACK * slower
    assert total < limit * SLACK * slower
