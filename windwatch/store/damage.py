"""A damaged store: set aside, never deleted; and what people must know of the one after it."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path
from typing import Final

from sqlalchemy import Connection, delete, select

from windwatch.errors import StoreError
from windwatch.store.hold import WATCHER, take_hold
from windwatch.store.tables import META

MARK: Final = ".damaged-"
# What SQLite keeps beside a file; without them a damaged one could be saved less well.
BESIDE: Final = ("-journal", "-wal", "-shm")
_KEY: Final = "repaired"
_MAGIC: Final = b"SQLite format 3\0"
_AGAIN: Final = (
    "What people were told before may be told again, and nothing is back within limits on the"
    " strength of what was lost."
)


def is_a_store(path: Path) -> bool:
    """Whether a file that cannot be read was a store once, and not somebody's notes.

    A store begins as SQLite's files do, or a watcher has left its lock beside it; and zeros
    are nobody's notes.
    """
    if path.with_name(path.name + WATCHER).exists():
        return True
    try:
        with path.open("rb") as file:
            beginning = file.read(len(_MAGIC))
            zeros = not any(beginning) and not any(file.read(1 << 16))
    except OSError:
        return False
    return beginning == _MAGIC or zeros


def set_aside(path: Path, now: datetime) -> Path:
    """Give a damaged store another name, and return it.

    Raises
    ------
    StoreHeld
        If a watcher has it open.
    StoreError
        If it cannot be renamed.
    """
    name = f"{path.name}{MARK}{now:%Y%m%dT%H%M%SZ}"
    with take_hold(path, "windwatch, setting a damaged store aside", now):
        aside = path.with_name(name)
        count = 1
        while aside.exists():
            count += 1
            aside = path.with_name(f"{name}-{count}")
        try:
            # The journal first: alone beside a new store it would be played into that one.
            for ending in (*BESIDE, ""):
                old = path.with_name(path.name + ending)
                if old.exists():
                    old.rename(aside.with_name(aside.name + ending))
            keep_names(path.parent)
        except OSError as error:
            raise StoreError(
                f"{path} is damaged and cannot be set aside: {error.strerror}; rename it by hand",
                "damaged",
            ) from error
    return aside


def keep_names(folder: Path) -> None:
    """Let the names in a folder survive a power cut."""
    if os.name == "posix":
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def why_new(path: Path, now: datetime) -> str:
    """Why a store is new that should not be; '' for the first one."""
    aside = max(path.parent.glob(f"{path.name}{MARK}*Z*"), default=None, key=lambda p: p.name)
    began = f"a new one was begun on {now:%Y-%m-%d at %H:%MZ}"
    if aside is not None:
        for ending in BESIDE:
            aside = aside.with_name(aside.name.removesuffix(ending))
        return (
            f"The store {path.name} was damaged; it was kept as {aside.name}, and {began}. {_AGAIN}"
        )
    if path.with_name(path.name + WATCHER).exists():
        return f"The store {path.name} was gone or empty, and {began}. {_AGAIN}"
    return ""


def why_copied(now: datetime) -> str:
    """What to say of a backup's copy, should it come to be the store."""
    return (
        f"The store was put back from a backup made on {now:%Y-%m-%d at %H:%MZ};"
        f" what happened since is not in it. {_AGAIN}"
    )


def remember(connection: Connection, why: str) -> None:
    """Keep what people must know of this store until they have been told."""
    told(connection)
    if why:
        connection.execute(META.insert(), [{"key": _KEY, "value": why}])


def repaired(connection: Connection) -> str:
    """What people must know of this store; '' where there is nothing."""
    found: str | None = connection.execute(select(META.c.value).where(META.c.key == _KEY)).scalar()
    return found or ""


def told(connection: Connection) -> None:
    """Forget it: people have been told."""
    connection.execute(delete(META).where(META.c.key == _KEY))
