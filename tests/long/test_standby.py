"""A standby pair on one PostgreSQL database: one watch leads, the other takes over (promise 19).

Real processes, a real server, the machine's own clock.
"""

import os
import signal
import subprocess
import sys
import time
from datetime import timedelta

import pytest

from tests.servers.feed_server import PlayedFeed
from tests.watch.little_watch import QUIET, STORM, config_text, metar, recording
from windwatch.clock import SystemClock

pytestmark = pytest.mark.long
CLOCK = SystemClock()
TAKE_OVER = 60.0


def ago(minutes):
    return CLOCK.now().replace(second=0, microsecond=0) - timedelta(minutes=minutes)


@pytest.fixture
def pair(tmp_path, postgres):
    """Two watches on one new database, and a feed with a storm in it."""
    url = postgres.database()
    day = [(ago(65), metar(ago(65), QUIET)), (ago(3), metar(ago(5), STORM))]
    started = []
    with PlayedFeed(recording(tmp_path / "day.txt", day), CLOCK) as feed:
        text = config_text(feed=feed.url)
        before, _, after = text.partition('path = "watch.db"')
        assert after, "the little watch keeps its store in watch.db"
        store = f'url = "{url}"'
        (tmp_path / "field.toml").write_text(f"{before}{store}{after}")

        def start(name):
            with (tmp_path / f"{name}.log").open("w") as log:
                process = subprocess.Popen(
                    [sys.executable, "-m", "windwatch", "watch", "field.toml"],
                    cwd=tmp_path,
                    stdout=log,
                    stderr=subprocess.STDOUT,
                    env=os.environ | {"COLUMNS": "80"},
                )
            started.append(process)
            return process

        yield tmp_path, start
    for process in started:
        if process.poll() is None:
            process.kill()
        process.wait()


def said(folder, name, words, within):
    ends_at = time.monotonic() + within
    while time.monotonic() < ends_at:
        if words in (folder / f"{name}.log").read_text():
            return time.monotonic()
        time.sleep(0.1)
    pytest.fail(f"{name} did not say {words!r}: {(folder / f'{name}.log').read_text()[-800:]}")


def mails(folder):
    return sorted(path.name for path in (folder / "dropped").glob("*.eml"))


@pytest.mark.promise(19)
@pytest.mark.fault("F36")
def test_the_second_stands_by_and_follows_a_leader_that_ends(pair):
    folder, start = pair
    first = start("first")
    said(folder, "first", "windwatch watches", 30)
    start("second")
    said(folder, "second", "standing by", 30)
    first.send_signal(signal.SIGTERM)
    assert first.wait(timeout=30) == 0
    said(folder, "second", "windwatch watches", 15)
    told = mails(folder)
    time.sleep(3)
    assert mails(folder) == told, "the new leader repeated what was told"
    assert len(told) == 1


@pytest.mark.promise(19)
def test_the_second_takes_over_within_a_minute_of_the_leaders_death(pair):
    folder, start = pair
    first = start("first")
    said(folder, "first", "windwatch watches", 30)
    start("second")
    said(folder, "second", "standing by", 30)
    died_at = time.monotonic()
    first.kill()
    took_over_at = said(folder, "second", "windwatch watches", TAKE_OVER)
    assert took_over_at - died_at < TAKE_OVER
    assert len(mails(folder)) == 1


@pytest.mark.promise(19)
def test_a_sleeper_that_wakes_does_not_send(pair):
    folder, start = pair
    first = start("first")
    said(folder, "first", "windwatch watches", 30)
    start("second")
    said(folder, "second", "standing by", 30)
    first.send_signal(signal.SIGSTOP)
    said(folder, "second", "windwatch watches", TAKE_OVER)
    first.send_signal(signal.SIGCONT)
    # It finds that it leads no more, and stands by.
    said(folder, "first", "standing by", 30)
    assert len(mails(folder)) == 1
