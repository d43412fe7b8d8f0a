"""The store turns read-only, or is deleted, while nothing blows: told at once, and not for ever.

Fault F41 in quiet weather, when there is nothing to write but that it was watched; promise 17.
"""

import threading

import pytest
from sqlalchemy import event

from tests.faults.test_locked_store import Winds
from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, config_text, metar
from tests.watch.test_operator import DESK, TECHNICIAN
from windwatch.clock import HandClock, SystemClock
from windwatch.errors import StoreError
from windwatch.schedule import run
from windwatch.upkeep.showing import Outward
from windwatch.watch import Watch
from windwatch.wiring import make_channels


@pytest.fixture
def quiet(tmp_path):
    with bench(tmp_path, config_text(people=DESK + TECHNICIAN), HandClock(START)) as b:
        b.feed = Winds()
        b.feed.texts = [metar(START, QUIET)]
        b.again()
        b.watch.poll()
        yield b


def becomes_read_only(b):
    @event.listens_for(b.store._engine, "checkout")
    def only_read(raw, *_):
        # SQLite itself is told so: the tests may run as root, who may write everything.
        raw.execute("PRAGMA query_only = ON")


def is_deleted(b):
    for path in b.folder.glob("watch.db*"):
        path.unlink()


def subjects(b, folder):
    assert b.watch.keeper.direct.wait(5 * MINUTE)
    found = [path.read_text() for path in sorted((b.folder / folder).glob("*.eml"))]
    return [" ".join(text.split("\n\n")[0].split()) for text in found]


@pytest.mark.fault("F41")
@pytest.mark.promise(17)
@pytest.mark.parametrize(
    ("breaks", "reason"),
    [(becomes_read_only, "cannot be written"), (is_deleted, "was deleted or replaced")],
)
def test_f41_in_quiet_weather_too_it_is_told_and_given_up_after_five_minutes(quiet, breaks, reason):
    breaks(quiet)
    for minute in range(6):
        assert quiet.watch.keeper.gave_up == "", minute
        quiet.clock.move(MINUTE)
        quiet.watch.poll()
    assert reason in quiet.watch.keeper.gave_up
    [subject] = subjects(quiet, "technician")
    assert "the record is incomplete" in subject.lower() or "incomplete" in subject
    found = quiet.watch.keeper.health(quiet.watch.books)
    assert any("store:" in fault for fault in found.faults(found.written_at))


@pytest.mark.fault("F41")
@pytest.mark.promise(17)
@pytest.mark.parametrize("breaks", [becomes_read_only, is_deleted])
def test_f41_a_crossing_meanwhile_is_told_directly(quiet, breaks):
    breaks(quiet)
    quiet.clock.move(MINUTE)
    quiet.feed.texts.append(metar(quiet.clock.now(), STORM))
    quiet.watch.poll()
    [subject] = subjects(quiet, "dropped")
    assert "X-XLKS" in subject


@pytest.mark.fault("F41")
@pytest.mark.parametrize("breaks", [becomes_read_only, is_deleted])
def test_f41_by_the_clock_the_watch_ends_with_the_reason(tmp_path, breaks):
    clock = SystemClock()
    with bench(tmp_path, config_text(people=DESK + TECHNICIAN), clock) as b:
        feed, outward = Winds(), Outward(store_patience=0 * MINUTE)
        watch = Watch(b.settings, b.store, feed, make_channels(b.settings), clock, outward=outward)
        breaks(b)
        with pytest.raises(StoreError, match="the watch ends, so that its supervisor starts it"):
            run(watch, MINUTE, clock, threading.Event())


@pytest.mark.fault("F41")
def test_f41_a_store_that_can_be_written_again_in_time_is_no_reason_to_end(quiet):
    becomes_read_only(quiet)
    for _ in range(4):
        quiet.clock.move(MINUTE)
        quiet.watch.poll()

    @event.listens_for(quiet.store._engine, "checkout")
    def write_again(raw, *_):
        raw.execute("PRAGMA query_only = OFF")

    for _ in range(5):
        quiet.clock.move(MINUTE)
        quiet.watch.poll()
        assert quiet.watch.keeper.gave_up == ""
    assert quiet.watch.keeper.health(quiet.watch.books).store_problem == ""
