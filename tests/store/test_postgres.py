"""The store on a real PostgreSQL server: what goes wrong there, in words and without secrets."""

import subprocess
import sys
import tempfile
import traceback
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from urllib.parse import quote

import psycopg
import pytest
from sqlalchemy import text

from tests.servers.cutting_proxy import CuttingProxy
from tests.servers.samples import GUST_FRONT, REPORT, a_content, a_notice, a_step
from tests.store.samples import save_report
from windwatch.errors import StoreError
from windwatch.store import postgres as ours
from windwatch.store.sqlite import in_words as sqlite_in_words
from windwatch.store.store import open_database
from windwatch.store.tables import META

NOW = GUST_FRONT
SECRET = "open-sesame-9431"


def write(store, number=1):
    with store.transaction() as books:
        books.save_steps([a_step(number)])
        books.enqueue(a_notice(number=number), a_content(), ["email"])


# --- the connection ---------------------------------------------------------


def test_connections_that_the_server_ended_are_replaced_unseen(postgres, database, clock):
    with open_database(database, None, clock) as store:
        write(store)
        postgres.cut(database)
        write(store, 2)
        assert len(store.notices()) == 2


def test_every_connection_is_set_as_it_must_be(database, clock):
    wanted = {
        "TimeZone": "UTC",
        "lock_timeout": "5s",
        "statement_timeout": "30s",
        "idle_in_transaction_session_timeout": "20s",
        "synchronous_commit": "on",
        "client_encoding": "UTF8",
        "application_name": "windwatch",
    }
    with open_database(database, None, clock) as store, store.reading() as connection:
        found = {name: connection.execute(text(f"SHOW {name}")).scalar() for name in wanted}
        assert found == wanted
        assert connection.execute(text("SHOW transaction_read_only")).scalar() == "on"


def test_a_view_is_of_one_moment(database, clock):
    with open_database(database, None, clock) as store:
        write(store)
        with store.reading() as connection:
            count = text("SELECT count(*) FROM notices")
            assert connection.execute(count).scalar() == 1
            write(store, 2)
            assert connection.execute(count).scalar() == 1
        assert len(store.notices()) == 2


@pytest.fixture
def proxy(postgres):
    with tempfile.TemporaryDirectory(prefix="windwatch-cut-") as folder:
        proxy = CuttingProxy(Path(folder), postgres.folder)
        proxy.address = lambda url: (
            f"postgresql://postgres@{quote(folder, safe='')}/{url.rpartition('/')[2]}"
        )
        with closing(proxy):
            yield proxy


@pytest.mark.fault("F46")
def test_a_commit_whose_answer_was_lost_is_looked_up_and_counts(proxy, database, clock):
    """F46. It was committed: saying so is no guess, and nothing is done again."""
    with open_database(proxy.address(database), None, clock) as store:
        proxy.cut = "after"
        write(store)
        assert proxy.cut == ""
        assert [n.notice for n in store.notices()] == [a_notice(number=1)]


@pytest.mark.fault("F46")
def test_a_commit_that_never_arrived_is_looked_up_and_fails(proxy, database, clock):
    """F46. Nothing of it is there, and the same thing again is written once."""
    with open_database(proxy.address(database), None, clock) as store:
        proxy.cut = "before"
        with pytest.raises(StoreError) as met:
            write(store)
        assert met.value.kind == "unreachable"
        assert store.notices() == ()
        write(store)
        write(store)
        assert len(store.notices()) == 1


@pytest.mark.fault("F46")
def test_where_the_server_cannot_be_asked_the_same_again_changes_nothing(
    proxy, postgres, database, clock, monkeypatch
):
    """F46. Ids are computed: judging and writing again tells nobody twice."""
    with open_database(proxy.address(database), None, clock) as store:
        monkeypatch.setattr(ours.PostgresBackend, "committed", _not_to_be_asked)
        proxy.cut = "after"
        with pytest.raises(StoreError, match="not known"):
            write(store)
        write(store)
        assert len(store.notices()) == 1
        assert len(store.notices()[0].deliveries) == 1


def _not_to_be_asked(*_):
    raise StoreError("the end of it is not known", "unreachable")


# --- in words, without secrets ----------------------------------------------


def everything_said(error):
    return "".join(traceback.format_exception(error))


def test_a_server_that_does_not_answer_is_named_without_the_password(tmp_path, clock):
    url = f"postgresql://windwatch@{quote(str(tmp_path), safe='')}/windwatch"
    with pytest.raises(StoreError, match="does not answer") as met:
        open_database(url, SECRET, clock)
    assert met.value.kind == "unreachable"
    assert "the database windwatch on " in str(met.value)
    assert SECRET not in everything_said(met.value)


def test_an_address_with_a_password_in_it_is_not_repeated(clock):
    with pytest.raises(StoreError, match=r"store\.url is no address") as met:
        open_database(f"postgresql:/windwatch:{SECRET}@db", None, clock)
    assert SECRET not in everything_said(met.value)


def test_a_database_that_is_not_there_is_named_with_the_mend(postgres, clock):
    with pytest.raises(StoreError) as met:
        open_database(postgres.url("nowhere"), None, clock)
    assert "does not exist" in str(met.value) or "does not answer" in str(met.value)
    assert "nowhere" in str(met.value)


def test_a_refused_password_is_named_without_being_shown(postgres, clock):
    folder = Path(str(postgres.run("SHOW data_directory")[0][0]))
    hba = folder / "pg_hba.conf"
    before = hba.read_text()
    postgres.run("CREATE ROLE guarded LOGIN PASSWORD 'another'")
    hba.write_text(f"local all guarded scram-sha-256\n{before}")
    postgres.run("SELECT pg_reload_conf()")
    try:
        for password in (SECRET, None):
            with pytest.raises(StoreError, match=r"refuses the login.*store\.password_env") as met:
                open_database(postgres.url("postgres", "guarded"), password, clock)
            assert SECRET not in everything_said(met.value)
        postgres.run("CREATE DATABASE guarded OWNER guarded TEMPLATE template0")
        with open_database(postgres.url("guarded", "guarded"), "another", clock) as store:
            write(store)
            assert "another" not in repr(store._engine)
    finally:
        hba.write_text(before)
        postgres.run("SELECT pg_reload_conf()")


def test_a_user_that_may_only_read_is_named_with_the_mend(postgres, database, clock):
    postgres.run("CREATE ROLE looker LOGIN")
    try:
        with pytest.raises(StoreError, match="may not be written") as met:
            open_database(postgres.url(database.rpartition("/")[2], "looker"), None, clock)
        assert met.value.kind == "read-only"
    finally:
        postgres.run("DROP ROLE looker")


def test_another_programs_database_is_refused_and_left_alone(postgres, clock):
    url = postgres.empty_database()
    with closing(psycopg.connect(_direct(postgres, url), autocommit=True)) as other:
        other.execute("CREATE TABLE hangar (name text)")
        with pytest.raises(StoreError, match=r"another program \(tables hangar\)"):
            open_database(url, None, clock)
        found = other.execute(
            "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"
        ).fetchall()
    assert found == [("hangar",)]


def _direct(postgres, url):
    return f"host={postgres.folder} user=postgres dbname={url.rpartition('/')[2]}"


def test_a_server_that_forgets_commits_is_refused(postgres, clock):
    url = postgres.database()
    postgres.run(f"ALTER DATABASE {url.rpartition('/')[2]} SET synchronous_commit = off")
    with pytest.raises(StoreError, match="would forget commits at a power cut"):
        open_database(url, None, clock)


def test_a_database_in_another_encoding_is_refused(postgres, clock):
    postgres.run(
        "CREATE DATABASE latin ENCODING 'LATIN1' LC_COLLATE 'C' LC_CTYPE 'C' TEMPLATE template0"
    )
    with pytest.raises(StoreError, match="texts in LATIN1"):
        open_database(postgres.url("latin"), None, clock)


def test_a_lock_held_by_somebody_else_is_waited_for_and_then_named(
    postgres, database, clock, monkeypatch
):
    """F42."""
    monkeypatch.setattr(ours, "_LOCK_WAIT", timedelta(milliseconds=100))
    with (
        open_database(database, None, clock) as store,
        closing(psycopg.connect(_direct(postgres, database))) as other,
    ):
        other.execute("LOCK TABLE steps")
        with pytest.raises(StoreError, match="locked by another program") as met:
            write(store)
        assert met.value.kind == "busy"
        other.rollback()
        write(store)


def test_an_error_repeats_neither_rows_nor_texts(database, clock):
    def twice(store):
        row = {"key": "k", "value": "vesna@quillfeather.example"}
        with store.writing() as connection:
            connection.execute(META.insert(), [row])
            connection.execute(META.insert(), [row | {"key": "quillfeather"}] * 2)

    with open_database(database, None, clock) as store:
        with pytest.raises(StoreError) as met:
            twice(store)
        assert "quillfeather" not in str(met.value)
        # What the driver itself said stands only in its own error.
        assert "quillfeather.example" not in everything_said(met.value)


class _Coded(Exception):
    def __init__(self, sqlstate):
        super().__init__("said the server")
        self.sqlstate = sqlstate


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        ("53100", "full"),
        ("53300", "busy"),
        ("25006", "read-only"),
        ("40P01", "busy"),
        ("57P01", "unreachable"),
        ("08006", "unreachable"),
        ("XX001", "damaged"),
        ("42P01", "other"),
    ],
)
def test_each_trouble_of_the_server_has_its_kind(code, kind):
    """Codes: PostgreSQL 18 manual, appendix A."""
    assert ours.in_words("the database", _Coded(code)).kind == kind


class _Named(Exception):
    def __init__(self, name):
        super().__init__("said the library")
        self.sqlite_errorname = name


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("SQLITE_FULL", "full"),
        ("SQLITE_READONLY", "read-only"),
        ("SQLITE_READONLY_DBMOVED", "gone"),
        ("SQLITE_CANTOPEN", "read-only"),
        ("SQLITE_BUSY", "busy"),
        ("SQLITE_CORRUPT", "damaged"),
        ("SQLITE_NOTADB", "damaged"),
        ("SQLITE_IOERR_WRITE", "other"),
    ],
)
def test_each_trouble_of_the_file_has_its_kind(name, kind):
    """Names: SQLite's list of result codes."""
    assert sqlite_in_words("watch.db", _Named(name)).kind == kind


def test_a_missing_driver_is_named_with_the_command_that_installs_it():
    script = (
        "import sys; sys.modules['psycopg'] = None\n"
        "from windwatch.clock import SystemClock\n"
        "from windwatch.errors import StoreError\n"
        "from windwatch.store.store import open_database\n"
        "try:\n"
        "    open_database('postgresql://windwatch@db.larkspur.example/w', None, SystemClock())\n"
        "except StoreError as error:\n"
        "    print(error)\n"
    )
    found = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert "pip install 'windwatch[postgres]'" in found.stdout


# --- what it must be able to hold -------------------------------------------


def test_nuls_and_halves_of_characters_undo_no_transaction(store):
    """F21, in both databases: one monstrous report among good ones."""
    raw = "METAR XLKS 221853Z\0 20018G25KT \ud800 RMK"
    with store.transaction() as books:
        books.save_report(
            id="r1",
            station="X\0" + "LKS" * 50,
            kind="METAR, it says",
            observed_at=None,
            received_at=NOW,
            raw=raw,
            source="a feed with a name that is longer than any feed's name should ever be, by far",
            status="quarantined",
            reason="no wind in '\0'",
        )
        save_report(books, REPORT.id)
    odd, good = store.reports(["r1", REPORT.id])
    assert odd.raw == "METAR XLKS 221853Z␀ 20018G25KT ? RMK"
    assert good.raw == REPORT.raw
