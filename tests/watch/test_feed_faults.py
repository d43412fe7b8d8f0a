"""What a feed can do wrong: no crash, no all-clear, no data in time, and data back once."""

from datetime import timedelta

import pytest

from tests.servers.feed_server import PlayedFeed
from tests.watch.little_watch import (
    MINUTE,
    QUIET,
    START,
    STORM,
    bench,
    config_text,
    metar,
    recording,
    said,
)
from windwatch.clock import HandClock
from windwatch.episodes.values import StepName
from windwatch.errors import FeedError

HOUR = timedelta(hours=1)
# Wind only: else each silence counts twice, once for the wind and once for the weather.
WIND_ONLY = '\n[[contact]]\nname = "desk"\nfolder = "dropped"\ntell_about = { thunder = false }\n'
HTML = (200, {"Content-Type": "text/html"}, b"<html><body>Please log in</body></html>")
EMPTY = (200, {"Content-Type": "application/json"}, b"")
NOTHING = (200, {"Content-Type": "application/json"}, b"[]")
NO_CONTENT = (204, {}, b"")
BUSY = (503, {"Content-Type": "text/plain"}, b"come back later")
BROKEN = (200, {"Content-Type": "application/json"}, b'[{"icaoId": "XLKS", "rawOb": "METAR XL')
NOT_FOUND = (404, {"Content-Type": "text/html"}, b"gone")


@pytest.fixture
def storm_and_after(tmp_path):
    """A storm; then, two hours later, two quiet reports with half an hour between them."""
    clock = HandClock(START)
    times = [(START, STORM), (START + 2 * HOUR, QUIET), (START + 2.5 * HOUR, QUIET)]
    day = [(at + 3 * MINUTE, metar(at, wind)) for at, wind in times]
    with PlayedFeed(recording(tmp_path / "day.txt", day), clock) as feed:
        clock.set(START + 3 * MINUTE)
        yield feed, clock


@pytest.mark.fault("F05", "F06", "F24")
@pytest.mark.promise(7, 8)
@pytest.mark.parametrize(
    "fault",
    [
        pytest.param(BUSY, id="503"),
        pytest.param(HTML, id="login page"),
        pytest.param(EMPTY, id="empty body"),
        pytest.param(NOTHING, id="empty list"),
        pytest.param(NO_CONTENT, id="204"),
        pytest.param(BROKEN, id="cut off"),
        pytest.param(NOT_FOUND, id="404"),
        pytest.param(None, id="station left out"),
    ],
)
def test_a_feed_that_gives_nothing_ends_in_no_data_and_never_in_all_clear(
    tmp_path, storm_and_after, fault
):
    feed, clock = storm_and_after
    told = []
    with bench(tmp_path, config_text(feed=feed.url, people=WIND_ONLY), clock) as b:
        told += said(b.watch.poll())
        assert told == [("desk", "opened")]
        airfield = b.settings.fleet.airfields[0]
        until = START + 2 * HOUR + 3 * MINUTE
        stale_at = START + airfield.stale_after
        told_at = None
        while clock.now() < until:
            clock.move(MINUTE)
            if fault is None:
                feed.hidden = {"XLKS"}
            else:
                feed.faults = [fault]
            steps = said(b.watch.poll())
            if ("desk", "no_data") in steps:
                told_at = clock.now()
            told += steps
        assert told_at is not None
        assert stale_at <= told_at <= stale_at + MINUTE, "promise 8: within a minute"
        assert b.watch.books["XLKS"].state.ledger[0].open, "silence is never all-clear"

        feed.faults, feed.hidden = [], set()
        # After a 503 the host is left alone for up to a quarter of an hour.
        for _ in range(90):
            clock.move(MINUTE)
            told += said(b.watch.poll())
    names = [step for _, step in told]
    assert names.count("no_data") == 1
    assert names.count("data_back") == 1
    assert names.count("back") == 1
    assert names.index("data_back") > names.index("no_data")
    assert names[-1] == "back", "only two quiet reports end it"


def test_a_failing_feed_does_not_stop_the_time(tmp_path):
    class Dead:
        def __init__(self):
            self.asked = 0

        def fetch(self, stations, now, *, since=None, fresh=False):
            self.asked += 1
            raise FeedError("awc", "the name could not be resolved")

        def close(self):
            pass

    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        b.feed = Dead()
        b.again()
        told = []
        for _ in range(80):
            b.clock.move(MINUTE)
            report = b.watch.poll()
            assert "could not be resolved" in report.feed_failed
            told += said(report)
        assert b.feed.asked == 80
        assert {step for _, step in told} == {StepName.NO_DATA}


def test_a_mistake_in_a_feed_does_not_stop_the_time_either(tmp_path, caplog):
    class Broken:
        def fetch(self, stations, now, *, since=None, fresh=False):
            raise ZeroDivisionError

        def close(self):
            pass

    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        b.feed = Broken()
        b.again()
        b.at(START + b.settings.fleet.airfields[0].stale_after)
        report = b.watch.poll()
        assert "ZeroDivisionError" in report.feed_failed
        assert {step for _, step in said(report)} == {"no_data"}
        assert "feed_broke" in caplog.text


@pytest.mark.fault("F11")
def test_an_aging_report_makes_the_feed_be_asked_past_every_cache(tmp_path):
    class Listening:
        def __init__(self):
            self.fresh = []

        def fetch(self, stations, now, *, since=None, fresh=False):
            self.fresh.append(fresh)
            raise FeedError("awc", "HTTP 304 for ever")

        def close(self):
            pass

    with bench(tmp_path, config_text()) as b:
        b.take(QUIET)
        b.feed = Listening()
        b.again()
        stale_after = b.settings.fleet.airfields[0].stale_after
        b.at(START + stale_after * 0.5)
        b.watch.poll()
        b.at(START + stale_after * 0.7)
        b.watch.poll()
        assert b.feed.fresh == [False, True], "fault F11: past 2/3 of stale_after"


def test_after_a_gap_the_feed_is_asked_back_to_the_last_report_but_no_further_than_a_day(tmp_path):
    class Listening:
        def __init__(self):
            self.since = []

        def fetch(self, stations, now, *, since=None, fresh=False):
            self.since.append(since)
            raise FeedError("awc", "no answer")

        def close(self):
            pass

    with bench(tmp_path, config_text()) as b:
        b.feed = Listening()
        b.again()
        b.watch.poll()
        b.take(QUIET)
        b.watch.poll()
        b.at(START + 3 * HOUR)
        b.watch.poll()
        b.at(START + 30 * HOUR)
        b.watch.poll()
        # A day: as far as the feeds that keep a history go at once.
        assert b.feed.since == [None, None, START, START + 6 * HOUR]


@pytest.mark.fault("F32")
def test_reports_missed_in_a_gap_are_judged_at_their_own_times_in_one_notice(tmp_path):
    clock = HandClock(START)
    times = [(0, QUIET), (60, STORM), (75, "27035G55KT"), (120, "27020G35KT")]
    day = [(START + n * MINUTE, metar(START + n * MINUTE, wind)) for n, wind in times]
    with PlayedFeed(recording(tmp_path / "day.txt", day), clock) as feed:
        with bench(tmp_path, config_text(feed=feed.url), clock) as b:
            b.watch.poll()
        clock.set(START + 125 * MINUTE)
        with bench(tmp_path, config_text(feed=feed.url), clock) as b:
            report = b.watch.poll()
            assert len(report.notices) == 1
            step = report.notices[0][0].steps[0]
            assert step.worst is not None
            assert step.worst.figure == 55.0
            assert step.since == START + 60 * MINUTE
            clock.move(2 * MINUTE)
            assert b.watch.poll().notices == []
