"""What the running program needs besides the fleet: plain frozen values.

The other rooms of the rim have values of their own; `windwatch.watch` turns these into those.
Every length of time is a `timedelta`, every path is already counted from the file that names it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from types import MappingProxyType

from windwatch.fleet import Fleet
from windwatch.settings.secret import Secret


@dataclass(frozen=True, slots=True)
class JsonMapping:
    """Where the figures stand in the answer of a ``json`` feed, and what they mean.

    Places are dotted paths, ``wind.gust`` or ``data.0.speed``; empty: there is none.

    Attributes
    ----------
    records : str
        Place of the list of observations; empty: the answer itself.
    station : str
        The one station that is meant; empty: read `station_key`.
    report : str
        Place of a whole METAR; where it is given, the wind is read from it.
    unit : str
        ``kt``, ``m/s``, ``km/h`` or ``mph``; empty only where `report` is given.
    reference : str
        ``true`` or ``magnetic``; empty only where `report` is given.
    variation_deg : float or None
        Needed for ``magnetic``; taken from the airfield of that station if it is given there.
    averaging_period : timedelta or None
        Over how long the mean is averaged; 0 for momentary values.
    """

    records: str = ""
    station: str = ""
    station_key: str = ""
    report: str = ""
    observed_at: str = ""
    wind_from: str = ""
    speed: str = ""
    gust: str = ""
    unit: str = ""
    reference: str = ""
    variation_deg: float | None = None
    averaging_period: timedelta | None = None


@dataclass(frozen=True, slots=True)
class FeedValues:
    """Where the reports come from.

    Attributes
    ----------
    kind : str
        ``awc``, ``noaa-text``, ``nws``, ``recorded`` or ``json``.
    url : str
        Another address than the feed's usual one; for ``json`` the address itself.
    contact : str
        For the User-Agent; empty only for ``recorded``.
    every : timedelta
        Time between two polls.
    forecasts_every : timedelta
        Time between two askings for forecasts.
    format : str
        ``raw`` or ``json`` (``awc`` only).
    files : tuple of Path
        Recorded reports, in order.
    ca_file : Path or None
        Certificates that are trusted besides the usual ones.
    api_key : Secret or None
        Secret that a ``json`` address asks for, sent in the header `api_key_header`.
    """

    kind: str
    url: str = field(default="", repr=False)
    contact: str = ""
    every: timedelta = timedelta(seconds=120)
    forecasts_every: timedelta = timedelta(minutes=10)
    format: str = "json"
    files: tuple[Path, ...] = ()
    mapping: JsonMapping | None = None
    allow_http: bool = False
    allow_networks: tuple[str, ...] = ()
    ca_file: Path | None = None
    api_key: Secret | None = None
    api_key_header: str = "Authorization"


@dataclass(frozen=True, slots=True)
class StoreValues:
    """Where the books are kept: a file, or the address of a PostgreSQL database."""

    path: Path | None
    url: str | None = None
    password: Secret | None = None


@dataclass(frozen=True, slots=True)
class MailValues:
    """How mail leaves the house.

    Attributes
    ----------
    security : str
        ``starttls``, ``tls`` or ``none``.
    sender : str
        ``Name <address>`` or the address alone.
    allow_plain : bool
        ``none`` may be used with a host other than this machine; never with a login.
    """

    host: str
    port: int
    security: str
    sender: str
    username: str | None = None
    password: Secret | None = None
    ca_file: Path | None = None
    allow_plain: bool = False


@dataclass(frozen=True, slots=True)
class DeliveryValues:
    """How notices leave.

    Attributes
    ----------
    folder : Path or None
        Instead of sending: one .eml or .json a notice is dropped here.
    allow_networks : tuple of str
        Networks that a webhook may be in although they are not public, on any port.
    """

    folder: Path | None = None
    allow_networks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WatchValues:
    """How the watch shows that it works.

    Attributes
    ----------
    heartbeat_url : Secret or None
        Called after each complete cycle; many such addresses carry a key.
    allow_http, allow_networks, ca_file
        For the heartbeat.
    metrics_port : int or None
        Where Prometheus may ask; None: nowhere.
    status_file : Path or None
        What `windwatch health` reads; None: beside the store.
    store_patience : timedelta
        A store that cannot be written for so long ends the watch, for its supervisor.
    """

    heartbeat_url: Secret | None = None
    allow_http: bool = False
    allow_networks: tuple[str, ...] = ()
    ca_file: Path | None = None
    metrics_port: int | None = None
    metrics_address: str = "127.0.0.1"
    status_file: Path | None = None
    store_patience: timedelta = timedelta(minutes=5)


@dataclass(frozen=True, slots=True)
class BoardValues:
    """Where the board listens, and who may look and take note.

    Attributes
    ----------
    listen : str
        Address of this machine, in figures.
    address : str or None
        How people reach it, without a slash at the end; links in notices begin so.
    names : tuple of str
        Other names under which it may be called.
    password_hash, viewer_password_hash : Secret or None
        Of those who may take note, and of those who may only look.
    trusted_proxy : tuple of str
        Networks from which a proxy calls that lets only the right people through.
    proxy_may_acknowledge : bool
        They may take note without a password of ours.
    secret : Secret or None
        Signs links and logins.
    with_watch : bool
        The watch opens it.
    """

    listen: str = "127.0.0.1"
    port: int = 8460
    address: str | None = None
    names: tuple[str, ...] = ()
    password_hash: Secret | None = None
    viewer_password_hash: Secret | None = None
    trusted_proxy: tuple[str, ...] = ()
    proxy_may_acknowledge: bool = False
    secret: Secret | None = None
    with_watch: bool = True


@dataclass(frozen=True, slots=True)
class WebhookValues:
    """A webhook and the secrets that sign for it, newest first (two while one is replaced).

    The address is kept out of the repr: some receivers put a key into it.
    """

    url: str = field(repr=False)
    secrets: tuple[Secret, ...] = ()
    allow_http: bool = False
    ca_file: Path | None = None


@dataclass(frozen=True, slots=True)
class ContactAddresses:
    """Where a contact is reached; at least one is given. Mail addresses stay out of the repr.

    Attributes
    ----------
    pictures : bool
        Whether mails have pictures.
    """

    email: str | None = field(default=None, repr=False)
    webhook: WebhookValues | None = None
    push: Secret | None = None
    folder: Path | None = None
    pictures: bool = True


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything a configuration says.

    Attributes
    ----------
    files : tuple of Path
        The files that were read, in order.
    fleet : Fleet
        What is watched and who is told.
    addresses : mapping of str to ContactAddresses
        By contact name.
    warnings : tuple of str
        What is allowed but should be looked at: file, line, key and advice in each.
    board : BoardValues or None
        None: the configuration has no such table.
    secret_files : tuple of Path
        The files that secrets came from.
    as_read : tuple of (str, str)
        Every file that was read, and the fingerprint of the very text that was.
    """

    files: tuple[Path, ...]
    fleet: Fleet
    feed: FeedValues
    store: StoreValues
    delivery: DeliveryValues
    mail: MailValues | None = None
    watch: WatchValues = field(default_factory=WatchValues)
    board: BoardValues | None = None
    addresses: Mapping[str, ContactAddresses] = field(default_factory=lambda: MappingProxyType({}))
    warnings: tuple[str, ...] = ()
    secret_files: tuple[Path, ...] = ()
    as_read: tuple[tuple[str, str], ...] = field(default=(), compare=False, repr=False)
