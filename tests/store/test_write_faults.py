"""The disk is full, slow or broken at any one write: all of a transaction is there, or nothing."""

import shutil
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import event

from tests.servers.samples import GUST_FRONT, REPORT, a_content, a_notice, a_step
from tests.store.samples import open_episode, save_report
from windwatch.errors import StoreError
from windwatch.notices.outbox import DeliveryState, Outcome
from windwatch.store import sqlite
from windwatch.store.store import open_store

NOW = GUST_FRONT
LEASE = timedelta(seconds=60)
ACCEPTED = Outcome(DeliveryState.ACCEPTED, "250 taken")


def judge(store):
    """One report's changes, as the watch writes them."""
    step = a_step()
    with store.transaction() as books:
        save_report(books, REPORT.id)
        books.save_steps([step])
        open_episode(books)
        books.save_airfield_state("XLKS", '{"level":"over"}', NOW)
        books.enqueue(a_notice("a", 1, steps=(step,)), a_content(), ["email", "webhook"])
        books.enqueue(a_notice("b", 1, steps=(step,)), a_content(), ["email"])


def deliver(store):
    claimed = store.claim_due(NOW, 10, LEASE)
    store.finish([(d, ACCEPTED) for d in claimed], NOW)


def parts_there(store):
    """Which of the things that one transaction writes are there."""
    return {
        "report": bool(store.reports([REPORT.id])),
        "steps": bool(store.steps("episode-1")),
        "episode": store.episode("episode-1") is not None,
        "state": bool(store.load_airfield_states()),
        "notices": len(store.notices()) == 2,
        "deliveries": sum(len(n.deliveries) for n in store.notices()) == 3,
    }


class Faults:
    """Lets the n-th statement of an engine fail, once or from then on."""

    def __init__(self, engine, nth, *, lasting):
        self.nth, self.lasting, self.count, self.hit = nth, lasting, 0, False
        event.listen(engine, "before_cursor_execute", self.statement)
        event.listen(engine, "commit", self.step)

    def statement(self, *_):
        self.step()

    def step(self, *_):
        self.count += 1
        if self.count == self.nth or (self.lasting and self.count > self.nth):
            self.hit = True
            error = sqlite3.OperationalError("disk I/O error")
            error.sqlite_errorname = "SQLITE_IOERR_WRITE"
            raise error


@pytest.mark.fault("F44")
@pytest.mark.promise(1)
@pytest.mark.parametrize("lasting", [False, True], ids=["once", "lasting"])
def test_whichever_statement_fails_nothing_is_half_written_and_the_next_run_completes_it(
    tmp_path, clock, lasting
):
    """F44, at the statements: n = 1, 2, 3 ... until a run has no fault."""
    nth, hits = 0, 0
    empty = tmp_path / "empty.db"
    open_store(empty, clock).close()
    while True:
        nth += 1
        path = Path(shutil.copy(empty, tmp_path / f"{nth}.db"))
        with open_store(path, clock, durable=False) as store:
            faults = Faults(store._engine, nth, lasting=lasting)
            for act in (judge, deliver):
                try:
                    act(store)
                except (StoreError, sqlite3.OperationalError):
                    continue
        if not faults.hit:
            break
        hits += 1
        with open_store(path, clock, durable=False) as store:
            assert store.check().problems == ()
            assert len(set(parts_there(store).values())) == 1, nth
            # The same reports come again, and what was under way is taken up.
            judge(store)
            claimed = store.claim_due(NOW + LEASE, 10, LEASE)
            store.finish([(d, ACCEPTED) for d in claimed], NOW + LEASE)
            assert all(parts_there(store).values())
            assert {d.state.value for n in store.notices() for d in n.deliveries} == {"accepted"}
    assert hits > 15


# A limit on the size of files makes the system itself refuse a write, at any one of them: in the
# journal, in the pages, in the growing of the file. It runs by itself: the limit is a process's.
LIMITED = """
import resource, shutil, sys
from pathlib import Path
from tests.servers.samples import GUST_FRONT
from tests.store.test_write_faults import deliver, judge, parts_there
from windwatch.clock import HandClock
from tests.store.samples import open_episode, save_report
from windwatch.errors import StoreError
from windwatch.store.store import open_store

folder, clock = Path(sys.argv[1]), HandClock(GUST_FRONT)
soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
empty = folder / "empty.db"
open_store(empty, clock).close()
failed, limit = 0, 0
while True:
    # Not a multiple of a page, so that some writes are cut in two.
    limit += 5_000
    path = Path(shutil.copy(empty, folder / f"{limit}.db"))
    refused = 0
    with open_store(path, clock, check=False) as store:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, hard))
        for act in (judge, deliver):
            try:
                act(store)
            except StoreError:
                refused += 1
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        # Room has come back: the same connections go on.
        assert len(set(parts_there(store).values())) == 1, (limit, parts_there(store))
        judge(store)
        assert all(parts_there(store).values()), limit
        assert store.check().problems == (), limit
    if not refused:
        break
    failed += 1
print(failed)
"""


@pytest.mark.fault("F40", "F44")
@pytest.mark.promise(1)
@pytest.mark.skipif(sys.platform == "win32", reason="limits as POSIX has them")
def test_whichever_write_the_system_refuses_nothing_is_half_written(tmp_path, root):
    """F44, at the system's own calls."""
    found = subprocess.run(
        [sys.executable, "-c", LIMITED, str(tmp_path)],
        capture_output=True,
        text=True,
        cwd=root,
        check=False,
    )
    assert found.returncode == 0, found.stderr
    assert int(found.stdout) > 10


@pytest.mark.fault("F40")
def test_a_full_disk_is_named_and_the_same_store_goes_on_when_there_is_room(tmp_path, clock):
    """F40."""
    with open_store(tmp_path / "watch.db", clock) as store:
        with store.writing() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        limit = pages + 4

        @event.listens_for(store._engine, "begin")
        def only_so_many_pages(connection):
            connection.exec_driver_sql(f"PRAGMA max_page_count = {limit}")

        kinds = []
        for number in range(20):
            try:
                with store.transaction() as books:
                    books.enqueue(a_notice(number=number), a_content("x" * 3_000), ["email"])
            except StoreError as error:
                kinds.append(error.kind)
        assert set(kinds) == {"full"}
        assert store.check().problems == ()
        kept = len(store.notices())
        limit = 1_000_000
        with store.transaction() as books:
            books.enqueue(a_notice("later"), a_content(), ["email"])
        assert len(store.notices()) == kept + 1


@pytest.mark.fault("F42")
def test_a_file_locked_by_another_program_is_waited_for_and_then_named(
    tmp_path, clock, monkeypatch
):
    """F42."""
    path = tmp_path / "watch.db"
    monkeypatch.setattr(sqlite, "BUSY_TIMEOUT_S", 0.1)
    with (
        open_store(path, clock) as store,
        closing(sqlite3.connect(path, isolation_level=None)) as other,
    ):
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(StoreError, match="locked by another program") as met:
            judge(store)
        assert met.value.kind == "busy"
        other.execute("ROLLBACK")
        judge(store)
        assert all(parts_there(store).values())


def test_a_lock_that_ends_in_time_is_only_waited_for(tmp_path, clock):
    path = tmp_path / "watch.db"
    with (
        open_store(path, clock) as store,
        closing(sqlite3.connect(path, isolation_level=None, check_same_thread=False)) as other,
    ):
        other.execute("BEGIN EXCLUSIVE")
        ending = threading.Timer(0.15, other.execute, ["ROLLBACK"])
        ending.start()
        judge(store)
        ending.join()
        assert all(parts_there(store).values())


@pytest.mark.fault("F41")
def test_a_store_that_became_read_only_is_named_and_goes_on_when_it_is_not(tmp_path, clock):
    """F41. SQLite itself is told that it may only read: the tests may run as root."""
    with open_store(tmp_path / "watch.db", clock) as store:
        only_read = True

        @event.listens_for(store._engine, "checkout")
        def may_only_read(raw, *_):
            raw.execute(f"PRAGMA query_only = {'ON' if only_read else 'OFF'}")

        with pytest.raises(StoreError) as met:
            judge(store)
        assert met.value.kind == "read-only"
        assert store.notices() == ()
        only_read = False
        judge(store)
        assert all(parts_there(store).values())
