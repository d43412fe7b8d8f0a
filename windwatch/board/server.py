"""The board's server: in a thread of its own beside the watch, ended in less than a second."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
import threading
from types import TracebackType
from typing import TYPE_CHECKING, Final, Self

from windwatch.board.limits import MOST_HEAD
from windwatch.errors import UsageError

if TYPE_CHECKING:
    from uvicorn import Server as Uvicorn

    from windwatch.board.app import Board

log = logging.getLogger(__name__)

START_S: Final = 10.0
STOP_S: Final = 5.0


class Server:
    """Serves a board.

    Parameters
    ----------
    board : Board
    listen : str
        Address of this machine, in figures.
    port : int
        0: any that is free, for tests.

    Raises
    ------
    UsageError
        If it cannot listen there.
    """

    def __init__(self, board: Board, listen: str, port: int) -> None:
        self._board = board
        self._socket = _listen(listen, port)
        self.port: int = self._socket.getsockname()[1]
        self.url = f"http://{f'[{listen}]' if ':' in listen else listen}:{self.port}"
        self._loop: asyncio.AbstractEventLoop | None = None
        self._uvicorn: Uvicorn | None = None
        self._thread = threading.Thread(target=self._run, name="board", daemon=True)
        self._stands = threading.Event()

    def start(self) -> None:
        """Serve; returns when the first can be answered."""
        self._thread.start()
        if not self._stands.wait(START_S):
            raise UsageError(f"the board does not start on {self.url}")

    def stop(self) -> None:
        """End: live views are told to come back, what is under way is answered."""
        loop, uvicorn = self._loop, self._uvicorn
        if loop is None or uvicorn is None:
            self._socket.close()
            return
        uvicorn.should_exit = True
        # It may have ended by itself.
        with contextlib.suppress(RuntimeError):
            loop.call_soon_threadsafe(self._board.close)
        self._thread.join(STOP_S)

    @property
    def runs(self) -> bool:
        """Whether it serves."""
        return self._thread.is_alive()

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    def _run(self) -> None:
        try:
            asyncio.run(self._serve())
        except Exception:
            # The watch beside it goes on.
            log.exception("board_ended")
        finally:
            self._stands.set()

    async def _serve(self) -> None:
        from uvicorn import Config  # noqa: PLC0415 - an extra
        from uvicorn import Server as Uvicorn  # noqa: PLC0415

        from windwatch.board.protocol import BACKLOG, Protocol  # noqa: PLC0415 - as above

        self._loop = asyncio.get_running_loop()
        config = Config(
            self._board.app,
            http=Protocol,
            ws="none",
            lifespan="off",
            log_config=None,
            # What it would say is what anybody sends; what fails in ours, we say.
            log_level="critical",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            backlog=BACKLOG,
            timeout_keep_alive=20,
            timeout_graceful_shutdown=2,
            h11_max_incomplete_event_size=MOST_HEAD,
        )
        self._uvicorn = Uvicorn(config)
        self._loop.call_soon(self._say_when_it_stands)
        await self._uvicorn.serve(sockets=[self._socket])

    def _say_when_it_stands(self) -> None:
        if self._loop is None or self._uvicorn is None:
            return
        if self._uvicorn.started:
            self._stands.set()
        else:
            self._loop.call_later(0.01, self._say_when_it_stands)


def _listen(address: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    found = socket.socket(family, socket.SOCK_STREAM)
    try:
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind((address, port))
        found.listen()
    except OSError as error:
        found.close()
        raise UsageError(
            f"the board cannot listen on {address} port {port}: {error.strerror or error}; "
            "write another port under [board], or stop what listens there (a watch whose "
            "configuration has [board] opens it itself)"
        ) from error
    found.setblocking(False)
    return found
