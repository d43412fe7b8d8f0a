"""Stands between a client and a database server, and cuts the line at a commit."""

import select
import socket
import threading
from contextlib import closing, suppress
from pathlib import Path

# As it goes over the line; "read committed" is something else.
COMMIT = b"COMMIT\0"
PIECE = 65_536


class CuttingProxy:
    """Listens on a socket in `folder`, as the server behind it does in its own.

    Attributes
    ----------
    cut : str
        '' lets everything through. ``before``: a commit is not passed on. ``after``: it is, and
        its answer is not. In both cases the line is cut then, once.
    """

    def __init__(self, folder: Path, server: Path) -> None:
        self.cut = ""
        name = next(p.name for p in server.glob(".s.PGSQL.*") if not p.name.endswith(".lock"))
        self._server = str(server / name)
        self._listener = socket.socket(socket.AF_UNIX)
        self._listener.bind(str(folder / name))
        self._listener.listen()
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        """Take no more calls."""
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            threading.Thread(target=self._serve, args=(client,), daemon=True).start()

    def _serve(self, client: socket.socket) -> None:
        server = socket.socket(socket.AF_UNIX)
        with closing(client), closing(server), suppress(OSError):
            server.connect(self._server)
            while self._pass_on(client, server):
                pass

    def _pass_on(self, client: socket.socket, server: socket.socket) -> bool:
        """Pass on what comes next; False: the line is to be cut."""
        ready, _, _ = select.select([client, server], [], [])
        if server in ready:
            said = server.recv(PIECE)
            client.sendall(said)
            return bool(said)
        asked = client.recv(PIECE)
        if COMMIT in asked and self.cut:
            how, self.cut = self.cut, ""
            if how == "after":
                server.sendall(asked)
                # With its answer the commit is over; it goes no further.
                server.recv(PIECE)
            return False
        server.sendall(asked)
        return bool(asked)
