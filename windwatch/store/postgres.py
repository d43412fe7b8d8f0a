"""Everything that is particular to PostgreSQL: the server, its settings, its errors in words."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime, timedelta
from types import MappingProxyType
from typing import Any, Final
from urllib.parse import unquote

from sqlalchemy import (
    BigInteger,
    ColumnElement,
    Connection,
    Engine,
    cast,
    create_engine,
    func,
    text,
)
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError

from windwatch.errors import StoreError, StoreTrouble

OLDEST: Final = 13
# A watcher that falls asleep within a transaction keeps others from leading until the server
# ends that transaction: sooner than a lease runs out.
SLEEPERS_END: Final = timedelta(seconds=20)
CONNECT_S: Final = 5
# One connection's wish among the server's own locks: nobody of ours holds one for long.
_LOCK_WAIT: Final = timedelta(seconds=5)
_STATEMENT: Final = timedelta(seconds=30)
# How long to ask what became of a transaction, a tenth of a second between.
_LOOKS: Final = 50


def address(url: str, password: str | None) -> URL:
    """Make the address of a database; as libpq has it, a host may be ``%2Frun%2Fpostgresql``.

    Raises
    ------
    StoreError
        If it is none.
    """
    try:
        made = make_url(url).set(drivername="postgresql+psycopg")
    except ArgumentError:
        # The text is not repeated: it may hold a password.
        raise StoreError(
            "store.url is no address of a database; write it as"
            ' "postgresql://windwatch@db.larkspur.example/windwatch"'
        ) from None
    if password is not None:
        made = made.set(password=password)
    if made.host is not None and made.host.lower().startswith("%2f"):
        # A folder with the server's socket.
        query = {"host": unquote(made.host)}
        made = URL.create(
            made.drivername, made.username, made.password, None, made.port, made.database, query
        )
    return made


def place_of(url: URL) -> str:
    """Where the store is, for messages: never with a password."""
    host = url.host or url.query.get("host", "localhost")
    port = f":{url.port}" if url.port else ""
    return f"the database {url.database} on {host}{port}"


def open_engine(url: URL, *, sleepers_end: timedelta = SLEEPERS_END) -> Engine:
    """Open an engine whose connections are all set as they must be.

    Raises
    ------
    StoreError
        If the driver is not installed.
    """
    limits = {
        "timezone": "UTC",
        "client_encoding": "utf8",
        "lock_timeout": _milliseconds(_LOCK_WAIT),
        "statement_timeout": _milliseconds(_STATEMENT),
        "idle_in_transaction_session_timeout": _milliseconds(sleepers_end),
    }
    try:
        return create_engine(
            url,
            # A connection that the server has closed meanwhile is replaced, not handed out.
            pool_pre_ping=True,
            pool_size=4,
            max_overflow=12,
            # What people are told and where they live does not belong into a traceback.
            hide_parameters=True,
            connect_args={
                "connect_timeout": CONNECT_S,
                "application_name": "windwatch",
                "options": " ".join(f"-c {name}={value}" for name, value in limits.items()),
                # A network that went silent is noticed in half a minute, not in two hours.
                "keepalives_idle": 10,
                "keepalives_interval": 5,
                "keepalives_count": 4,
                "tcp_user_timeout": 30_000,
            },
        )
    except ModuleNotFoundError as error:
        raise StoreError(
            "store.url names a PostgreSQL database, for which a driver is missing; install it"
            " with: pip install 'windwatch[postgres]'"
        ) from error


def _milliseconds(wait: timedelta) -> int:
    return wait // timedelta(milliseconds=1)


def look_at_server(connection: Connection, place: str) -> None:
    """Refuse a server on which the promises would not hold.

    Raises
    ------
    StoreError
        If it is too old, keeps another encoding, or forgets commits at a power cut.
    """
    version, encoding, commits, standby = connection.execute(
        text(
            "SELECT current_setting('server_version_num')::int / 10000,"
            " current_setting('server_encoding'), current_setting('synchronous_commit'),"
            " pg_is_in_recovery()"
        )
    ).one()
    if version < OLDEST:
        raise StoreError(f"{place} is PostgreSQL {version}; windwatch needs {OLDEST} or later")
    if encoding != "UTF8":
        raise StoreError(
            f"{place} keeps its texts in {encoding}; make one with: createdb -E UTF8 -T template0"
        )
    if standby:
        raise StoreError(
            f"{place} is a copy that can only be read; name the server that is written to",
            "read-only",
        )
    if commits == "off":
        raise StoreError(
            f"{place} has synchronous_commit = off and would forget commits at a power cut; run:"
            " ALTER ROLE windwatch SET synchronous_commit = on"
        )


class PostgresBackend:
    """PostgreSQL, for two or more watchers of which one leads."""

    @property
    def reading(self) -> Mapping[str, Any]:
        """One moment is seen in all statements."""
        return _READING

    def in_words(self, place: str, error: BaseException) -> StoreError:
        """Say what an error of the driver means and what to do."""
        return in_words(place, error)

    def begun(self, connection: Connection) -> str:
        """Name a transaction by the number that the server gave it."""
        return str(connection.execute(text("SELECT pg_current_xact_id()::text")).scalar_one())

    def committed(self, engine: Engine, transaction: str) -> bool:
        """Ask the server what became of a transaction whose commit got no answer.

        Raises
        ------
        StoreError
            If it is still under way after five seconds, or the server does not answer.
        """
        asked = text("SELECT pg_xact_status(CAST(:number AS xid8))")
        with engine.connect() as connection:
            for _ in range(_LOOKS):
                found = connection.execute(asked, {"number": transaction}).scalar()
                if found != "in progress":
                    return bool(found == "committed")
                connection.execute(text("SELECT pg_sleep(0.1)"))
        raise StoreError(
            f"{place_of(engine.url)}: the connection was cut and the end of a transaction is not"
            " known yet; the same reports are judged again, and nobody is told twice",
            "unreachable",
        )

    def time_now(self, clock_says: datetime) -> ColumnElement[int]:
        """The server's own clock: watchers on several machines share no other."""
        del clock_says
        seconds = func.extract("epoch", func.clock_timestamp())
        return cast(func.floor(seconds * 1000), BigInteger)


_READING: Final[Mapping[str, Any]] = MappingProxyType(
    {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
)

# By the beginning of the code that PostgreSQL gives (its manual, appendix A).
_WORDS: Final[tuple[tuple[str, StoreTrouble, str], ...]] = (
    ("53100", "full", "cannot be written: the server's disk is full"),
    ("53", "busy", "has no room for us at the moment (connections or memory)"),
    ("25006", "read-only", "can only be read; is it a copy, or is it being moved?"),
    (
        "42501",
        "read-only",
        "may not be written by this user; grant it the right, or own the tables",
    ),
    ("25P03", "busy", "ended a transaction in which this watcher slept"),
    ("40", "busy", "was busy with another watcher's transaction; try again"),
    ("55P03", "busy", "was locked by another program for more than 5 s; try again"),
    ("57014", "busy", "did not answer a question in time; try again"),
    ("57P", "unreachable", "was stopped or started; try again"),
    ("08", "unreachable", "does not answer; look at the server and the network"),
    ("28", "other", "refuses the login; look at the user in store.url and at store.password_env"),
    ("3D000", "other", "does not exist; make it with: createdb -E UTF8 -T template0"),
    ("XX001", "damaged", "is damaged; restore it from a backup"),
    ("XX002", "damaged", "is damaged; restore it from a backup"),
)


def in_words(place: str, error: BaseException) -> StoreError:
    """Say what a database error means and what to do.

    Parameters
    ----------
    place : str
        The database, without its password.
    error : BaseException
        What the driver raised.
    """
    code = getattr(error, "sqlstate", None) or ""
    for beginning, kind, words in _WORDS:
        if code.startswith(beginning):
            return StoreError(f"{place} {words}", kind)
    said = _first_line(error)
    if not code and _is_of_the_connection(error):
        for phrase in ("password authentication", "no password supplied", "pg_hba.conf"):
            if phrase in said:
                return in_words_of("28", place)
        return StoreError(
            f"{place} does not answer ({said}); look at the server and the network", "unreachable"
        )
    return StoreError(f"{place}: the store failed: {said}")


def in_words_of(code: str, place: str) -> StoreError:
    """Say what a code of PostgreSQL means."""
    kind, words = next((kind, words) for begins, kind, words in _WORDS if begins == code)
    return StoreError(f"{place} {words}", kind)


def _is_of_the_connection(error: BaseException) -> bool:
    return type(error).__name__ in ("OperationalError", "ConnectionTimeout", "InterfaceError")


def _first_line(error: BaseException) -> str:
    """Without details: they quote rows, and rows hold what people are told."""
    diag = getattr(error, "diag", None)
    said = getattr(diag, "message_primary", None) or str(error)
    return str(said).strip().partition("\n")[0][:300]


def vacuum(engine: Engine, tables: tuple[str, ...]) -> None:
    """Write tables anew without what was deleted from them."""
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("SET statement_timeout = 0"))
        try:
            for table in tables:
                connection.execute(text(f'VACUUM FULL "{table}"'))
        finally:
            with suppress(DBAPIError):
                connection.execute(text("RESET statement_timeout"))
