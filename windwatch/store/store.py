"""The store: what windwatch must not lose, in one file."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy import Engine, update

from windwatch.clock import Clock
from windwatch.store import hold, sqlite
from windwatch.store.access import Access
from windwatch.store.books import Books
from windwatch.store.outbox import StoredOutbox
from windwatch.store.reading import Reader
from windwatch.store.tables import META
from windwatch.store.upgrade import upgrade


class Store(Reader, StoredOutbox):
    """Reports, episodes, notices and deliveries. Safe to use from several threads."""

    def __init__(self, engine: Engine, path: Path, clock: Clock) -> None:
        super().__init__(engine, str(path))
        self.path = path
        self._clock = clock

    @contextmanager
    def transaction(self) -> Iterator[Books]:
        """Open the books: what is written in here is kept all together or not at all.

        Raises
        ------
        StoreError
            If the store cannot be written.
        """
        with self.writing() as connection:
            yield Books(connection)

    def hold(self, owner: str) -> hold.Hold:
        """Take the right to watch with this store, until released or the process ends.

        Raises
        ------
        StoreHeld
            If another watcher has it; the message says who.
        """
        return hold.hold(self.path, owner, self._clock.now())

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def open_store(path: Path, clock: Clock, *, durable: bool = True, check: bool = True) -> Store:
    """Open a store, made and brought to this version where needed.

    Parameters
    ----------
    path : Path
        Its file; it is made for its owner's eyes only.
    clock : Clock
        Says when somebody took hold of it.
    durable : bool
        False for a store that is thrown away after use (a replay): no waiting for the disk.
    check : bool
        Look for damage first; a short command beside a running watch may leave that to it.

    Raises
    ------
    StoreError
        If it cannot be made, read or written, is damaged, or was written by a later windwatch.
    """
    sqlite.prepare_file(path)
    engine = sqlite.open_engine(path, durable=durable)
    access = Access(engine, str(path))
    try:
        if check:
            with access.reading() as connection:
                sqlite.quick_check(connection, path)
        with access.writing() as connection:
            upgrade(connection, str(path))
            # Changes no row, but a file that can only be read says so here and not in a storm.
            connection.execute(update(META).where(META.c.key == "").values(value=""))
    except BaseException:
        engine.dispose()
        raise
    return Store(engine, path, clock)
