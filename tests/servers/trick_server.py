"""A local server that answers each call with one trick, byte by byte if need be."""

import socket
import ssl
import threading
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType
from typing import Self

Trick = Callable[[socket.socket, str], None]


class TrickServer:
    """Accept calls, read the head of the request, and let the trick do the rest.

    Attributes
    ----------
    heads : list of str
        Every request's head, in order.
    """

    def __init__(self, trick: Trick, *, tls: ssl.SSLContext | None = None) -> None:
        self._trick = trick
        self._tls = tls
        self.heads: list[str] = []
        self.stopping = threading.Event()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(0.01)
        self.port = self._listener.getsockname()[1]
        self._threads: list[threading.Thread] = []
        self._main = threading.Thread(target=self._accept, daemon=True)

    @property
    def url(self) -> str:
        return f"{'https' if self._tls else 'http'}://127.0.0.1:{self.port}"

    def __enter__(self) -> Self:
        self._main.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stopping.set()
        self._main.join()
        self._listener.close()
        for thread in self._threads:
            thread.join(2)

    def _accept(self) -> None:
        while not self.stopping.is_set():
            try:
                call, _ = self._listener.accept()
            except TimeoutError:
                continue
            thread = threading.Thread(target=self._serve, args=(call,), daemon=True)
            self._threads.append(thread)
            thread.start()

    def _serve(self, call: socket.socket) -> None:
        # Whoever cuts the connection is the one under test.
        with call, suppress(OSError):
            call.settimeout(2)
            if self._tls:
                with self._tls.wrap_socket(call, server_side=True) as secure:
                    self._answer(secure)
            else:
                self._answer(call)

    def _answer(self, call: socket.socket) -> None:
        head = b""
        while b"\r\n\r\n" not in head:
            piece = call.recv(4096)
            if not piece:
                return
            head += piece
        self.heads.append(head.decode("latin-1"))
        self._trick(call, self.heads[-1])
        with suppress(OSError):
            call.shutdown(socket.SHUT_WR)


def http(status: str, body: bytes = b"", *headers: str, length: bool = True) -> bytes:
    """Write a whole answer."""
    lines = [f"HTTP/1.1 {status}", *headers]
    if length:
        lines.append(f"Content-Length: {len(body)}")
    return "\r\n".join(lines).encode() + b"\r\n\r\n" + body


def says(answer: bytes) -> Trick:
    """Always the same answer."""
    return lambda call, _: call.sendall(answer)


def says_in_turn(*answers: bytes) -> Trick:
    """One answer after the other; the last one for ever."""
    left = list(answers)
    return lambda call, _: call.sendall(left.pop(0) if len(left) > 1 else left[0])
