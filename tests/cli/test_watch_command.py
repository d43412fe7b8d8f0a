"""`watch`: what is refused before it begins, and `--once` in words and exit statuses."""

import io
import os
import signal
import sqlite3
import sys
import threading
from datetime import timedelta

import pytest

from tests.servers.feed_server import PlayedFeed
from tests.watch.little_watch import QUIET, STORM, config_text, metar, recording
from windwatch.cli.watch import _reload_on_hang_up
from windwatch.clock import SystemClock

CLOCK = SystemClock()


@pytest.fixture
def field(tmp_path, monkeypatch):
    """A field with a feed that has a storm of just now."""
    monkeypatch.chdir(tmp_path)
    now = CLOCK.now().replace(second=0, microsecond=0)
    older, newer = now - timedelta(minutes=65), now - timedelta(minutes=5)
    day = [(older, metar(older, QUIET)), (newer, metar(newer, STORM))]
    with PlayedFeed(recording(tmp_path / "day.txt", day), CLOCK) as feed:
        (tmp_path / "field.toml").write_text(config_text(feed=feed.url))
        yield feed


def test_once_says_what_it_did(run, field, tmp_path):
    result = run("watch", "--once", "field.toml")
    assert result.exit_code == 0
    assert result.stdout == "reports 2, notices 1, delivered 1, not delivered 0\n"
    assert len(list((tmp_path / "dropped").glob("*.eml"))) == 1
    again = run("watch", "--once", "field.toml")
    assert again.exit_code == 0
    assert again.stdout == "reports 2, notices 0, delivered 0, not delivered 0\n"


@pytest.mark.parametrize(
    "fault",
    [
        pytest.param((503, {}, b"later"), id="503"),
        pytest.param((200, {"Content-Type": "text/html"}, b"<html>"), id="HTML"),
        pytest.param((204, {}, b""), id="nothing"),
    ],
)
def test_once_without_data_ends_with_3_and_says_why(run, field, fault):
    field.faults = [fault]
    result = run("watch", "--once", "field.toml")
    assert result.exit_code == 3
    assert "nothing is known, which is not calm" in result.stderr


def test_once_with_a_store_that_cannot_be_written_ends_with_2_and_says_which(run, field, tmp_path):
    run("watch", "--once", "field.toml")
    with sqlite3.connect(tmp_path / "watch.db") as raw:
        raw.execute("DELETE FROM airfield_states")
        raw.execute(
            "CREATE TRIGGER full BEFORE INSERT ON airfield_states "
            "BEGIN SELECT RAISE(ABORT, 'the disk is full'); END"
        )
    raw.close()
    result = run("watch", "--once", "field.toml")
    assert result.exit_code == 2
    assert "watch.db" in result.stderr
    assert "the disk is full" in result.stderr


@pytest.mark.parametrize("option", [(), ("--once",)])
def test_faults_of_a_configuration_are_listed_and_nothing_is_made(
    run, tmp_path, monkeypatch, option
):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bad.toml").write_text('[feed]\nkind = "radio"\nevry = "60s"\n')
    result = run("watch", *option, "bad.toml")
    assert result.exit_code == 2
    assert "bad.toml:2" in result.stderr
    assert "bad.toml:3" in result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["bad.toml"]


def test_a_file_that_is_no_store_is_refused_in_words(run, field, tmp_path):
    (tmp_path / "watch.db").write_text("this is a letter to my aunt\n" * 100)
    result = run("watch", "--once", "field.toml")
    assert result.exit_code == 2
    assert "is not a windwatch store" in result.stderr
    assert (tmp_path / "watch.db").read_text().startswith("this is a letter")


def test_a_configuration_is_needed(run):
    assert run("watch").exit_code == 2


# --- the terminal ----------------------------------------------------------------------


def closed():
    stream = io.StringIO()
    stream.close()
    return stream


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="this system has no SIGHUP")
@pytest.mark.parametrize(
    "stdin", [lambda: None, closed, io.StringIO], ids=["none", "closed", "no number"]
)
def test_without_a_terminal_a_hang_up_has_the_configuration_read(monkeypatch, stdin):
    monkeypatch.setattr(sys, "stdin", stdin())
    changed, stop = threading.Event(), threading.Event()
    before = signal.getsignal(signal.SIGHUP)
    try:
        _reload_on_hang_up(changed, stop)
        os.kill(os.getpid(), signal.SIGHUP)
        assert changed.wait(5)
        assert not stop.is_set()
    finally:
        signal.signal(signal.SIGHUP, before)


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="this system has no SIGHUP")
def test_a_standard_input_closed_later_is_no_reason_to_fail(monkeypatch):
    ours, theirs = os.openpty()
    changed, stop = threading.Event(), threading.Event()
    before = signal.getsignal(signal.SIGHUP)
    with os.fdopen(theirs, closefd=False) as terminal:
        monkeypatch.setattr(sys, "stdin", terminal)
        try:
            _reload_on_hang_up(changed, stop)
            terminal.close()
            os.kill(os.getpid(), signal.SIGHUP)
            assert changed.wait(5), "the terminal itself is still there"
            changed.clear()
            os.close(ours)
            os.kill(os.getpid(), signal.SIGHUP)
            assert stop.wait(5), "gone, so that the watch ends"
            assert not changed.is_set()
        finally:
            signal.signal(signal.SIGHUP, before)
            os.close(theirs)
