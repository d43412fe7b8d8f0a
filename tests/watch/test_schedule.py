"""The schedule by the clock: jumps, failing turns, and a clean end."""

import threading
from datetime import UTC, datetime, timedelta

import pytest

from tests.watch.little_watch import STORM, bench, config_text, metar
from windwatch.clock import HandClock, SystemClock
from windwatch.feeds.values import FetchResult
from windwatch.reports.raw import RawReport
from windwatch.schedule import _guarded, _mind_the_clock, run

START = datetime(2026, 9, 22, 14, 56, tzinfo=UTC)


class Job:
    def __init__(self):
        self.moved_to = []

    def modify(self, *, next_run_time):
        self.moved_to.append(next_run_time)


class JumpingClock(HandClock):
    """A wall clock that jumps at given seconds of waiting, while the monotonic one goes on."""

    def __init__(self, jumps, end):
        super().__init__(START)
        self.jumps = jumps
        self.end = end

    def wait(self, event, seconds):
        super().wait(event, seconds)
        self._now += self.jumps.get(round(self.monotonic()), timedelta(0))
        if self.monotonic() >= self.end:
            event.set()
        return event.is_set()


@pytest.mark.parametrize("jump", [timedelta(hours=1), timedelta(hours=-1), timedelta(seconds=3)])
def test_a_jump_of_the_wall_clock_runs_every_job_at_once_and_once(jump, caplog):
    clock = JumpingClock({5: jump}, 10)
    jobs = [Job(), Job()]
    _mind_the_clock(clock, threading.Event(), jobs)
    for job in jobs:
        assert job.moved_to == [START + timedelta(seconds=5) + jump]
    assert caplog.text.count("clock_jumped") == 1


def test_a_clock_that_goes_evenly_moves_no_job(caplog):
    job = Job()
    _mind_the_clock(JumpingClock({}, 3600), threading.Event(), [job])
    assert job.moved_to == []
    assert caplog.text == ""


def test_jumps_there_and_back_are_two(caplog):
    clock = JumpingClock({5: timedelta(hours=1), 20: timedelta(hours=-1)}, 30)
    job = Job()
    _mind_the_clock(clock, threading.Event(), [job])
    assert len(job.moved_to) == 2


def test_a_turn_that_fails_is_told_and_the_next_is_tried(caplog):
    turns = []

    def turn():
        turns.append(1)
        raise OSError("no file handles left")

    guarded = _guarded(turn, "poll")
    guarded()
    guarded()
    assert len(turns) == 2
    assert caplog.text.count("turn_failed") == 2


class Storm:
    """A feed that has a storm at every fetch, as of now."""

    def __init__(self, clock):
        self.clock = clock
        self.asked = threading.Event()

    def fetch(self, stations, now, *, since=None, fresh=False):
        self.asked.set()
        return FetchResult((RawReport(metar(now, STORM), now, "test"),), (), stations)

    def close(self):
        pass


def test_by_the_clock_a_notice_leaves_at_once_and_the_end_is_clean(tmp_path):
    clock = SystemClock()
    with bench(tmp_path, config_text(), clock) as b:
        b.feed = Storm(clock)
        b.again()
        stop = threading.Event()
        running = threading.Thread(target=run, args=(b.watch, timedelta(minutes=1), clock, stop))
        running.start()
        dropped = _wait_for(lambda: list((tmp_path / "dropped").glob("*.eml")))
        stop.set()
        running.join(10)
        assert not running.is_alive()
        assert len(dropped) == 1
        assert [t.name for t in threading.enumerate() if t.name == "courier"] == []
        assert [d.state.value for n in b.store.notices() for d in n.deliveries] == ["accepted"]


def test_told_to_stop_before_it_began_it_ends_and_loses_nothing(tmp_path):
    clock = SystemClock()
    with bench(tmp_path, config_text(), clock) as b:
        b.feed = Storm(clock)
        b.again()
        stop = threading.Event()
        stop.set()
        run(b.watch, timedelta(minutes=1), clock, stop)
        kept = b.store.notices()
        delivered = len(list((tmp_path / "dropped").glob("*.eml")))
        states = [d.state.value for n in kept for d in n.deliveries]
        assert states.count("accepted") == delivered
        assert len(states) == len(kept)


def _wait_for(found, seconds=5.0):
    end = threading.Event()
    for _ in range(int(seconds / 0.05)):
        if found():
            break
        end.wait(0.05)
    return found()
