"""From settings to the parts of the rim: the one place that turns one room's values into another's.

Feeds, delivery, store and settings do not know each other; the watch and the commands get them
here.
"""

from __future__ import annotations

from datetime import timedelta
from email.utils import parseaddr
from pathlib import Path
from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

from windwatch.clock import Clock
from windwatch.delivery.channels import (
    Channel,
    ChannelBook,
    Folder,
    MailAddress,
    MailServer,
    WebhookTarget,
)
from windwatch.errors import StoreError
from windwatch.feeds.values import Feed, FeedSettings, JsonMapping
from windwatch.notices.outbox import Route
from windwatch.settings.running import (
    ContactAddresses,
    FeedValues,
    MailValues,
    Settings,
    WebhookValues,
)
from windwatch.store.store import Store

if TYPE_CHECKING:
    from windwatch.upkeep.showing import Outward

# A path of an address that may hold a key is at least so long.
_KEY_LENGTH: Final = 12
# Sender of mails that are dropped in a folder where no mail server is configured.
_NOBODY: Final = "windwatch <windwatch@localhost.example>"


def feed_settings(values: FeedValues) -> FeedSettings:
    """The feed's settings in the feeds' own words."""
    mapping = None
    if values.mapping is not None:
        m = values.mapping
        mapping = JsonMapping(
            records=m.records,
            station=m.station,
            station_key=m.station_key,
            report=m.report,
            observed_at=m.observed_at,
            wind_from=m.wind_from,
            speed=m.speed,
            gust=m.gust,
            unit=m.unit,
            reference=m.reference,
            variation_deg=m.variation_deg,
            averaging_period=m.averaging_period,
        )
    return FeedSettings(
        kind=values.kind,
        url=values.url,
        contact=values.contact,
        every=values.every,
        format=values.format,
        files=values.files,
        mapping=mapping,
        allow_http=values.allow_http,
        allow_networks=values.allow_networks,
        ca_file=values.ca_file,
        api_key="" if values.api_key is None else values.api_key.reveal(),
        api_key_header=values.api_key_header,
    )


def make_feed(settings: Settings, clock: Clock) -> Feed:
    """The configured feed."""
    from windwatch.feeds.build import build_feed  # noqa: PLC0415 - loads the HTTP client

    return build_feed(feed_settings(settings.feed), clock)


def open_store_of(
    settings: Settings, clock: Clock, *, check: bool = True, repair: bool = False
) -> Store:
    """The configured store: a file, or a database that several watchers share.

    Parameters
    ----------
    check : bool
        Look for damage first.
    repair : bool
        For the watch alone: set a damaged file aside and begin a new one (`Store.repaired`).

    Raises
    ------
    StoreError
        If it cannot be opened.
    """
    from windwatch.store.store import (  # noqa: PLC0415 - loads the database library
        open_database,
        open_store,
    )

    values = settings.store
    if values.path is not None:
        return open_store(values.path, clock, check=check, repair=repair)
    if values.url is None:
        raise StoreError('[store] names neither; write path = "windwatch.db"')
    password = None if values.password is None else values.password.reveal()
    return open_database(values.url, password, clock)


def make_channels(settings: Settings, folder: Path | None = None) -> ChannelBook:
    """Every contact's channels.

    Parameters
    ----------
    folder : Path or None
        Drop everything here instead of sending; the configured folder is the default.
    """
    folder = folder if folder is not None else settings.delivery.folder
    channels: dict[Route, Channel] = {}
    for contact in settings.fleet.contacts:
        addresses = settings.addresses.get(contact.name, ContactAddresses())
        for kind in contact.channels:
            channels[Route(contact.name, kind)] = _channel(
                settings, contact.name, kind, addresses, folder
            )
    in_turn = {contact.name for contact in settings.fleet.contacts if contact.fall_back}
    return ChannelBook(channels, in_turn)


def status_path(settings: Settings) -> Path:
    """Where the state of the watch is kept, for `windwatch health`."""
    from windwatch.upkeep.health import path_beside  # noqa: PLC0415 - few commands need it

    if settings.watch.status_file is not None:
        return settings.watch.status_file
    if settings.store.path is not None:
        return path_beside(settings.store.path)
    return path_beside(settings.files[0])


def make_outward(settings: Settings) -> Outward:
    """Where a watch shows how it stands: its state, the heartbeat, metrics.

    Raises
    ------
    UsageError
        If the port for metrics cannot be had.
    """
    from windwatch.upkeep.hiding import Hider  # noqa: PLC0415 - as below
    from windwatch.upkeep.showing import Outward  # noqa: PLC0415 - only the watch needs it

    values = settings.watch
    heartbeat = metrics = None
    if values.heartbeat_url is not None:
        from windwatch.upkeep.heartbeat import Heartbeat, HeartbeatTarget  # noqa: PLC0415

        heartbeat = Heartbeat(
            HeartbeatTarget(
                url=values.heartbeat_url.reveal(),
                allow_http=values.allow_http,
                allow_networks=values.allow_networks,
                ca_file=values.ca_file,
            )
        )
    if values.metrics_port is not None:
        from windwatch.upkeep.metrics import Metrics  # noqa: PLC0415 - an extra

        metrics = Metrics(values.metrics_port, values.metrics_address)
    return Outward(
        status=status_path(settings),
        heartbeat=heartbeat,
        metrics=metrics,
        store_patience=values.store_patience,
        hide=Hider(hidden_texts(settings)),
    )


def hidden_texts(settings: Settings) -> tuple[str, ...]:
    """What must be read in no log: secrets, and people's and machines' addresses."""
    secrets = [settings.feed.api_key, settings.store.password, settings.watch.heartbeat_url]
    texts = [settings.feed.contact, urlsplit(settings.feed.url).query]
    if settings.mail is not None:
        secrets.append(settings.mail.password)
        texts += [settings.mail.username or "", parseaddr(settings.mail.sender)[1]]
    for addresses in settings.addresses.values():
        texts.append(addresses.email or "")
        if addresses.webhook is not None:
            secrets += addresses.webhook.secrets
            texts.append(addresses.webhook.url)
            parts = urlsplit(addresses.webhook.url)
            texts += [parts.query, parts.path if len(parts.path) >= _KEY_LENGTH else ""]
    texts += [secret.reveal() for secret in secrets if secret is not None]
    if settings.watch.heartbeat_url is not None:
        parts = urlsplit(settings.watch.heartbeat_url.reveal())
        texts += [parts.query, parts.path if len(parts.path) >= _KEY_LENGTH else ""]
    return tuple(dict.fromkeys(text for text in texts if text))


def _channel(
    settings: Settings,
    contact: str,
    kind: str,
    addresses: ContactAddresses,
    folder: Path | None,
) -> Channel:
    from windwatch.delivery.folder import mail_folder, webhook_folder  # noqa: PLC0415

    mail = MailAddress(addresses.email or f"{contact}", contact)
    sender = _NOBODY if settings.mail is None else settings.mail.sender
    if kind == "webhook" and addresses.webhook is not None:
        target = _webhook(addresses.webhook, settings.delivery.allow_networks)
        if folder is not None:
            return webhook_folder(Folder(folder), target)
        from windwatch.delivery.webhook import WebhookChannel  # noqa: PLC0415

        return WebhookChannel(target)
    if kind == "push" and addresses.push is not None and folder is None:
        from windwatch.delivery.push import PushChannel, PushTarget  # noqa: PLC0415

        return PushChannel(PushTarget(addresses.push.reveal(), settings.delivery.allow_networks))
    if kind == "folder":
        return mail_folder(Folder(addresses.folder or folder or Path()), sender, mail)
    if folder is not None or settings.mail is None:
        return mail_folder(Folder(folder or Path()), sender, mail)
    from windwatch.delivery.email import EmailChannel  # noqa: PLC0415

    return EmailChannel(_mail_server(settings.mail), mail)


def _webhook(values: WebhookValues, allow_networks: tuple[str, ...]) -> WebhookTarget:
    return WebhookTarget(
        url=values.url,
        secrets=tuple(secret.reveal() for secret in values.secrets),
        allow_http=values.allow_http,
        allow_networks=allow_networks,
        ca_file=values.ca_file,
    )


def _mail_server(values: MailValues) -> MailServer:
    return MailServer(
        host=values.host,
        port=values.port,
        security=values.security,
        sender=values.sender,
        username=values.username,
        password=None if values.password is None else values.password.reveal(),
        ca_file=values.ca_file,
    )


def look_back(settings: Settings) -> timedelta:
    """How far back to ask after a gap in watching: as long as late reports still count."""
    return max((a.stale_after for a in settings.fleet.airfields), default=timedelta(hours=2)) * 4
