"""Connections to the store: short transactions, and errors in words."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from typing import Any, Final

from sqlalchemy import Connection, Engine, Table
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from windwatch.errors import LeadLost, StoreError, StoreTrouble
from windwatch.store.backend import Backend
from windwatch.store.lease import leader, leads


class Access:
    """One store's engine, for everybody who reads or writes.

    Attributes
    ----------
    fence : int or None
        Number under which this process leads: from then on it writes only as long as nobody
        leads under a newer one. None: it does not lead, and writes as commands do.
    """

    def __init__(self, engine: Engine, place: str, backend: Backend) -> None:
        self._engine = engine
        self._place = place
        self._backend = backend
        # Threads of this process take turns here, fairly, instead of at the file's lock.
        self._turn = threading.Lock()
        self.fence: int | None = None

    @contextmanager
    def writing(self, *, fenced: bool = True) -> Iterator[Connection]:
        """Open one short transaction that writes: all of it, or nothing.

        Parameters
        ----------
        fenced : bool
            False for what must be written whoever leads.

        Raises
        ------
        LeadLost
            If this process led and another one does now: nothing was written.
        StoreError
            If the store cannot be written; what was done in the transaction is undone.
        """
        with self._turn, self._words(), self._engine.connect() as connection:
            transaction = connection.begin()
            try:
                name = self._backend.begun(connection)
                if fenced:
                    self._refuse_if_lost(connection)
                yield connection
            except BaseException:
                transaction.rollback()
                raise
            try:
                transaction.commit()
            except DBAPIError as error:
                # Where the connection was cut, only the database knows how it ended.
                if not error.connection_invalidated:
                    raise
                if not self._backend.committed(self._engine, name):
                    raise

    def lead_lost(self, connection: Connection) -> bool:
        """Whether this process led and another one does now; holds until the transaction ends."""
        return self.fence is not None and not leads(connection, self.fence)

    def _refuse_if_lost(self, connection: Connection) -> None:
        if not self.lead_lost(connection):
            return
        now = leader(connection)
        who = "another watcher" if now is None else f"{now.owner}, since {now.since:%d %H:%M:%SZ}"
        raise LeadLost(f"{self._place}: {who} leads now; this watcher may write nothing any more")

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Open a consistent view; it holds up no writer longer than it lasts."""
        with (
            self._words(),
            self._engine.connect().execution_options(**self._backend.reading) as connection,
        ):
            yield connection

    @contextmanager
    def _words(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as error:
            raise self._backend.in_words(self._place, error.orig or error) from error
        except SQLAlchemyError as error:
            raise StoreError(f"{self._place}: the store failed: {error}") from error

    def close(self) -> None:
        """Close every connection."""
        self._engine.dispose()


@contextmanager
def ignoring(kind: StoreTrouble) -> Iterator[None]:
    """Let one kind of trouble pass: what was to be done has not been done."""
    try:
        yield
    except StoreError as error:
        if error.kind != kind:
            raise


def insert_or(connection: Connection, table: Table) -> Any:
    """Make an insert that can say what to do where the row is there already."""
    return _INSERT[connection.dialect.name](table)


_INSERT: Final[Mapping[str, Callable[[Table], Any]]] = {
    "postgresql": postgresql.insert,
    "sqlite": sqlite.insert,
}


def add_new(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    """Add rows; those that are there already stay as they are."""
    if rows:
        connection.execute(insert_new(connection.dialect.name, table), rows)


@cache
def insert_new(dialect: str, table: Table) -> Any:
    """Make an insert that leaves rows as they are; kept, because to make one takes long."""
    return _INSERT[dialect](table).on_conflict_do_nothing()


@cache
def insert_or_change(dialect: str, table: Table, key: str, changing: tuple[str, ...]) -> Any:
    """Make an insert that changes some columns where the row is there already; kept, too."""
    insert = _INSERT[dialect](table)
    # Once: `excluded` makes the whole table's columns anew each time it is asked for.
    new = insert.excluded
    return insert.on_conflict_do_update(
        index_elements=[key], set_={name: new[name] for name in changing}
    )
