"""Connections to the board: not more than there are handles for, and none that only waits."""

from __future__ import annotations

import asyncio
from typing import Any, Final

from uvicorn.protocols.http.h11_impl import H11Protocol

from windwatch.board.limits import HEAD_TIME_S, MOST_CONNECTIONS

# Taken at once before it is seen that they are too many.
BACKLOG: Final = 64


def most_connections() -> int:
    """How many may be open at once: the watch in the same process needs handles, too."""
    try:
        import resource  # noqa: PLC0415 - not on Windows
    except ModuleNotFoundError:
        return MOST_CONNECTIONS
    handles, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    return MOST_CONNECTIONS if handles < 0 else min(MOST_CONNECTIONS, handles // 2)


class Protocol(H11Protocol):
    """Ends a connection that is one too many, or whose request does not come in time."""

    _waits: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as its own
        """Somebody has connected."""
        super().connection_made(transport)
        if len(self.connections) > most_connections():
            transport.abort()
        else:
            self._wait()

    def data_received(self, data: bytes) -> None:
        """Something came."""
        if self._waits is None and self._is_idle():
            self._wait()
        super().data_received(data)
        if not self._is_idle():
            self._wait_no_more()

    def connection_lost(self, exc: Exception | None) -> None:
        """They have gone."""
        self._wait_no_more()
        super().connection_lost(exc)

    def _wait(self) -> None:
        self._waits = self.loop.call_later(HEAD_TIME_S, self._give_up)

    def _wait_no_more(self) -> None:
        if self._waits is not None:
            self._waits.cancel()
            self._waits = None

    def _is_idle(self) -> bool:
        """Whether no request is being answered: its head has not come, or not whole."""
        cycle: Any = self.cycle
        return cycle is None or cycle.response_complete

    def _give_up(self) -> None:
        self._waits = None
        if self._is_idle() and not self.transport.is_closing():
            self.transport.close()
