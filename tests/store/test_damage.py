"""A damaged store is set aside, never deleted, and people hear of it."""

import sqlite3
from contextlib import closing

import pytest

from tests.servers.samples import GUST_FRONT, a_content, a_notice
from tests.store.samples import save_report
from windwatch.errors import StoreError, StoreHeld
from windwatch.store.damage import set_aside
from windwatch.store.store import open_store

NOW = GUST_FRONT
ASIDE = "watch.db.damaged-20260922T190900Z"


@pytest.fixture
def path(tmp_path):
    return tmp_path / "watch.db"


@pytest.fixture
def watched(path, clock):
    """A store with something in it that a watch has used."""
    with open_store(path, clock) as store, store.hold("the watch"):
        for number in range(50):
            with store.transaction() as books:
                save_report(books, f"r{number}")
                books.enqueue(a_notice(number=number), a_content(), ["email"])
    return path


def corrupt(path, pages):
    content = bytearray(path.read_bytes())
    for page in pages(len(content) // 4096):
        content[page * 4096 : page * 4096 + 200] = b"\xa5" * 200
    path.write_bytes(content)
    return bytes(content)


DAMAGES = {
    "the first page": lambda count: [0],
    "one page in the middle": lambda count: [count // 2],
    "every page but the first": lambda count: range(1, count),
}


@pytest.mark.fault("F43")
@pytest.mark.parametrize("pages", DAMAGES.values(), ids=DAMAGES)
def test_a_damaged_store_is_set_aside_whole_and_a_new_one_begun(watched, clock, pages):
    content = corrupt(watched, pages)
    with open_store(watched, clock, repair=True) as store:
        assert store.notices() == ()
        assert ASIDE in store.repaired
        assert "may be told again" in store.repaired
        assert store.check().problems == ()
    assert watched.with_name(ASIDE).read_bytes() == content


@pytest.mark.fault("F43")
def test_a_file_of_zeros_is_set_aside_and_a_new_store_begun(path, clock):
    """F43."""
    path.write_bytes(b"\0" * 8192)
    with open_store(path, clock, repair=True) as store:
        assert ASIDE in store.repaired
    assert path.with_name(ASIDE).read_bytes() == b"\0" * 8192


def test_what_belongs_to_a_damaged_store_goes_with_it(watched, clock):
    corrupt(watched, lambda count: range(1, count))
    watched.with_name("watch.db-journal").write_bytes(b"half a transaction")
    assert set_aside(watched, NOW) == watched.with_name(ASIDE)
    assert watched.with_name(f"{ASIDE}-journal").read_bytes() == b"half a transaction"
    assert not watched.with_name("watch.db-journal").exists()


def test_two_damaged_stores_of_one_second_are_both_kept(path, clock):
    for content in (b"\0" * 512, b"\0" * 1024):
        path.write_bytes(content)
        open_store(path, clock, repair=True).close()
    sizes = sorted(p.stat().st_size for p in path.parent.glob("watch.db.damaged-*"))
    assert sizes == [512, 1024]


@pytest.mark.fault("F43")
def test_people_are_told_once_also_after_a_restart_in_between(watched, clock):
    corrupt(watched, lambda count: range(1, count))
    open_store(watched, clock, repair=True).close()
    with open_store(watched, clock, repair=True) as store:
        assert store.repaired
        with store.transaction() as books:
            books.repair_told(clock.now())
        assert store.repaired == ""
    with open_store(watched, clock, repair=True) as store:
        assert store.repaired == ""


def test_only_the_watch_sets_a_store_aside(watched, clock):
    content = corrupt(watched, lambda count: range(1, count))
    with pytest.raises(StoreError, match="damaged") as refused:
        open_store(watched, clock)
    assert refused.value.kind == "damaged"
    assert watched.read_bytes() == content


def test_a_store_is_not_taken_from_under_a_watch_that_goes_on(watched, clock):
    with open_store(watched, clock) as store, store.hold("the first watch"):
        corrupt(watched, lambda count: range(1, count))
        with pytest.raises(StoreHeld, match="the first watch"):
            open_store(watched, clock, repair=True)
    assert not watched.with_name(ASIDE).exists()


def test_notes_and_other_programs_databases_are_not_set_aside(path, clock):
    notes = b"METAR XLKS 221853Z 20018G25KT\n" * 50
    path.write_bytes(notes)
    with pytest.raises(StoreError, match="not a windwatch store"):
        open_store(path, clock, repair=True)
    assert path.read_bytes() == notes
    path.unlink()
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE hangar (name TEXT)")
    with pytest.raises(StoreError, match="another program"):
        open_store(path, clock, repair=True)
    assert [p.name for p in path.parent.iterdir()] == ["watch.db"]


@pytest.mark.parametrize("how", ["deleted", "emptied"])
def test_a_store_that_was_lost_between_two_runs_is_told_of_too(watched, clock, how):
    if how == "deleted":
        watched.unlink()
    else:
        watched.write_bytes(b"")
    with open_store(watched, clock) as store:
        assert "was gone or empty" in store.repaired


def test_the_first_store_of_all_has_nothing_to_tell(path, clock):
    with open_store(path, clock, repair=True) as store:
        assert store.repaired == ""


def test_damage_met_while_running_is_named(watched, clock):
    with open_store(watched, clock) as store:
        corrupt(watched, lambda count: range(1, count))
        # What it has read already it need not read again.
        store.close()
        with pytest.raises(StoreError) as met:
            store.notices()
        assert met.value.kind == "damaged"
        assert store.check().problems


@pytest.mark.fault("F41")
@pytest.mark.parametrize("how", ["deleted", "replaced"])
def test_a_store_deleted_while_running_is_noticed_and_takes_nothing(watched, clock, how):
    """F41. A file without a name takes writes that nobody finds again."""
    with open_store(watched, clock) as store:
        kept = watched.rename(watched.with_name("kept.db"))
        if how == "replaced":
            watched.write_bytes(kept.read_bytes())
        with (
            pytest.raises(StoreError, match="deleted or replaced") as met,
            store.transaction() as books,
        ):
            books.save_event("tick", NOW, {})
        assert met.value.kind == "gone"
        kept.replace(watched)
        # Put back in its place, it goes on.
        with store.transaction() as books:
            books.save_event("tick", NOW, {})
