"""A copy of the store while it is in use, by SQLite's own backup interface."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import datetime
from pathlib import Path
from typing import Final

from windwatch.errors import StoreError
from windwatch.store import damage
from windwatch.store.sqlite import BUSY_TIMEOUT_S

# 8 MB at a time, so that whoever writes meanwhile waits for milliseconds.
PAGES: Final = 2_000


class _Restless(Exception):
    """The store changes faster than it is copied by parts."""


def copy_store(store: Path, to: Path, now: datetime, *, force: bool) -> int:
    """Copy a store to a file that appears only when it is whole.

    Parameters
    ----------
    store, to : Path
        From where, to where.
    now : datetime
        Written into the copy, for the day it comes to be the store.
    force : bool
        Whether a file of that name may be replaced.

    Returns
    -------
    int
        Size of the copy in bytes.

    Raises
    ------
    StoreError
        If the copy cannot be made.
    sqlite3.Error
        If the store cannot be read.
    """
    if to.is_symlink() or (to.exists() and not to.is_file()):
        raise StoreError(f"{to} is no plain file; name a new file for the backup")
    if to.exists():
        if to.samefile(store):
            raise StoreError(f"{to} is the store itself; name another file for the backup")
        if not force:
            raise StoreError(f"{to} is there already; name another file, or add --force")
    try:
        # Made with mode 0600, under a name that nobody can know before.
        descriptor, name = tempfile.mkstemp(prefix=f".{to.name}.", dir=to.parent)
    except OSError as error:
        raise StoreError(f"{to}: the backup cannot be made: {error.strerror}") from error
    os.close(descriptor)
    part = Path(name)
    try:
        _fill(store, part, now)
        return _put_in_place(part, to, force=force)
    except OSError as error:
        raise StoreError(f"{to}: the backup cannot be made: {error.strerror}") from error
    except sqlite3.Error as error:
        raise StoreError(f"{to}: the backup cannot be made: {error}") from error
    finally:
        part.unlink(missing_ok=True)


def _fill(store: Path, part: Path, now: datetime) -> None:
    address = f"{store.resolve().as_uri()}?mode=rw"
    with (
        closing(sqlite3.connect(address, uri=True, timeout=BUSY_TIMEOUT_S)) as source,
        closing(sqlite3.connect(part)) as target,
    ):
        try:
            source.backup(target, pages=PAGES, progress=_patience(), sleep=0)
        except _Restless:
            source.backup(target)
        # In one file, whatever the store's own mode is.
        target.execute("PRAGMA journal_mode = DELETE")
        with target:
            target.execute("DELETE FROM meta WHERE key = 'repaired'")
            target.execute(
                "INSERT INTO meta (key, value) VALUES ('repaired', ?)", (damage.why_copied(now),)
            )
        found = target.execute("PRAGMA quick_check(1)").fetchone()[0]
        if found != "ok":
            raise StoreError(f"{store} is damaged ({found}); no backup was made", "damaged")


def _patience() -> Callable[[int, int, int], None]:
    """Stop a copy by parts that had to begin anew more than three times."""
    copied = 0

    def look(_status: int, remaining: int, total: int) -> None:
        nonlocal copied
        copied += PAGES
        if remaining and copied > 4 * (total + PAGES):
            raise _Restless

    return look


def _put_in_place(part: Path, to: Path, *, force: bool) -> int:
    descriptor = os.open(part, os.O_RDWR)
    try:
        os.fsync(descriptor)
        size = os.fstat(descriptor).st_size
    finally:
        os.close(descriptor)
    if force:
        part.replace(to)
    else:
        try:
            # Unlike a rename it fails where somebody made a file of that name meanwhile.
            os.link(part, to)
        except FileExistsError:
            raise StoreError(f"{to} is there already; name another file, or add --force") from None
        except OSError:
            # A file system without hard links.
            part.rename(to)
    with suppress(OSError):
        damage.keep_names(to.parent)
    return size
