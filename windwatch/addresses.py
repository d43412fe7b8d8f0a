"""Which addresses windwatch may call, and what can go wrong out there.

Every address is checked before it is connected to; `windwatch.outward` connects to the very
address that was checked.

::

    OutwardError        the exchange did not succeed
    ├── Refused         windwatch will not: address, scheme, port, encoding
    ├── TooSlow         a deadline passed
    ├── TooLarge        a size limit was passed
    └── Broken          the other side cut the answer short, or sent garbage for compression
"""

from __future__ import annotations

import ipaddress
import re
import socket
import threading
from collections.abc import Callable, Iterable
from typing import Any, Final, NamedTuple
from urllib.parse import urlsplit

from windwatch.errors import WindwatchError

IpAddress = ipaddress.IPv4Address | ipaddress.IPv6Address
IpNetwork = ipaddress.IPv4Network | ipaddress.IPv6Network
Resolver = Callable[[str, int], Iterable[tuple[Any, ...]]]

WEB_PORTS: Final = (80, 443)
# Names that hang in the system's resolver cannot be called off, only be waited for elsewhere.
MAX_NAMES_IN_FLIGHT: Final = 32
NAT64: Final = ipaddress.ip_network("64:ff9b::/96")

_names_in_flight = threading.BoundedSemaphore(MAX_NAMES_IN_FLIGHT)


class OutwardError(WindwatchError):
    """An exchange with somebody outside did not succeed."""


class Refused(OutwardError):
    """Windwatch will not do this; trying again cannot help until somebody changes something."""


class TooSlow(OutwardError):
    """A deadline passed."""


class TooLarge(OutwardError):
    """A size limit was passed."""


class Broken(OutwardError):
    """The answer is not whole, or not what its headers say."""


# --- addresses -------------------------------------------------------------


class Address(NamedTuple):
    """One address that has been checked.

    Attributes
    ----------
    family : int
        ``AF_INET`` or ``AF_INET6``.
    target : tuple
        What `socket.connect` takes.
    """

    family: int
    target: tuple[Any, ...]


def networks(texts: Iterable[str]) -> tuple[IpNetwork, ...]:
    """Read networks such as ``192.168.1.0/24`` or single addresses.

    Raises
    ------
    Refused
        If one is neither.
    """
    found = []
    for text in texts:
        try:
            found.append(ipaddress.ip_network(text, strict=False))
        except ValueError as error:
            raise Refused(
                f"allow_networks: {text!r} is no network; write for example 192.168.1.0/24"
            ) from error
    return tuple(found)


def check_url(url: str, *, allow_http: bool = False) -> None:
    """Refuse a URL that windwatch will not call, before anything is looked up.

    Raises
    ------
    Refused
        If it is not https (or http where allowed), carries a user name or password, has no
        host, or contains blanks or control characters.
    """
    # Queries may hold keys, so they are not quoted.
    shown = repr(url.partition("?")[0])
    if any(ord(letter) <= 0x20 or ord(letter) == 0x7F for letter in url):
        raise Refused(f"{shown} contains a blank or a control character")
    if "@" in re.split(r"[/?#]", url.partition("//")[2], maxsplit=1)[0]:
        # Nothing of the URL is quoted: it holds a secret.
        raise Refused("the URL contains a user name or password; give secrets separately")
    try:
        parts = urlsplit(url)
        host, _ = parts.hostname, parts.port
    except ValueError as error:
        raise Refused(f"{shown} is no URL: {error}") from error
    if not host:
        raise Refused(f"{shown} names no host")
    if parts.scheme == "http" and not allow_http:
        raise Refused(f"{shown} is not https; set allow_http = true to call it in clear")
    if parts.scheme not in ("http", "https"):
        raise Refused(f"{shown} is not https")


def is_public(address: IpAddress) -> bool:
    """Whether an address belongs to the public internet, whatever it is wrapped in."""
    if isinstance(address, ipaddress.IPv6Address):
        inner = address.ipv4_mapped or address.sixtofour
        if inner is None and address in NAT64:
            inner = ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
        if inner is not None:
            return is_public(inner)
        if address.teredo is not None or address.is_site_local:
            return False
    return address.is_global and not (
        address.is_multicast
        or address.is_reserved
        or address.is_unspecified
        or address.is_loopback
        or address.is_link_local
    )


def _literal(host: str) -> IpAddress | None:
    """Read a host that is itself an address; refuse number forms that only some readers know."""
    bare = host.strip("[]")
    try:
        return ipaddress.ip_address(bare)
    except ValueError:
        last = bare.rstrip(".").rpartition(".")[2]
        if ":" in bare or re.fullmatch(r"[0-9]+|0[xX][0-9a-fA-F]*", last):
            raise Refused(f"the host {host!r} is an odd way to write an address") from None
        return None


def _look_up(host: str, port: int, timeout_s: float, resolver: Resolver) -> list[IpAddress]:
    """Resolve a name in a thread of its own, because a resolver cannot be called off."""
    if not _names_in_flight.acquire(blocking=False):
        raise TooSlow(f"the name {host} was not looked up: {MAX_NAMES_IN_FLIGHT} others hang")
    found: list[IpAddress] = []
    failed: list[Exception] = []

    def ask() -> None:
        try:
            answers = resolver(host, port)
            found.extend(dict.fromkeys(ipaddress.ip_address(str(a[4][0])) for a in answers))
        except Exception as error:  # noqa: BLE001 - handed to the thread that asked
            failed.append(error)
        finally:
            _names_in_flight.release()

    thread = threading.Thread(target=ask, name=f"look up {host}", daemon=True)
    thread.start()
    thread.join(timeout_s)
    if thread.is_alive():
        raise TooSlow(f"the name {host} was not resolved within {timeout_s:.0f} s")
    if failed:
        raise failed[0]
    return found


def system_resolver(host: str, port: int) -> Iterable[tuple[Any, ...]]:
    """Ask the system for the addresses of a host."""
    return socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)


def resolve_checked(
    host: str,
    port: int,
    allow_networks: Iterable[str | IpNetwork] = (),
    *,
    timeout_s: float = 10.0,
    resolver: Resolver = system_resolver,
) -> list[Address]:
    """Resolve a host and keep the addresses that may be connected to.

    Parameters
    ----------
    host : str
        Name or address.
    port : int
        80 and 443 are open to everybody; another port needs its address in `allow_networks`.
    allow_networks : iterable of str
        Networks that are allowed although they are private, or on another port.
    timeout_s : float
        How long the resolver may take. [s]
    resolver : callable
        What asks the system; replaced in tests.

    Raises
    ------
    Refused
        If no address is left.
    TooSlow
        If the resolver hangs.
    OSError
        If the name does not exist.
    """
    listed = networks(str(network) for network in allow_networks)
    literal = _literal(host)
    addresses = [literal] if literal else _look_up(host, port, timeout_s, resolver)
    good = []
    for address in addresses:
        allowed = any(address in network for network in listed)
        if allowed or (is_public(address) and port in WEB_PORTS):
            family = socket.AF_INET if address.version == 4 else socket.AF_INET6
            good.append(Address(family, (str(address), port)))
    if good:
        return good
    if any(is_public(address) for address in addresses):
        raise Refused(f"{host} port {port}: neither 80 nor 443; list its address in allow_networks")
    named = ", ".join(str(address) for address in addresses) or "no address"
    raise Refused(
        f"{host} is {named}, which is not a public address; if it is yours and meant,"
        " list it in allow_networks"
    )
