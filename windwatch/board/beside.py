"""A board with its server on one store: beside a watch in its process, or by itself."""

from __future__ import annotations

from collections.abc import Callable

from windwatch.board.app import Board
from windwatch.board.pages import HtmlPages
from windwatch.board.server import Server
from windwatch.board.source import StoreSource
from windwatch.clock import Clock
from windwatch.settings.running import BoardValues, Settings
from windwatch.store.store import Store


class Beside(Server):
    """Serves the pages of a configuration and a store.

    Parameters
    ----------
    settings : Settings
    store : Store
        Read, and written only where somebody takes note; whoever opened it closes it.
    clock : Clock

    Raises
    ------
    UsageError
        If it cannot listen where it is to.
    """

    def __init__(self, settings: Settings, store: Store, clock: Clock) -> None:
        values = settings.board or BoardValues()
        self._source = StoreSource(settings, store)
        board = Board(values, self._source, HtmlPages(), clock)
        super().__init__(board, values.listen, values.port)

    def follow(self, settings: Callable[[], Settings]) -> None:
        """Show the configuration that is in force from now on; where it listens stays."""
        self._source.follow(settings)

    def use(self, store: Store) -> None:
        """Read another store from now on."""
        self._source.use(store)
