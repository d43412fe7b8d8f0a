"""Recorded lines that say how the clock stood, and when nobody watched."""

import re
from datetime import UTC, datetime

import pytest

from windwatch.feeds.recorded import RecordedKind, RecordedLine, read_recorded, recorded_line

LINES = """\
2026-09-22T20:03:00Z CLOCK DOUBTED it stepped by 60 min
2026-09-22T20:40:00Z CLOCK BELIEVED
2026-09-22T23:10:00Z UNWATCHED SINCE 2026-09-22T21:00:00Z
2026-09-22T23:10:05Z UNWATCHED SINCE 2026-09-22T21:00:00Z UNTIL 2026-09-22T23:10:00Z
"""


def test_they_are_read_and_written_again_as_they_stand(tmp_path):
    path = tmp_path / "day.txt"
    path.write_text(LINES, encoding="utf-8")
    doubt, belief, gap, same = read_recorded(path)
    assert (doubt.kind, doubt.doubt) == (RecordedKind.CLOCK, "it stepped by 60 min")
    assert (belief.kind, belief.doubt) == (RecordedKind.CLOCK, "")
    assert gap.kind is RecordedKind.UNWATCHED
    assert gap.since == datetime(2026, 9, 22, 21, 0, tzinfo=UTC)
    assert (same.since, same.until) == (gap.since, gap.until) == (gap.since, gap.at)
    assert [recorded_line(line) for line in (doubt, belief, gap, same)] == LINES.splitlines()


def test_a_reason_of_several_lines_is_written_as_one():
    at = datetime(2026, 9, 22, 20, 3, tzinfo=UTC)
    line = RecordedLine(at, "", 0, RecordedKind.CLOCK, doubt="it stepped\nby 60 min")
    assert recorded_line(line) == LINES.splitlines()[0]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("CLOCK", "does not say how the clock stands; write for example CLOCK DOUBTED it"),
        ("CLOCK DOUBTED", "does not say how the clock stands"),
        ("CLOCK BELIEVED again", "or CLOCK BELIEVED$"),
        ("UNWATCHED", "does not say since when nobody watched; write for example UNWATCHED SINCE"),
        ("UNWATCHED SINCE noon", '"noon" is no time'),
        ("UNWATCHED SINCE 2026-09-22T21:00:00", "has no zone"),
        ("UNWATCHED SINCE 2026-09-22T23:10:00Z", "that is still to come"),
        ("UNWATCHED SINCE 2026-09-22T21:00:00Z UNTIL noon", '"noon" is no time'),
        (
            "UNWATCHED SINCE 2026-09-22T21:00:00Z UNTIL 2026-09-22T21:00:00Z",
            "nobody watched until .* that is before it began",
        ),
    ],
)
def test_a_bad_line_says_what_to_write(tmp_path, line, words):
    path = tmp_path / "day.txt"
    path.write_text(f"2026-09-22T19:00:00Z TICK\n2026-09-22T23:10:00Z {line}\n", encoding="utf-8")
    _, bad = read_recorded(path)
    assert bad.kind is RecordedKind.UNREADABLE
    assert bad.problem.startswith(f"{path}:2: ")
    assert re.search(words, bad.problem)
