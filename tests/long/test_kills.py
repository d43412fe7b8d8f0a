"""SIGKILL at any instant: nothing lost, nothing invented, a repeat only of what was under way.

A real `windwatch watch` plays the demo day against a feed, a mail server and a webhook receiver,
on a clock that goes on when it is through with a moment. It is killed at random instants and at
each step of F34, started again on what it left, until the day is over. What all receivers got is
compared with `replay`, which is compared with the stream that was derived by hand.

WINDWATCH_KILLS raises the number of random kills (200); named steps go along, from 5 each to 20.
"""

import os
import sqlite3
from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from random import Random

import pytest

from tests.demo.test_expected_stream import STREAM, table
from tests.long.killed_watch import Arrived, KilledDay, Kills, killed_day
from tests.long.watch_process import POINTS
from tests.watch.test_played_day import MAILBOX, rows_of
from windwatch.cli.replay import play
from windwatch.feeds.recorded import read_recorded
from windwatch.settings.read import read_settings

pytestmark = pytest.mark.long

RANDOM_KILLS = int(os.environ.get("WINDWATCH_KILLS", "200"))
NAMED_KILLS = 5 if RANDOM_KILLS <= 200 else 20
SEED = int(os.environ.get("WINDWATCH_SEED", "1"))
A_DAY = 34  # random kills in one playing of the day
DESK = "operations desk"
BEFORE_CLAIM = POINTS.index("after claim")


@dataclass
class Expected:
    """Notice ids by contact, in order, as `replay` gives them."""

    by_contact: dict[str, list[str]]

    def ids(self, contact: str) -> list[str]:
        return self.by_contact[contact]


@pytest.fixture(scope="module")
def expected(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Expected:
    folder = tmp_path_factory.mktemp("replay")
    settings = read_settings([root / "config" / "demo.toml"], {}, require_secrets=False)
    lines = read_recorded(root / "recorded_reports" / "front_day.txt")
    played = play(settings, lines, folder / "out", folder / "replay.db")
    told = [
        (notice.at.strftime("%Y-%m-%dT%H:%MZ"), notice.contact, step.name.value)
        for notice, _ in played.sent
        for step in notice.steps
    ]
    assert told == [row[:3] for row in table(STREAM)]
    by_contact: dict[str, list[str]] = {}
    for notice, _ in played.sent:
        by_contact.setdefault(notice.contact, []).append(notice.id)
    return Expected(by_contact)


def repeats(ids: list[str]) -> int:
    return len(ids) - len(set(ids))


def check(arrived: Arrived, expected: Expected, store: Path) -> int:
    """Nothing missing, nothing invented, in order; return how many repeats there were."""
    assert arrived.refused == [], "a signature was not right"
    assert set(arrived.mails) == set(MAILBOX.values())
    for contact, address in MAILBOX.items():
        assert list(dict.fromkeys(arrived.mails[address])) == expected.ids(contact), contact
    assert list(dict.fromkeys(arrived.hooks)) == expected.ids(DESK)
    first = {payload["id"]: payload for payload in reversed(arrived.payloads)}
    rows = Counter(row for payload in first.values() for row in rows_of(payload))
    assert rows == Counter(row for row in table(STREAM) if row[1] == DESK)
    with sqlite3.connect(store) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        states = connection.execute("SELECT DISTINCT state FROM deliveries").fetchall()
        assert states == [("accepted",)]
        attempts = dict(
            connection.execute(
                "SELECT d.notice || d.channel, count(*) FROM attempts a"
                " JOIN deliveries d ON d.id = a.delivery GROUP BY d.id"
            ).fetchall()
        )
    connection.close()
    everything = Counter(
        [(i + "email") for ids in arrived.mails.values() for i in ids]
        + [i + "webhook" for i in arrived.hooks]
    )
    for delivery, copies in everything.items():
        assert copies <= attempts[delivery], "a repeat without an attempt that was interrupted"
    return everything.total() - len(everything)


def plan(
    moments: list[datetime], missing: Counter[str], random: Random
) -> dict[datetime, list[tuple[str, int]]]:
    """Named points spread over the moments at which people are told something.

    At each moment in the order of F34, and of those after the claim one only: what was claimed
    is held for a minute.
    """
    # One more than is missing: some are not passed so often at their moment.
    points = [point for point, left in missing.items() for _ in range(left + 1)]
    random.shuffle(points)
    before = [point for point in points if point in POINTS[:BEFORE_CLAIM]]
    after = [point for point in points if point not in POINTS[:BEFORE_CLAIM]]
    found: dict[datetime, list[tuple[str, int]]] = {}
    for moment in random.sample(moments, len(moments)):
        here = sorted([before.pop() for _ in range(2) if before], key=POINTS.index)
        found[moment] = [(point, 1) for point in here]
        if after:
            found[moment].append((after.pop(), random.choice((1, 1, 2))))
    return found


def told_at() -> list[datetime]:
    return sorted({datetime.fromisoformat(row[0]) for row in table(STREAM)})


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
        kills = Kills()
        day: KilledDay
        with killed_day(root, folder, kills, random, busy_s) as (day, arrived):
            day.play(plan(told_at(), points, random), random_kills)
        all_repeats += check(arrived, expected, folder / "watch.db")
        all_kills.add(kills)
        days += 1
        print(f"day {days}: killed {kills.total} times", flush=True)  # noqa: T201

    # The first day nobody is killed: it shows when the watch is busy, and for how long.
    one_day(Counter(), 0)
    while missing := Counter({p: NAMED_KILLS - all_kills.by_point[p] for p in POINTS}) + Counter():
        assert days < 10 * NAMED_KILLS, f"never reached: {missing}"
        one_day(missing, 0)
    while all_kills.at_random < RANDOM_KILLS:
        one_day(Counter(), min(A_DAY, RANDOM_KILLS - all_kills.at_random))
    repeated = f"repeats, all with the same id: {all_repeats}"
    print(f"{days} days, {all_kills}\n  {repeated}")  # noqa: T201
    assert all(all_kills.by_point[point] >= NAMED_KILLS for point in POINTS)
    # One kill may interrupt deliveries in several lanes: a repeat each, and less on the whole.
    assert all_repeats <= all_kills.total
    assert all_kills.inside_work * 2 >= all_kills.at_random
