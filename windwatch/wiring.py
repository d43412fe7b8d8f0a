"""From settings to the parts of the rim: the one place that turns one room's values into another's.

Feeds, delivery, store and settings do not know each other; the watch and the commands get them
here.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from email.utils import parseaddr
from functools import partial
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
    WatchValues,
    WebhookValues,
)
from windwatch.store.store import Store

if TYPE_CHECKING:
    from windwatch.upkeep.heartbeat import Heartbeat
    from windwatch.upkeep.metrics import Metrics
    from windwatch.upkeep.showing import Outward

# A path of an address that may hold a key is at least so long.
_KEY_LENGTH: Final = 12
# How long pictures may take in what is only shown. [s]
PATIENT_S: Final = 60.0
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
    # Nobody waits for what is only shown: it has its pictures however busy the machine is.
    patience_s = None if folder is None else PATIENT_S
    folder = folder if folder is not None else settings.delivery.folder
    channels: dict[Route, Channel] = {}
    for contact in settings.fleet.contacts:
        addresses = settings.addresses.get(contact.name, ContactAddresses())
        for kind in contact.channels:
            channels[Route(contact.name, kind)] = _channel(
                settings, contact.name, kind, addresses, folder, patience_s
            )
    in_turn = {contact.name for contact in settings.fleet.contacts if contact.fall_back}
    return ChannelBook(channels, in_turn, settings.fleet.rules)


def status_path(settings: Settings) -> Path:
    """Where the state of the watch is kept, for `windwatch health`."""
    from windwatch.upkeep.health import path_beside  # noqa: PLC0415 - few commands need it

    if settings.watch.status_file is not None:
        return settings.watch.status_file
    if settings.store.path is not None:
        return path_beside(settings.store.path)
    return path_beside(settings.files[0])


def status_path_guessed(paths: Sequence[Path]) -> Path | None:
    """Where the state of a watch is whose configuration cannot be used; None: nobody can tell."""
    from windwatch.upkeep.health import SUFFIX  # noqa: PLC0415 - few commands need it

    folders = [path if path.is_dir() else path.parent for path in paths]
    found = [file for folder in dict.fromkeys(folders) for file in folder.glob("*" + SUFFIX)]
    return found[0] if len(found) == 1 else None


def make_outward(settings: Settings) -> Outward:
    """Where a watch shows how it stands: its state, the heartbeat, metrics.

    Raises
    ------
    UsageError
        If the port for metrics cannot be had.
    """
    from windwatch.upkeep.hiding import Hider  # noqa: PLC0415 - as below
    from windwatch.upkeep.showing import Outward  # noqa: PLC0415 - only the watch needs it

    return Outward(
        status=status_path(settings),
        heartbeat=_heartbeat(settings.watch),
        metrics=_metrics(settings.watch),
        store_patience=settings.watch.store_patience,
        hide=Hider(hidden_texts(settings)),
    )


def _heartbeat(values: WatchValues) -> Heartbeat | None:
    if values.heartbeat_url is None:
        return None
    from windwatch.upkeep.heartbeat import Heartbeat, HeartbeatTarget  # noqa: PLC0415

    return Heartbeat(
        HeartbeatTarget(
            url=values.heartbeat_url.reveal(),
            allow_http=values.allow_http,
            allow_networks=values.allow_networks,
            ca_file=values.ca_file,
        )
    )


def _metrics(values: WatchValues, before: Metrics | None = None) -> Metrics | None:
    if values.metrics_port is None:
        return None
    from windwatch.upkeep.metrics import Metrics, moved  # noqa: PLC0415 - an extra

    make = Metrics if before is None else partial(moved, before)
    return make(values.metrics_port, values.metrics_address)


# --- parts that are exchanged while the watch runs -------------------------------


@dataclass(frozen=True, slots=True)
class Parts:
    """The rim of a watch, as one configuration has it."""

    feed: Feed | None
    channels: ChannelBook
    outward: Outward | None = None


def make_parts(settings: Settings, clock: Clock) -> Parts:
    """The rim of a watch.

    Raises
    ------
    WindwatchError
        If a part cannot be made.
    """
    feed = make_feed(settings, clock)
    try:
        return Parts(feed, make_channels(settings), make_outward(settings))
    except BaseException:
        feed.close()
        raise


def renew_parts(
    parts: Parts, was: Settings, now: Settings, clock: Clock, hide: Iterable[str]
) -> Parts:
    """The rim by another configuration; a part whose settings are the same stays what it is.

    So the feed keeps what it knows of its server: when it may be asked again, and what is new.

    Parameters
    ----------
    hide : iterable of str
        What must be read in no log and no state: also of the configuration before, by which
        something may still be under way.

    Raises
    ------
    WindwatchError
        If a new part cannot be made; then none was, and the old ones are as they were.
    """
    from windwatch.upkeep.hiding import Hider  # noqa: PLC0415 - only the watch needs it

    feed, outward = parts.feed, parts.outward
    if feed is not None and feed_settings(now.feed) != feed_settings(was.feed):
        feed = make_feed(now, clock)
    try:
        channels = make_channels(now)
        if outward is not None:
            # Of what is called: patience and the file of the state are no part of it.
            beats, shows = _called(was.watch) != _called(now.watch), _port(was) != _port(now)
            outward = replace(
                outward,
                status=status_path(now),
                heartbeat=_heartbeat(now.watch) if beats else outward.heartbeat,
                store_patience=now.watch.store_patience,
                hide=Hider(hide),
                # Last, because it takes a port.
                metrics=_metrics(now.watch, outward.metrics) if shows else outward.metrics,
            )
    except BaseException:
        if feed is not None and feed is not parts.feed:
            feed.close()
        raise
    return Parts(feed, channels, outward)


def put_away(old: Parts, new: Parts) -> None:
    """End what is not in use any more; the watch itself closes its feeds."""
    if old.outward is None or new.outward is None:
        return
    before, after = old.outward, new.outward
    if before.heartbeat is not None and before.heartbeat is not after.heartbeat:
        before.heartbeat.close()
    if before.metrics is not None and before.metrics is not after.metrics:
        before.metrics.close()


def go_back(old: Parts, new: Parts) -> None:
    """Have the old parts as they were: the new ones, just made, are not taken after all."""
    put_away(new, old)
    if new.feed is not None and new.feed is not old.feed:
        new.feed.close()
    if old.outward is not None and old.outward.metrics is not None:
        # It may have lent its port.
        old.outward.metrics.take_back()


def leave_status(old: Parts, new: Parts) -> None:
    """Take away the state of a watch that is written elsewhere now: it would seem to be silent."""
    before = None if old.outward is None else old.outward.status
    if before is not None and new.outward is not None and before != new.outward.status:
        with contextlib.suppress(OSError):
            before.unlink()


def _called(values: WatchValues) -> object:
    return values.heartbeat_url, values.allow_http, values.allow_networks, values.ca_file


def _port(settings: Settings) -> object:
    return settings.watch.metrics_port, settings.watch.metrics_address


def hidden_texts(settings: Settings) -> tuple[str, ...]:
    """What must be read in no log: secrets, and people's and machines' addresses."""
    secrets = [settings.feed.api_key, settings.store.password, settings.watch.heartbeat_url]
    texts = [settings.feed.contact, urlsplit(settings.feed.url).query]
    if settings.board is not None:
        board = settings.board
        secrets += [board.password_hash, board.viewer_password_hash, board.secret]
    if settings.mail is not None:
        secrets.append(settings.mail.password)
        texts += [settings.mail.username or "", parseaddr(settings.mail.sender)[1]]
    for addresses in settings.addresses.values():
        texts.append(addresses.email or "")
        secrets.append(addresses.push)
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
    patience_s: float | None,
) -> Channel:
    from windwatch.delivery.folder import mail_folder, webhook_folder  # noqa: PLC0415

    mail = MailAddress(addresses.email or f"{contact}", contact, addresses.pictures)
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
        place = Folder(addresses.folder or folder or Path())
        return mail_folder(place, sender, mail, patience_s)
    if folder is not None or settings.mail is None:
        return mail_folder(Folder(folder or Path()), sender, mail, patience_s)
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
