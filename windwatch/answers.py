"""Reading what came back: never more than the limits, and in words when nothing did."""

from __future__ import annotations

import socket
import ssl
import zlib
from collections.abc import Callable
from typing import Any, Final

import requests
from urllib3.exceptions import HTTPError, NameResolutionError, ReadTimeoutError

from windwatch.addresses import Broken, OutwardError, Refused, TooLarge, TooSlow
from windwatch.clock import SystemClock

MAX_WIRE: Final = 32 * 1024 * 1024  # bytes as sent: reliability.md F08
MAX_DECODED: Final = 64 * 1024 * 1024  # bytes after decompression: F09
MAX_RATIO: Final = 200  # decompressed to sent: F09
# Below this a high ratio is only a small repetitive answer, and harms nobody.
RATIO_COUNTS_FROM: Final = 1024 * 1024
PIECE: Final = 16384

_monotonic = SystemClock().monotonic


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
    body = bytearray()
    try:
        return _read(body, response, max_wire, max_decoded, deadline_at, monotonic, cut=cut)
    except (ReadTimeoutError, TimeoutError) as error:
        raise TooSlow("the answer came too slowly and was cut") from error
    except (HTTPError, OSError, zlib.error) as error:
        raise Broken(f"the answer broke off: {error}") from error
    finally:
        # An error keeps what its functions held until the next collection of garbage.
        body.clear()
        response.close()


def _read(
    body: bytearray,
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
    for link in chain:
        if isinstance(link, OutwardError):
            return str(link)
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
