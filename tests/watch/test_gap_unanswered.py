"""A gap in watching, and the feed is down when it ends: what was missed is told when it answers.

Promise 6 (what began and ended meanwhile is told once, as past), promise 9 (the gap is told at
once) and promise 4 (a replay of the record gives the same notices).
"""

from datetime import timedelta

import pytest

from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, config_text, metar
from tests.watch.test_clock_doubt import HOUR, WrongClock
from tests.watch.test_replay_of_events import recorded, replayed, row
from windwatch.errors import FeedError
from windwatch.feeds.values import FetchResult
from windwatch.reports.raw import RawReport

pytestmark = [pytest.mark.promise(6), pytest.mark.fault("F32")]

BOTH = ("XLKS", "XBRN")


class TwoStations:
    """A feed that may answer for one of two stations only, or for none."""

    def __init__(self):
        self.winds = {each: [(START, QUIET)] for each in BOTH}
        self.dead = set()

    def fetch(self, stations, now, *, since=None, fresh=False):
        asked = tuple(each for each in stations if each not in self.dead)
        if not asked:
            raise FeedError("awc", "no answer")
        back = now - 2 * HOUR if since is None else since
        raws = [
            RawReport(metar(at, wind, each), now, "test", observed_at=at)
            for each in asked
            for at, wind in self.winds[each]
            if back <= at <= now
        ]
        return FetchResult(tuple(raws), (), asked)

    def close(self):
        pass


class Days:
    """Turns a watch, keeping who was told what, at which airfield and when."""

    def __init__(self, b, feed):
        self.b, self.feed, self.told = b, feed, []

    def polls(self, count=1):
        for _ in range(count):
            self.b.clock.move(MINUTE)
            report = self.b.watch.poll()
            assert report.failed == []
            self.told += [
                (notice.airfield, "past " * step.past + step.name.value, step.track.quantity)
                for notice, _ in report.notices
                for step in notice.steps
            ]
        return self

    def nobody_watches(self, length):
        self.b.clock.move(length)
        return self

    def storm_passes(self, begins, hours, station="XLKS"):
        """An hour past the limit, and quiet hours after it."""
        winds = self.feed.winds[station]
        winds.append((begins, STORM))
        winds += [(begins + n * HOUR, QUIET) for n in range(1, hours + 1)]
        return self

    def heard(self):
        """What was told since this was asked last."""
        told, self.told = self.told, []
        return told


@pytest.fixture
def days(tmp_path):
    with bench(tmp_path, config_text(), WrongClock(START)) as b:
        yield begun(b)


@pytest.fixture
def two(tmp_path):
    with bench(tmp_path, config_text(airfields=BOTH), WrongClock(START)) as b:
        yield begun(b)


def begun(b):
    b.feed = TwoStations()
    b.again()
    return Days(b, b.feed).polls()


def same_in_replay(b):
    """Whether a replay of what the store recorded gives exactly the notices of the watch."""
    given = sorted(row(each.notice) for each in b.store.notices() if each.notice.airfield in BOTH)
    assert given
    return sorted(row(notice) for notice, _ in replayed(b).sent) == given


GAP = ("data_back", "watch")
PAST = ("past opened", "tie_down")


@pytest.mark.promise(4)
@pytest.mark.parametrize("failed", [1, 2, 30])
@pytest.mark.parametrize("hours", [5, 9])
def test_what_came_and_went_in_the_gap_is_told_when_the_feed_answers(days, hours, failed):
    days.storm_passes(START + HOUR, hours).nobody_watches(hours * HOUR)
    days.feed.dead = {"XLKS"}
    days.polls()
    assert days.heard()[0] == ("XLKS", *GAP), "the gap is told at once"
    days.polls(failed - 1)
    assert days.heard() == [], "once"
    days.feed.dead = set()
    days.polls()
    told = days.heard()
    assert ("XLKS", *PAST) in told
    assert ("XLKS", *GAP) not in told
    days.polls(90)
    assert not [each for each in days.heard() if "opened" in each[1]], "once"
    assert same_in_replay(days.b)
    assert len(recorded(days.b, "UNWATCHED")) == 1


@pytest.mark.promise(4)
def test_also_when_the_program_is_started_again_before_the_answer(days):
    days.storm_passes(START + HOUR, 9).nobody_watches(9 * HOUR)
    days.feed.dead = {"XLKS"}
    days.b.again()
    days.polls(3).heard()
    days.b.again()
    days.polls(3)
    assert days.heard() == [], "nothing of the gap is told again"
    days.feed.dead = set()
    days.polls()
    assert ("XLKS", *PAST) in days.heard()
    assert same_in_replay(days.b)


@pytest.mark.promise(4)
def test_a_second_gap_before_the_first_is_answered_is_told_too_and_nothing_of_either_is_lost(days):
    days.storm_passes(START + HOUR, 4)
    days.nobody_watches(5 * HOUR)
    days.feed.dead = {"XLKS"}
    days.polls(2)
    assert days.heard().count(("XLKS", *GAP)) == 1
    second = days.b.clock.now()
    days.storm_passes(second + 20 * MINUTE, 5).nobody_watches(6 * HOUR).polls()
    assert ("XLKS", *GAP) in days.heard()
    days.polls(3)
    assert days.heard() == []
    days.feed.dead = set()
    days.polls()
    told = days.heard()
    assert told.count(("XLKS", *PAST)) == 2
    assert ("XLKS", *GAP) not in told
    assert same_in_replay(days.b)
    assert len(recorded(days.b, "UNWATCHED")) == 2


@pytest.mark.promise(4)
def test_an_answer_for_one_airfield_is_none_for_another(two):
    for each in BOTH:
        two.storm_passes(START + HOUR, 9, each)
    two.nobody_watches(9 * HOUR)
    two.feed.dead = set(BOTH)
    two.polls()
    assert {each for each in two.heard() if each[1:] == GAP} == {(each, *GAP) for each in BOTH}
    two.feed.dead = {"XBRN"}
    two.polls(20)
    assert [each for each in two.heard() if each[1:] == PAST] == [("XLKS", *PAST)]
    two.feed.dead = set()
    two.polls(20)
    assert [each for each in two.heard() if each[1:] == PAST] == [("XBRN", *PAST)]
    assert same_in_replay(two.b)


@pytest.mark.promise(4)
@pytest.mark.parametrize("dead", [{"XBRN"}, set()])
def test_so_where_the_first_poll_answers_for_one_only_or_for_both(two, dead):
    for each in BOTH:
        two.storm_passes(START + HOUR, 9, each)
    two.nobody_watches(9 * HOUR)
    two.feed.dead = dead
    two.polls(3)
    two.feed.dead = set()
    two.polls(3)
    told = two.heard()
    for each in BOTH:
        assert told.count((each, *PAST)) == told.count((each, *GAP)) == 1
    assert same_in_replay(two.b)


def test_once_the_feed_has_answered_a_report_that_comes_late_is_late(days):
    days.nobody_watches(9 * HOUR)
    days.feed.winds["XLKS"].append((START + 9 * HOUR, QUIET))
    days.feed.dead = {"XLKS"}
    days.polls()
    days.feed.dead = set()
    days.polls().heard()
    assert days.b.watch.books["XLKS"].state.missed_since is None
    late = [RawReport(metar(START + HOUR, STORM), days.b.clock.now(), "test")]
    [(_, judged)] = days.b.watch.take(late).judged
    assert judged.reason == "older than 6 hours: recorded only"


def test_a_gap_that_nobody_wants_to_hear_of_loses_nothing_either(tmp_path):
    people = (
        '\n[[contact]]\nname = "desk"\nfolder = "dropped"\ntell_about = { levels = ["over"] }\n'
    )
    with bench(tmp_path, config_text(people=people), WrongClock(START)) as b:
        days = begun(b)
        days.storm_passes(START + HOUR, 9).nobody_watches(9 * HOUR)
        days.feed.dead = {"XLKS"}
        days.polls(2)
        assert days.heard() == []
        days.feed.dead = set()
        days.polls(2)
        assert days.heard() == [("XLKS", *PAST)]
        assert same_in_replay(b)


@pytest.mark.promise(4)
def test_two_airfields_that_note_one_gap_some_time_apart_are_each_told_once_in_a_replay(two):
    b = two.b
    two.storm_passes(START + HOUR, 9).nobody_watches(9 * HOUR)
    step, slow = b.watch._step, timedelta(seconds=2)

    def slowly(*args):
        step(*args)
        b.clock.move(slow)

    b.watch._step = slowly
    two.feed.dead = {"XBRN"}
    two.polls(3)
    told = two.heard()
    assert all(told.count((each, *GAP)) == 1 for each in BOTH)
    assert len(recorded(b, "UNWATCHED")) == 2
    again = [(n.airfield, s.name.value) for n, _ in replayed(b).sent for s in n.steps]
    assert sorted(again) == sorted((at, name.removeprefix("past ")) for at, name, _ in told)
