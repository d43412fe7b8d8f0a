"""The heartbeat goes out after each complete cycle, and only then; what hangs ends the process.

Promise 9; faults F37 (a job hangs) and F38 (out of file handles or memory in one task).
"""

import errno
import logging
import threading
from datetime import timedelta
from http.server import BaseHTTPRequestHandler

import pytest

from tests.servers.loopback import LoopbackServer
from tests.watch.little_watch import START, STORM, bench, config_text
from tests.watch.test_operator import Feed, cycles
from tests.watch.test_store_down import allow, refuse
from windwatch.clock import HandClock, SystemClock
from windwatch.errors import FeedError, StoreError
from windwatch.schedule import run
from windwatch.upkeep.heartbeat import Heartbeat, HeartbeatTarget
from windwatch.upkeep.showing import Outward
from windwatch.upkeep.watchdog import GAVE_UP, Watchdog, limits
from windwatch.watch import Watch
from windwatch.wiring import make_channels, make_outward


class Listener(LoopbackServer):
    """Counts what it hears, and answers as told."""

    def __init__(self):
        listener = self
        self.heard = []
        self.status = 200
        self.hang = None

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self):
                listener.heard.append(self.path)
                if listener.hang is not None:
                    listener.hang.wait(5)
                self.send_response(listener.status)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_):
                pass

        super().__init__(Handler)

    @property
    def url(self):
        return f"{self.root}/a-key-that-nobody-may-read"


@pytest.fixture
def beating(tmp_path):
    with Listener() as listener:
        rim = (
            f'[watch]\nheartbeat_url = "{listener.url}"\nallow_http = true\n'
            'allow_networks = ["127.0.0.0/8"]\n'
        )
        with bench(tmp_path, config_text(rim=rim), HandClock(START)) as b:
            b.outward = make_outward(b.settings)
            b.anew(Feed(), b.outward)
            yield b, listener


def beats(b, listener):
    b.watch.keeper._outward.heartbeat.close()
    return len(listener.heard)


@pytest.mark.promise(9)
def test_each_complete_cycle_beats_once(beating):
    b, listener = beating
    for count in (1, 2, 3):
        cycles(b, 1)
        assert beats(b, listener) == count
    assert listener.heard[0] == "/a-key-that-nobody-may-read"
    b.watch.deliver()
    b.watch.tick()
    b.watch.deliver()
    assert beats(b, listener) == 3, "no poll, no cycle"


def test_a_poll_alone_is_no_cycle(beating):
    b, listener = beating
    b.watch.poll()
    assert beats(b, listener) == 0
    b.watch.deliver()
    assert beats(b, listener) == 1


def test_a_feed_that_fails_does_not_beat(beating):
    b, listener = beating
    b.feed.says = FeedError("awc", "no answer")
    cycles(b, 3)
    assert beats(b, listener) == 0
    b.feed.says = None
    cycles(b, 1)
    assert beats(b, listener) == 1


def test_a_store_that_cannot_be_written_does_not_beat(beating):
    b, listener = beating
    refuse(b.folder)
    cycles(b, 2)
    assert beats(b, listener) == 0, "also when there was nothing to write"
    allow(b.folder)
    cycles(b, 1)
    assert beats(b, listener) == 1


@pytest.mark.promise(9)
def test_a_queue_that_is_stuck_does_not_beat(beating, monkeypatch):
    b, listener = beating
    b.take(STORM)
    monkeypatch.setattr(b.watch._worker, "_take", lambda: False)
    cycles(b, 2)
    assert beats(b, listener) == 0
    monkeypatch.undo()
    cycles(b, 1)
    assert beats(b, listener) == 1


def test_an_outbox_that_cannot_be_read_does_not_beat(beating, monkeypatch):
    b, listener = beating

    def broken(*_, **__):
        raise StoreError("the disk failed")

    monkeypatch.setattr(b.store, "backlogs", broken)
    b.watch.poll()
    with pytest.raises(StoreError):
        b.watch.deliver()
    assert beats(b, listener) == 0


def test_a_listener_that_hangs_or_refuses_holds_nothing_up_and_its_address_is_not_logged(
    beating, caplog
):
    b, listener = beating
    listener.hang = threading.Event()
    for _ in range(3):
        cycles(b, 1)  # returns at once
    assert len(listener.heard) <= 1
    listener.hang.set()
    beats(b, listener)
    listener.hang, listener.status = None, 500
    cycles(b, 1)
    beats(b, listener)
    assert "heartbeat_failed" in caplog.text
    records = [vars(r) for r in caplog.records if r.message == "heartbeat_failed"]
    assert records[-1]["problem"] == "it answered 500"
    assert "a-key-that" not in str(records)
    assert b.watch.keeper.health(b.watch.books).heartbeat_problem == "it answered 500"


@pytest.mark.parametrize(
    "target",
    [
        pytest.param({"url": "http://127.0.0.1:1/a-key"}, id="not encrypted"),
        pytest.param({"url": "https://127.0.0.1/a-key"}, id="not public"),
        pytest.param({"url": "https://169.254.169.254/a-key"}, id="metadata"),
    ],
)
def test_an_address_that_is_not_public_is_not_called(target, caplog):
    heart = Heartbeat(HeartbeatTarget(**target))
    heart.beat()
    heart.close()
    assert heart.beats == 0
    assert "heartbeat_failed" in caplog.text
    assert "a-key" not in str([vars(r) for r in caplog.records])


# --- F37 --------------------------------------------------------------------------


@pytest.mark.fault("F37")
@pytest.mark.promise(9)
def test_f37_a_job_that_hangs_stops_the_heartbeat_and_ends_the_process(tmp_path, monkeypatch):
    """By a clock that runs six hundred times as fast."""

    class Fast(SystemClock):
        def monotonic(self):
            return super().monotonic() * 600

        def wait(self, event, seconds):
            return super().wait(event, min(seconds, 0.01))

    class Hanging(Feed):
        def __init__(self):
            super().__init__()
            self.go_on = threading.Event()

        def fetch(self, stations, now, *, since=None, fresh=False):
            self.go_on.wait(10)
            return super().fetch(stations, now)

    clock, ended = Fast(), []
    with bench(tmp_path, config_text(), SystemClock()) as b:
        feed = Hanging()
        heart = Heartbeat(HeartbeatTarget("http://127.0.0.1:1/"))
        watch = Watch(
            b.settings,
            b.store,
            feed,
            make_channels(b.settings),
            SystemClock(),
            outward=Outward(heartbeat=heart),
        )

        def end(status):
            ended.append(status)
            feed.go_on.set()

        with pytest.raises(StoreError, match=r"no poll has ended for \d+ s|no tick"):
            run(watch, timedelta(minutes=1), clock, threading.Event(), end)
        assert ended == [GAVE_UP]
        assert heart.beats == 0


@pytest.mark.fault("F37")
def test_f37_the_watchdog_waits_three_intervals_and_counts_no_sleep():
    clock = HandClock(START)
    dog = Watchdog(clock, limits(timedelta(minutes=2)))

    def seconds(count):
        said = ""
        for _ in range(count):
            clock.move(timedelta(seconds=1))
            dog.turned("tick")
            dog.turned("delivery")
            said = said or dog.look()
        return said

    assert seconds(360) == ""
    assert seconds(1) == "no poll has ended for 361 s"
    dog.turned("poll")
    clock.move(timedelta(hours=3))  # stopped, and gone on
    assert dog.look() == ""
    dog.turned("poll")
    assert seconds(100) == ""


# --- F38 --------------------------------------------------------------------------


@pytest.mark.fault("F38")
@pytest.mark.parametrize(
    "error",
    [
        pytest.param(OSError(errno.EMFILE, "Too many open files"), id="file handles"),
        pytest.param(MemoryError(), id="memory"),
        pytest.param(RuntimeError("can't start new thread"), id="threads"),
    ],
)
def test_f38_a_task_without_means_fails_and_the_next_cycle_is_good(beating, caplog, error):
    b, listener = beating
    b.feed.says = error
    cycles(b, 2)
    assert beats(b, listener) == 0
    assert "feed_broke" in caplog.text
    assert b.watch.keeper.health(b.watch.books).feed_problem
    b.feed.says = None
    cycles(b, 1)
    assert beats(b, listener) == 1


@pytest.mark.fault("F38")
def test_f38_a_channel_without_means_is_one_failed_try_and_nothing_leaks(beating, monkeypatch):
    b, _ = beating
    b.take(STORM)
    monkeypatch.setattr(
        "windwatch.delivery.folder.replace_file",
        lambda *_: (_ for _ in ()).throw(MemoryError()),
    )
    logging.getLogger("windwatch").setLevel(logging.CRITICAL)
    before = threading.active_count()
    cycles(b, 9)
    # The workers' pool may grow by a thread or two; a leak would be one in each cycle.
    assert threading.active_count() <= before + 4, threading.enumerate()
    monkeypatch.undo()
    cycles(b, 8)  # by now five minutes lie between two tries, and a fifth more
    assert len(list((b.folder / "dropped").glob("*.eml"))) == 1
    assert b.watch._worker._under_way == {}
    logging.getLogger("windwatch").setLevel(logging.NOTSET)


@pytest.mark.fault("F38")
def test_f38_no_thread_for_a_delivery_is_one_failed_try(beating, monkeypatch):
    b, _ = beating
    b.take(STORM)
    real = threading.Thread.start

    def start(thread):
        if thread.name.startswith("delivery"):
            raise RuntimeError("can't start new thread")
        real(thread)

    monkeypatch.setattr(threading.Thread, "start", start)
    b.watch.poll()
    assert b.watch.deliver().accepted == 0
    assert b.watch._worker._under_way == {}
    monkeypatch.undo()
    cycles(b, 1)
    assert len(list((b.folder / "dropped").glob("*.eml"))) == 1
