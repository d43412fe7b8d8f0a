"""The pipeline against a slow, simple model that was written without looking at it.

The model knows `design.md` section 4 and `reliability.md` section 2 only; it agreed with the
hand-derived day before it was held against the pipeline. A seed that fails is played alone with
`play(fleet, storm(seed, kind))`.
"""

import os
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from datetime import time, timedelta
from pathlib import Path
from random import Random

import pytest

from tests.demo.test_expected_stream import HELD, STREAM, table
from tests.model.model_tell import Model
from tests.model.played import play, watched_always
from tests.model.storms import DISORDERLY, FAULTY, MINUTE, STORM, Arrival, Kind, storm
from windwatch.feeds.recorded import read_recorded
from windwatch.fleet import Fleet, OperatingHours
from windwatch.settings.read import read_settings

# Generated histories take seconds each.
pytestmark = pytest.mark.long

KINDS = {"storm": STORM, "faulty": FAULTY, "disorderly": DISORDERLY}
# Thousands by hand: WINDWATCH_STORMS=2000 python -m pytest -m long tests/model
STORMS = int(os.environ.get("WINDWATCH_STORMS", "80"))
# Once failed, and kept. 29, 53, 1030: a runway whose loss an earlier opening had told was told
# again when a later opening was withdrawn. 7, and 1030 again: a low report that had become stale
# was counted with the next, so that one fresh report ended an episode.
# 103050: the model was a minute late with the loss of a runway beside *withdrawn*.
KEPT = {"faulty": (7, 29, 53, 1030, 103050)}
# The same with a gap. 7112, 70215, 71161: a near was told twice. 8062: a runway that no report told
# of any more was not withdrawn. 22029, 50221: what had ended was withdrawn. 81153, 90155, 90165: a
# near that nobody had heard of was taken for the going on of an older one. In the others the model
# was wrong; `test_found_by_the_model.py` says what decides.
KEPT_GAPS = (7112, 8062, 20000, 20042, 22029, 50221, 60150, 60167, 60257, 70215, 90155, 90165)
# And the feed down after it. 31124, 81041: a seventh notice in the hour, which the model let go.
# 91072: to people it was one episode, and standing; the model began it anew.
KEPT_GAPS_FEED_DOWN = (8062, 31124, 61161, 71161, 81041, 81153, 91072)
# In the daily suite; the rest of the first ten with the long ones.
FEW, FIRST = 5, 10


def demo_fleet(root: Path) -> Fleet:
    return read_settings([root / "config" / "demo.toml"], {}, require_secrets=False).fleet


@pytest.fixture(scope="module")
def fleet(root: Path) -> Fleet:
    return watched_always(demo_fleet(root))


def test_the_model_gives_the_day_that_was_derived_by_hand(root: Path) -> None:
    fleet = demo_fleet(root)
    lines = read_recorded(root / "recorded_reports" / "front_day.txt")
    now, end = lines[0].at, lines[-1].at
    model = Model(fleet, fleet.airfields[0], now)
    left = [line.report for line in lines if line.report is not None]
    while now <= end:
        while left and left[0].received_at <= now:
            report = left.pop(0)
            model.reports([report], report.received_at)
        model.tick(now)
        now += timedelta(minutes=1)
    found = Counter(
        (f"{at:%Y-%m-%dT%H:%MZ}", who, step, track)
        for who, steps in model.told.items()
        for at, step, track in steps
    )
    # The model knows no operating hours: what waits for the opening counts as told.
    rows = [*table(STREAM), *table(HELD)]
    assert found == Counter((at, who, step, _plain(track)) for at, who, step, track, *_ in rows)


def _plain(track: str) -> str:
    """`runway 10/28 X-LARK / dual` as the model writes it."""
    if not track.startswith("runway "):
        return track
    _, runway, subject = track.split(" ", 2)
    return f"runways {subject} {runway}"


def _check(fleet: Fleet, kind: str, seeds: Iterable[int]) -> None:
    wrong: list[str] = []
    for seed in seeds:
        player = play(fleet, storm(seed, KINDS[kind]))
        found = player.beliefs.wrong[:3]
        if kind != "disorderly":
            found += player.differences[:6]
        wrong += [f"{kind} seed {seed}: {line}" for line in found]
    assert not wrong, "\n".join(["", *wrong])


@pytest.mark.parametrize("kind", KINDS)
def test_what_people_are_told_is_what_the_model_says(fleet: Fleet, kind: str) -> None:
    _check(fleet, kind, (*range(FEW), *KEPT.get(kind, ())))


# New York by day, where the demo's field lies: 10:00Z to 02:00Z.
BY_DAY = OperatingHours(time(6), time(22))


def _check_nights(fleet: Fleet, seeds: Iterable[int]) -> None:
    """Storms of two days, at a station that closes at night."""
    fleet = replace(
        fleet, airfields=tuple(replace(a, reports_between=BY_DAY) for a in fleet.airfields)
    )
    wrong: list[str] = []
    for seed in seeds:
        arrivals = [a for a in storm(seed, replace(FAULTY, hours=40)) if _by_day(a)]
        player = play(fleet, arrivals)
        found = [*player.beliefs.wrong[:3], *player.differences[:6]]
        wrong += [f"nights, seed {seed}: {line}" for line in found]
    assert not wrong, "\n".join(["", *wrong])


def _by_day(arrival: Arrival) -> bool:
    """Whether the station was open when it observed."""
    hour = int(arrival.raw.text.split()[2][2:4])
    return hour >= 10 or hour < 2


def _check_gaps(fleet: Fleet, seeds: Iterable[int], *, feed_down: bool = False) -> None:
    """Storms in the midst of which nobody watched for hours; and then the feed was down, too."""
    wrong: list[str] = []
    for seed in seeds:
        random = Random(seed)
        arrivals = storm(seed, replace(FAULTY, hours=26))
        began = arrivals[0].at + random.randrange(120, 600) * MINUTE
        gap = (began, began + random.choice((40, 100, 200, 400, 700, 900)) * MINUTE)
        down = random.choice((5, 35, 60, 150, 300)) * MINUTE if feed_down else 0 * MINUTE
        player = play(fleet, arrivals, gap=gap, answers_after=down)
        found = [*player.beliefs.wrong[:3], *player.differences[:6]]
        told = f"gap {gap[0]:%d%H%M}-{gap[1]:%d%H%M}, feed down for {down}, seed {seed}"
        wrong += [f"{told}: {line}" for line in found]
    assert not wrong, "\n".join(["", *wrong])


def test_a_station_that_closes_at_night_is_told_as_the_model_says(fleet: Fleet) -> None:
    _check_nights(fleet, (0, 1, 2030))


@pytest.mark.promise(6)
def test_what_was_missed_while_nobody_watched_is_told_as_the_model_says(fleet: Fleet) -> None:
    # Each of these once showed something: seeds that fail are kept.
    _check_gaps(fleet, (0, 1, 3, 4, 37, 1108, 3008, 5040))


@pytest.mark.promise(6)
def test_what_a_feed_that_was_down_after_a_gap_has_later_is_told_as_the_model_says(
    fleet: Fleet,
) -> None:
    # 6001, 6005: an episode that was told before the gap was told again as past. 6057: it ended
    # in the gap and another began, which is one to people; how bad it had been was told as past.
    _check_gaps(fleet, (0, 1, 6001, 6005, 6057), feed_down=True)


@pytest.mark.long
def test_nights_and_gaps_in_many_storms(fleet: Fleet) -> None:
    _check_nights(fleet, range(1000, 1000 + STORMS // 4))
    _check_gaps(fleet, (*KEPT_GAPS, *range(1000, 1000 + STORMS // 2)))
    seeds = (*KEPT_GAPS_FEED_DOWN, *range(2000, 2000 + STORMS // 2))
    _check_gaps(fleet, seeds, feed_down=True)


@pytest.mark.long
@pytest.mark.parametrize("kind", KINDS)
def test_what_people_are_told_is_what_the_model_says_in_many_storms(
    fleet: Fleet, kind: str
) -> None:
    print(f"{kind}: seeds 1000 to {1000 + STORMS - 1}")  # noqa: T201
    _check(fleet, kind, (*range(FEW, FIRST), *range(1000, 1000 + STORMS)))


def test_a_storm_is_the_same_for_the_same_seed() -> None:
    kind: Kind = FAULTY
    assert storm(3, kind) == storm(3, kind)
    assert storm(3, kind) != storm(4, kind)
