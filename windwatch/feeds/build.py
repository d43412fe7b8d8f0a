"""Making the feed that the settings ask for."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from typing import Final, NamedTuple

from windwatch.clock import Clock
from windwatch.errors import FeedError
from windwatch.feeds.values import (
    FORMATS,
    KINDS,
    PUBLIC_FLOOR,
    PUBLIC_KINDS,
    REFERENCES,
    SPEED_UNITS,
    Feed,
    FeedSettings,
    JsonMapping,
)

OWN_FLOOR: Final = timedelta(seconds=5)
TWO_MINUTES: Final = timedelta(minutes=2)
TEN_MINUTES: Final = timedelta(minutes=10)
# Two samples a minute apart must lie in the newest two minutes, also if one poll fails.
SAMPLE_EVERY: Final = timedelta(seconds=30)
STATION: Final = re.compile(r"[A-Z][A-Z0-9]{3}")
HEADER: Final = re.compile(r"[A-Za-z0-9-]{1,60}")


class FeedFault(NamedTuple):
    """What contradicts itself: the key, the problem with the value, and the mend."""

    key: str
    problem: str
    mend: str


def settings_faults(settings: FeedSettings) -> tuple[FeedFault, ...]:
    """Find everything in a feed's settings that cannot work.

    Keys are those of `FeedSettings`, those of the mapping with ``mapping.`` before them.
    """
    return tuple(_faults(settings))


def _faults(settings: FeedSettings) -> Iterator[FeedFault]:
    """Go through the settings."""
    if settings.kind not in KINDS:
        yield FeedFault("kind", f"{settings.kind!r} is no kind of feed", _one_of(KINDS))
        return
    if settings.kind == "recorded":
        if not settings.files:
            yield FeedFault("files", "no file is named", 'write files = ["recorded.txt"]')
        return
    yield from _outward_faults(settings)
    floor = PUBLIC_FLOOR if settings.kind in PUBLIC_KINDS else OWN_FLOOR
    if settings.every < floor:
        yield FeedFault(
            "every",
            f"{settings.every.total_seconds():.0f} s is too often for this feed",
            f"give {floor.total_seconds():.0f} s or more",
        )
    if settings.kind == "awc" and settings.format not in FORMATS:
        yield FeedFault("format", f"{settings.format!r} is no format of awc", _one_of(FORMATS))
    if settings.kind == "json":
        if not settings.url:
            yield FeedFault("url", "is missing", "give the address that answers with JSON")
        if settings.mapping is None:
            yield FeedFault("mapping", "is missing", "say under which keys the values stand")
        else:
            yield from _mapping_faults(settings.mapping, settings.every)


def _outward_faults(settings: FeedSettings) -> Iterator[FeedFault]:
    """Find what the network client could not use."""
    from windwatch.addresses import Refused, check_url, networks  # noqa: PLC0415

    contact = settings.contact
    if not contact.strip() or not contact.isascii() or not contact.isprintable():
        yield FeedFault(
            "contact",
            f"{contact!r} cannot go into the User-Agent that feeds ask for",
            'write a mail address, for example contact = "ops@larkspur.example"',
        )
    if settings.url:
        try:
            check_url(settings.url, allow_http=settings.allow_http)
        except Refused as error:
            yield FeedFault("url", str(error), "give an https address without a password")
    try:
        networks(settings.allow_networks)
    except Refused as error:
        yield FeedFault("allow_networks", str(error), 'write ["192.168.1.0/24"]')
    if settings.api_key and not (settings.api_key.isascii() and settings.api_key.isprintable()):
        yield FeedFault("api_key", "holds characters that no header can carry", "check the secret")
    if not HEADER.fullmatch(settings.api_key_header):
        yield FeedFault(
            "api_key_header", f"{settings.api_key_header!r} is no header", "write X-Api-Key"
        )


def _mapping_faults(mapping: JsonMapping, every: timedelta) -> Iterator[FeedFault]:
    """Find what is missing to know what the values mean."""
    if mapping.station and not STATION.fullmatch(mapping.station.upper()):
        yield FeedFault(
            "mapping.station",
            f"{mapping.station!r} cannot stand in a report",
            "use four letters or digits, a letter first, for example XLKS",
        )
    if bool(mapping.station) == bool(mapping.station_key):
        yield FeedFault(
            "mapping.station",
            "one of station and station_key is needed, and only one",
            'write station = "XLKS" where the device stands at one field',
        )
    if mapping.report:
        return
    for key, path in (("observed_at", mapping.observed_at), ("speed", mapping.speed)):
        if not path:
            yield FeedFault(f"mapping.{key}", "is missing", "name the key that holds it")
    if mapping.unit not in SPEED_UNITS:
        yield FeedFault("mapping.unit", f"{mapping.unit!r} is no unit", _one_of(SPEED_UNITS))
    if mapping.wind_from and mapping.reference not in REFERENCES:
        yield FeedFault(
            "mapping.reference",
            f"{mapping.reference!r} does not say what the direction refers to",
            _one_of(REFERENCES),
        )
    variation = mapping.variation_deg
    if mapping.reference == "magnetic" and (variation is None or not -180 <= variation <= 180):
        yield FeedFault(
            "mapping.variation_deg",
            f"{variation!r} is no magnetic variation",
            "give it in degrees, east positive, for example -11.9",
        )
    yield from _period_faults(mapping, every)


def _period_faults(mapping: JsonMapping, every: timedelta) -> Iterator[FeedFault]:
    """Find an averaging period that no report's wind can be made of."""
    period = mapping.averaging_period
    if period is None:
        yield FeedFault(
            "mapping.averaging_period",
            "is missing",
            "say over how long the device averages its speed; 0 s for momentary values",
        )
    elif not timedelta(0) <= period <= TEN_MINUTES:
        yield FeedFault(
            "mapping.averaging_period",
            f"{period.total_seconds():.0f} s is no wind of an observation",
            "use a value that is averaged over ten minutes at most",
        )
    elif period < TWO_MINUTES and every > SAMPLE_EVERY and not mapping.records:
        yield FeedFault(
            "every",
            f"{every.total_seconds():.0f} s is too seldom for a two-minute mean of single values",
            f"give {SAMPLE_EVERY.total_seconds():.0f} s or less",
        )


def _one_of(names: tuple[str, ...]) -> str:
    """Offer the values that work."""
    return f"write one of {', '.join(names)}"


def build_feed(settings: FeedSettings, clock: Clock) -> Feed:
    """Make a feed.

    Parameters
    ----------
    settings : FeedSettings
        What to make.
    clock : Clock
        For spacing, waiting and deadlines.

    Raises
    ------
    FeedError
        If the settings contradict themselves, or a recorded file cannot be read.
    """
    faults = settings_faults(settings)
    if faults:
        said = "; ".join(f"{fault.key}: {fault.problem}; {fault.mend}" for fault in faults)
        raise FeedError(settings.kind, said)
    # Imported where used: replaying a file needs no network library.
    if settings.kind == "recorded":
        from windwatch.feeds.recorded import RecordedFeed  # noqa: PLC0415

        return RecordedFeed(settings)
    from windwatch.addresses import Refused  # noqa: PLC0415
    from windwatch.feeds.http import FeedClient  # noqa: PLC0415

    try:
        client = FeedClient(settings, clock)
    except Refused as error:
        raise FeedError(settings.kind, str(error)) from error
    if settings.kind == "json" and settings.mapping is not None:
        from windwatch.feeds.own_json import OwnJsonFeed  # noqa: PLC0415

        return OwnJsonFeed(settings, client, settings.mapping)
    if settings.kind == "noaa-text":
        from windwatch.feeds.noaa_text import NoaaTextFeed  # noqa: PLC0415

        return NoaaTextFeed(settings, client)
    if settings.kind == "awc-cache":
        from windwatch.feeds.awc_cache import AwcCacheFeed  # noqa: PLC0415

        return AwcCacheFeed(settings, client)
    if settings.kind == "noaa-cycles":
        from windwatch.feeds.noaa_cycles import NoaaCyclesFeed  # noqa: PLC0415

        return NoaaCyclesFeed(settings, client)
    if settings.kind == "nws":
        from windwatch.feeds.nws import NwsFeed  # noqa: PLC0415

        return NwsFeed(settings, client)
    from windwatch.feeds.awc import AwcFeed  # noqa: PLC0415

    return AwcFeed(settings, client)
