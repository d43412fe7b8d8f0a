"""SIGKILL of the leader of a pair, at any instant: the standby goes on, and nobody notices.

Two real `windwatch watch` on one real PostgreSQL database play the demo day against a feed, a
mail server and a webhook receiver. The one that leads is killed at random instants and at each
step of F34; the other one takes over, and the dead one is started again to stand by. What all
receivers got is compared with `replay`, which is compared with the stream that was derived by
hand.

WINDWATCH_KILLS_POSTGRES raises the number of random kills (50); named steps go along.
"""

import os
from collections import Counter
from datetime import datetime
from pathlib import Path
from random import Random

import pytest

from tests.long.judged import Expected, is_the_demo_day, repeats_in, spread, told_at
from tests.long.killed_pair import PROMISED_S, PairDay, play_pair
from tests.long.killed_watch import Kills, Plan
from tests.long.watch_process import POINTS
from tests.servers.postgres_server import PostgresServer

pytestmark = pytest.mark.long

RANDOM_KILLS = int(os.environ.get("WINDWATCH_KILLS_POSTGRES", "50"))
NAMED_KILLS = 2 if RANDOM_KILLS <= 50 else 10
SEED = int(os.environ.get("WINDWATCH_SEED", "1"))
A_DAY = 34


@pytest.mark.promise(2, 19)
@pytest.mark.fault("F34")
def test_whenever_the_leader_is_killed_the_standby_goes_on_and_nothing_is_lost_or_invented(
    root: Path, expected: Expected, postgres: PostgresServer, tmp_path: Path
) -> None:
    random = Random(SEED)
    busy_s: dict[datetime, float] = {}
    all_kills, all_repeats = Kills(), 0
    days: list[PairDay] = []
    print(f"seed {SEED}")  # noqa: T201 - the counts are published

    def one_day(points: Counter[str], random_kills: int) -> None:
        nonlocal all_repeats
        folder = tmp_path / f"day {len(days)}"
        folder.mkdir()
        plan = Plan(random, busy_s, spread(told_at(), points, random), random_kills)
        day = play_pair(root, folder, plan, root / "recorded_reports" / "front_day.txt", postgres)
        all_repeats += repeats_in(day.arrived, expected, day.accounts)
        assert is_the_demo_day(day.arrived)
        # Each death was followed by one take-over, and there was no other one.
        assert day.take_overs == len(day.dead_s) == day.kills.total
        all_kills.add(day.kills)
        days.append(day)
        print(f"day {len(days)}: leader killed {day.kills.total} times", flush=True)  # noqa: T201

    # The first day nobody is killed: it shows when the leader is busy, and for how long.
    one_day(Counter(), 0)
    while missing := Counter({p: NAMED_KILLS - all_kills.by_point[p] for p in POINTS}) + Counter():
        assert len(days) < 10 * NAMED_KILLS, f"never reached: {missing}"
        one_day(missing, 0)
    while all_kills.at_random < RANDOM_KILLS:
        one_day(Counter(), min(A_DAY, 2 * (RANDOM_KILLS - all_kills.at_random)))
    dead_s = sorted(s for day in days for s in day.dead_s)
    start_s = max(s for day in days for s in day.start_s)
    print(  # noqa: T201
        f"{len(days)} days, {all_kills}\n  repeats, all with the same id: {all_repeats}\n"
        f"  death to new lead, by the lease's clock: {dead_s[0]:.1f} to {dead_s[-1]:.1f} s, median"
        f" {dead_s[len(dead_s) // 2]:.1f} s; until it watches, really, {start_s:.2f} s more"
    )
    assert all(all_kills.by_point[point] >= NAMED_KILLS for point in POINTS)
    # One kill may interrupt deliveries in several lanes: a repeat each, and less on the whole.
    assert all_repeats <= all_kills.total
    assert all_kills.inside_work * 2 >= all_kills.at_random
    assert dead_s[-1] + start_s < PROMISED_S
