"""Nobody watched for a while: told once, with one catch-up and no burst.

Promise 9; fault F32 (the machine slept for three hours).
"""

from datetime import timedelta

import pytest

from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, config_text, metar, said
from tests.watch.test_clock_doubt import HOUR, Turner, World, WrongClock
from windwatch.episodes.values import StepName


class Asked(World):
    """A feed that remembers how far back it was asked."""

    def __init__(self, now):
        super().__init__(now)
        self.since = []

    def fetch(self, stations, now, *, since=None, fresh=False):
        self.since.append(since)
        return super().fetch(stations, now, since=since, fresh=fresh)


@pytest.fixture
def world(tmp_path):
    with bench(tmp_path, config_text(), WrongClock(START)) as b:
        b.feed = World(START)
        b.again()
        b.feed.winds.append((START, QUIET))
        yield Turner(b, b.feed).minutes(1)


def slept(b, length):
    """The machine slept: its monotonic clock stood still."""
    b.clock.step(length)


def was_stopped(b, length):
    """The process was stopped: the monotonic clock went on."""
    b.clock.move(length)


def ran_not(b, length):
    """The program did not run at all."""
    b.clock.move(length)
    b.again()


@pytest.mark.fault("F32")
@pytest.mark.promise(9)
@pytest.mark.parametrize("how", [slept, was_stopped, ran_not])
def test_f32_after_three_hours_one_notice_tells_the_gap_and_what_happened(world, how):
    b, feed = world.b, world.world
    how(b, 3 * HOUR)
    feed.now += 3 * HOUR
    feed.winds += [(START + HOUR, STORM), (START + 2 * HOUR, "27035G55KT")]
    feed.winds += [(START + 3 * HOUR, STORM)]
    # A tick comes before the next poll, and must not call the silence of the machine the feed's.
    assert said(b.watch.tick()) == []
    report = b.watch.poll()
    assert sorted(said(report)) == [("desk", "data_back"), ("desk", "opened")]
    [(notice, content)] = report.notices
    opened = next(s for s in notice.steps if s.name is StepName.OPENED)
    assert opened.worst.figure == 55.0
    assert opened.since == START + HOUR
    assert "Nobody watched from 10:57 local (14:57Z) to 13:57 local (17:57Z)" in " ".join(
        content.text.split()
    )
    assert "not watched from" in content.text
    world.told = []
    world.minutes(30)
    assert world.told == [], "no burst"


@pytest.mark.fault("F32")
@pytest.mark.promise(9)
def test_f32_a_gap_in_which_nothing_happened_is_told_as_well(world):
    slept(world.b, 3 * HOUR)
    world.world.now += 3 * HOUR
    world.world.winds.append((START + 3 * HOUR, QUIET))
    report = world.b.watch.poll()
    assert said(report) == [("desk", "data_back")]
    [(notice, content)] = report.notices
    assert content.subject.endswith(" - watching again after a gap")
    assert content.text.startswith("Watching again: not watched from 10:57 local (14:57Z) to ")
    assert notice.steps[0].track.quantity == "watch"


@pytest.mark.parametrize("how", [slept, was_stopped, ran_not])
def test_a_gap_no_longer_than_stale_after_is_none(world, how):
    how(world.b, timedelta(minutes=70))
    world.world.now += timedelta(minutes=70)
    world.world.winds.append((world.world.now, QUIET))
    world.minutes(5)
    assert world.told == []


def test_a_clock_that_was_wrong_and_is_put_right_is_no_gap(world):
    world.b.clock.step(-5 * HOUR)
    world.minutes(30, QUIET)
    world.b.clock.step(5 * HOUR)
    world.minutes(5)
    assert world.told == []


def test_it_is_told_once_although_the_watch_is_started_again_while_it_catches_up(world):
    b = world.b
    ran_not(b, 3 * HOUR)
    world.world.now += 3 * HOUR
    world.world.winds.append((world.world.now, QUIET))
    # It dies after it was told, and before it could note that it watches again.
    b.watch.keeper.polled = lambda *_: None
    assert said(b.watch.poll()) == [("desk", "data_back")]
    b.again()
    b.watch.poll()
    kept = [n for n in b.store.notices() if n.notice.airfield == "XLKS"]
    assert len(kept) == 1


def test_a_feed_that_is_down_on_waking_is_told_with_the_gap(world):
    world.world.winds[:] = [(START, STORM)]
    world.minutes(1)
    world.told = []
    was_stopped(world.b, 3 * HOUR)
    world.world.now += 3 * HOUR
    world.world.dead = True
    report = world.b.watch.poll()
    assert sorted(set(said(report))) == [("desk", "data_back"), ("desk", "no_data")]
    assert len(report.notices) == 1
    [(_, content)] = report.notices
    assert "not watched from" in content.text


def test_each_airfield_judges_a_gap_by_its_own_measure(tmp_path):
    text = config_text(airfields=("XLKS", "XBRN")).replace(
        'id = "XBRN"\n', 'id = "XBRN"\nreports_every = "30min"\n', 1
    )
    with bench(tmp_path, text, WrongClock(START)) as b:
        b.feed = World(START)
        b.again()
        b.watch.poll()
        b.clock.move(timedelta(minutes=60))
        b.feed.now += timedelta(minutes=60)
        report = b.watch.poll()
        told = {
            notice.airfield
            for notice, _ in report.notices
            for step in notice.steps
            if step.track.quantity == "watch"
        }
        assert told == {"XBRN"}, "45 minutes there, 75 here"


def test_the_first_start_of_all_is_no_gap(tmp_path):
    with bench(tmp_path, config_text(), WrongClock(START)) as b:
        b.feed = World(START)
        b.again()
        b.feed.winds.append((START, QUIET))
        assert said(b.watch.poll()) == []
        assert metar(START, QUIET) in {r.raw for r in b.store.reports_of("XLKS", START)}
        b.clock.move(MINUTE)
        b.again()
        assert said(b.watch.poll()) == []


def test_a_station_that_is_silent_has_nobody_asked_for_a_day_of_reports_at_every_poll(tmp_path):
    with bench(tmp_path, config_text(airfields=("XLKS", "XBRN")), WrongClock(START)) as b:
        b.feed = Asked(START)
        b.again()
        b.take(QUIET, station="XBRN")
        turner = Turner(b, b.feed).minutes(60 * 4)
        assert b.feed.since == [None] * 240
        # The network is away for longer than any reply reaches back.
        b.feed.dead = True
        turner.minutes(60 * 3)
        b.feed.dead = False
        b.feed.since.clear()
        turner.minutes(3)
        assert b.feed.since == [START, None, None]
