"""A server that says exactly what a test wants, byte for byte."""

import contextlib
import socket
import threading
from collections.abc import Callable
from typing import Self


class RawServer:
    """Hands every connection to ``talk(connection)`` in a thread, while its context is open."""

    def __init__(
        self, talk: Callable[[socket.socket], None], *, address: str = "127.0.0.1"
    ) -> None:
        self._talk = talk
        self._listener = socket.create_server((address, 0))
        self.host = "127.0.0.1"
        self.port = self._listener.getsockname()[1]
        self.connections = 0
        self._threads: list[threading.Thread] = []
        self._open: list[socket.socket] = []

    def __enter__(self) -> Self:
        self._start(self._accept)
        return self

    def __exit__(self, *_: object) -> None:
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for connection in self._open:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
            connection.close()
        for thread in self._threads:
            thread.join(2)

    def _start(self, target: Callable[..., None], *args: object) -> None:
        thread = threading.Thread(target=target, args=args, daemon=True)
        self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                connection, _ = self._listener.accept()
                self.connections += 1
                self._open.append(connection)
                self._start(self._serve, connection)

    def _serve(self, connection: socket.socket) -> None:
        with contextlib.suppress(OSError):
            self._talk(connection)
        connection.close()
