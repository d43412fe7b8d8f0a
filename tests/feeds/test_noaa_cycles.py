"""Hourly collective files: reference/feeds.md section 4, and its sample."""

from datetime import UTC, datetime, timedelta

import pytest
import responses

from tests.feeds import bulk_samples as made
from windwatch.clock import HandClock
from windwatch.errors import FeedBusy, FeedError
from windwatch.feeds.build import build_feed
from windwatch.feeds.noaa_cycles import MOST_FILES, cycles
from windwatch.feeds.values import FeedSettings

NOW = datetime(2026, 10, 14, 22, 10, tzinfo=UTC)
FOLDER = "https://tgftp.nws.noaa.gov/data/observations/metar/cycles"
OLDER = made.cycle([("2026/10/14 20:53", "XLKS 142053Z 23015KT 10SM")])
NEWER = made.cycle(
    [
        ("2026/10/14 22:03", "SPECI XLKS 142203Z 24018G31KT 6SM"),
        ("2026/10/14 21:53", "XLKS 142153Z 24016KT 10SM"),
        ("2026/10/14 21:53", "XBRN 142153Z 25010KT 10SM"),
        ("2026/10/14 21:53", "XLKS 142153Z 24016KT 10SM"),
    ]
)


@pytest.fixture
def web():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


@pytest.fixture
def clock():
    return HandClock(NOW)


@pytest.fixture
def feed(clock):
    built = build_feed(FeedSettings("noaa-cycles", contact="ops@larkspur.example"), clock)
    yield built
    built.close()


@pytest.mark.parametrize(
    ("hour", "minute", "files"),
    [
        (22, 10, [22, 21]),
        (22, 44, [22, 21]),
        (22, 45, [23, 22]),
        (23, 50, [0, 23]),
        (0, 5, [0, 23]),
    ],
)
def test_the_file_of_now_and_the_one_before_are_asked_for(hour, minute, files):
    """Cycle HH holds about HH-1:45 to HH:44 (reference/feeds.md section 4)."""
    assert cycles(datetime(2026, 10, 14, hour, minute, tzinfo=UTC), None) == files


def test_after_a_gap_the_files_of_the_gap_are_asked_for_too_but_never_yesterdays():
    assert cycles(NOW, NOW - timedelta(hours=4)) == [22, 21, 20, 19, 18]
    assert len(cycles(NOW, NOW - timedelta(days=9))) == MOST_FILES


def test_the_reports_come_oldest_first_each_once(web, feed):
    web.get(f"{FOLDER}/22Z.TXT", body=NEWER)
    web.get(f"{FOLDER}/21Z.TXT", body=OLDER)
    result = feed.fetch(("XLKS",), NOW)
    assert [report.text for report in result.reports] == [
        "XLKS 142053Z 23015KT 10SM",
        "XLKS 142153Z 24016KT 10SM",
        "SPECI XLKS 142203Z 24018G31KT 6SM",
    ]
    assert {report.source for report in result.reports} == {"noaa-cycles"}
    assert (result.asked, result.problems) == (("XLKS",), ())


def test_the_sample_comes_through_the_feed(reference, web, feed):
    """Source: reference/feeds/tgftp/cycles_22Z.TXT."""
    web.get(f"{FOLDER}/22Z.TXT", body=(reference / "feeds/tgftp/cycles_22Z.TXT").read_bytes())
    web.get(f"{FOLDER}/21Z.TXT", status=404, body="<html>")
    result = feed.fetch(("KORD", "EGTK"), NOW)
    assert [report.text[:4] for report in result.reports] == ["EGTK", "KORD", "KORD"]
    assert len(result.problems) == 1
    assert "21Z.TXT: HTTP 404" in result.problems[0]


def test_each_file_has_its_own_condition_and_its_own_minute(web, feed, clock):
    modified = {"Last-Modified": "Wed, 14 Oct 2026 22:09:10 GMT"}
    web.get(f"{FOLDER}/22Z.TXT", body=NEWER)
    web.get(f"{FOLDER}/21Z.TXT", body=OLDER, headers=modified)
    feed.fetch(("XLKS", "XBRN"), NOW)
    with pytest.raises(FeedBusy):
        feed.fetch(("XLKS", "XBRN"), NOW)
    web.replace("GET", f"{FOLDER}/21Z.TXT", status=304)
    clock.move(timedelta(minutes=1))
    result = feed.fetch(("XLKS", "XBRN"), NOW)
    asked = [
        (call.request.url[-7:], call.request.headers.get("If-Modified-Since")) for call in web.calls
    ]
    assert asked[:2] == [("22Z.TXT", None), ("21Z.TXT", None)]
    assert sorted(asked[2:]) == [("21Z.TXT", modified["Last-Modified"]), ("22Z.TXT", None)]
    assert not result.not_modified
    assert len(result.reports) == 3


def test_a_file_that_is_still_yesterdays_is_not_used(web, feed):
    yesterdays = made.cycle([("2026/10/13 22:03", "XLKS 132203Z 24018G31KT 6SM")])
    web.get(f"{FOLDER}/22Z.TXT", body=yesterdays)
    web.get(f"{FOLDER}/21Z.TXT", body=OLDER)
    result = feed.fetch(("XLKS",), NOW)
    assert [report.text for report in result.reports] == ["XLKS 142053Z 23015KT 10SM"]
    assert result.problems == (
        "noaa-cycles: 1 reports older than 20 h are not used; a file may still be yesterday's",
    )


def test_a_report_of_now_under_a_wrong_date_is_kept_and_said(web, feed):
    web.get(f"{FOLDER}/22Z.TXT", body=made.cycle([("2026/10/12 22:03", "XLKS 142203Z 24018KT")]))
    web.get(f"{FOLDER}/21Z.TXT", body=OLDER)
    result = feed.fetch(("XLKS",), NOW)
    assert "XLKS 142203Z 24018KT" in [report.text for report in result.reports]
    assert result.problems == (
        'noaa-cycles: XLKS: dated 2026/10/12 22:03 but "XLKS 142203Z 24018KT"',
    )


def test_where_time_runs_out_the_files_left_are_named_and_come_first_next(web, feed, clock):
    def slow(request):
        clock.move(timedelta(seconds=10))
        return 200, {}, NEWER if "22Z" in request.url else OLDER

    for hour in (22, 21, 20, 19):
        web.add_callback("GET", f"{FOLDER}/{hour}Z.TXT", callback=slow)
    since = NOW - timedelta(hours=3)
    result = feed.fetch(("XLKS",), NOW, since=since)
    assert result.problems == ("noaa-cycles: no time left for 20Z.TXT, 19Z.TXT",)
    clock.move(timedelta(minutes=1))
    feed.fetch(("XLKS",), NOW, since=since)
    assert [call.request.url[-7:] for call in web.calls] == [
        "22Z.TXT",
        "21Z.TXT",
        "20Z.TXT",
        "19Z.TXT",
    ]


def test_pages_instead_of_files_are_an_error(web, feed):
    for hour in (22, 21):
        web.get(f"{FOLDER}/{hour}Z.TXT", body="<html>Log in</html>")
    with pytest.raises(
        FeedError, match=r"2.Z\.TXT: HTTP 200, .* no report in it; it begins \"<html>"
    ):
        feed.fetch(("XLKS",), NOW)
