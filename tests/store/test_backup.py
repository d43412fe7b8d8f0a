"""A backup is whole, for its owner's eyes only, and made while the watch goes on."""

import os
import stat
import threading

import pytest

from tests.servers.samples import GUST_FRONT, a_content, a_notice
from windwatch.errors import StoreError
from windwatch.store import backup
from windwatch.store.store import open_database, open_store

NOW = GUST_FRONT


@pytest.fixture
def path(tmp_path):
    return tmp_path / "watch.db"


@pytest.fixture
def store(path, clock):
    with open_store(path, clock, durable=False) as store:
        for number in range(20):
            enqueue(store, number)
        yield store


def enqueue(store, number):
    with store.transaction() as books:
        books.save_event("tick", NOW, {"number": number})
        books.enqueue(a_notice(number=number), a_content(), ["email"])


@pytest.mark.fault("F45")
def test_a_copy_holds_everything_and_says_that_it_is_one(store, tmp_path, clock):
    copy = tmp_path / "copy.db"
    assert store.backup(copy) == copy.stat().st_size
    with open_store(copy, clock) as copied:
        assert copied.notices() == store.notices()
        assert copied.events() == store.events()
        # F45: repeats are possible, and it is said.
        assert "put back from a backup made on 2026-09-22 at 19:09Z" in copied.repaired
        assert "may be told again" in copied.repaired
    assert store.repaired == ""


@pytest.mark.skipif(os.name != "posix", reason="permissions as POSIX has them")
def test_a_copy_is_for_its_owner_only(store, tmp_path):
    before = os.umask(0)
    try:
        store.backup(tmp_path / "copy.db")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "copy.db").stat().st_mode) == 0o600


def test_a_file_that_is_there_is_replaced_only_by_force(store, tmp_path, clock):
    copy = tmp_path / "copy.db"
    copy.write_text("last year's")
    with pytest.raises(StoreError, match=r"copy\.db is there already.*--force"):
        store.backup(copy)
    assert copy.read_text() == "last year's"
    store.backup(copy, force=True)
    with open_store(copy, clock) as copied:
        assert len(copied.notices()) == 20


def test_a_file_that_comes_while_the_copy_is_made_is_not_replaced(store, tmp_path, monkeypatch):
    copy = tmp_path / "copy.db"
    fill = backup._fill

    def slow(*args):
        fill(*args)
        copy.write_text("somebody was faster")

    monkeypatch.setattr(backup, "_fill", slow)
    with pytest.raises(StoreError, match="is there already"):
        store.backup(copy)
    assert copy.read_text() == "somebody was faster"


def test_the_store_itself_a_link_and_a_folder_are_no_place_for_a_copy(store, path, tmp_path):
    (tmp_path / "link.db").symlink_to(tmp_path / "elsewhere.db")
    for place, said in (
        (path, "is the store itself"),
        (tmp_path / "link.db", "no plain file"),
        (tmp_path, "no plain file"),
        (tmp_path / "missing" / "copy.db", "cannot be made"),
    ):
        with pytest.raises(StoreError, match=said):
            store.backup(place, force=True)
    assert len(store.notices()) == 20


def test_a_copy_that_fails_leaves_nothing_and_what_was_there_before(store, tmp_path, monkeypatch):
    copy = tmp_path / "copy.db"
    copy.write_text("last year's")

    def fail(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backup, "_fill", fail)
    before = sorted(p.name for p in tmp_path.iterdir())
    with pytest.raises(StoreError, match="No space left"):
        store.backup(copy, force=True)
    assert sorted(p.name for p in tmp_path.iterdir()) == before
    assert copy.read_text() == "last year's"


@pytest.mark.parametrize("pages", [1, 2_000])
def test_a_copy_made_in_the_midst_of_writing_is_of_one_moment(
    store, tmp_path, clock, monkeypatch, pages
):
    monkeypatch.setattr(backup, "PAGES", pages)
    stop, numbers = threading.Event(), iter(range(20, 100_000))

    def write():
        while not stop.is_set():
            enqueue(store, next(numbers))
            stop.wait(0.001)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        copies = [tmp_path / f"copy-{n}.db" for n in range(5)]
        for copy in copies:
            store.backup(copy)
    finally:
        stop.set()
        writer.join()
    for copy in copies:
        with open_store(copy, clock) as copied:
            found = copied.check()
            assert found.problems == ()
            # Each transaction wrote one of each: none is in the copy by half.
            counts = {found.counts[name] for name in ("events", "notices", "deliveries")}
            assert len(counts) == 1
            assert [e.detail["number"] for e in copied.events()] == list(range(counts.pop()))


def test_a_database_is_left_to_its_servers_tools(database, tmp_path, clock):
    with (
        open_database(database, None, clock) as store,
        pytest.raises(StoreError, match="pg_dump"),
    ):
        store.backup(tmp_path / "copy.db")
    assert list(tmp_path.iterdir()) == []
