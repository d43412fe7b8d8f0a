"""Who asks, from where and by which name of ours; and what they may do."""

from __future__ import annotations

import ipaddress
import secrets
from collections.abc import Mapping
from datetime import datetime
from typing import Final, NamedTuple
from urllib.parse import urlsplit

from windwatch.board.limits import counted_as
from windwatch.board.passwords import is_password
from windwatch.board.sessions import COOKIE, Role, Session, Sessions
from windwatch.settings.running import BoardValues

_FORWARDED: Final = ("x-forwarded-for", "x-forwarded-host", "x-forwarded-proto", "forwarded")
_SAME: Final = frozenset({"same-origin", "none"})


class Refused(Exception):
    """A request is not answered as asked.

    Attributes
    ----------
    status : int
    headline, words : str
        For people.
    wait_s : int
        When it may be tried again; 0: no use. [s]
    """

    def __init__(self, status: int, headline: str, words: str, wait_s: int = 0) -> None:
        super().__init__(headline)
        self.status, self.headline, self.words, self.wait_s = status, headline, words, wait_s


class Visitor(NamedTuple):
    """Who asks.

    Attributes
    ----------
    address : str
        What rates are counted by.
    secure : bool
        The way to them is encrypted.
    role : Role
    session : Session
        A new one where they brought none.
    known : bool
        They brought it.
    logged_in : bool
    """

    address: str
    secure: bool
    role: Role
    session: Session
    known: bool
    logged_in: bool

    @property
    def name(self) -> str:
        """As they gave it when they logged in."""
        return self.session.name


class Access:
    """The rules of who may do what.

    Parameters
    ----------
    values : BoardValues
    """

    def __init__(self, values: BoardValues) -> None:
        self._values = values
        self._proxies = tuple(ipaddress.ip_network(n, strict=False) for n in values.trusted_proxy)
        self._local = ipaddress.ip_address(values.listen).is_loopback
        own = urlsplit(values.address or "")
        named = {"localhost", *values.names, own.hostname or ""}
        self._names = frozenset(name.lower().rstrip(".") for name in named if name)
        self._origin = f"{own.scheme}://{own.netloc}".lower() if own.netloc else ""
        self._hashes = {
            Role.DESK: values.password_hash,
            Role.VIEWER: values.viewer_password_hash,
        }
        # Without a configured one, every login ends with the process.
        self.secret = (
            secrets.token_bytes(32) if values.secret is None else values.secret.reveal().encode()
        )
        kept = [each.reveal() if each is not None else "" for each in self._hashes.values()]
        self.sessions = Sessions(self.secret, "\n".join(kept))

    @property
    def has_password(self) -> bool:
        """Whether anybody has to log in."""
        return any(each is not None for each in self._hashes.values())

    def visitor(
        self, peer: str, headers: Mapping[str, str], cookies: Mapping[str, str], now: datetime
    ) -> Visitor:
        """Who asks.

        Parameters
        ----------
        peer : str
            The address at the other end of the connection.

        Raises
        ------
        Refused
            If they called us by a name that is not ours, or come past the proxy.
        """
        self._judge_host(headers.get("host", ""))
        proxied = self._is_proxy(peer)
        if not proxied and not self._proxies and any(name in headers for name in _FORWARDED):
            raise Refused(
                403,
                "A proxy stands in between",
                "This board was called through a proxy that it does not know. Name it in the "
                "configuration, as trusted_proxy under [board].",
            )
        address, secure = peer, False
        if proxied:
            address = self._behind(headers.get("x-forwarded-for", ""), peer)
            secure = headers.get("x-forwarded-proto", "").split(",")[-1].strip() == "https"
        known = self.sessions.read(cookies.get(COOKIE, ""), now)
        session = known or self.sessions.begin(now)
        logged_in = self.has_password and session.role is not Role.NOBODY
        role = session.role if self.has_password else self._unasked(peer, proxied=proxied)
        return Visitor(counted_as(address), secure, role, session, known is not None, logged_in)

    def _unasked(self, peer: str, *, proxied: bool) -> Role:
        """What they may do where there is no password."""
        if proxied:
            return Role.DESK if self._values.proxy_may_acknowledge else Role.VIEWER
        if _is_loopback(peer):
            return Role.DESK
        raise Refused(
            403, "Not this way", "This board answers only through the proxy that stands before it."
        )

    def _judge_host(self, host: str) -> None:
        """A foreign name may lead a browser here, whose page could then read ours."""
        name = _host_of(host)
        if name in self._names:
            return
        try:
            literal = ipaddress.ip_address(name)
        except ValueError:
            literal = None
        # No foreign name leads to figures; at home only our own loopback is meant.
        if literal is not None and (literal.is_loopback or not self._local):
            return
        raise Refused(
            421,
            "Not by this name",
            "This board does not go by the name it was called by. If it is yours, list it in the "
            "configuration, as names under [board].",
        )

    def judge_origin(self, headers: Mapping[str, str]) -> None:
        """Refuse a form that another site sends.

        Raises
        ------
        Refused
        """
        site = headers.get("sec-fetch-site", "none").lower()
        # A page that tells no referrer sends its forms as from nowhere.
        origin = headers.get("origin", "null").lower()
        own = {
            self._origin,
            *(f"{s}://{headers.get('host', '')}".lower() for s in ("http", "https")),
        }
        if site not in _SAME or origin not in own | {"null"}:
            raise Refused(403, "Not from here", "That form came from another site.")

    def role_of(self, password: str) -> Role:
        """Whose password it is; slow on purpose. ``nobody``: nobody's."""
        for role, kept in self._hashes.items():
            if kept is not None and is_password(password, kept.reveal()):
                return role
        return Role.NOBODY

    def _is_proxy(self, peer: str) -> bool:
        address = _address(peer)
        return address is not None and any(address in network for network in self._proxies)

    def _behind(self, forwarded: str, peer: str) -> str:
        """The nearest that is no proxy of ours: what stands before it may be invented."""
        for part in reversed(forwarded.split(",")):
            address = _address(part.strip())
            if address is None:
                return peer
            if not any(address in network for network in self._proxies):
                return str(address)
        return peer


def _address(text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        found = ipaddress.ip_address(text)
    except ValueError:
        return None
    if isinstance(found, ipaddress.IPv6Address) and found.ipv4_mapped is not None:
        return found.ipv4_mapped
    return found


def _is_loopback(peer: str) -> bool:
    address = _address(peer)
    return address is not None and address.is_loopback


def _host_of(host: str) -> str:
    """The name in a Host header, without its port."""
    if host.startswith("["):
        return host[1:].partition("]")[0].lower()
    return host.rpartition(":")[0].lower().rstrip(".") if ":" in host else host.lower().rstrip(".")
