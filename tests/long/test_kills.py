"""SIGKILL at any instant: nothing lost, nothing invented, a repeat only of what was under way.

A real `windwatch watch` plays the demo day against a feed, a mail server and a webhook receiver,
on a clock that goes on when it is through with a moment. It is killed at random instants and at
each step of F34, started again on what it left, until the day is over. What all receivers got is
compared with `replay`, which is compared with the stream that was derived by hand.

WINDWATCH_KILLS raises the number of random kills (200); named steps go along, from 5 each to 20.
"""

import os
from collections import Counter
from datetime import datetime
from pathlib import Path
from random import Random

import pytest

from tests.long.judged import (
    Expected,
    accounts_in,
    is_the_demo_day,
    repeats_in,
    spread,
    told_at,
)
from tests.long.killed_watch import Kills, Plan, play_killed
from tests.long.watch_process import POINTS

pytestmark = pytest.mark.long

RANDOM_KILLS = int(os.environ.get("WINDWATCH_KILLS", "200"))
NAMED_KILLS = 5 if RANDOM_KILLS <= 200 else 20
SEED = int(os.environ.get("WINDWATCH_SEED", "1"))
A_DAY = 34  # random kills in one playing of the day


@pytest.mark.promise(1, 2, 3, 4)
@pytest.mark.fault("F34")
def test_killed_at_any_instant_it_loses_and_invents_nothing(
    root: Path, expected: Expected, tmp_path: Path
) -> None:
    random = Random(SEED)
    busy_s: dict[datetime, float] = {}
    all_kills, all_repeats, days = Kills(), 0, 0
    print(f"seed {SEED}")  # noqa: T201 - the counts are published

    def one_day(points: Counter[str], random_kills: int) -> None:
        nonlocal all_repeats, days
        folder = tmp_path / f"day {days}"
        folder.mkdir()
        plan = Plan(random, busy_s, spread(told_at(), points, random), random_kills)
        kills, arrived = play_killed(
            root, folder, plan, root / "recorded_reports" / "front_day.txt"
        )
        all_repeats += repeats_in(arrived, expected, accounts_in(folder / "watch.db"))
        assert is_the_demo_day(arrived)
        all_kills.add(kills)
        days += 1
        print(f"day {days}: killed {kills.total} times", flush=True)  # noqa: T201

    # The first day nobody is killed: it shows when the watch is busy, and for how long.
    one_day(Counter(), 0)
    while missing := Counter({p: NAMED_KILLS - all_kills.by_point[p] for p in POINTS}) + Counter():
        assert days < 10 * NAMED_KILLS, f"never reached: {missing}"
        one_day(missing, 0)
    while all_kills.at_random < RANDOM_KILLS:
        one_day(Counter(), min(A_DAY, 2 * (RANDOM_KILLS - all_kills.at_random)))
    repeated = f"repeats, all with the same id: {all_repeats}"
    print(f"{days} days, {all_kills}\n  {repeated}")  # noqa: T201
    assert all(all_kills.by_point[point] >= NAMED_KILLS for point in POINTS)
    # One kill may interrupt deliveries in several lanes: a repeat each, and less on the whole.
    assert all_repeats <= all_kills.total
    assert all_kills.inside_work * 2 >= all_kills.at_random
