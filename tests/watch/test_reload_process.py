"""A real watch, a real file, a real SIGHUP: promise 18 from outside."""

import json
import os
import signal
import subprocess
import sys

import pytest

from tests.servers.feed_server import PlayedFeed
from tests.watch.little_watch import QUIET, config_text, metar, recording
from tests.watch.test_watch_process import CLOCK, SOON, ago, mails, wait_until

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(
        not hasattr(signal, "SIGHUP"),
        reason="this system has no SIGHUP; the file alone counts there",
    ),
]


@pytest.fixture
def text(tmp_path):
    """A configuration on a feed that has light wind of five minutes ago: 6 kt."""
    day = [(ago(65), metar(ago(65), QUIET)), (ago(3), metar(ago(5), QUIET))]
    with PlayedFeed(recording(tmp_path / "day.txt", day), CLOCK) as feed:
        yield config_text(feed=feed.url)


class Running:
    """A watch in a process of its own."""

    def __init__(self, folder, text, **how):
        self.folder = folder
        self.write(text)
        self.process = subprocess.Popen(
            [sys.executable, "-m", "windwatch", "watch", "field.toml", "--log-file", "log.jsonl"],
            cwd=folder,
            stderr=subprocess.PIPE,
            text=True,
            env=os.environ | {"COLUMNS": "80"},
            **how,
        )
        wait_until(self.cycle, "it never watched")

    def write(self, text):
        (self.folder / "field.toml").write_text(text)

    def hang_up(self):
        self.process.send_signal(signal.SIGHUP)

    def cycle(self):
        try:
            return json.loads((self.folder / "watch.db.health.json").read_text())["last_cycle_at"]
        except FileNotFoundError:
            return None

    def logged(self, event):
        lines = (self.folder / "log.jsonl").read_text().splitlines()
        return [line for line in map(json.loads, lines) if line["event"] == event]

    def health(self):
        return subprocess.run(
            [sys.executable, "-m", "windwatch", "health", "field.toml"],
            cwd=self.folder,
            capture_output=True,
            text=True,
            check=False,
        )

    def end(self):
        if self.process.poll() is None:
            self.process.kill()
        return self.process.communicate()


@pytest.fixture
def running(tmp_path, text):
    found = Running(tmp_path, text)
    yield found
    found.end()


@pytest.mark.promise(18)
@pytest.mark.fault("F50", "F51")
def test_a_hang_up_refuses_what_is_bad_and_takes_what_is_good_while_the_watch_runs(running, text):
    running.write(text.replace("tie_down_kt = 25", "tie_down_kt = -5"))
    running.hang_up()
    [refused] = wait_until(lambda: running.logged("config_refused"), "nothing was refused")
    [fault] = refused["faults"]
    assert fault.startswith("field.toml:25: aircraft X-XLKS, limits.tie_down_kt: -5")
    assert running.process.poll() is None
    assert mails(running.folder) == []
    # It works: a supervisor that started it anew would have it refused.
    found = running.health()
    assert found.returncode == 0, found.stdout + found.stderr
    shown = " ".join(found.stdout.split())
    assert "configuration: field.toml:25: aircraft X-XLKS, limits.tie_down_kt: -5" in shown
    assert "cannot be used as it stands" in " ".join(found.stderr.split())

    running.write(text.replace("tie_down_kt = 25", "tie_down_kt = 5"))
    running.hang_up()
    wait_until(lambda: running.logged("config_adopted"), "the change was not noticed")
    [mail] = wait_until(lambda: mails(running.folder), "no mail was dropped")
    assert "limits changed" in mail.read_text().replace("=\n", "")
    assert running.health().returncode == 0

    running.process.send_signal(signal.SIGTERM)
    _, err = running.process.communicate(timeout=SOON)
    assert running.process.returncode == 0
    assert "Traceback" not in err
    assert running.logged("turn_failed") == []


def test_where_its_terminal_has_gone_a_hang_up_ends_it_as_ever(tmp_path, text):
    ours, theirs = os.openpty()
    watched = Running(tmp_path, text, stdin=theirs, start_new_session=True)
    try:
        os.close(theirs)
        watched.hang_up()
        wait_until(lambda: watched.logged("config_unchanged"), "a terminal is no reason to end")
        assert watched.process.poll() is None
        os.close(ours)
        watched.hang_up()
        watched.process.wait(timeout=SOON)
        assert watched.process.returncode == 0
    finally:
        watched.end()
