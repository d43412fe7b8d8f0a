"""The store as a file: made safely, checked, refused where it must be."""

import _sqlite3
import ctypes
import os
import sqlite3
import stat
import subprocess
import sys
import textwrap
from contextlib import closing

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine

import windwatch.store.migrations
from tests.conftest import missing
from tests.servers.samples import GUST_FRONT
from tests.store.samples import differences, save_report
from windwatch.clock import HandClock
from windwatch.errors import StoreError, StoreHeld
from windwatch.store import upgrade
from windwatch.store.sqlite import safe_modes, wal_is_sound
from windwatch.store.store import open_store

NOW = GUST_FRONT


@pytest.fixture
def clock():
    return HandClock(NOW)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "books" / "watch.db"


@pytest.fixture
def store(path, clock):
    with open_store(path, clock) as store:
        yield store


# --- the file ---------------------------------------------------------------


@pytest.mark.guard("files")
@pytest.mark.skipif(os.name != "posix", reason="permissions as POSIX has them")
def test_the_file_is_for_its_owner_only_and_so_is_a_folder_that_was_made(store, path):
    with store.transaction() as books:
        books.save_event("tick", NOW, {})
        assert {stat.S_IMODE(p.stat().st_mode) for p in path.parent.iterdir()} == {0o600}
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_what_was_committed_is_there_after_opening_again(path, clock):
    with open_store(path, clock) as store, store.transaction() as books:
        books.save_airfield_state("XLKS", '{"level":"over"}', NOW)
    with open_store(path, clock) as store:
        assert store.load_airfield_states() == {"XLKS": '{"level":"over"}'}


@pytest.mark.guard("files")
def test_a_symbolic_link_is_not_written_through(tmp_path, clock):
    (tmp_path / "link.db").symlink_to(tmp_path / "elsewhere.db")
    with pytest.raises(StoreError, match="symbolic link"):
        open_store(tmp_path / "link.db", clock)
    assert not (tmp_path / "elsewhere.db").exists()


def test_a_folder_is_no_store(tmp_path, clock):
    with pytest.raises(StoreError, match="not a file"):
        open_store(tmp_path, clock)


@pytest.mark.parametrize("content", [b"METAR XLKS 221853Z 20018G25KT\n" * 50, b"\0" * 8192])
def test_a_file_of_something_else_is_refused_and_left_alone(tmp_path, clock, content):
    file = tmp_path / "notes.txt"
    file.write_bytes(content)
    with pytest.raises(StoreError, match=r"notes\.txt .*name another file"):
        open_store(file, clock)
    assert file.read_bytes() == content


def test_another_programs_database_is_refused_and_left_alone(tmp_path, clock):
    file = tmp_path / "other.db"
    with closing(sqlite3.connect(file)) as other:
        other.execute("CREATE TABLE hangar (name TEXT)")
    before = file.read_bytes()
    with pytest.raises(StoreError, match=r"another program \(tables hangar\)"):
        open_store(file, clock)
    assert file.read_bytes() == before


def test_a_corrupt_page_is_found_at_start(path, clock):
    with open_store(path, clock) as store, store.transaction() as books:
        for number in range(50):
            save_report(books, f"r{number}")
    content = bytearray(path.read_bytes())
    for page in range(4, len(content) // 4096):
        content[page * 4096 : page * 4096 + 200] = b"\xa5" * 200
    path.write_bytes(content)
    with pytest.raises(StoreError, match=r"damaged.*set it aside"):
        open_store(path, clock)


@pytest.mark.fault("F45")
def test_a_store_of_a_later_windwatch_is_refused_with_advice(path, clock):
    open_store(path, clock).close()
    with closing(sqlite3.connect(path)) as later, later:
        later.execute("UPDATE alembic_version SET version_num = '0042'")
    with pytest.raises(StoreError, match=r"later windwatch \(store version 0042"):
        open_store(path, clock)


@pytest.mark.fault("F41")
@pytest.mark.skipif(os.name != "posix", reason="permissions as POSIX has them")
def test_a_store_that_cannot_be_written_is_named_with_the_mend(tmp_path, path, clock):
    open_store(path, clock).close()
    path.chmod(0o444)
    path.parent.chmod(0o555)
    script = textwrap.dedent("""
        import os, sys
        from pathlib import Path
        from windwatch.clock import SystemClock
        from windwatch.errors import StoreError
        from windwatch.store.store import open_store
        store, other = map(Path, sys.argv[1:])
        # Everything is loaded before the rights to read it are given up.
        open_store(other, SystemClock()).close()
        if os.geteuid() == 0:
            os.setgroups([])
            os.setgid(65534)
            os.setuid(65534)
        try:
            open_store(store, SystemClock())
        except StoreError as error:
            print(error)
    """)
    ours = [p for p in path.parent.parents if p.stat().st_uid == os.getuid() and "pytest" in p.name]
    for folder in (*ours, path.parent.parent):
        folder.chmod(0o755)
    found = subprocess.run(
        [sys.executable, "-c", script, str(path), str(tmp_path / "other.db")],
        capture_output=True,
        text=True,
        check=False,
    )
    path.parent.chmod(0o700)
    assert "cannot be written; look at the permissions" in found.stdout, found.stderr


def test_a_locked_store_says_so_after_waiting(path, clock, monkeypatch):
    monkeypatch.setattr("windwatch.store.sqlite.BUSY_TIMEOUT_S", 0.05)
    with open_store(path, clock) as store:
        with closing(sqlite3.connect(path, isolation_level=None)) as other:
            other.execute("BEGIN EXCLUSIVE")
            with pytest.raises(StoreError, match="locked by another program"), store.transaction():
                pass
        with store.transaction() as books:
            books.save_event("tick", NOW, {})
        assert len(store.events()) == 1


# --- settings ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("version", "sound"),
    [  # reliability.md, section 3: fixed in 3.51.3, 3.50.7 and 3.44.6
        ((3, 40, 1), False),
        ((3, 44, 5), False),
        ((3, 44, 6), True),
        ((3, 45, 0), False),
        ((3, 50, 6), False),
        ((3, 50, 7), True),
        ((3, 51, 0), False),
        ((3, 51, 2), False),
        ((3, 51, 3), True),
        ((3, 52, 0), True),
        ((4, 0, 0), True),
    ],
)
def test_wal_is_used_only_where_it_is_mended(version, sound):
    assert wal_is_sound(version) is sound
    assert safe_modes(version) == (("WAL", "FULL") if sound else ("DELETE", "EXTRA"))


def test_every_connection_is_set_as_it_must_be(store):
    journal, synchronous = safe_modes(sqlite3.sqlite_version_info)
    with store.reading() as one, store.reading() as other:
        for connection in (one, other):
            found = {
                name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
                for name in (
                    "journal_mode",
                    "synchronous",
                    "foreign_keys",
                    "mmap_size",
                    "busy_timeout",
                )
            }
            assert found == {
                "journal_mode": journal.lower(),
                "synchronous": {"FULL": 2, "EXTRA": 3}[synchronous],
                "foreign_keys": 1,
                "mmap_size": 0,
                "busy_timeout": 5000,
            }


# Found by the soak: memory grew for weeks, by a statement for each length that a list had.
def test_statements_with_lists_of_every_length_are_not_all_kept_prepared(store):
    used = getattr(ctypes.CDLL(_sqlite3.__file__), "sqlite3_memory_used", None)
    if used is None:
        missing("a SQLite library that says how much memory it uses")
    used.restype = ctypes.c_int64
    lists = [["id"] * length for length in range(1, 61)]
    for ids in lists:
        store.reports(ids)
    before = used()
    for ids in lists:
        store.untold("desk", ids)
        store.notices_about("desk", ids)
    assert used() - before < 64 * 1024


# --- versions ---------------------------------------------------------------


def test_the_steps_make_exactly_the_tables_that_the_program_uses(path, clock):
    open_store(path, clock).close()
    engine = create_engine(f"sqlite:///{path}")

    assert differences(engine) == []
    engine.dispose()


def test_the_versions_known_are_the_steps_there_are():
    config = Config()
    config.set_main_option("script_location", str(windwatch.store.migrations.__path__[0]))
    steps = [step.revision for step in ScriptDirectory.from_config(config).walk_revisions()]
    assert tuple(reversed(steps)) == upgrade.VERSIONS


def test_an_upgrade_that_fails_midway_leaves_nothing_behind(path, clock, monkeypatch):
    def fail(connection):
        connection.exec_driver_sql("CREATE TABLE half (x INTEGER)")
        raise RuntimeError("power cut")

    with monkeypatch.context() as patched:
        patched.setattr(upgrade, "_run_steps", fail)
        with pytest.raises(RuntimeError):
            open_store(path, clock)
    with open_store(path, clock) as store:
        assert store.load_airfield_states() == {}


def test_opening_an_up_to_date_store_does_not_load_alembic(path, clock):
    open_store(path, clock).close()
    script = (
        "import sys; from pathlib import Path; from windwatch.clock import SystemClock;"
        "from windwatch.store.store import open_store;"
        "open_store(Path(sys.argv[1]), SystemClock()).close();"
        "print('alembic' in sys.modules)"
    )
    found = subprocess.run(
        [sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=True
    )
    assert found.stdout.strip() == "False"


# --- one watcher ------------------------------------------------------------


def test_a_second_watcher_in_this_process_is_refused_by_name(store):
    with (
        store.hold("watch larkspur.toml"),
        pytest.raises(StoreHeld, match=rf"watch larkspur\.toml \(process {os.getpid()} on "),
    ):
        store.hold("another")
    store.hold("after release").release()


HOLD_AND_WAIT = """
import sys, time
from pathlib import Path
from windwatch.clock import SystemClock
from windwatch.store.store import open_store
store = open_store(Path(sys.argv[1]), SystemClock())
hold = store.hold("the first watcher")
print("holding", flush=True)
sys.stdin.read()
"""


@pytest.mark.fault("F36")
def test_a_second_process_is_refused_and_a_killed_holder_frees_it_at_once(store, path):
    with subprocess.Popen(
        [sys.executable, "-c", HOLD_AND_WAIT, str(path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as first:
        assert first.stdout.readline() == "holding\n"
        with pytest.raises(StoreHeld, match=rf"the first watcher \(process {first.pid} on "):
            store.hold("the second")
        # Whoever only looks something up, or takes note, is not kept out.
        with store.transaction() as books:
            books.acknowledge("episode-1", "instructor", NOW)
        first.kill()
        first.wait()
    store.hold("the second").release()


def test_a_command_may_write_while_the_watch_reads(store, path, clock):
    with open_store(path, clock) as command:
        with store.reading():
            pass
        with command.transaction() as books:
            books.acknowledge("e1", "instructor on duty", NOW)
        assert len(store.acknowledgements()) == 1
