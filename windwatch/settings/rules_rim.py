"""Contradictions about the feed, the store, mail, and whom to tell; and their running values."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Final

from windwatch.settings import words
from windwatch.settings.files import relative
from windwatch.settings.findings import Findings
from windwatch.settings.lines import Loc
from windwatch.settings.rules_addresses import judge_url
from windwatch.settings.running import (
    DeliveryValues,
    FeedValues,
    JsonMapping,
    MailValues,
    StoreValues,
)
from windwatch.settings.schema_rim import FORECAST_FEEDS, FeedTable, MailTable, MappingTable
from windwatch.settings.secrets_found import password

PUBLIC_FEEDS: Final = ("awc", "awc-cache", "noaa-text", "noaa-cycles", "nws")
# reference/feeds.md section 1.3: no address more than once a minute.
_PUBLIC_EVERY: Final = "60s"
# A report's wind is a two-minute mean (reliability.md section 2); the samples for it must come
# so often that one may fail.
_TWO_MINUTES: Final = timedelta(minutes=2)
_SAMPLE_EVERY: Final = timedelta(seconds=30)
_PORTS: Final = {"starttls": 587, "tls": 465, "none": 25}
_THIS_MACHINE: Final = frozenset({"localhost", "127.0.0.1", "::1"})


def path_at(found: Findings, loc: Loc, text: str | None) -> Path | None:
    """Return a path as counted from the folder of the file that names it."""
    return None if text is None else relative(found.merged.folder(loc), text)


def existing_file(found: Findings, loc: Loc, text: str | None) -> Path | None:
    """Return a path to a file, which must be there."""
    path = path_at(found, loc, text)
    if path is not None and not path.is_file():
        found.refuse(
            loc,
            f"there is no file {words.shown(str(path))}",
            "check the name; it counts from the folder of this file",
        )
    return path


def folder_at(found: Findings, loc: Loc, text: str | None) -> Path | None:
    """Return a path to a folder, which is there or can be made."""
    path = path_at(found, loc, text)
    if path is not None and path.exists() and not path.is_dir():
        found.refuse(loc, f"{words.shown(str(path))} is a file", "name a folder")
    elif path is not None:
        _parent_exists(found, loc, path)
    return path


def _parent_exists(found: Findings, loc: Loc, path: Path) -> None:
    """A folder is made where its own parent is there; a longer missing way is a mistake."""
    parent = path.parent
    if not parent.exists():
        found.refuse(
            loc,
            f"there is no folder {words.shown(str(parent))}",
            "make that folder, or name another",
        )
    elif not parent.is_dir():
        found.refuse(loc, f"{words.shown(str(parent))} is a file", "name a folder")


# --- feed -------------------------------------------------------------------


def judge_feed(found: Findings) -> FeedValues:
    """Judge the feed and return its running values."""
    feed = found.whole.feed
    loc: Loc = ("feed",)
    if feed.kind == "recorded":
        if not feed.files:
            found.refuse(
                loc,
                'kind = "recorded" without files',
                'add files = ["../recorded_reports/front_day.txt"]',
                (*loc, "kind"),
                (*loc, "files"),
            )
    else:
        _judge_called_feed(found, loc, feed)
    for key, only, given in (
        ("files", "recorded", bool(feed.files)),
        ("mapping", "json", feed.mapping is not None),
        ("format", "awc", "format" in feed.model_fields_set),
        ("api_key_env", "json", feed.api_key_env is not None),
        ("api_key_file", "json", feed.api_key_file is not None),
    ):
        if given and feed.kind != only:
            found.refuse(
                (*loc, key),
                f'it means nothing with kind = "{feed.kind}"',
                f'take it out, or write kind = "{only}"',
                (*loc, "kind"),
            )
    _judge_forecasts(found, feed)
    key_value = password(found, loc, feed.api_key_env, feed.api_key_file, stem="api_key")
    recorded = feed.files if feed.kind == "recorded" else []
    files = [existing_file(found, (*loc, "files", i), name) for i, name in enumerate(recorded)]
    return FeedValues(
        kind=feed.kind,
        url=feed.url or "",
        contact=feed.contact or "",
        every=words.duration(feed.every),
        forecasts_every=words.duration(feed.forecasts_every),
        format=feed.format,
        files=tuple(path for path in files if path is not None),
        mapping=_mapping(found, feed.mapping),
        allow_http=feed.allow_http,
        allow_networks=tuple(feed.allow_networks),
        ca_file=existing_file(found, (*loc, "ca_file"), feed.ca_file),
        api_key=key_value,
        api_key_header=feed.api_key_header,
    )


def _judge_forecasts(found: Findings, feed: FeedTable) -> None:
    """A station of which no forecast can come is no fault: nothing is judged by it."""
    if feed.kind in FORECAST_FEEDS:
        return
    for number, airfield in enumerate(found.whole.airfield):
        if airfield.forecast_station is not None:
            found.caution(
                ("airfield", number, "forecast_station"),
                f'it is not used with kind = "{feed.kind}", which gives no forecasts',
                f"leave it, or take it out; forecasts come with {', '.join(FORECAST_FEEDS)}",
                ("feed", "kind"),
            )


def _judge_called_feed(found: Findings, loc: Loc, feed: FeedTable) -> None:
    kind: Loc = (*loc, "kind")
    if feed.contact is None:
        found.refuse(
            loc,
            "no contact, which goes into each request so that its server's people can write",
            'add contact = "ops@larkspur.example" with your own address',
            loc,
        )
    elif not feed.contact.isascii():
        found.refuse(
            (*loc, "contact"),
            f"{words.shown(feed.contact)} has letters that no request can carry",
            "write a mail or web address",
        )
    too_often = words.duration(feed.every) < words.duration(_PUBLIC_EVERY)
    if feed.kind in PUBLIC_FEEDS and too_often:
        found.refuse(
            (*loc, "every"),
            f"{words.shown(feed.every)} is more often than this public feed allows",
            f'write every = "{_PUBLIC_EVERY}" or longer',
            kind,
        )
    if feed.url is not None:
        judge_url(
            found,
            (*loc, "url"),
            feed.url,
            allow_http=feed.allow_http,
            allowed=feed.allow_networks,
            networks_at=("feed", "allow_networks"),
        )
    if feed.kind == "json":
        if feed.url is None:
            found.refuse(
                loc,
                'kind = "json" without url',
                'add url = "https://anemometer.larkspur.example/now"',
                loc,
            )
        if feed.mapping is None:
            found.refuse(
                loc,
                'kind = "json" without mapping',
                "add a [feed.mapping] table that says where the figures stand",
                loc,
            )
        else:
            _judge_mapping(found, (*loc, "mapping"), feed.mapping)


def _judge_mapping(found: Findings, loc: Loc, mapping: MappingTable) -> None:
    if (mapping.station is None) == (mapping.station_key is None):
        found.refuse(
            loc,
            "station and station_key are both given"
            if mapping.station
            else "neither station nor station_key is given",
            'keep one: station = "XLKS" for the one that is meant, station_key = "station.id" '
            "where the answer says it",
            loc,
        )
    if mapping.report is not None:
        return
    for key, example in (
        ("observed_at", '"time"'),
        ("speed", '"wind.average"'),
        ("unit", '"kt"'),
        ("reference", '"true" or "magnetic"'),
        ("averaging_period", '"2min"'),
    ):
        if getattr(mapping, key) is None and (key != "reference" or mapping.wind_from):
            found.refuse(
                (*loc, key),
                "missing, and there is no report to read it from",
                f"add {key} = {example}",
                loc,
            )
    if mapping.wind_from is None:
        found.caution(
            loc,
            "no wind_from: the wind counts as from anywhere",
            'add wind_from = "wind.direction" if the device knows it',
        )
    _judge_sampling(found, loc, mapping)
    if mapping.reference == "magnetic" and _variation_for(found, mapping) is None:
        found.refuse(
            (*loc, "reference"),
            '"magnetic" needs the variation at the sensor',
            "add variation_deg = -11.5 with your own, east positive",
        )


def _judge_sampling(found: Findings, loc: Loc, mapping: MappingTable) -> None:
    """A two-minute mean needs several single values within two minutes."""
    every, period = words.duration(found.whole.feed.every), mapping.averaging_period
    if period is None or mapping.records is not None or words.duration(period) >= _TWO_MINUTES:
        return
    if every > _SAMPLE_EVERY:
        found.refuse(
            ("feed", "every"),
            f"{words.spoken(every)} is too seldom to make a two-minute mean of single values",
            f'write every = "{words.spoken(_SAMPLE_EVERY)}" or shorter',
            (*loc, "averaging_period"),
        )


def _variation_for(found: Findings, mapping: MappingTable) -> float | None:
    """Return the variation given for the sensor, or for the airfield that it reports for."""
    if mapping.variation_deg is not None:
        return mapping.variation_deg
    for airfield in found.whole.airfield:
        if mapping.station in {airfield.station, airfield.id}:
            return airfield.variation_deg
    return None


def _mapping(found: Findings, mapping: MappingTable | None) -> JsonMapping | None:
    if mapping is None:
        return None
    averaging = mapping.averaging_period
    return JsonMapping(
        records=mapping.records or "",
        station=mapping.station or "",
        station_key=mapping.station_key or "",
        report=mapping.report or "",
        observed_at=mapping.observed_at or "",
        wind_from=mapping.wind_from or "",
        speed=mapping.speed or "",
        gust=mapping.gust or "",
        unit=mapping.unit or "",
        reference=mapping.reference or "",
        variation_deg=_variation_for(found, mapping),
        averaging_period=None if averaging is None else words.duration(averaging),
    )


# --- store, delivery, mail ----------------------------------------------------


def judge_store(found: Findings) -> StoreValues:
    """Judge where the books are kept and return the running values."""
    store = found.whole.store
    loc: Loc = ("store",)
    login = password(found, loc, store.password_env, store.password_file)
    if store.url is not None:
        if store.path is not None:
            found.refuse(
                (*loc, "path"),
                "both a path and a url are given",
                "keep one of the two",
                (*loc, "url"),
            )
        return StoreValues(None, store.url, login)
    for key in ("password_env", "password_file"):
        if getattr(store, key) is not None:
            found.refuse((*loc, key), "a file has no password", "take it out", (*loc, "url"))
    path = path_at(found, (*loc, "path"), store.path or "windwatch.db")
    if path is not None:
        if path.is_dir():
            found.refuse(
                (*loc, "path"),
                f"{words.shown(str(path))} is a folder",
                'name a file in it, as path = "windwatch.db"',
            )
        elif store.path is not None and not path.parent.exists():
            _parent_exists(found, (*loc, "path"), path.parent)
    return StoreValues(path)


def judge_delivery(found: Findings) -> DeliveryValues:
    """Return how notices leave."""
    delivery = found.whole.delivery
    return DeliveryValues(
        folder=folder_at(found, ("delivery", "folder"), delivery.folder),
        allow_networks=tuple(delivery.allow_networks),
    )


def judge_mail(found: Findings) -> MailValues | None:
    """Judge the mail server and return its running values."""
    mail = found.whole.mail
    if mail is None:
        return None
    loc: Loc = ("mail",)
    sent = found.whole.delivery.folder is None
    login = password(found, loc, mail.password_env, mail.password_file, needed=sent)
    _judge_login(found, loc, mail)
    return MailValues(
        host=mail.host,
        port=mail.port or _PORTS[mail.security],
        security=mail.security,
        sender=mail.sender,
        username=mail.username,
        password=login,
        ca_file=existing_file(found, (*loc, "ca_file"), mail.ca_file),
        allow_plain=mail.allow_plain,
    )


def _judge_login(found: Findings, loc: Loc, mail: MailTable) -> None:
    named = mail.password_env is not None or mail.password_file is not None
    if mail.username is not None and not named:
        found.refuse(
            (*loc, "username"),
            "a login without a password",
            'add password_env = "WINDWATCH_MAIL_PASSWORD", the environment variable that holds it',
            loc,
        )
    if named and mail.username is None:
        found.refuse(
            (*loc, "password_env" if mail.password_env else "password_file"),
            "a password without a login",
            'add username = "wind@larkspur.example"',
            loc,
        )
    if mail.security != "none":
        return
    if mail.username is not None:
        found.refuse(
            (*loc, "security"),
            '"none" would send the password in clear',
            'write security = "starttls" or "tls", or take username out',
        )
    elif not mail.allow_plain and mail.host.lower() not in _THIS_MACHINE:
        found.refuse(
            (*loc, "security"),
            f'"none" would send mail in clear to {mail.host}',
            'write security = "starttls" or "tls", or add allow_plain = true if the way there is '
            "your own",
        )
