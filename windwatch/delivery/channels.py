"""What a channel is, where it leads, and which contact has which."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Final, Protocol

from windwatch.delivery.in_turn import starts
from windwatch.notices.outbox import Delivery, Route
from windwatch.notices.values import Notice
from windwatch.rules import USUAL, Rules

ANSWER_LIMIT: Final = 300


@dataclass(frozen=True, slots=True)
class Accepted:
    """The next hop took it; nobody knows whether it was read.

    Attributes
    ----------
    answer : str
        What it said, cut and cleaned.
    """

    answer: str


class Channel(Protocol):
    """One way to one contact."""

    @property
    def host(self) -> str:
        """Who is called: at most a few calls to one host at a time."""
        ...

    @property
    def fingerprint(self) -> str:
        """Tells one address from another without saying it."""
        ...

    def send(self, delivery: Delivery, now: datetime) -> Accepted:
        """Hand one delivery to the next hop.

        Raises
        ------
        DeliveryFailed
            If it did not take it; says whether trying again can help.
        """
        ...


@dataclass(frozen=True, slots=True)
class MailServer:
    """The server that takes our mail.

    Attributes
    ----------
    security : str
        ``starttls``, ``tls``, or ``none`` (then without login, for a server on this machine).
    sender : str
        ``Name <address>`` or the address alone; its domain is that of the Message-IDs.
    username, password : str or None
        Never sent unless the connection is encrypted and verified.
    ca_file : Path or None
        Certificate authorities trusted besides the system's.
    connect_s, command_s, after_dot_s : float
        How long to wait: for the connection, for a reply, and for the last reply, which a
        server may take long over; cutting that one short makes duplicates. [s]
    whole_s : float
        How long everything before the last reply may take together. [s]
    """

    host: str
    port: int
    security: str
    sender: str
    username: str | None = field(default=None, repr=False)
    password: str | None = field(default=None, repr=False)
    ca_file: Path | None = None
    connect_s: float = 10.0
    command_s: float = 30.0
    after_dot_s: float = 600.0
    whole_s: float = 180.0


@dataclass(frozen=True, slots=True)
class MailAddress:
    """Where one contact gets mail, and whether with pictures."""

    address: str = field(repr=False)
    name: str = ""
    pictures: bool = True


@dataclass(frozen=True, slots=True)
class WebhookTarget:
    """Where one contact's machine listens.

    Attributes
    ----------
    url : str
        https, unless `allow_http`; some carry a key, so it is not shown.
    secrets : tuple of str
        ``whsec_`` and base64 of at least 24 bytes; two while one replaces the other.
    allow_networks : tuple of str
        Private networks that may be called nevertheless.
    """

    url: str = field(repr=False)
    secrets: tuple[str, ...] = field(default=(), repr=False)
    allow_http: bool = False
    allow_networks: tuple[str, ...] = ()
    ca_file: Path | None = None
    connect_s: float = 5.0
    whole_s: float = 15.0


@dataclass(frozen=True, slots=True)
class Folder:
    """A folder that takes files instead of a server."""

    path: Path


class ChannelBook:
    """Which contact has which channels, in the order in which they are tried.

    Parameters
    ----------
    in_turn : collection of str
        Contacts whose later channels only stand in for the earlier ones.
    rules : Rules
        How deliveries are tried.
    """

    def __init__(
        self,
        channels: Mapping[Route, Channel],
        in_turn: Collection[str] = (),
        rules: Rules = USUAL,
    ) -> None:
        self.rules = rules
        self._channels = dict(channels)
        self._in_turn = frozenset(in_turn)
        self._hosts: dict[str, list[Route]] = {}
        kinds: dict[str, list[str]] = {}
        for route, channel in self._channels.items():
            self._hosts.setdefault(channel.host, []).append(route)
            kinds.setdefault(route.contact, []).append(route.channel)
        # Asked for every notice, and contacts may be thousands.
        self._kinds = {contact: tuple(names) for contact, names in kinds.items()}

    def get(self, route: Route) -> Channel | None:
        """Find the channel of a route; None where the configuration no longer has it."""
        return self._channels.get(route)

    def kinds_of(self, contact: str) -> tuple[str, ...]:
        """Names of a contact's channels."""
        return self._kinds.get(contact, ())

    def starts_of(self, notice: Notice) -> dict[str, datetime | None]:
        """When each channel starts to carry a notice; None: at once."""
        contact = notice.contact
        patience = self.rules.fall_back_after
        in_turn = contact in self._in_turn
        return starts(notice, self.kinds_of(contact), in_turn=in_turn, patience=patience)

    def routes_to(self, host: str) -> tuple[Route, ...]:
        """Routes that lead to a host; a channel that leads there for everybody is named once."""
        routes = self._hosts.get(host, [])
        names = {route.channel for route in routes}
        elsewhere = {
            route.channel
            for route, channel in self._channels.items()
            if route.channel in names and channel.host != host
        }
        shared = tuple(Route("", name) for name in sorted(names - elsewhere))
        return shared + tuple(route for route in routes if route.channel in elsewhere)


def send_now(channel: Channel, delivery: Delivery, now: datetime) -> Accepted:
    """Send one delivery at once, past the outbox: to prove that a channel works.

    Raises
    ------
    DeliveryFailed
        With the other side's answer.
    """
    return channel.send(delivery, now)


def fingerprint(*parts: str) -> str:
    """Tell one address from another without saying it."""
    return sha256("\x1f".join(parts).encode()).hexdigest()[:32]
