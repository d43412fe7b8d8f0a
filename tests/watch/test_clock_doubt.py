"""The machine's clock is wrong: warnings go on, all-clears wait, and the doubt is stated.

Promise 21; faults F30 (an hour ahead or behind) and F31 (1970 at boot).
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, config_text, metar, said
from windwatch.clock import HandClock
from windwatch.episodes import clock_doubt
from windwatch.errors import FeedError
from windwatch.feeds.values import FetchResult
from windwatch.reports.raw import RawReport

HOUR = timedelta(hours=1)
DESK_AND_OPERATOR = (
    '\n[[contact]]\nname = "desk"\nfolder = "dropped"\n'
    '\n[[contact]]\nname = "technician"\nfolder = "dropped"\noperator = true\n'
    'tell_about = { levels = ["near"], ground = false, thunder = false, runways = "none" }\n'
)


class WrongClock(HandClock):
    """A wall clock that somebody sets, while the monotonic one goes on."""

    def step(self, by):
        self._now += by


class World:
    """A feed with its own clock, which is right: the last report of each wind that was put in."""

    def __init__(self, now):
        self.now = now
        self.winds = []
        self.dead = False

    def fetch(self, stations, now, *, since=None, fresh=False):
        if self.dead:
            raise FeedError("awc", "no answer")
        raws = tuple(RawReport(metar(at, w), now, "test", observed_at=at) for at, w in self.winds)
        return FetchResult(raws, (), stations, server_date=self.now)

    def close(self):
        pass


class Turner:
    """Turns a watch minute by minute: the world's time goes on evenly, the clock as it is set."""

    def __init__(self, b, world):
        self.b, self.world, self.told = b, world, []

    def minutes(self, count, wind=None, every=15):
        for n in range(count):
            self.b.clock.move(MINUTE)
            self.world.now += MINUTE
            if wind is not None and n % every == every - 1:
                self.world.winds.append((self.world.now, wind))
            report = self.b.watch.poll()
            assert report.failed == []
            self.told += said(report)
        return self

    def steps(self, contact="desk"):
        return [step for who, step in self.told if who == contact]

    def about_itself(self):
        return [
            (
                n.notice.contact,
                n.content.payload["trouble"]["key"],
                n.content.payload["trouble"]["over"],
            )
            for n in self.b.store.notices()
            if n.notice.kind == "operator"
        ]


@pytest.fixture
def world(tmp_path):
    clock = WrongClock(START)
    with bench(tmp_path, config_text(people=DESK_AND_OPERATOR), clock) as b:
        b.feed = World(START)
        b.again()
        yield Turner(b, b.feed)


@pytest.mark.fault("F30")
@pytest.mark.promise(7, 21)
@pytest.mark.parametrize("jump", [HOUR, -HOUR, timedelta(days=400), -timedelta(days=400)])
def test_f30_a_clock_that_is_set_wrong_clears_nothing_and_calls_nothing_stale(world, jump):
    world.world.winds.append((START, STORM))
    world.minutes(1)
    assert world.steps() == ["opened"]
    world.b.clock.step(jump)
    # Quiet reports for more than an hour and a half, which would have ended it after one.
    world.minutes(100, QUIET)
    assert world.steps() == ["opened"], "no back, no no_data, nothing else"
    assert world.b.watch.books["XLKS"].state.ledger[0].open
    world.b.clock.step(-jump)
    world.minutes(3)
    assert world.steps() == ["opened", "back"], "once two polls agree"


@pytest.mark.fault("F30")
@pytest.mark.promise(21)
def test_f30_a_new_crossing_goes_out_while_the_clock_is_wrong(world):
    world.world.winds.append((START, QUIET))
    world.minutes(1)
    # An hour behind: reports would seem to be of the future.
    world.b.clock.step(-HOUR)
    world.world.winds.append((world.world.now, STORM))
    world.minutes(2)
    assert world.steps() == ["opened"]
    [notice] = [n for n in world.b.store.notices() if n.notice.airfield == "XLKS"]
    assert notice.notice.at == world.world.now - MINUTE, "by the feed's time"
    assert world.b.watch.deliver().accepted >= 1, "and nothing expires by the wrong one"


@pytest.mark.fault("F30")
@pytest.mark.promise(21)
def test_f30_the_doubt_is_told_once_to_the_operator_and_to_who_holds_an_alert_and_so_is_its_end(
    world,
):
    world.world.winds.append((START, STORM))
    world.minutes(1)
    world.b.clock.step(HOUR)
    world.minutes(30, STORM)
    assert world.about_itself() == [("technician", "clock", False), ("desk", "clock", False)]
    [notice, _] = [n for n in world.b.store.notices() if n.notice.kind == "operator"]
    text = " ".join(notice.content.text.split())
    assert text.startswith("The clock of this machine is in doubt since 2026-09-22 14:58Z")
    assert "it is 60 min ahead of the clock of the feed" in text
    world.b.clock.step(-HOUR)
    world.minutes(3)
    assert world.about_itself()[2:] == [("technician", "clock", True), ("desk", "clock", True)]


@pytest.mark.fault("F31")
@pytest.mark.promise(21)
def test_f31_a_boot_in_1970_warns_by_the_feeds_time_and_forgets_nothing(tmp_path):
    clock = WrongClock(datetime(1970, 1, 1, 0, 5, tzinfo=UTC))
    with bench(tmp_path, config_text(), clock) as b:
        b.feed = World(START)
        b.again()
        turner = Turner(b, b.feed)
        b.feed.winds.append((START - 5 * MINUTE, STORM))
        turner.minutes(1)
        assert turner.steps() == ["opened"]
        [kept] = b.store.notices()[:1]
        assert kept.notice.at == START + MINUTE
        [report] = b.store.reports_of("XLKS", START - HOUR)
        assert report.received_at == START + MINUTE
        assert b.watch.deliver().accepted == 2, "the warning, and that the clock is in doubt"

        class Untouched:
            def tidy(self, now):
                raise AssertionError("no purge while the clock is in doubt")

        b.watch.keeper._store = Untouched()
        b.watch.keeper.housekeep()


@pytest.mark.promise(9)
def test_while_in_doubt_no_cycle_is_complete(world):
    world.minutes(2)
    world.b.watch.deliver()
    before = world.b.watch.keeper.health(world.b.watch.books)
    assert before.last_cycle_at == world.world.now
    world.b.clock.step(HOUR)
    world.minutes(3)
    world.b.watch.deliver()
    after = world.b.watch.keeper.health(world.b.watch.books)
    assert after.last_cycle_at == before.last_cycle_at
    assert after.clock_problem.startswith("it is 60 min ahead")
    assert any("clock in doubt" in fault for fault in after.faults(after.written_at))


def test_two_polls_must_agree_before_anything_is_called_back_again(world):
    world.world.winds.append((START, STORM))
    world.minutes(1)
    world.b.clock.step(HOUR)
    world.minutes(90, QUIET)
    world.b.clock.step(-HOUR)
    world.minutes(1)
    assert world.steps() == ["opened"]
    world.minutes(1)
    assert world.steps() == ["opened", "back"]


# --- the pure rules ---------------------------------------------------------------


def trust(**values):
    return replace(clock_doubt.begin(START, 0.0), **values)


@pytest.mark.parametrize("step_s", [0, 1, 29, 30, -30])
def test_small_steps_and_slewing_are_taken_as_they_come(step_s):
    found = clock_doubt.look(trust(), START + timedelta(seconds=60 + step_s), 60.0)
    assert not found.in_doubt
    assert found.correction == timedelta(0)


@pytest.mark.parametrize("step_s", [31, -31, 3600, -3600])
def test_over_a_larger_step_the_time_goes_on_evenly(step_s):
    wall = START + timedelta(seconds=60 + step_s)
    found = clock_doubt.look(trust(), wall, 60.0)
    assert found.in_doubt
    assert wall + found.correction == START + MINUTE
    assert found.since == START + MINUTE


@pytest.mark.parametrize(
    ("away_s", "doubt"), [(299, False), (300, False), (301, True), (-301, True)]
)
def test_five_minutes_from_the_feeds_clock_are_allowed(away_s, doubt):
    found = clock_doubt.hear(trust(), START, START + timedelta(seconds=away_s))
    assert found.in_doubt is doubt


def test_a_feed_that_says_nothing_does_not_take_a_disagreement_back():
    found = clock_doubt.hear(trust(), START, START + HOUR)
    for _ in range(5):
        found = clock_doubt.hear(found, START, None)
    assert found.in_doubt
    found = clock_doubt.hear(clock_doubt.hear(found, START, START), START, START)
    assert not found.in_doubt


def test_a_step_without_a_word_from_the_feed_is_believed_after_two_polls():
    found = clock_doubt.look(trust(), START + HOUR, 0.0)
    found = clock_doubt.hear(found, START + HOUR, None)
    assert found.in_doubt
    found = clock_doubt.hear(found, START + HOUR, None)
    assert not found.in_doubt
    assert found.correction == timedelta(0)
