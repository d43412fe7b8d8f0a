"""What all receivers got, against what they should have got and what the store says of it."""

import sqlite3
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from random import Random

from tests.demo.test_expected_stream import STREAM, table
from tests.long.killed_watch import Arrived
from tests.long.watch_process import POINTS
from tests.watch.test_played_day import MAILBOX, rows_of
from windwatch.cli.replay import play
from windwatch.feeds.recorded import read_recorded
from windwatch.settings.read import read_settings

DESK = "operations desk"
BEFORE_CLAIM = POINTS.index("after claim")
# Notice ids by contact, in order.
Expected = dict[str, list[str]]


@dataclass(frozen=True)
class Accounts:
    """What the store says of its deliveries, each by its notice and channel."""

    states: set[str]
    attempts: dict[str, int]
    uncertain: dict[str, int]


def accounts_of(ask: Callable[[str], Sequence[tuple]]) -> Accounts:
    """Ask a database of either kind."""
    rows = ask(
        "SELECT d.notice || d.channel, d.state, count(*),"
        " sum(CASE WHEN a.outcome = 'uncertain' THEN 1 ELSE 0 END)"
        " FROM deliveries d LEFT JOIN attempts a ON d.id = a.delivery"
        " GROUP BY d.notice, d.channel, d.state"
    )
    return Accounts(
        {state for _, state, _, _ in rows},
        {delivery: count for delivery, _, count, _ in rows},
        {delivery: uncertain for delivery, _, _, uncertain in rows},
    )


def accounts_in(file: Path) -> Accounts:
    """Ask a store in a file, which must be whole."""
    with closing(sqlite3.connect(file)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return accounts_of(lambda query: connection.execute(query).fetchall())


def expected_of(root: Path, folder: Path) -> Expected:
    """What `replay` says of the demo day, once it agrees with what was derived by hand."""
    settings = read_settings([root / "config" / "demo.toml"], {}, require_secrets=False)
    lines = read_recorded(root / "recorded_reports" / "front_day.txt")
    played = play(settings, lines, folder / "out", folder / "replay.db")
    told = [
        (notice.at.strftime("%Y-%m-%dT%H:%MZ"), notice.contact, step.name.value)
        for notice, _ in played.sent
        for step in notice.steps
    ]
    assert told == [row[:3] for row in table(STREAM)]
    expected: Expected = {}
    for notice, _ in played.sent:
        expected.setdefault(notice.contact, []).append(notice.id)
    return expected


def repeats_in(arrived: Arrived, expected: Expected, accounts: Accounts) -> int:
    """Nothing missing, nothing invented, in order; return how many repeats there were."""
    assert arrived.refused == [], "a signature was not right"
    assert set(arrived.mails) == {MAILBOX[contact] for contact in expected}
    for contact, ids in expected.items():
        assert list(dict.fromkeys(arrived.mails[MAILBOX[contact]])) == ids, contact
    assert list(dict.fromkeys(arrived.hooks)) == expected[DESK]
    assert accounts.states == {"accepted"}
    everything = Counter(
        [(i + "email") for ids in arrived.mails.values() for i in ids]
        + [i + "webhook" for i in arrived.hooks]
    )
    for delivery, copies in everything.items():
        assert copies <= accounts.attempts[delivery]
        assert copies - 1 <= accounts.uncertain[delivery], "a repeat, and nothing was interrupted"
    return everything.total() - len(everything)


def is_the_demo_day(arrived: Arrived) -> bool:
    """Whether the steps that the desk's webhook got are those that were derived by hand."""
    first = {payload["id"]: payload for payload in reversed(arrived.payloads)}
    rows = Counter(row for payload in first.values() for row in rows_of(payload))
    return rows == Counter(row for row in table(STREAM) if row[1] == DESK)


def spread(
    moments: list[datetime], missing: Counter[str], random: Random
) -> dict[datetime, list[tuple[str, int]]]:
    """Named points spread over the moments at which people are told something.

    At each moment in the order of F34, and of those after the claim one only: what was claimed
    is held for a minute.
    """
    # More than are missing: some are not passed so often at their moment.
    points = [point for point, left in missing.items() for _ in range(left + 3)]
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
    """When people are told something on the demo day."""
    return sorted({datetime.fromisoformat(row[0]) for row in table(STREAM)})
