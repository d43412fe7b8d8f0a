"""Connections to the store: short transactions, and errors in words."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, Table
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from windwatch.errors import StoreError
from windwatch.store.sqlite import READING, in_words


class Access:
    """One store's engine, for everybody who reads or writes."""

    def __init__(self, engine: Engine, place: str) -> None:
        self._engine = engine
        self._place = place
        # Threads of this process take turns here, fairly, instead of at the file's lock.
        self._turn = threading.Lock()

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Open one short transaction that writes: all of it, or nothing.

        Raises
        ------
        StoreError
            If the store cannot be written; what was done in the transaction is undone.
        """
        with self._turn, self._words(), self._engine.begin() as connection:
            yield connection

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Open a consistent view; it holds up no writer longer than it lasts."""
        with (
            self._words(),
            self._engine.connect().execution_options(**{READING: True}) as connection,
        ):
            yield connection

    @contextmanager
    def _words(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as error:
            raise in_words(self._place, error.orig or error) from error
        except SQLAlchemyError as error:
            raise StoreError(f"{self._place}: the store failed: {error}") from error

    def close(self) -> None:
        """Close every connection."""
        self._engine.dispose()


def insert_or(connection: Connection, table: Table) -> Any:
    """Make an insert that can say what to do where the row is there already."""
    if connection.dialect.name == "postgresql":
        return postgresql.insert(table)
    return sqlite.insert(table)


def add_new(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    """Add rows; those that are there already stay as they are."""
    if rows:
        connection.execute(insert_or(connection, table).on_conflict_do_nothing(), rows)
