"""Recorded files: what was received when, and what else happened."""

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from windwatch.clock import HandClock
from windwatch.errors import FeedError
from windwatch.feeds.build import build_feed
from windwatch.feeds.recorded import (
    RecordedKind,
    read_all_recorded,
    read_recorded,
    recorded_line,
)
from windwatch.feeds.values import FeedSettings

NOW = datetime(2026, 9, 22, 19, 9, tzinfo=UTC)
SPECI = "SPECI XLKS 221907Z 30028G41KT 2SM +TSRA SQ"
EVENTS = f"""\
# a comment

2026-09-22T19:09:00Z {SPECI}
2026-09-22T20:00:00Z TICK
2026-09-22T16:01:00-04:00 ACKNOWLEDGE all BY operations desk
2026-09-22T20:02:00Z ACKNOWLEDGE 4f2a BY A. Owner
2026-09-22T20:03:00Z DESK {{"kind": "runway_in_use", "runway": "28"}}
   # another comment
"""


def written(tmp_path, text, name="day.txt"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def feed_of(*paths, clock=None):
    return build_feed(FeedSettings("recorded", files=paths), clock or HandClock(NOW))


def test_every_kind_of_line_is_read_with_its_number_and_time(tmp_path):
    lines = read_recorded(written(tmp_path, EVENTS))
    assert [(line.line, line.kind) for line in lines] == [
        (3, RecordedKind.REPORT),
        (4, RecordedKind.TICK),
        (5, RecordedKind.ACKNOWLEDGE),
        (6, RecordedKind.ACKNOWLEDGE),
        (7, RecordedKind.DESK),
    ]
    report, tick, all_of_them, one, entry = lines
    assert report.report.text == SPECI
    assert report.report.received_at == report.at == NOW
    assert report.report.source == "recorded"
    assert tick.at == datetime(2026, 9, 22, 20, 0, tzinfo=UTC)
    assert all_of_them.at == datetime(2026, 9, 22, 20, 1, tzinfo=UTC)
    assert (all_of_them.episode, all_of_them.by) == ("all", "operations desk")
    assert (one.episode, one.by) == ("4f2a", "A. Owner")
    assert dict(entry.entry) == {"kind": "runway_in_use", "runway": "28"}


def test_a_line_written_again_reads_the_same(tmp_path):
    lines = read_recorded(written(tmp_path, EVENTS))
    again = read_recorded(
        written(tmp_path, "\n".join(recorded_line(line) for line in lines), "again.txt")
    )
    for before, after in zip(lines, again, strict=True):
        assert (after.at, after.kind, after.report, after.by, after.entry) == (
            before.at,
            before.kind,
            before.report,
            before.by,
            before.entry,
        )


def test_the_demo_day_is_read_whole(root):
    lines = read_recorded(root / "recorded_reports/front_day.txt")
    reports = [line for line in lines if line.kind is RecordedKind.REPORT]
    forecasts = [line for line in lines if line.kind is RecordedKind.FORECAST]
    # reference/demo_day.md lists 24 reports, and a pair of forecasts.
    assert (len(reports), len(forecasts), len(lines)) == (24, 2, 26)
    assert lines[0].report.text.startswith("METAR XLKS 221053Z AUTO 00000KT")


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (SPECI, r'"SPECI" is no time; begin the line with one like 2026-09-22T19:09:00Z'),
        (f"2026-09-22T19:09:00 {SPECI}", r"has no zone; write .*19:09:00Z"),
        (f"2026-13-22T19:09:00Z {SPECI}", "is no time"),
        ("2026-09-22T19:09:00Z", "a report without text"),
        ("2026-09-22T19:09:00Z METAR " + "X" * 3000, "of 3,006 characters"),
        ("2026-09-22T19:09:00Z METAR XLKS \x00", r"control characters: .*\\x00"),
        ("2026-09-22T19:09:00Z TICK TOCK", "TICK takes nothing"),
        ("2026-09-22T19:09:00Z ACKNOWLEDGE all", "ACKNOWLEDGE all BY operations desk"),
        ("2026-09-22T19:09:00Z ACKNOWLEDGE BY desk", "does not say what is acknowledged"),
        ("2026-09-22T19:09:00Z DESK", "no JSON"),
        ("2026-09-22T19:09:00Z DESK [1]", "no JSON object"),
        ('2026-09-22T19:09:00Z DESK {"a":1,"a":2}', "'a' twice"),
    ],
)
def test_a_bad_line_is_named_with_file_and_number_and_the_others_go_on(tmp_path, line, words):
    path = written(tmp_path, f"# first\n{line}\n2026-09-22T19:09:00Z {SPECI}\n")
    bad, good = read_recorded(path)
    assert bad.kind is RecordedKind.UNREADABLE
    assert bad.problem.startswith(f"{path}:2: ")
    assert re.search(words, bad.problem)
    assert good.report.text == SPECI
    result = feed_of(path).fetch(("XLKS",), NOW)
    assert (len(result.reports), result.problems) == (1, (bad.problem,))


def test_odd_line_ends_a_mark_at_the_start_and_bad_bytes_are_survived(tmp_path):
    body = (
        b"\xef\xbb\xbf# caf\xe9\r\n2026-09-22T19:09:00Z "
        + SPECI.encode()
        + b" RMK \xff\r2026-09-22T20:00:00Z TICK"
    )
    lines = read_recorded(written(tmp_path, body))
    assert [line.line for line in lines] == [2, 3]
    assert lines[0].report.text == f"{SPECI} RMK \ufffd"


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda folder: folder / "nowhere.txt", "No such file"),
        (lambda folder: folder, "Is a directory"),
        (lambda folder: written(folder, "<html>\n</html>\n"), "no line can be read; .*:1:"),
    ],
)
def test_a_file_that_is_no_recording_is_an_error_that_names_it(tmp_path, make, words):
    path = make(tmp_path)
    with pytest.raises(FeedError, match=words) as failed:
        read_recorded(path)
    assert str(path) in str(failed.value)


def test_a_file_of_comments_only_is_an_empty_day(tmp_path):
    assert read_recorded(written(tmp_path, "# nothing yet\n\n")) == ()


def test_a_giant_file_is_refused_unread(tmp_path):
    path = tmp_path / "giant.txt"
    with path.open("wb") as file:
        file.truncate(10**12)
    with pytest.raises(FeedError, match="larger than"):
        read_recorded(path)


# --- as a feed -------------------------------------------------------------


def test_the_feed_gives_what_was_received_up_to_now(root):
    feed = feed_of(root / "recorded_reports/front_day.txt")
    asked = ("XLKS", "XBRN")
    assert feed.fetch(asked, datetime(2026, 9, 22, 10, 55, 59, tzinfo=UTC)).reports == ()
    assert len(feed.fetch(asked, datetime(2026, 9, 22, 10, 56, tzinfo=UTC)).reports) == 1
    assert len(feed.fetch(asked, NOW).reports) == 12
    assert len(feed.fetch(asked, NOW + timedelta(days=1)).reports) == 24


def test_the_feed_gives_only_the_stations_asked_for(root):
    result = feed_of(root / "recorded_reports/front_day.txt").fetch(
        ("XBRN",), NOW + timedelta(days=1)
    )
    assert [report.text[:18] for report in result.reports] == [
        "SPECI XBRN 221817Z",
        "METAR XBRN 222056Z",
    ]
    assert result.asked == ("XBRN",)


def test_since_leaves_out_what_came_before(root):
    feed = feed_of(root / "recorded_reports/front_day.txt")
    (report,) = feed.fetch(("XLKS",), NOW, since=NOW - timedelta(minutes=1)).reports
    assert report.text.startswith("SPECI XLKS 221907Z")


def test_a_text_that_is_no_report_is_handed_on_to_be_judged(tmp_path):
    path = written(tmp_path, "2026-09-22T19:09:00Z total nonsense\n")
    assert feed_of(path).fetch(("XLKS",), NOW).reports[0].text == "total nonsense"


def test_several_files_are_played_in_one_order_of_time(tmp_path):
    late = written(tmp_path, "2026-09-22T19:02:00Z METAR XBRN 221900Z 20018KT\n", "a.txt")
    early = written(tmp_path, "2026-09-22T19:01:00Z METAR XLKS 221900Z 20018KT\n", "b.txt")
    lines = read_all_recorded((late, early))
    assert [Path(line.file).name for line in lines] == ["b.txt", "a.txt"]


def test_a_missing_file_is_told_when_the_feed_is_made(tmp_path):
    with pytest.raises(FeedError, match=r"nowhere\.txt"):
        feed_of(tmp_path / "nowhere.txt")
