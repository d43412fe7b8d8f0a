"""The store: what windwatch must not lose, in one file or one database."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy import Connection, Engine, update

from windwatch.clock import Clock
from windwatch.errors import StoreError, StoreHeld
from windwatch.store import damage, lease, postgres, sqlite
from windwatch.store.access import Access, ignoring
from windwatch.store.backend import Backend
from windwatch.store.backup import copy_store
from windwatch.store.books import Books
from windwatch.store.examine import damaged, examine
from windwatch.store.forget import TABLES, forget
from windwatch.store.hold import Hold, take_hold
from windwatch.store.leading import TTL, Leadership
from windwatch.store.outbox import StoredOutbox
from windwatch.store.reading import Reader
from windwatch.store.tables import META
from windwatch.store.tidy import KEEP, Keep, tidy
from windwatch.store.upgrade import upgrade
from windwatch.store.values import Leader, StoreCheck, Tidied


class Store(Reader, StoredOutbox):
    """Reports, episodes, notices and deliveries. Safe to use from several threads.

    Attributes
    ----------
    path : Path or None
        The file; None where a database server keeps it.
    may_stand_by : bool
        Whether several watchers may share it, of which one leads and the others wait.
    """

    def __init__(
        self, engine: Engine, place: str, backend: Backend, clock: Clock, path: Path | None = None
    ) -> None:
        super().__init__(engine, place, backend)
        self.path = path
        self.may_stand_by = path is None
        self._clock = clock

    @contextmanager
    def transaction(self) -> Iterator[Books]:
        """Open the books: what is written in here is kept all together or not at all.

        Raises
        ------
        LeadLost
            If this process led, and another one does now.
        StoreError
            If the store cannot be written.
        """
        with self.writing() as connection:
            yield Books(connection)

    # --- who leads ------------------------------------------------------------

    def lead(self, owner: str, *, ttl: timedelta = TTL) -> Leadership | None:
        """Take the right to watch with this store; from then on all writing is fenced by it.

        Parameters
        ----------
        owner : str
            Who asks, in words, for whoever is refused.
        ttl : timedelta
            How long the lease runs unless renewed, by the database's own clock. With SQLite
            a lock of the system takes its place, which ends with the process.

        Returns
        -------
        Leadership or None
            None while another has it.
        """
        try:
            return self._lead(owner, ttl)
        except StoreHeld:
            return None

    def hold(self, owner: str) -> Leadership:
        """Take the lead, or say who has it.

        Raises
        ------
        StoreHeld
            If another watcher has it.
        """
        return self._lead(owner, TTL)

    def _lead(self, owner: str, ttl: timedelta) -> Leadership:
        if self.path is not None:
            lock = take_hold(self.path, owner, self._clock.now())
            try:
                # The lock of the system decides; the number is counted up all the same.
                with self.writing(fenced=False) as connection:
                    number = lease.take(connection, owner, self.time_now(), None)
            except BaseException:
                lock.release()
                raise
            return self._leads(owner, number, None, lock)
        number = None
        # Where its row is locked, its leader is writing, or was put to sleep while it wrote.
        with ignoring("busy"), self.writing(fenced=False) as connection:
            number = lease.take(connection, owner, self.time_now(), ttl)
        return self._leads(owner, number, ttl, None)

    def _leads(
        self, owner: str, number: int | None, ttl: timedelta | None, lock: Hold | None
    ) -> Leadership:
        if number is None:
            now = self.leader()
            who = "another watcher" if now is None else f"{now.owner}, since {now.since:%d %H:%MZ}"
            raise StoreHeld(f"{self._place} is in use by {who}; stop that one first, or stand by")
        self.fence = number
        return Leadership(owner, number, _Lease(self, ttl), lock)

    def leader(self) -> Leader | None:
        """Who led last, whether or not it still does."""
        with self.reading() as connection:
            return lease.leader(connection)

    def time_now(self) -> lease.Milliseconds:
        """The time by which a lease is measured."""
        return self._backend.time_now(self._clock.now())

    # --- upkeep ---------------------------------------------------------------

    @property
    def repaired(self) -> str:
        """What people must know of this store: it replaces a damaged one, or is a backup's copy.

        Repeats are possible then, and nothing may be cleared on the strength of it. '' where
        there is nothing to say, or `Books.repair_told` has been called.
        """
        with self.reading() as connection:
            return damage.repaired(connection)

    def backup(self, to: Path, *, force: bool = False) -> int:
        """Make a consistent copy while the watch goes on; return its size in bytes.

        Raises
        ------
        StoreError
            If the copy cannot be made; a file that was there before is left as it was.
        """
        if self.path is None:
            raise StoreError(
                f"{self._place} is backed up by its server's own tools, for example:"
                " pg_dump --format=custom --file=windwatch.dump, with its address"
            )
        with self._words():
            return copy_store(self.path, to, self._clock.now(), force=force)

    def check(self) -> StoreCheck:
        """Look through the whole store; damage is told, not raised."""
        try:
            with self.reading() as connection:
                return examine(connection, self._place, self.path)
        except StoreError as error:
            if error.kind != "damaged":
                raise
            return damaged(self._place, (str(error),))

    def forget(self, contact: str) -> int:
        """Take out everything about a contact; return how many notices went.

        Steps, episodes and reports stay: they know aircraft, not people. Only whoever leads
        may: a watch that goes on would write from memory what was taken out.

        Raises
        ------
        StoreError
            If it cannot be done, or another program holds traces of it in the file.
        """
        with self.writing() as connection:
            gone = forget(connection, contact)
        with self._words():
            if self.path is None:
                postgres.vacuum(self._engine, TABLES)
            else:
                sqlite.vacuum(self._engine, self._place)
        return gone

    def tidy(self, now: datetime, keep: Keep = KEEP) -> Tidied:
        """Drop what is older than people look it up, a little at a time."""
        return tidy(self, now, keep)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


class _Lease:
    """A store's lease, for one who leads by it."""

    def __init__(self, store: Store, ttl: timedelta | None) -> None:
        self._store = store
        self._ttl = ttl

    def renew(self, number: int) -> bool:
        """Lead on, if nobody else has taken over."""
        if self._ttl is None:
            return self.runs(number)
        with self._store.writing(fenced=False) as connection:
            return lease.renew(connection, number, self._store.time_now(), self._ttl)

    def runs(self, number: int) -> bool:
        """Whether the lease of that number has not run out."""
        with self._store.reading() as connection:
            time_now = None if self._ttl is None else self._store.time_now()
            return lease.runs(connection, number, time_now)

    def give_up(self, number: int) -> None:
        """Let another one lead at once."""
        if self._ttl is not None:
            with self._store.writing(fenced=False) as connection:
                lease.give_up(connection, number)


def open_store(
    path: Path, clock: Clock, *, durable: bool = True, check: bool = True, repair: bool = False
) -> Store:
    """Open a store in a file, made and brought to this version where needed.

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
    repair : bool
        For the watch: a damaged file is set aside, never deleted, and a new one begun, whose
        `Store.repaired` says so.

    Raises
    ------
    StoreError
        If it cannot be made, read or written, is damaged, or was written by a later windwatch.
    """
    try:
        return _open_file(path, clock, durable=durable, check=check)
    except StoreError as error:
        if not repair or error.kind != "damaged" or not damage.is_a_store(path):
            raise
    damage.set_aside(path, clock.now())
    return _open_file(path, clock, durable=durable, check=check)


def _open_file(path: Path, clock: Clock, *, durable: bool, check: bool) -> Store:
    sqlite.prepare_file(path)
    engine = sqlite.open_engine(path, durable=durable)
    backend = sqlite.SqliteBackend(path)
    access = Access(engine, str(path), backend)
    try:
        if check:
            with access.reading() as connection:
                sqlite.quick_check(connection, path)
        with access.writing() as connection:
            if upgrade(connection, str(path)) is None:
                damage.remember(connection, damage.why_new(path, clock.now()))
            _write_nothing(connection)
    except BaseException:
        engine.dispose()
        raise
    return Store(engine, str(path), backend, clock, path)


def _write_nothing(connection: Connection) -> None:
    """Change no row; but what can only be read says so here, and not in a storm."""
    connection.execute(update(META).where(META.c.key == "").values(value=""))


def open_database(
    url: str,
    password: str | None,
    clock: Clock,
    *,
    sleepers_end: timedelta = postgres.SLEEPERS_END,
) -> Store:
    """Open a store on a PostgreSQL server, made and brought to this version where needed.

    Parameters
    ----------
    url : str
        ``postgresql://user@host/database``.
    password : str or None
        None where the server asks for none.
    sleepers_end : timedelta
        After how long the server ends the transaction of one who fell asleep in it; shorter
        than any lease.

    Raises
    ------
    StoreError
        If it does not answer, is unfit, or was written by a later windwatch.
    """
    address = postgres.address(url, password)
    engine = postgres.open_engine(address, sleepers_end=sleepers_end)
    place = postgres.place_of(address)
    backend = postgres.PostgresBackend()
    access = Access(engine, place, backend)
    try:
        with access.reading() as connection:
            postgres.look_at_server(connection, place)
        with access.writing() as connection:
            upgrade(connection, place)
            _write_nothing(connection)
    except BaseException:
        engine.dispose()
        raise
    return Store(engine, place, backend, clock)
