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
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, ClassVar, Final, NamedTuple

import certifi
import requests
from requests.adapters import HTTPAdapter
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.connectionpool import HTTPConnectionPool, HTTPSConnectionPool
from urllib3.exceptions import (
    ConnectTimeoutError,
    HTTPError,
    NameResolutionError,
    NewConnectionError,
    ReadTimeoutError,
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

MAX_WIRE: Final = 32 * 1024 * 1024  # bytes as sent: reliability.md F08
MAX_DECODED: Final = 64 * 1024 * 1024  # bytes after decompression: F09
MAX_RATIO: Final = 200  # decompressed to sent: F09
# Below this a high ratio is only a small repetitive answer, and harms nobody.
RATIO_COUNTS_FROM: Final = 1024 * 1024
PIECE: Final = 16384

_monotonic = SystemClock().monotonic
_budget = threading.local()


# --- connections -----------------------------------------------------------


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


class _Adapter(HTTPAdapter):
    """Connects by our rules and always verifies."""

    def __init__(self, rules: _Rules, context: ssl.SSLContext, pool_size: int) -> None:
        self._rules = rules
        self._context = context
        super().__init__(pool_connections=pool_size, pool_maxsize=pool_size, max_retries=0)

    def init_poolmanager(self, *args: Any, **kwargs: Any) -> None:
        super().init_poolmanager(*args, **kwargs, ssl_context=self._context)
        named = {"rules": self._rules}
        plain = type("Plain", (_PlainConnection,), named)
        tls = type("Tls", (_TlsConnection,), named)
        self.poolmanager.pool_classes_by_scheme = {
            "http": type("PlainPool", (HTTPConnectionPool,), {"ConnectionCls": plain}),
            "https": type("TlsPool", (HTTPSConnectionPool,), {"ConnectionCls": tls}),
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


def open_session(
    *,
    allow_networks: tuple[str, ...] = (),
    connect_timeout_s: float = 10.0,
    read_timeout_s: float = 15.0,
    total_s: float = 20.0,
    ca_file: Path | None = None,
    pool_size: int = 4,
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
        Connections kept open per host.

    Raises
    ------
    Refused
        If `ca_file` cannot be read or a network is none.
    """
    context = ssl.create_default_context(cafile=certifi.where())
    if ca_file is not None:
        try:
            context.load_verify_locations(cafile=str(ca_file))
        except OSError as error:
            raise Refused(f"ca_file {ca_file}: no certificates could be read: {error}") from error
    context.sslsocket_class = _TlsSocket
    rules = _Rules(networks(allow_networks), connect_timeout_s, read_timeout_s, total_s, resolver)
    session = _Session((connect_timeout_s, read_timeout_s))
    adapter = _Adapter(rules, context, pool_size)
    session.mount("https://", adapter)
    session.mount("http://", adapter)
    session.headers["Accept-Encoding"] = "gzip"
    return session


# --- answers ---------------------------------------------------------------


def _decoder(response: requests.Response) -> Any | None:
    """Choose how to decompress; anything but one plain gzip is refused."""
    encoding = response.headers.get("Content-Encoding", "").strip().lower()
    if encoding in ("", "identity"):
        return None
    if encoding in ("gzip", "x-gzip"):
        return zlib.decompressobj(16 + zlib.MAX_WBITS)
    raise Refused(f"the answer is encoded as {encoding[:40]!r}, which was not asked for")


def read_capped(
    response: requests.Response,
    max_wire: int = MAX_WIRE,
    max_decoded: int = MAX_DECODED,
    deadline_at: float = float("inf"),
    monotonic: Callable[[], float] = _monotonic,
    *,
    cut: bool = False,
) -> bytes:
    """Read an answer's body, never more than the limits, and close it.

    Parameters
    ----------
    max_wire, max_decoded : int
        Most bytes as sent and after decompression.
    deadline_at : float
        When to give up, on the clock `monotonic`. [s]
    cut : bool
        Return what fits instead of raising `TooLarge`.

    Raises
    ------
    TooLarge, TooSlow, Broken, Refused
        See the tree at the top of this module.
    """
    try:
        return _read(response, max_wire, max_decoded, deadline_at, monotonic, cut=cut)
    except (ReadTimeoutError, TimeoutError) as error:
        raise TooSlow("the answer came too slowly and was cut") from error
    except (HTTPError, OSError, zlib.error) as error:
        raise Broken(f"the answer broke off: {error}") from error
    finally:
        response.close()


def _read(
    response: requests.Response,
    max_wire: int,
    max_decoded: int,
    deadline_at: float,
    monotonic: Callable[[], float],
    *,
    cut: bool,
) -> bytes:
    """Read piece by piece: a piece is what has arrived, so the deadline is seen in time."""
    decoder = _decoder(response)
    body = bytearray()
    on_wire = 0
    while True:
        if monotonic() > deadline_at:
            raise TooSlow("the answer came too slowly and was cut")
        piece = response.raw.read1(PIECE, decode_content=False)
        if not piece:
            break
        on_wire += len(piece)
        # Bounded, so that a bomb is never all in memory.
        body += decoder.decompress(piece, max_decoded + 1 - len(body)) if decoder else piece
        problem = _too_large(on_wire, len(body), max_wire, max_decoded)
        if problem and cut:
            return bytes(body[:max_decoded])
        if problem:
            raise TooLarge(problem)
        if decoder and decoder.eof and decoder.unused_data:
            raise Broken("the answer goes on after the end of its compressed part")
    if decoder and not decoder.eof and (body or on_wire):
        raise Broken("the compressed answer ends too early")
    return bytes(body)


def _too_large(on_wire: int, decoded: int, max_wire: int, max_decoded: int) -> str | None:
    """Say which size limit is passed, if one is."""
    if on_wire > max_wire:
        return f"the answer is longer than {max_wire:,} bytes"
    if decoded > max_decoded:
        return f"the answer is longer than {max_decoded:,} bytes when decompressed"
    if decoded > RATIO_COUNTS_FROM and decoded > MAX_RATIO * on_wire:
        return f"the answer decompresses to more than {MAX_RATIO} times its size"
    return None


def in_words(error: Exception) -> str:
    """Say why an exchange failed, in one short line without addresses of objects.

    Parameters
    ----------
    error : Exception
        What `requests` or this module raised.
    """
    if isinstance(error, OutwardError):
        return str(error)
    chain: list[BaseException] = []
    link: BaseException | None = error
    while link is not None and link not in chain:
        chain.append(link)
        reason = getattr(link, "reason", None)
        first = link.args[0] if link.args else None
        inner = next((x for x in (reason, first) if isinstance(x, BaseException)), None)
        link = inner or link.__cause__ or link.__context__
    for kind, words in _REASONS:
        if any(isinstance(link, kind) for link in chain):
            return words
    for link in chain:
        if isinstance(link, ssl.SSLCertVerificationError):
            return f"its certificate is not valid: {link.verify_message}"
    if any(isinstance(link, ssl.SSLError) for link in chain):
        return "no secure connection could be agreed"
    return f"no connection ({type(error).__name__})"


_REASONS: Final[tuple[tuple[type[BaseException], str], ...]] = (
    (socket.gaierror, "its name was not found"),
    (NameResolutionError, "its name was not found"),
    (requests.ConnectTimeout, "it did not answer the call in time"),
    (requests.ReadTimeout, "it did not answer in time"),
    (ConnectionRefusedError, "it refused the connection"),
    (ConnectionResetError, "it cut the connection"),
)
