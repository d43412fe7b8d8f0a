"""From the first released store to this one, once, with everything kept."""

import sqlite3
import threading
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import create_engine, text

from tests.servers.samples import FINDING, GUST_FRONT, REPORT, a_content, a_notice, a_step
from tests.store.samples import differences
from windwatch.errors import StoreError
from windwatch.store import postgres as ours
from windwatch.store import upgrade
from windwatch.store.store import open_database, open_store
from windwatch.store.tables import METADATA

NOW = GUST_FRONT
FIRST = Path(__file__).parent / "first_store.sql"


@pytest.fixture
def first(tmp_path):
    path = tmp_path / "watch.db"
    with closing(sqlite3.connect(path)) as raw:
        raw.executescript(FIRST.read_text())
    return path


def rows_of(connection, names):
    return {
        name: sorted(map(tuple, connection.execute(text(f"SELECT * FROM {name}"))), key=repr)  # noqa: S608
        for name in names
    }


def first_rows():
    with closing(sqlite3.connect(":memory:")) as raw:
        raw.executescript(FIRST.read_text())
        names = [
            row[0]
            for row in raw.execute(
                "SELECT name FROM sqlite_master WHERE type = 'table' AND name != 'alembic_version'"
            )
        ]
        return {
            name: sorted(raw.execute(f"SELECT * FROM {name}").fetchall(), key=repr)  # noqa: S608
            for name in names
        }


def look_like_first(store):
    """What the first release wrote is read as it was written."""
    assert [r.raw for r in store.reports([REPORT.id])] == [REPORT.raw]
    (episode,) = store.episodes(open_only=True)
    assert (episode.id, episode.worst, episode.opened_by) == ("episode-1", FINDING, REPORT.id)
    assert store.steps("episode-1") == (a_step(),)
    (kept,) = store.notices()
    assert (kept.notice, kept.content) == (a_notice(steps=(a_step(),)), a_content())
    assert [d.state.value for d in kept.deliveries] == ["accepted", "waiting"]
    assert [a.outcome for a in store.attempts(kept.deliveries[0].id)] == ["accepted"]
    assert [e.kind for e in store.events()] == ["report"]
    assert store.load_airfield_states() == {"XLKS": '{"airfield":"XLKS"}'}
    assert [a.by for a in store.acknowledgements()] == ["operations desk"]
    assert store.last_settings().fingerprint == "f1"


def test_the_first_released_store_goes_on_with_everything_in_it(first, clock):
    with open_store(first, clock) as store:
        look_like_first(store)
        assert store.check().version == upgrade.CURRENT
        # It was never damaged, nor put back from anywhere.
        assert store.repaired == ""
        (due,) = store.claim_due(NOW + timedelta(seconds=5), 10, timedelta(minutes=1))
        assert due.attempt == 2
        with store.hold("the watch") as leadership:
            assert leadership.number == 1
    with closing(sqlite3.connect(first)) as raw:
        names = {row[0] for row in raw.execute("SELECT name FROM sqlite_master")}
    assert {"lease", "forecasts", "pictures", "notice_pictures"} <= names


def test_no_row_of_the_first_release_is_changed_by_the_upgrade(first, clock):
    open_store(first, clock).close()
    engine = create_engine(f"sqlite:///{first}")
    with engine.connect() as connection:
        assert rows_of(connection, first_rows()) == first_rows()
    engine.dispose()


def test_the_first_released_store_goes_on_in_postgresql_too(postgres, clock):
    url = postgres.empty_database()
    engine = ours.open_engine(ours.address(url, None))
    before = first_rows()
    with engine.begin() as connection:
        config = Config()
        folder = Path(upgrade.__file__).parent / "migrations"
        config.set_main_option("script_location", str(folder))
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
        # Parents first.
        for name in sorted(before, key=lambda n: n in ("attempts", "deliveries", "notice_steps")):
            table = METADATA.tables[name]
            if name == "attempts":
                continue
            _copy(connection, table, before[name])
        _copy(connection, METADATA.tables["attempts"], before["attempts"])
    engine.dispose()
    with open_database(url, None, clock) as store:
        look_like_first(store)
        assert store.check().version == upgrade.CURRENT


def _copy(connection, table, rows):
    booleans = [str(column.type) == "BOOLEAN" for column in table.columns]
    names = ", ".join(f'"{column.name}"' for column in table.columns)
    marks = ", ".join(f":v{number}" for number in range(len(table.columns)))
    for row in rows:
        values = {
            f"v{number}": bool(value) if is_bool else value
            for number, (value, is_bool) in enumerate(zip(row, booleans, strict=True))
        }
        connection.execute(
            text(f"INSERT INTO {table.name} ({names}) VALUES ({marks})"),  # noqa: S608
            values,
        )


def test_the_steps_make_exactly_the_tables_that_the_program_uses_in_postgresql(postgres):
    engine = ours.open_engine(ours.address(postgres.database(), None))

    assert differences(engine) == []
    engine.dispose()


def open_at_once(open_one, count=4):
    """Open a store from several threads in the same moment; return what each met."""
    barrier = threading.Barrier(count)
    met = []

    def open_it():
        barrier.wait()
        try:
            open_one().close()
        except Exception as error:  # noqa: BLE001 - it is what is asked
            met.append(error)
        else:
            met.append(None)

    threads = [threading.Thread(target=open_it) for _ in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return met


def test_several_who_open_an_empty_database_at_once_make_its_tables_once(postgres, clock):
    url = postgres.empty_database()
    assert open_at_once(lambda: open_database(url, None, clock)) == [None] * 4
    with open_database(url, None, clock) as store:
        assert store.check().version == upgrade.CURRENT


def test_several_who_open_an_old_file_at_once_bring_it_up_once(first, clock):
    assert open_at_once(lambda: open_store(first, clock)) == [None] * 4
    with open_store(first, clock) as store:
        look_like_first(store)


def test_an_upgrade_of_a_database_that_fails_midway_leaves_nothing_behind(
    postgres, clock, monkeypatch
):
    url = postgres.empty_database()

    def fail(connection):
        connection.exec_driver_sql("CREATE TABLE half (x INTEGER)")
        raise RuntimeError("power cut")

    with monkeypatch.context() as patched:
        patched.setattr(upgrade, "_run_steps", fail)
        with pytest.raises(RuntimeError):
            open_database(url, None, clock)
    with open_database(url, None, clock) as store:
        assert store.load_airfield_states() == {}


@pytest.mark.fault("F45")
def test_a_later_windwatchs_database_is_refused_with_advice(postgres, clock):
    database = postgres.database()
    engine = ours.open_engine(ours.address(database, None))
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '0042'"))
    engine.dispose()
    with pytest.raises(StoreError, match=r"later windwatch \(store version 0042") as refused:
        open_database(database, None, clock)
    assert refused.value.kind == "newer"
