"""SIGTERM while a delivery is under way: it ends or is released, and nothing is lost. Fault F35.

A real `windwatch watch`, a real receiver that takes its time.
"""

import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time

import pytest

from tests.servers.feed_server import PlayedFeed
from tests.servers.webhook_server import SECRET, WebhookReceiver
from tests.watch.little_watch import QUIET, STORM, config_text, metar, recording
from tests.watch.test_watch_process import CLOCK, SOON, ago, wait_until

DESK = (
    '\n[[contact]]\nname = "desk"\n'
    'webhook = { url = "URL", allow_http = true, secret_env = "HOOK_SECRET" }\n'
)
RIM = '[delivery]\nallow_networks = ["127.0.0.0/8"]\n'


class Slow:
    """A receiver that answers when it is let go."""

    def __init__(self, hook):
        self.hook = hook
        self.called, self.go_on = threading.Event(), threading.Event()
        hook.on_call = self.take

    def take(self, _):
        self.called.set()
        self.go_on.wait(60)


@pytest.fixture
def running(tmp_path):
    """A watch in a storm whose first notice is just being sent."""
    day = [(ago(65), metar(ago(65), QUIET)), (ago(3), metar(ago(5), STORM))]
    with (
        WebhookReceiver() as hook,
        PlayedFeed(recording(tmp_path / "day.txt", day), CLOCK) as feed,
    ):
        slow = Slow(hook)
        text = config_text(feed=feed.url, people=DESK.replace("URL", hook.url), rim=RIM)
        (tmp_path / "field.toml").write_text(text, encoding="utf-8")
        process = start(tmp_path)
        assert slow.called.wait(SOON)
        yield process, slow, tmp_path
        slow.go_on.set()
        if process.poll() is None:
            process.kill()
        process.communicate()


def start(folder, *more):
    return subprocess.Popen(
        [sys.executable, "-m", "windwatch", "watch", *more, "field.toml"],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"HOOK_SECRET": SECRET},
    )


def deliveries(folder):
    with sqlite3.connect(folder / "watch.db") as raw:
        found = raw.execute("SELECT state FROM deliveries").fetchall()
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    raw.close()
    return [state for (state,) in found]


@pytest.mark.fault("F35")
@pytest.mark.promise(2)
def test_f35_what_is_under_way_ends_and_is_written_down_before_it_leaves(running):
    process, slow, folder = running
    process.send_signal(signal.SIGTERM)
    threading.Timer(1.0, slow.go_on.set).start()
    _, err = process.communicate(timeout=SOON)
    assert process.returncode == 0, err
    assert "Traceback" not in err
    assert deliveries(folder) == ["accepted"]
    assert len(slow.hook.calls) == 1


@pytest.mark.long
@pytest.mark.fault("F35")
@pytest.mark.promise(2)
def test_f35_what_does_not_end_is_released_within_twenty_seconds_and_sent_by_the_next(running):
    process, slow, folder = running
    began = time.monotonic()
    process.send_signal(signal.SIGTERM)
    _, err = process.communicate(timeout=60)
    assert time.monotonic() - began <= 20 + 2
    assert process.returncode == 0, err
    assert deliveries(folder) != ["accepted"]
    slow.go_on.set()
    following = start(folder)
    # The lease of the interrupted try runs out after a minute; then the same notice comes again.
    wait_until_taken = threading.Event()
    slow.hook.on_call = lambda _: wait_until_taken.set()
    assert wait_until_taken.wait(90)
    wait_until(lambda: deliveries(folder) == ["accepted"], "not written down")
    following.send_signal(signal.SIGTERM)
    following.communicate(timeout=SOON)
    assert following.returncode == 0
    assert len({call.headers["webhook-id"] for call in slow.hook.calls}) == 1
