"""Going outward: one way to open connections and to read answers, with limits on both.

Feeds and channels share it. It knows nothing of reports, notices or wind. Every address is
checked before it is connected to, and the checked address is the one connected to; nothing
is redirected, no proxy is taken from the environment, certificates are always verified, and
no exchange outlives its deadline, however slowly the other side speaks.
"""

from __future__ import annotations

import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any, ClassVar, NamedTuple

import certifi
import requests
from requests.adapters import HTTPAdapter
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.connectionpool import HTTPConnectionPool, HTTPSConnectionPool
from urllib3.exceptions import (
    ConnectTimeoutError,
    NameResolutionError,
    NewConnectionError,
)

from windwatch.addresses import (
    Broken,
    IpNetwork,
    OutwardError,
    Refused,
    Resolver,
    TooLarge,
    TooSlow,
    check_url,
    networks,
    resolve_checked,
    system_resolver,
)
from windwatch.answers import in_words, read_capped
from windwatch.clock import SystemClock

__all__ = [
    "Broken",
    "OutwardError",
    "Refused",
    "TooLarge",
    "TooSlow",
    "check_url",
    "ending_within",
    "in_words",
    "open_session",
    "read_capped",
    "resolve_checked",
]

_monotonic = SystemClock().monotonic
_budget = threading.local()


@contextmanager
def ending_within(seconds: float) -> Iterator[None]:
    """Let every exchange that this thread begins inside end within `seconds` from now."""
    before: float = getattr(_budget, "ends_at", float("inf"))
    _budget.ends_at = min(before, _monotonic() + seconds)
    try:
        yield
    finally:
        _budget.ends_at = before


class _Rules(NamedTuple):
    """What holds for every connection of one session; times in seconds."""

    allow_networks: tuple[IpNetwork, ...]
    connect_timeout_s: float
    read_timeout_s: float
    total_s: float
    resolver: Resolver


class _Patience:
    """Socket reads and writes that never wait past the end of the exchange."""

    ends_at: float = float("inf")
    read_timeout_s: float = 30.0
    settimeout: Callable[[float | None], None]

    def _remaining(self) -> None:
        left = self.ends_at - _monotonic()
        if left <= 0:
            raise TimeoutError("the whole exchange took too long")
        self.settimeout(min(left, self.read_timeout_s))


class _Socket(_Patience, socket.socket):
    """A plain socket with patience."""

    def recv_into(self, *args: Any, **kwargs: Any) -> int:
        """Read, at most until the exchange must end."""
        self._remaining()
        return super().recv_into(*args, **kwargs)

    def sendall(self, *args: Any, **kwargs: Any) -> None:
        """Write, at most until the exchange must end."""
        self._remaining()
        super().sendall(*args, **kwargs)


class _TlsSocket(_Patience, ssl.SSLSocket):
    """A TLS socket with patience."""

    def recv_into(self, *args: Any, **kwargs: Any) -> int:
        """Read, at most until the exchange must end."""
        self._remaining()
        return super().recv_into(*args, **kwargs)

    def sendall(self, *args: Any, **kwargs: Any) -> None:
        """Write, at most until the exchange must end."""
        self._remaining()
        super().sendall(*args, **kwargs)


def _connect(connection: HTTPConnection, rules: _Rules, ends_at: float) -> socket.socket:
    """Connect to the first checked address that answers."""
    give_up_at = min(_monotonic() + rules.connect_timeout_s, ends_at)
    try:
        addresses = resolve_checked(
            connection.host,
            connection.port or connection.default_port,
            rules.allow_networks,
            timeout_s=give_up_at - _monotonic(),
            resolver=rules.resolver,
        )
    except socket.gaierror as error:
        raise NameResolutionError(connection.host, connection, error) from error
    except TooSlow as error:
        # Nobody was called yet, which is another thing than an answer that is too slow.
        raise NewConnectionError(connection, str(error)) from error
    except OSError as error:
        raise NewConnectionError(connection, f"the name was not resolved: {error}") from error
    last: OSError | None = None
    for address in addresses:
        left = give_up_at - _monotonic()
        if left <= 0:
            last = TimeoutError()
            break
        sock = _Socket(address.family, socket.SOCK_STREAM)
        try:
            sock.settimeout(left)
            sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            sock.connect(address.target)
        except OSError as error:
            sock.close()
            last = error
        else:
            return sock
    if isinstance(last, TimeoutError):
        raise ConnectTimeoutError(connection, f"{connection.host} did not answer the call")
    raise NewConnectionError(connection, str(last)) from last


class _Bounded:
    """What both kinds of connection add: checked addresses, and an end."""

    rules: ClassVar[_Rules]
    ends_at: float = float("inf")
    begun: bool = False

    def begin(self, *, connecting: bool) -> None:
        """Start the exchange's time, once per exchange."""
        if connecting or not self.begun:
            end_of_all: float = getattr(_budget, "ends_at", float("inf"))
            self.ends_at = min(_monotonic() + self.rules.total_s, end_of_all)
        self.begun = connecting

    def arm(self, sock: Any) -> None:
        """Give the socket its end."""
        if isinstance(sock, _Patience):
            sock.ends_at = self.ends_at
            sock.read_timeout_s = self.rules.read_timeout_s


class _PlainConnection(_Bounded, HTTPConnection):
    def _new_conn(self) -> socket.socket:
        return _connect(self, self.rules, self.ends_at)

    def connect(self) -> None:
        self.begin(connecting=True)
        super().connect()
        self.arm(self.sock)

    def request(self, *args: Any, **kwargs: Any) -> None:
        self.begin(connecting=False)
        self.arm(self.sock)
        super().request(*args, **kwargs)


class _TlsConnection(_Bounded, HTTPSConnection):
    def _new_conn(self) -> socket.socket:
        return _connect(self, self.rules, self.ends_at)

    def connect(self) -> None:
        self.begin(connecting=True)
        super().connect()
        self.arm(self.sock)

    def request(self, *args: Any, **kwargs: Any) -> None:
        self.begin(connecting=False)
        self.arm(self.sock)
        super().request(*args, **kwargs)


class _PlainPoolUsedOnce(HTTPConnectionPool):
    """Keeps no connection open: a call on one that the other side just closed would fail."""

    def _put_conn(self, conn: Any) -> None:
        if conn is not None:
            conn.close()
        super()._put_conn(conn)


class _TlsPoolUsedOnce(HTTPSConnectionPool):
    """The same under TLS."""

    def _put_conn(self, conn: Any) -> None:
        if conn is not None:
            conn.close()
        super()._put_conn(conn)


class _Adapter(HTTPAdapter):
    """Connects by our rules and always verifies."""

    def __init__(
        self, rules: _Rules, context: ssl.SSLContext, pool_size: int, *, keep_alive: bool
    ) -> None:
        self._rules = rules
        self._context = context
        self._pools: tuple[type, type] = (
            (HTTPConnectionPool, HTTPSConnectionPool)
            if keep_alive
            else (_PlainPoolUsedOnce, _TlsPoolUsedOnce)
        )
        super().__init__(pool_connections=pool_size, pool_maxsize=pool_size, max_retries=0)

    def init_poolmanager(self, *args: Any, **kwargs: Any) -> None:
        super().init_poolmanager(*args, **kwargs, ssl_context=self._context)
        named = {"rules": self._rules}
        plain = type("Plain", (_PlainConnection,), named)
        tls = type("Tls", (_TlsConnection,), named)
        plain_pool, tls_pool = self._pools
        self.poolmanager.pool_classes_by_scheme = {
            "http": type("PlainPool", (plain_pool,), {"ConnectionCls": plain}),
            "https": type("TlsPool", (tls_pool,), {"ConnectionCls": tls}),
        }

    def cert_verify(self, conn: Any, *_: Any) -> None:
        # The context holds the authorities; nobody may switch verifying off.
        conn.cert_reqs = "CERT_REQUIRED"

    def build_connection_pool_key_attributes(
        self, request: Any, _verify: Any, cert: Any = None
    ) -> tuple[Any, Any]:
        host, _ = super().build_connection_pool_key_attributes(request, True, cert)
        return host, {"cert_reqs": "CERT_REQUIRED"}


class _Session(requests.Session):
    """A session that follows nothing and never waits for ever."""

    def __init__(self, timeouts: tuple[float, float]) -> None:
        super().__init__()
        self._timeouts = timeouts
        self.trust_env = False

    def get_redirect_target(self, _: requests.Response) -> str | None:
        """Nowhere: a redirect is an answer like any other, for the caller to judge."""
        return None

    def send(self, request: requests.PreparedRequest, **kwargs: Any) -> requests.Response:
        """Send with our timeouts, and leave the body on the wire."""
        kwargs |= {"timeout": self._timeouts, "stream": True, "allow_redirects": False}
        return super().send(request, **kwargs)


@lru_cache(maxsize=16)
def _authorities(ca_file: Path | None, changed_ns: int) -> ssl.SSLContext:
    """Whom we trust: read once, and again after a change, for it takes longer than most calls."""
    del changed_ns
    context = ssl.create_default_context(cafile=certifi.where())
    if ca_file is not None:
        context.load_verify_locations(cafile=str(ca_file))
    context.sslsocket_class = _TlsSocket
    return context


def open_session(
    *,
    allow_networks: tuple[str, ...] = (),
    connect_timeout_s: float = 10.0,
    read_timeout_s: float = 15.0,
    total_s: float = 20.0,
    ca_file: Path | None = None,
    pool_size: int = 4,
    keep_alive: bool = False,
    resolver: Resolver = system_resolver,
) -> requests.Session:
    """Open a session whose every exchange is checked and bounded.

    Answers come with their body still on the wire: read it with `read_capped`, then close.
    Redirects come back as answers. `requests.RequestException` and `OutwardError` are raised.

    Parameters
    ----------
    allow_networks : tuple of str
        Private networks that may be connected to, and where any port may be used.
    connect_timeout_s, read_timeout_s, total_s : float
        For looking up and connecting; for one read; for one whole exchange. [s]
    ca_file : Path or None
        Certificate authorities trusted besides the usual ones (PEM).
    pool_size : int
        Connections per host at one time.
    keep_alive : bool
        Keep them open between calls. A call on a connection that the other side has just
        closed fails without anybody knowing whether it arrived.

    Raises
    ------
    Refused
        If `ca_file` cannot be read or a network is none.
    """
    try:
        changed_ns = 0 if ca_file is None else ca_file.stat().st_mtime_ns
        context = _authorities(ca_file, changed_ns)
    except OSError as error:
        raise Refused(f"ca_file {ca_file}: no certificates could be read: {error}") from error
    rules = _Rules(networks(allow_networks), connect_timeout_s, read_timeout_s, total_s, resolver)
    session = _Session((connect_timeout_s, read_timeout_s))
    adapter = _Adapter(rules, context, pool_size, keep_alive=keep_alive)
    session.mount("https://", adapter)
    session.mount("http://", adapter)
    session.headers["Accept-Encoding"] = "gzip"
    return session
