"""Promise 4: `replay` of what a watch recorded gives exactly the notices that the watch gave.

Played with what a recording of reports alone could not show: a clock that jumps while an all-clear
would be due, a gap in watching, several reports in one reply, an acknowledgement, an all-clear, a
silence and its end.
"""

from datetime import timedelta

import pytest

from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, config_text
from tests.watch.test_clock_doubt import DESK_AND_OPERATOR, HOUR, Turner, World, WrongClock
from windwatch.cli.replay import Played, play
from windwatch.feeds.recorded import read_recorded
from windwatch.recording import recorded_lines

pytestmark = pytest.mark.promise(4)


@pytest.fixture
def world(tmp_path):
    with bench(tmp_path, config_text(people=DESK_AND_OPERATOR), WrongClock(START)) as b:
        b.feed = World(START)
        b.again()
        yield Turner(b, b.feed)


def given(b):
    """The notices that the watch gave about the field, in order."""
    kept = [each.notice for each in b.store.notices() if each.notice.airfield == "XLKS"]
    return sorted(row(n) for n in kept)


def row(notice):
    steps = tuple(step.name.value for step in notice.steps)
    return notice.contact, notice.at, notice.id, steps


def steps_of(rows):
    return [steps for *_, steps in rows]


def replayed(b) -> Played:
    path = b.folder / "recorded.txt"
    path.write_text("".join(f"{line}\n" for line in recorded_lines(b.store)), encoding="utf-8")
    until = b.watch._clock.now()
    lines = read_recorded(path)
    assert [line.problem for line in lines if line.problem] == []
    return play(b.settings, lines, b.folder / "again", b.folder / "again.db", until)


def again(b):
    return sorted(row(notice) for notice, _ in replayed(b).sent)


def recorded(b, word):
    return [line.partition(" ")[2] for line in recorded_lines(b.store) if f" {word}" in line]


@pytest.mark.parametrize("jump", [HOUR, -HOUR])
def test_with_a_jump_of_the_clock(world, jump):
    world.world.winds.append((START, STORM))
    world.minutes(1)
    world.b.clock.step(jump)
    # Quiet for long enough that a replay which knew of no doubt would call it back much earlier.
    world.minutes(100, QUIET)
    world.b.clock.step(-jump)
    world.minutes(3)
    assert steps_of(given(world.b)) == [("opened",), ("back",)]
    assert again(world.b) == given(world.b)
    [began, ended] = recorded(world.b, "CLOCK")
    assert began.startswith("CLOCK DOUBTED it ")
    assert ended == "CLOCK BELIEVED"


def test_a_recording_without_the_doubt_would_say_something_else(world):
    world.world.winds.append((START, STORM))
    world.minutes(1)
    world.b.clock.step(HOUR)
    world.minutes(100, QUIET)
    path = world.b.folder / "reports_alone.txt"
    lines = [line for line in recorded_lines(world.b.store) if " CLOCK " not in line]
    path.write_text("\n".join(lines), encoding="utf-8")
    until = world.b.watch._clock.now()
    played = play(
        world.b.settings, read_recorded(path), world.b.folder / "x", world.b.folder / "x.db", until
    )
    told = {step.name for notice, _ in played.sent for step in notice.steps}
    assert "back" in told
    assert "back" not in {name for steps in steps_of(given(world.b)) for name in steps}


@pytest.mark.parametrize("hours", [3, 9])
def test_with_a_gap_in_watching(world, hours):
    b, feed = world.b, world.world
    feed.winds.append((START, QUIET))
    world.minutes(1)
    b.clock.move(hours * HOUR)
    feed.now += hours * HOUR
    feed.winds.append((START + HOUR, STORM))
    feed.winds += [(START + n * HOUR, QUIET) for n in range(2, hours + 1)]
    b.again()
    world.minutes(120, QUIET)
    assert steps_of(given(b)) == [("opened", "data_back")]
    assert again(b) == given(b)
    assert len(recorded(b, "UNWATCHED")) == 1


def test_with_silence_an_acknowledgement_and_reports_of_one_reply(world):
    b, feed = world.b, world.world
    feed.winds += [(START - HOUR, QUIET), (START, STORM)]
    world.minutes(2)
    [told] = b.watch.books["XLKS"].state.ledger
    b.watch.acknowledge("XLKS", (told.episode,), "operations desk")
    world.minutes(100)
    feed.winds += [(feed.now - 40 * MINUTE, STORM), (feed.now - 20 * MINUTE, QUIET)]
    world.minutes(90, QUIET)
    names = [name for steps in steps_of(given(b)) for name in steps]
    assert {"opened", "no_data", "data_back", "back"} <= set(names)
    assert again(b) == given(b)


def test_a_doubt_that_a_crash_cut_short_ends_in_the_record_with_the_next_run(world):
    world.world.winds.append((START, QUIET))
    world.minutes(1)
    world.b.clock.step(timedelta(seconds=40))
    world.b.watch.tick()
    world.b.again()
    world.minutes(3)
    assert recorded(world.b, "CLOCK") == ["CLOCK DOUBTED it stepped by 40 s", "CLOCK BELIEVED"]
