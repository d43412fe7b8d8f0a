"""The local server that plays a day as the Data API would, read by the real feed over HTTP."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.servers.feed_server import PlayedFeed
from windwatch.clock import HandClock
from windwatch.errors import FeedBusy, FeedError
from windwatch.feeds.build import build_feed
from windwatch.feeds.recorded import read_recorded
from windwatch.feeds.values import FeedSettings

MORNING = datetime(2026, 9, 22, 10, 50, tzinfo=UTC)
STATIONS = ("XLKS", "XBRN")


@pytest.fixture
def clock():
    return HandClock(MORNING)


@pytest.fixture
def played(root, clock):
    with PlayedFeed(root / "recorded_reports/front_day.txt", clock) as server:
        yield server


def feed_at(played, clock, form="json"):
    settings = FeedSettings(
        "awc",
        url=played.url,
        contact="ops@larkspur.example",
        format=form,
        allow_http=True,
        allow_networks=("127.0.0.0/8",),
    )
    return build_feed(settings, clock)


@pytest.mark.parametrize("form", ["json", "raw"])
def test_the_whole_day_polled_every_two_minutes_brings_every_report_in_time(
    root, played, clock, form
):
    recorded = read_recorded(root / "recorded_reports/front_day.txt")
    feed = feed_at(played, clock, form)
    first_seen = {}
    while clock.now() < datetime(2026, 9, 23, 2, 0, tzinfo=UTC):
        for report in feed.fetch(STATIONS, clock.now()).reports:
            first_seen.setdefault(report.text, clock.now())
        clock.move(timedelta(minutes=2))
    feed.close()
    came = {line.report.text: line.at for line in recorded if line.report}
    assert first_seen.keys() == came.keys()
    for text, at in came.items():
        assert timedelta(0) <= first_seen[text] - at < timedelta(minutes=2)


def test_the_feeds_own_clock_is_the_hand_moved_one(played, clock):
    clock.set(datetime(2026, 9, 22, 19, 9, tzinfo=UTC))
    feed = feed_at(played, clock)
    result = feed.fetch(STATIONS, clock.now())
    feed.close()
    assert result.server_date == clock.now()
    assert result.reports[-1].observed_at == datetime(2026, 9, 22, 19, 7, tzinfo=UTC)


def test_nothing_yet_is_204_and_nothing_new_is_304(played, clock):
    feed = feed_at(played, clock)
    nothing = feed.fetch(STATIONS, clock.now())
    clock.set(datetime(2026, 9, 22, 10, 56, tzinfo=UTC))
    first = feed.fetch(STATIONS, clock.now())
    clock.move(timedelta(minutes=2))
    again = feed.fetch(STATIONS, clock.now())
    clock.move(timedelta(minutes=2))
    fresh = feed.fetch(STATIONS, clock.now(), fresh=True)
    feed.close()
    assert (nothing.reports, nothing.problems) == ((), ())
    assert (len(first.reports), first.not_modified) == (1, False)
    assert (again.reports, again.not_modified) == ((), True)
    assert fresh.reports[0].text == first.reports[0].text


def test_a_fault_is_answered_once_and_f24_a_hidden_station_is_left_out(played, clock):
    clock.set(datetime(2026, 9, 22, 18, 30, tzinfo=UTC))
    played.faults.append((200, {"Content-Type": "text/html"}, b"<html>Log in</html>"))
    played.faults.append((503, {"Retry-After": "300"}, b""))
    played.hidden.add("XBRN")
    feed = feed_at(played, clock)
    with pytest.raises(FeedError, match="Log in"):
        feed.fetch(STATIONS, clock.now())
    clock.move(timedelta(minutes=2))
    with pytest.raises(FeedBusy):
        feed.fetch(STATIONS, clock.now())
    clock.move(timedelta(minutes=5))
    result = feed.fetch(STATIONS, clock.now())
    feed.close()
    assert {report.station_asked for report in result.reports} == {"XLKS"}
    assert len(played.asked) == 3


def test_without_hours_only_the_latest_report_of_a_station_comes(played, clock):
    clock.set(datetime(2026, 9, 22, 19, 15, tzinfo=UTC))
    status, _, body = played.answer("/api/data/metar?ids=XLKS&format=raw", None)
    assert (status, body.count(b"\n"), body[:18]) == (200, 1, b"SPECI XLKS 221913Z")
