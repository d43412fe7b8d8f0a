"""The store is damaged, or from yesterday: people are told, and nothing is cleared by it.

Faults F43 and F45, seen by the people who are told.
"""

import shutil
from datetime import timedelta

import pytest

from tests.faults.test_locked_store import Winds
from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, config_text, metar, said
from tests.watch.test_operator import DESK, TECHNICIAN
from windwatch.clock import HandClock
from windwatch.store.notes import replaced_at
from windwatch.store.store import open_store
from windwatch.watch import Watch
from windwatch.wiring import make_channels

DAY = timedelta(days=1)


@pytest.fixture
def field(tmp_path):
    with bench(tmp_path, config_text(people=DESK + TECHNICIAN), HandClock(START)) as b:
        b.feed = Winds()
        b.again()
        yield b


def shows(b, *winds):
    """The feed shows reports of so many minutes ago."""
    now = b.clock.now()
    b.feed.texts = [metar(now - ago * MINUTE, wind) for ago, wind in winds]


def begin_again(b, store):
    return Watch(b.settings, store, b.feed, make_channels(b.settings), b.clock)


def of_the_store(store):
    return [
        (n.notice.contact, n.content.text)
        for n in store.notices()
        if n.notice.kind == "operator" and n.content.payload["trouble"]["key"] == "store repaired"
    ]


def a_page(path):
    content = bytearray(path.read_bytes())
    for page in range(1, len(content) // 4096):
        content[page * 4096 : page * 4096 + 200] = b"\xa5" * 200
    path.write_bytes(content)


def zeros(path):
    path.write_bytes(bytes(8192))


@pytest.mark.fault("F43")
@pytest.mark.promise(7)
@pytest.mark.parametrize("damage", [a_page, zeros])
def test_f43_a_damaged_store_is_set_aside_everybody_is_told_once_and_nothing_is_cleared(
    field, damage
):
    b, path = field, field.folder / "watch.db"
    shows(b, (0, STORM))
    assert said(b.watch.poll()) == [("desk", "opened")]
    b.store.close()
    damage(path)
    content = path.read_bytes()
    b.clock.move(61 * MINUTE)
    with open_store(path, b.clock, repair=True) as store:
        watch = begin_again(b, store)
        # The feed still has the crossing: it is told again, and that this may be is said.
        shows(b, (61, STORM), (1, QUIET))
        report = watch.poll()
        assert said(report) == [("desk", "opened")]
        for contact in ("desk", "technician"):
            [text] = [text for name, text in of_the_store(store) if name == contact]
            assert "may be told again" in " ".join(text.split())
        for _ in range(5):
            b.clock.move(MINUTE)
            assert said(watch.poll()) == []
        assert len(of_the_store(store)) == 2, "once each"
        assert any(told.open for told in watch.books["XLKS"].state.ledger)
    [aside] = path.parent.glob("watch.db.damaged-*Z")
    assert aside.read_bytes() == content, "kept as it was"


@pytest.mark.fault("F45")
@pytest.mark.promise(7)
def test_f45_yesterdays_backup_is_told_and_clears_nothing_by_itself(field):
    b, path = field, field.folder / "watch.db"
    shows(b, (0, STORM))
    b.watch.poll()
    # A low report, so that one more would end it: what came after is not in the backup.
    b.clock.move(61 * MINUTE)
    shows(b, (0, QUIET))
    assert said(b.watch.poll()) == []
    b.store.backup(b.folder / "copy.db")
    b.clock.move(10 * MINUTE)
    shows(b, (0, "27035G60KT"))
    assert said(b.watch.poll()) == [("desk", "worsened")]
    b.store.close()
    shutil.move(b.folder / "copy.db", path)
    b.clock.move(DAY)
    with open_store(path, b.clock, repair=True) as store:
        watch = begin_again(b, store)
        shows(b, (0, QUIET))
        report = watch.poll()
        assert "back" not in {step for _, step in said(report)}, "one fresh report ends nothing"
        for contact in ("desk", "technician"):
            [text] = [text for name, text in of_the_store(store) if name == contact]
            words = " ".join(text.split())
            assert "put back from a backup" in words
            assert "may be told again" in words
        b.clock.move(11 * MINUTE)
        shows(b, (0, QUIET))
        assert ("desk", "back") in said(watch.poll()), "two fresh ones do"


@pytest.mark.fault("F45")
@pytest.mark.promise(7)
def test_f45_what_a_backup_may_not_clear_is_held_over_a_restart_too(field):
    b, path = field, field.folder / "watch.db"
    shows(b, (0, STORM))
    b.watch.poll()
    b.clock.move(61 * MINUTE)
    shows(b, (0, QUIET))
    b.watch.poll()
    b.store.backup(b.folder / "copy.db")
    b.store.close()
    shutil.move(b.folder / "copy.db", path)
    # Whatever blew meanwhile is not in it: the low report of then and one of now would end it.
    b.clock.move(20 * MINUTE)
    shows(b, (0, QUIET))
    with open_store(path, b.clock, repair=True) as store:
        assert "back" not in {step for _, step in said(begin_again(b, store).poll())}
        assert len(of_the_store(store)) == 2, "everybody has been told"
    for _ in range(3):
        # Started anew, with that low report and fresh ones too close to each other.
        b.clock.move(3 * MINUTE)
        shows(b, (0, QUIET))
        with open_store(path, b.clock, repair=True) as store:
            assert said(begin_again(b, store).poll()) == []
    b.clock.move(2 * MINUTE)
    shows(b, (0, QUIET))
    with open_store(path, b.clock, repair=True) as store:
        watch = begin_again(b, store)
        assert ("desk", "back") in said(watch.poll()), "two fresh ones end it"
        assert replaced_at(store) is None, "and the hold with it"
        assert len(of_the_store(store)) == 2
