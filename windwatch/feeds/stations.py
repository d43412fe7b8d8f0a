"""Who reports near a place: the METAR endpoint of the Data API, asked by area and by name.

Facts of the format: reference/feeds.md section 1. An area gives the latest report of its
stations with position and elevation, but thins them (a box over Britain gave 62 of 110), so that
stations that are known by name are asked for as well, in a second request. Positions are in
degrees, elevations in metres.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final, NamedTuple
from urllib.parse import urlencode

from windwatch.clock import Clock
from windwatch.errors import FeedError
from windwatch.feeds.awc import BASE, SENSIBLE_SECONDS
from windwatch.feeds.build import STATION
from windwatch.feeds.http import FeedClient, Reply
from windwatch.feeds.json_text import NotTheFormat, members, read_json
from windwatch.feeds.report_text import quoted
from windwatch.feeds.values import FeedSettings

# A hundred identifiers make an address of half a kilobyte; more entries than 400 never come.
MOST_NAMES: Final = 100
_FEET_PER_METRE: Final = 1 / 0.3048
# Withheld figures of the same source's files: -99.99 degrees, 9999 metres.
_NO_PLACE: Final = -99.99
_HIGHEST_M: Final = 6000
_LOWEST_M: Final = -450


class Box(NamedTuple):
    """An area in degrees, north and east positive."""

    south: float
    west: float
    north: float
    east: float


@dataclass(frozen=True, slots=True)
class ReportingStation:
    """A station that has reported.

    Attributes
    ----------
    id : str
        As reports carry it.
    name : str
        What the feed calls it; '' where it has none.
    elevation_ft : float or None
        [ft]
    observed_at : datetime or None
        Time of its newest report, UTC.
    """

    id: str
    name: str
    latitude: float
    longitude: float
    elevation_ft: float | None
    observed_at: datetime | None


class StationsFound(NamedTuple):
    """Every station once, with its newest report; and what could not be used, in words."""

    stations: tuple[ReportingStation, ...]
    problems: tuple[str, ...] = ()


def find_stations(
    settings: FeedSettings,
    clock: Clock,
    boxes: Iterable[Box],
    names: Iterable[str] = (),
) -> StationsFound:
    """Ask which stations report in an area.

    Parameters
    ----------
    settings : FeedSettings
        Of kind ``awc``.
    boxes : iterable of Box
        The area; two boxes where it lies across the 180th meridian.
    names : iterable of str
        Identifiers under which somebody may report there; what is no identifier is left out.

    Raises
    ------
    FeedError
        If nothing usable came; the message names what came instead.
    """
    client = FeedClient(settings, clock)
    base = f"{(settings.url or BASE).rstrip('/')}/metar?"
    found: dict[str, ReportingStation] = {}
    problems: list[str] = []
    try:
        deadline_at = client.deadline()
        now = clock.now()

        def ask(query: dict[str, str], batch: str) -> None:
            url = base + urlencode({**query, "format": "json"}, safe=",")
            reply = client.get(url, batch=batch, now=now, deadline_at=deadline_at)
            stations, odd = _read(reply)
            problems.extend(odd)
            for station in stations:
                _keep_newest(found, station)

        for box in boxes:
            area = ",".join(f"{degrees:.3f}" for degrees in box)
            ask({"bbox": area}, f"stations in {area}")
        wanted = list(dict.fromkeys(name for name in names if STATION.fullmatch(name)))
        missing = [name for name in wanted if name not in found][:MOST_NAMES]
        if missing:
            try:
                ask({"ids": ",".join(missing)}, "stations by name")
            except FeedError as error:
                # The area has answered; that some may be missing is worth a word, no more.
                problems.append(str(error))
    finally:
        client.close()
    return StationsFound(tuple(found.values()), tuple(problems))


def _keep_newest(found: dict[str, ReportingStation], station: ReportingStation) -> None:
    before = found.get(station.id)
    if before is None or _age_rank(station) > _age_rank(before):
        found[station.id] = station


def _age_rank(station: ReportingStation) -> float:
    return 0.0 if station.observed_at is None else station.observed_at.timestamp()


def _read(reply: Reply) -> tuple[list[ReportingStation], list[str]]:
    """Read an array of METAR objects; 204 says that nobody reported."""
    if reply.status == 204:
        return [], []
    try:
        records = _records(reply)
    except NotTheFormat as error:
        shown = f"awc {reply.url.partition('?')[0]}"
        raise FeedError(shown, f"{reply.came()}: {error}") from error
    stations: list[ReportingStation] = []
    problems: list[str] = []
    for number, item in enumerate(records, start=1):
        try:
            stations.append(_station(members(item, "it")))
        except NotTheFormat as error:
            problems.append(f"awc: record {number}: {error}")
    return stations, problems


def _records(reply: Reply) -> list[Any]:
    value = read_json(reply.body)
    if isinstance(value, dict) and "error" in value:
        raise NotTheFormat(f"the feed reports an error: {quoted(str(value['error']))}")
    if not isinstance(value, list):
        raise NotTheFormat("no JSON list of METAR objects")
    return value


def _station(item: dict[str, Any]) -> ReportingStation:
    name = item.get("icaoId")
    if not isinstance(name, str) or not STATION.fullmatch(name.upper()):
        raise NotTheFormat(f"{quoted(str(name), 20)} is no station")
    latitude, longitude = _number(item.get("lat"), 90), _number(item.get("lon"), 180)
    if latitude is None or longitude is None or latitude == longitude == _NO_PLACE:
        raise NotTheFormat(f"{name}: no position")
    metres = _number(item.get("elev"), 10_000)
    known = metres is not None and _LOWEST_M <= metres <= _HIGHEST_M
    called = item.get("name")
    return ReportingStation(
        id=name.upper(),
        name=quoted(called, 60).strip('"') if isinstance(called, str) else "",
        latitude=latitude,
        longitude=longitude,
        elevation_ft=metres * _FEET_PER_METRE if known and metres is not None else None,
        observed_at=_moment(item.get("obsTime")),
    )


def _number(value: Any, most: float) -> float | None:
    """A number between minus and plus `most`; None for anything else."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if -most <= value <= most else None


def _moment(value: Any) -> datetime | None:
    if isinstance(value, int) and not isinstance(value, bool) and value in SENSIBLE_SECONDS:
        return datetime.fromtimestamp(value, UTC)
    return None
