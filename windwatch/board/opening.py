"""Opening the board: by itself, or beside a watch, which goes on whatever becomes of it."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from windwatch.clock import Clock
from windwatch.errors import UsageError
from windwatch.settings.running import Settings
from windwatch.store.store import Store

if TYPE_CHECKING:
    from windwatch.board.beside import Beside

log = logging.getLogger(__name__)


def open_board(settings: Settings, store: Store, clock: Clock) -> Beside:
    """A board on a store, that listens from now on and serves when it is entered.

    Raises
    ------
    UsageError
        If it cannot listen where it is to, or its libraries are missing.
    """
    try:
        from windwatch.board.beside import Beside  # noqa: PLC0415 - an extra, and slow to load
    except ModuleNotFoundError as error:
        raise UsageError(
            f"the board needs {error.name}, which is missing: pip install 'windwatch[board]'"
        ) from error
    return Beside(settings, store, clock)


@contextmanager
def beside_watch(settings: Settings, store: Store, clock: Clock) -> Iterator[Beside | None]:
    """The board in a watch's process, where one is configured; None where there is none.

    A board that cannot be opened is told in the log: no warning may depend on it.
    """
    if settings.board is None or not settings.board.with_watch:
        yield None
        return
    try:
        board = open_board(settings, store, clock)
        board.start()
    except UsageError as error:
        log.error("board_not_opened", extra={"problem": str(error)})  # noqa: TRY400 - said in words
        yield None
        return
    try:
        yield board
    finally:
        board.stop()
