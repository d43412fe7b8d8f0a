"""`windwatch watch` as people run it: a process of its own, the machine's clock, real signals."""

import json
import signal
import sqlite3
import threading
import time
from datetime import timedelta

import pytest

from tests.servers.feed_server import PlayedFeed
from tests.watch.little_watch import QUIET, STORM, config_text, metar, recording
from windwatch.clock import SystemClock

CLOCK = SystemClock()
SOON = 20.0  # for a machine that is busy with other things; it takes one or two seconds


def ago(minutes):
    return CLOCK.now().replace(second=0, microsecond=0) - timedelta(minutes=minutes)


@pytest.fixture
def storm(tmp_path):
    """A feed that has a storm of five minutes ago."""
    day = [(ago(65), metar(ago(65), QUIET)), (ago(3), metar(ago(5), STORM))]
    with PlayedFeed(recording(tmp_path / "day.txt", day), CLOCK) as feed:
        yield feed


def configure(tmp_path, feed):
    (tmp_path / "field.toml").write_text(config_text(feed=feed.url))


def wait_until(true, what):
    nothing = threading.Event()
    began = time.monotonic()
    while not (found := true()):
        assert time.monotonic() - began < SOON, what
        nothing.wait(0.05)
    return found


def end(process, by=signal.SIGTERM):
    began = time.monotonic()
    process.send_signal(by)
    out, err = process.communicate(timeout=SOON)
    return out, err, time.monotonic() - began


def mails(tmp_path):
    return list((tmp_path / "dropped").glob("*.eml"))


@pytest.mark.fault("F35")
@pytest.mark.parametrize("by", [signal.SIGTERM, signal.SIGINT])
def test_a_notice_appears_in_seconds_and_a_signal_ends_it_cleanly(tmp_path, storm, start, by):
    configure(tmp_path, storm)
    process = start("watch", "field.toml")
    [mail] = wait_until(lambda: mails(tmp_path), "no mail was dropped")
    assert "X-XLKS" in mail.read_text()
    out, err, took = end(process, by)
    assert process.returncode == 0
    assert "Traceback" not in err
    assert err.splitlines() == [
        "windwatch watches XLKS; stop it with Ctrl-C",
        "windwatch has stopped watching; started again, it goes on where it was",
    ]
    assert out == ""
    assert took < 5
    with sqlite3.connect(tmp_path / "watch.db") as raw:
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert raw.execute("SELECT state FROM deliveries").fetchall() == [("accepted",)]
    raw.close()
    assert not list(tmp_path.glob("*.db-journal"))


@pytest.mark.fault("F36")
def test_a_second_watch_on_one_store_is_refused_and_told_who_has_it(tmp_path, storm, start):
    configure(tmp_path, storm)
    first = start("watch", "field.toml")
    wait_until(lambda: mails(tmp_path), "no mail was dropped")
    for once in ([], ["--once"]):
        second = start("watch", *once, "field.toml")
        out, err = second.communicate(timeout=SOON)
        assert second.returncode == 2
        assert out == ""
        said = " ".join(err.split())
        assert "watch.db is in use by windwatch watch field.toml" in said
        assert f"(process {first.pid} on " in said
        assert "stop that one first, or give this one a store of its own" in said
        assert "Traceback" not in err
        assert all(len(line) <= 80 for line in err.splitlines())
    assert first.poll() is None, "the first goes on"
    assert len(mails(tmp_path)) == 1
    end(first)
    third = start("watch", "--once", "field.toml")
    third.communicate(timeout=SOON)
    assert third.returncode == 0, "free again"


@pytest.mark.promise(2)
def test_after_kill_9_the_store_is_free_and_nothing_is_repeated(tmp_path, storm, start):
    configure(tmp_path, storm)
    first = start("watch", "field.toml")
    [mail] = wait_until(lambda: mails(tmp_path), "no mail was dropped")
    end(first, signal.SIGKILL)
    before = mail.stat().st_mtime_ns
    second = start("watch", "--once", "field.toml")
    out, err = second.communicate(timeout=SOON)
    assert second.returncode == 0, err
    assert out.startswith("reports 2, notices 0")
    assert len(mails(tmp_path)) == 1
    # It may have been killed before it wrote down that it was delivered: then once more, at most.
    assert mail.stat().st_mtime_ns >= before


def test_once_polls_judges_delivers_and_ends(tmp_path, storm, start):
    configure(tmp_path, storm)
    process = start("watch", "--once", "field.toml")
    out, err = process.communicate(timeout=SOON)
    assert process.returncode == 0, err
    assert out == "reports 2, notices 1, delivered 1, not delivered 0\n"
    assert len(mails(tmp_path)) == 1


def test_its_log_is_json_without_addresses(tmp_path, storm, start):
    configure(tmp_path, storm)
    process = start("watch", "--once", "--verbose", "field.toml")
    _, err = process.communicate(timeout=SOON)
    lines = [json.loads(line) for line in err.splitlines()]
    assert {"notice_made", "delivery_accepted"} <= {line["event"] for line in lines}
    assert "@" not in err
