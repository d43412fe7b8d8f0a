"""Everything that is particular to SQLite: the file, its settings, its errors in words."""

from __future__ import annotations

import os
import re
import sqlite3
import stat
from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from sqlalchemy import BigInteger, ColumnElement, Connection, Engine, create_engine, event, literal
from sqlalchemy.engine import URL

from windwatch.errors import StoreError, StoreTrouble
from windwatch.store.tables import EPOCH, MILLISECOND

BUSY_TIMEOUT_S: Final = 5.0
# Statements that a connection keeps prepared. A watch uses some 35 again and again; others, with a
# list as long as what happened at once, would fill a larger number only after weeks.
PREPARED: Final = 48
# An execution option of ours: a connection that only reads takes no write lock.
READING: Final = "windwatch_reading"

# How a finding of SQLite names the error that it met at a page.
_CODE: Final = re.compile(r"error code[= ](\d+)")
_SYNCHRONOUS: Final = {"OFF": 0, "FULL": 2, "EXTRA": 3}


def wal_is_sound(version: tuple[int, int, int]) -> bool:
    """Whether this SQLite library may be trusted with WAL and several connections.

    From 3.7.0 to 3.51.2 a race between connections could lose a committed transaction in WAL
    mode; 3.51.3, 3.50.7 and 3.44.6 have the mend (reliability, section 3).

    Examples
    --------
    >>> [wal_is_sound(v) for v in ((3, 40, 1), (3, 44, 6), (3, 50, 6), (3, 50, 7), (3, 51, 3))]
    [False, True, False, True, True]
    """
    return (
        version >= (3, 51, 3)
        or (3, 50, 7) <= version < (3, 51, 0)
        or (3, 44, 6) <= version < (3, 45, 0)
    )


def safe_modes(version: tuple[int, int, int], *, durable: bool = True) -> tuple[str, str]:
    """Journal mode and synchronous setting under which a commit survives a power cut.

    WAL with NORMAL may lose the last commits then, hence FULL; the rollback journal needs EXTRA,
    which also syncs the folder after the journal is gone.
    """
    if not durable:
        return "MEMORY", "OFF"
    return ("WAL", "FULL") if wal_is_sound(version) else ("DELETE", "EXTRA")


def prepare_file(path: Path) -> None:
    """Make the file (0600) and its folder (0700) where they are missing.

    Raises
    ------
    StoreError
        If the path cannot be a store.
    """
    if path.is_symlink():
        raise StoreError(
            f"{path} is a symbolic link; windwatch does not write through links: name the file"
        )
    missing = [folder for folder in (path.parent, *path.parent.parents) if not folder.exists()]
    try:
        for folder in reversed(missing):
            folder.mkdir(mode=0o700)
        with suppress(FileExistsError):
            flags = os.O_CREAT | os.O_EXCL | os.O_RDWR
            os.close(os.open(path, flags, stat.S_IRUSR | stat.S_IWUSR))
    except OSError as error:
        raise StoreError(f"{path}: the store cannot be made: {error.strerror}") from error
    if not path.is_file():
        raise StoreError(f"{path} is not a file; name a file for the store, for example watch.db")


def open_engine(path: Path, *, durable: bool = True) -> Engine:
    """Open an engine whose connections are all set as they must be.

    Parameters
    ----------
    path : Path
        The file; `prepare_file` has made it.
    durable : bool
        False for a store that is thrown away after use: no waiting for the disk.
    """
    engine = create_engine(
        URL.create("sqlite+pysqlite", database=str(path)),
        # None: SQLAlchemy's begin is ours, below; the driver begins nothing by itself.
        connect_args={
            "timeout": BUSY_TIMEOUT_S,
            "cached_statements": PREPARED,
            "isolation_level": None,
            "check_same_thread": False,
        },
        pool_size=4,
        max_overflow=12,
        # What people are told does not belong into a traceback.
        hide_parameters=True,
    )
    journal, synchronous = safe_modes(sqlite3.sqlite_version_info, durable=durable)

    @event.listens_for(engine, "connect")
    def settle(raw: sqlite3.Connection, _: Any) -> None:
        _settle(raw, path, journal, synchronous)

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        # A deferred BEGIN that reads, then writes, fails at once when another has written.
        reading = connection.get_execution_options().get(READING, False)
        connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")

    return engine


def _settle(raw: sqlite3.Connection, path: Path, journal: str, synchronous: str) -> None:
    """Set one connection, and read back what counts."""
    raw.execute("PRAGMA foreign_keys = ON")
    raw.execute("PRAGMA mmap_size = 0")
    raw.execute("PRAGMA trusted_schema = OFF")
    found = raw.execute(f"PRAGMA journal_mode = {journal}").fetchone()[0]
    raw.execute(f"PRAGMA synchronous = {synchronous}")
    wanted = {
        "journal_mode": (found, journal.lower()),
        "synchronous": (_pragma(raw, "synchronous"), _SYNCHRONOUS[synchronous]),
        "foreign_keys": (_pragma(raw, "foreign_keys"), 1),
    }
    for name, (got, want) in wanted.items():
        if got != want:
            raise StoreError(
                f"{path}: SQLite did not take the setting {name} = {want} (it has {got});"
                " is the file open in another program, or on a network folder?"
            )


def _pragma(raw: sqlite3.Connection, name: str) -> Any:
    return raw.execute(f"PRAGMA {name}").fetchone()[0]


def quick_check(connection: Connection, path: Path) -> None:
    """Look for damage.

    Raises
    ------
    StoreError
        If there is any.
    """
    findings = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA quick_check(5)")]
    if any(_was_unreadable(finding) for finding in findings):
        raise StoreError(
            f"{path} could not be read: the disk failed; nothing was changed in it", "other"
        )
    if findings != ["ok"]:
        raise StoreError(f"{path} is damaged: {'; '.join(findings)[:300]}; {_MEND}", "damaged")


def _was_unreadable(finding: str) -> bool:
    """Whether a finding is of the disk (or of memory), and says nothing about the file."""
    code = _CODE.search(finding)
    # Only the last byte is the kind of error; the others say at which call.
    return code is not None and int(code[1]) & 0xFF in (sqlite3.SQLITE_IOERR, sqlite3.SQLITE_NOMEM)


def vacuum(engine: Engine, place: str) -> None:
    """Write the file anew without a trace of what was deleted from it.

    Raises
    ------
    StoreError
        If it cannot be: another program is reading it, or there is no room for a second one.
    """
    raw = engine.raw_connection()
    try:
        cursor = raw.cursor()
        cursor.execute("VACUUM")
        # In WAL mode old pages would stay in the log beside the file.
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        cursor.close()
    except sqlite3.Error as error:
        why = in_words(place, error)
        raise StoreError(
            f"{why}. What was to go is gone, but traces may be left in the file until this is"
            " run again",
            why.kind,
        ) from error
    finally:
        raw.close()


class SqliteBackend:
    """SQLite, for one watcher: a lock of the system beside the file says which.

    Parameters
    ----------
    path : Path
        The file, which is there.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file = _identity(path)

    @property
    def reading(self) -> Mapping[str, Any]:
        """No write lock is taken."""
        return _READING

    def in_words(self, place: str, error: BaseException) -> StoreError:
        """Say what an error of the driver means and what to do."""
        return in_words(place, error)

    def begun(self, connection: Connection) -> str:
        """Look whether the file is still there: a file without a name takes writes, and is lost.

        Raises
        ------
        StoreError
            If it was deleted, or another put in its place.
        """
        del connection
        if _identity(self._path) != self._file:
            raise StoreError(
                f"{self._path} was deleted or replaced while in use; start windwatch again, and it"
                " makes a new store or goes on with the one that is there",
                "gone",
            )
        return ""

    def committed(self, engine: Engine, transaction: str) -> bool:
        """There is no connection to be cut: a commit that failed is undone."""
        del engine, transaction
        return False

    def time_now(self, clock_says: datetime) -> ColumnElement[int]:
        """The machine's clock; it only says since when somebody leads."""
        return literal((clock_says - EPOCH) // MILLISECOND, BigInteger)


_READING: Final[Mapping[str, Any]] = MappingProxyType({READING: True})


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except FileNotFoundError:
        return None
    except OSError:
        # Whether it is there cannot be seen; the write itself will tell.
        return (0, 0)
    return (found.st_dev, found.st_ino)


_MEND: Final = "set it aside (do not delete it) and start with a new store or a backup"
_WORDS: Final[tuple[tuple[str, StoreTrouble, str], ...]] = (
    (
        "SQLITE_NOTADB",
        "damaged",
        "is not a windwatch store (no SQLite database); name another file, or set it aside",
    ),
    ("SQLITE_CORRUPT", "damaged", f"is damaged; {_MEND}"),
    (
        "SQLITE_READONLY_DBMOVED",
        "gone",
        "was deleted or replaced while in use; start windwatch again",
    ),
    (
        "SQLITE_READONLY",
        "read-only",
        "cannot be written; look at the permissions of the file and of its folder",
    ),
    (
        "SQLITE_CANTOPEN",
        "read-only",
        "cannot be opened; look at the permissions of the file and its folder",
    ),
    ("SQLITE_FULL", "full", "cannot be written: the disk is full"),
    (
        "SQLITE_BUSY",
        "busy",
        f"was locked by another program for more than {BUSY_TIMEOUT_S:.0f} s; try again",
    ),
    ("SQLITE_IOERR", "other", "could not be read or written: the disk failed"),
)


def in_words(place: str, error: BaseException) -> StoreError:
    """Say what a database error means and what to do.

    Parameters
    ----------
    place : str
        The file, as the user named it.
    error : BaseException
        What the driver raised.
    """
    name = getattr(error, "sqlite_errorname", "")
    for code, kind, words in _WORDS:
        if name.startswith(code):
            return StoreError(f"{place} {words}", kind)
    return StoreError(f"{place}: the store failed: {error}")
