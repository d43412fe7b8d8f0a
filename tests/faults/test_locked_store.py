"""Another program holds the store's lock for longer than anybody waits: fault F42."""

import subprocess
import sys
import threading
from contextlib import contextmanager

import pytest

from tests.watch.little_watch import (
    MINUTE,
    QUIET,
    START,
    STORM,
    bench,
    config_text,
    ids,
    metar,
    said,
)
from tests.watch.test_heartbeat import Listener
from tests.watch.test_operator import DESK, TECHNICIAN
from windwatch.clock import HandClock, SystemClock
from windwatch.errors import StoreError
from windwatch.feeds.values import FetchResult
from windwatch.record import keep
from windwatch.reports.raw import RawReport
from windwatch.store import sqlite
from windwatch.store.store import open_store
from windwatch.upkeep.showing import Outward
from windwatch.wiring import make_outward

# A backup tool of somebody else's, a database browser, a forgotten shell.
HOLDER = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("BEGIN EXCLUSIVE")
print("locked", flush=True)
sys.stdin.readline()
connection.execute("ROLLBACK")
print("free", flush=True)
"""


@contextmanager
def another_program(path):
    """A second process that has the file for itself until `free` is called."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout.readline() == "locked\n"

        def free():
            if process.poll() is None:
                process.communicate("\n")

        try:
            yield free
        finally:
            free()


class Winds:
    """A feed with the reports that a test puts in."""

    def __init__(self):
        self.texts = []

    def fetch(self, stations, now, *, since=None, fresh=False):
        raws = tuple(RawReport(text, now, "test") for text in self.texts)
        return FetchResult(raws, (), stations, server_date=now)

    def close(self):
        pass


@contextmanager
def watched(tmp_path):
    """A watch on a durable store, with a heartbeat and an operator."""
    with Listener() as listener:
        rim = (
            f'[watch]\nheartbeat_url = "{listener.url}"\nallow_http = true\n'
            'allow_networks = ["127.0.0.0/8"]\n'
        )
        text = config_text(rim=rim, people=DESK + TECHNICIAN)
        with (
            bench(tmp_path, text, HandClock(START)) as b,
            open_store(tmp_path / "watch.db", b.clock) as store,
        ):
            b.store, b.outward = store, make_outward(b.settings)
            b.anew(Winds(), b.outward)
            yield b, listener


def cycle(b):
    b.clock.move(MINUTE)
    report = b.watch.poll()
    try:
        b.watch.deliver()
    except StoreError:
        report.failed.append("delivery")
    return report


def beats(b, listener):
    b.outward.heartbeat.close()
    return len(listener.heard)


def lock_for(b, listener, patience_s):
    """A storm comes while the store is locked for six times as long; return the ids it keeps."""
    b.feed.texts = [metar(START, QUIET)]
    assert cycle(b).failed == []
    assert beats(b, listener) == 1
    clock, waited_s = SystemClock(), []
    with another_program(b.folder / "watch.db") as free:
        began = clock.monotonic()
        b.feed.texts.append(metar(START + 2 * MINUTE, STORM))
        while clock.monotonic() - began < 6 * patience_s:
            before = clock.monotonic()
            assert cycle(b).failed, "it could not be written"
            waited_s.append(clock.monotonic() - before)
        assert min(waited_s) >= patience_s, "it waits before it says so"
        assert beats(b, listener) == 1, "no cycle is complete, so no heartbeat"
        assert b.watch.keeper.direct.wait(5 * MINUTE)
        dropped = [path.read_text() for path in (b.folder / "dropped").glob("*.eml")]
        assert len(dropped) == 1, "people are warned meanwhile"
        assert "X-XLKS 41 kt" in dropped[0]
        [told] = [path.read_text() for path in (b.folder / "technician").glob("*.eml")]
        assert "was locked by another program" in " ".join(told.split())
        free()
    b.clock.move(MINUTE)
    assert b.watch.tick().failed == []
    assert cycle(b).failed == []
    assert beats(b, listener) == 2, "late, but there again"
    assert b.watch.keeper.gave_up == ""
    assert b.store.check().problems == ()
    assert len(list((b.folder / "dropped").glob("*.eml"))) == 1, "and nobody twice"
    return [k.notice.id for k in b.store.notices() if k.notice.airfield == "XLKS"]


def undisturbed(folder):
    folder.mkdir()
    with bench(folder, config_text(people=DESK), HandClock(START)) as b:
        b.take(QUIET)
        b.at(START + 2 * MINUTE)
        report = b.take(STORM)
        assert said(report) == [("desk", "opened")]
        return ids(report)


@pytest.mark.fault("F42")
@pytest.mark.promise(9, 17)
def test_f42_a_lock_six_times_as_long_as_its_patience_loses_nothing(monkeypatch, tmp_path):
    """As 30 s are to 5 s; here 0.1 s of patience."""
    monkeypatch.setattr(sqlite, "BUSY_TIMEOUT_S", 0.1)
    with watched(tmp_path) as (b, listener):
        kept = lock_for(b, listener, 0.1)
    assert kept == undisturbed(tmp_path / "control")


@pytest.mark.long
@pytest.mark.fault("F42")
def test_f42_thirty_seconds_by_the_clock(tmp_path):
    with watched(tmp_path) as (b, listener):
        kept = lock_for(b, listener, sqlite.BUSY_TIMEOUT_S)
    assert kept == undisturbed(tmp_path / "control")


@pytest.mark.fault("F42")
def test_f42_a_lock_that_ends_within_its_patience_is_only_waited_for(tmp_path):
    with watched(tmp_path) as (b, listener):
        b.feed.texts = [metar(START, QUIET)]
        cycle(b)
        with another_program(b.folder / "watch.db") as free:
            releasing = threading.Timer(0.4, free)
            releasing.start()
            b.feed.texts.append(metar(START + 2 * MINUTE, STORM))
            report = cycle(b)
            releasing.join()
        assert said(report) == [("desk", "opened")]
        assert report.failed == []
        assert beats(b, listener) == 2, "late, but whole"


MANY = ("XLKS", "XBRN", "XCRW", "XDUN", "XELM", "XFEN")


@pytest.mark.fault("F42")
@pytest.mark.promise(16, 17)
def test_f42_a_locked_store_is_waited_for_once_a_turn_and_not_at_each_airfield(
    monkeypatch, tmp_path, caplog
):
    monkeypatch.setattr(sqlite, "BUSY_TIMEOUT_S", 0.05)
    tries = []

    def counted(*args):
        tries.append(args)
        keep(*args)

    monkeypatch.setattr("windwatch.watch.keep", counted)
    with (
        bench(tmp_path, config_text(people=DESK, airfields=MANY), HandClock(START)) as b,
        open_store(tmp_path / "watch.db", b.clock) as store,
    ):
        b.store = store
        b.anew(Winds(), Outward())
        with another_program(b.folder / "watch.db") as free:
            b.watch.tick()
            assert caplog.text.count("clock_unrecorded") == 1, "and not for each airfield"
            b.watch.tick()
            assert caplog.text.count("clock_unrecorded") == 2, "tried again in the next turn"
            del tries[:]
            b.clock.move(MINUTE)
            b.feed.texts = [metar(b.clock.now(), STORM, name) for name in MANY]
            assert len(b.watch.poll().failed) >= len(MANY)
            # One for the reports and one for the tick that follows them.
            assert len(tries) <= 2
            assert b.watch.keeper.direct.wait(5 * MINUTE)
            assert len(list((b.folder / "dropped").glob("*.eml"))) == len(MANY), "all are warned"
            free()
        b.clock.move(MINUTE)
        assert b.watch.tick().failed == []
        kept = [k.notice.airfield for k in store.notices() if k.notice.kind != "operator"]
        assert sorted(kept) == sorted(MANY), "and nothing is lost"
