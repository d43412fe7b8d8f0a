"""One watcher at a time: a lock beside the store that the system frees when its holder dies."""

from __future__ import annotations

import json
import os
import socket
import stat
import sys
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from windwatch.errors import StoreError, StoreHeld

# The byte that is locked lies far behind the text, because on some systems a locked byte
# cannot be read, and whoever is refused wants to read who holds it.
LOCKED_BYTE: Final = 1 << 20
TEXT_LIMIT: Final = 2_000
WATCHER: Final = ".watcher"


class Hold:
    """The right to watch with one store; released on leaving, and by the system at a crash."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor: int | None = descriptor

    def release(self) -> None:
        """Let another watcher have it."""
        if self._descriptor is not None:
            # The file stays: removing it could take the lock from under somebody else.
            os.truncate(self._descriptor, 0)
            os.close(self._descriptor)
            self._descriptor = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.release()


def take_hold(store: Path, owner: str, now: datetime) -> Hold:
    """Take the right to watch with a store.

    Parameters
    ----------
    store : Path
        The store's file; the lock lies beside it.
    owner : str
        Who asks, in words: ``windwatch watch config/larkspur.toml``.
    now : datetime
        Written down for whoever is refused.

    Raises
    ------
    StoreHeld
        If another process, or another part of this one, has it; the message names it.
    """
    lock = store.with_name(store.name + WATCHER)
    flags = os.O_CREAT | os.O_RDWR | getattr(os, "O_NOFOLLOW", 0)
    try:
        descriptor = os.open(lock, flags, stat.S_IRUSR | stat.S_IWUSR)
    except OSError as error:
        raise StoreError(f"{lock}: the watcher's lock cannot be made: {error.strerror}") from error
    try:
        _take(descriptor, store)
        card = {
            "owner": owner,
            "pid": os.getpid(),
            "host": socket.gethostname(),
            "since": now.isoformat(timespec="seconds"),
        }
        os.truncate(descriptor, 0)
        os.lseek(descriptor, 0, os.SEEK_SET)
        os.write(descriptor, json.dumps(card).encode())
    except BaseException:
        os.close(descriptor)
        raise
    return Hold(descriptor)


def _take(descriptor: int, store: Path) -> None:
    if not _lock(descriptor):
        raise StoreHeld(_refusal(store, _read(descriptor)))


def _refusal(store: Path, text: str) -> str:
    try:
        card = json.loads(text)
        who = f"{card['owner']} (process {card['pid']} on {card['host']}, since {card['since']})"
    except (ValueError, KeyError, TypeError):
        who = "another watcher"
    return (
        f"{store} is in use by {who}; two watchers would tell everybody everything twice:"
        " stop that one first, or give this one a store of its own"
    )


def _read(descriptor: int) -> str:
    os.lseek(descriptor, 0, os.SEEK_SET)
    return os.read(descriptor, TEXT_LIMIT).decode(errors="replace")


if sys.platform == "win32":
    import msvcrt

    def _lock(descriptor: int) -> bool:
        os.lseek(descriptor, LOCKED_BYTE, os.SEEK_SET)
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _lock(descriptor: int) -> bool:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True
