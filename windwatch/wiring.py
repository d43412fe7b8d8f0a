"""From settings to the parts of the rim: the one place that turns one room's values into another's.

Feeds, delivery, store and settings do not know each other; the watch and the commands get them
here.
"""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Final

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


def open_store_of(settings: Settings, clock: Clock) -> Store:
    """The configured store.

    Raises
    ------
    StoreError
        If it cannot be opened, or is of a kind that this version cannot use.
    """
    from windwatch.store.store import open_store  # noqa: PLC0415 - loads the database library

    if settings.store.path is None:
        raise StoreError(
            "store.url: a database server is for a standby pair, which this version does not "
            'have yet; write [store] path = "windwatch.db"'
        )
    return open_store(settings.store.path, clock)


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
    return ChannelBook(channels)


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
