"""`windwatch health`: does the watch work; promise 10 and F38 (health red)."""

import json
import os
import stat
import subprocess
import sys
from dataclasses import replace
from datetime import timedelta

import pytest
from click.testing import CliRunner

from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, config_text
from tests.watch.test_operator import Feed, cycles
from tests.watch.test_store_down import refuse
from windwatch.cli.main import main
from windwatch.clock import HandClock, SystemClock
from windwatch.errors import FeedError
from windwatch.upkeep import health
from windwatch.wiring import make_outward, status_path

CLOCK = SystemClock()


def ask(folder, *more):
    return CliRunner().invoke(main, ["health", str(folder / "watch.toml"), *more])


@pytest.fixture
def running(tmp_path):
    """A watch of this very process and minute, that writes its state."""
    with bench(tmp_path, config_text(), HandClock(CLOCK.now() - 10 * MINUTE)) as b:
        b.anew(Feed(), make_outward(b.settings))
        yield b


def a_minute_ago(b):
    b.clock.set(CLOCK.now() - MINUTE)


def test_a_watch_that_works_is_healthy_and_that_is_no_word_about_the_wind(running):
    a_minute_ago(running)
    running.take(QUIET)
    cycles(running, 1)
    result = ask(running.folder)
    assert result.exit_code == 0, result.output
    assert "The watch works. That says nothing about the wind." in result.stdout
    assert "XLKS: wind of XLKS observed 1 min ago" in result.stdout
    assert all(len(line) <= 80 for line in result.stdout.splitlines())


def test_the_same_as_one_document_for_machines(running):
    a_minute_ago(running)
    running.take(QUIET)
    cycles(running, 1)
    result = ask(running.folder, "--json")
    document = json.loads(result.stdout)
    assert result.exit_code == 0
    assert document["healthy"] is True
    assert document["faults"] == []
    assert document["format"] == "windwatch.health/1"
    assert document["stations"][0]["station"] == "XLKS"
    assert document["clock"] == {"in_doubt": False, "problem": ""}


def test_without_a_complete_cycle_in_three_intervals_it_is_not_and_says_why(running):
    cycles(running, 1)
    running.feed.says = FeedError("awc", "its name was not found")
    cycles(running, 6)
    result = ask(running.folder)
    assert result.exit_code == 1
    assert "The watch does NOT work as it should:" in result.stdout
    assert "no complete cycle since" in result.stdout
    assert "feed: awc: its name was not found" in result.stdout


def test_a_store_that_cannot_be_written_is_red_at_once(running):
    cycles(running, 1)
    refuse(running.folder)
    running.take(STORM)
    running.watch.poll()
    result = ask(running.folder)
    assert result.exit_code == 1
    assert "nothing can be written" in " ".join(result.stdout.split())


def test_a_watch_that_was_stopped_does_not_run(running):
    cycles(running, 1)
    running.watch.close()
    result = ask(running.folder)
    assert result.exit_code == 3
    assert "no watch runs on this machine with this store" in " ".join(result.stderr.split())
    document = json.loads(ask(running.folder, "--json").stdout)
    assert document["runs"] is False
    assert document["last"]["state"] == "stopped"


def test_a_watch_that_died_does_not_run(running):
    cycles(running, 1)
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    path = status_path(running.settings)
    health.write(path, replace(health.read(path), pid=dead.pid))
    assert ask(running.folder).exit_code == 3


def test_where_none_ever_ran_there_is_none(tmp_path):
    (tmp_path / "watch.toml").write_text(config_text())
    assert ask(tmp_path).exit_code == 3
    assert ask(tmp_path, "--json").exit_code == 3


def test_a_configuration_with_faults_is_another_thing(tmp_path):
    (tmp_path / "watch.toml").write_text("[feed]\n")
    assert ask(tmp_path).exit_code == 2


def test_a_file_that_is_something_else_is_told_in_words(tmp_path):
    (tmp_path / "watch.toml").write_text(config_text())
    for content in ("my aunt's letter", "[]", '{"format": "windwatch.health/9"}', "{}"):
        (tmp_path / "watch.db.health.json").write_text(content)
        result = ask(tmp_path)
        assert result.exit_code == 3
        assert "Traceback" not in result.output


@pytest.mark.skipif(os.name != "posix", reason="permissions are POSIX's")
def test_the_file_is_for_its_owners_eyes_and_replaces_a_link(running):
    secret = running.folder / "elsewhere"
    secret.write_text("not ours")
    path = status_path(running.settings)
    path.symlink_to(secret)
    cycles(running, 1)
    assert not path.is_symlink()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert secret.read_text() == "not ours"
    assert [p.name for p in running.folder.glob("*.part")] == []


def test_a_folder_that_cannot_be_written_stops_nothing(running, monkeypatch, caplog):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("windwatch.upkeep.health.tempfile.mkstemp", full)
    cycles(running, 1)
    assert "health_unwritten" in caplog.text


def test_what_is_written_is_what_is_read(running):
    a_minute_ago(running)
    running.take(QUIET)
    cycles(running, 1)
    found = running.watch.keeper.health(running.watch.books)
    again = health.from_json(json.loads(json.dumps(health.as_json(found))))
    assert again == replace(
        found,
        written_at=again.written_at,
        started_at=again.started_at,
        last_cycle_at=again.last_cycle_at,
        last_turn_at=again.last_turn_at,
        stations=again.stations,
    )
    assert abs(again.written_at - found.written_at) < timedelta(seconds=1)


def test_one_failed_poll_is_nothing_yet():
    one = health.Health(START, START, 1, MINUTE, last_cycle_at=START, feed_problem="a hiccup")
    assert one.faults(START + 3 * MINUTE) == ()
    assert len(one.faults(START + 4 * MINUTE)) == 2


def test_one_that_stands_by_is_healthy_as_long_as_it_says_so():
    one = health.Health(START, START, 1, MINUTE, state=health.STANDING_BY)
    assert one.faults(START + 3 * MINUTE) == ()
    assert one.faults(START + 4 * MINUTE) != ()
