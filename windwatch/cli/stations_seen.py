"""Reporting stations as seen from a place: how far, in which direction, how much higher."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import cos, radians
from typing import TYPE_CHECKING, Any, Final

from windwatch.airfields.crosscheck import bearing_true, distance_ft
from windwatch.cli.show import iso, paragraph, table
from windwatch.wind import DegreesTrue

if TYPE_CHECKING:
    from windwatch.feeds.stations import Box, ReportingStation

WITHIN_NM: Final = 50.0
MOST_NM: Final = 200.0  # that a configuration takes for a station
# Positions of airfield and station are taken at different ends of the field.
_HERE_NM: Final = 1.5
_FEET_PER_NM: Final = 1852 / 0.3048
_NM_PER_DEGREE: Final = 60.0


@dataclass(frozen=True, slots=True)
class StationSeen:
    """A station as seen from an airfield or place.

    Attributes
    ----------
    distance_nm : float
        Great circle. [NM]
    bearing_true : DegreesTrue
        From the place to it. [°T]
    elevation_ft, higher_by_ft : float or None
        Its own elevation, and by how much it lies higher than the place (negative: lower). [ft]
    age : timedelta or None
        Of its newest report.
    """

    id: str
    name: str
    latitude: float
    longitude: float
    distance_nm: float
    bearing_true: DegreesTrue
    elevation_ft: float | None = None
    higher_by_ft: float | None = None
    observed_at: datetime | None = None
    age: timedelta | None = None


def boxes_around(latitude: float, longitude: float, within_nm: float) -> tuple[Box, ...]:
    """The area that holds everything within a distance; two boxes across the 180th meridian."""
    from windwatch.feeds.stations import Box  # noqa: PLC0415 # loads the HTTP client

    up = within_nm / _NM_PER_DEGREE
    south, north = max(-90.0, latitude - up), min(90.0, latitude + up)
    narrow = cos(radians(max(abs(south), abs(north))))
    aside = up / narrow if narrow > up / 180 else 180.0
    west, east = longitude - aside, longitude + aside
    if east - west >= 360:
        return (Box(south, -180.0, north, 180.0),)
    if west < -180:
        return (Box(south, west + 360, north, 180.0), Box(south, -180.0, north, east))
    if east > 180:
        return (Box(south, west, north, 180.0), Box(south, -180.0, north, east - 360))
    return (Box(south, west, north, east),)


def seen_from(
    place: tuple[float, float],
    elevation_ft: float | None,
    stations: Iterable[ReportingStation],
    within_nm: float,
    now: datetime,
) -> tuple[StationSeen, ...]:
    """The stations within a distance of a place, nearest first.

    Parameters
    ----------
    elevation_ft : float or None
        Of the place; None where it is not known. [ft]
    """
    found = []
    for station in stations:
        there = (station.latitude, station.longitude)
        distance_nm = distance_ft(place, there) / _FEET_PER_NM
        if distance_nm > within_nm:
            continue
        known = elevation_ft is not None and station.elevation_ft is not None
        found.append(
            StationSeen(
                id=station.id,
                name=station.name,
                latitude=station.latitude,
                longitude=station.longitude,
                distance_nm=distance_nm,
                bearing_true=bearing_true(place, there),
                elevation_ft=station.elevation_ft,
                higher_by_ft=(station.elevation_ft or 0) - (elevation_ft or 0) if known else None,
                observed_at=station.observed_at,
                age=None if station.observed_at is None else now - station.observed_at,
            )
        )
    return tuple(sorted(found, key=lambda each: each.distance_nm))


HEADERS: Final = ("station", "name", "NM", "bearing", "feet", "higher by", "newest report")


def stations_table(seen: Sequence[StationSeen]) -> str:
    """One row a station."""
    return table([_cells(each) for each in seen], HEADERS)


def _cells(seen: StationSeen) -> tuple[str, ...]:
    return (
        seen.id,
        seen.name,
        f"{seen.distance_nm:.1f}",
        "here" if seen.distance_nm < _HERE_NM else f"{bearing_words(seen.bearing_true)} true",
        "?" if seen.elevation_ft is None else f"{seen.elevation_ft:.0f}",
        "?" if seen.higher_by_ft is None else f"{round(seen.higher_by_ft):+d} ft",
        "?" if seen.age is None else age_words(seen.age),
    )


def bearing_words(bearing: float) -> str:
    """``005``: three figures, north is 360."""
    return f"{round(bearing) % 360 or 360:03d}"


def age_words(age: timedelta) -> str:
    """``12 min old``."""
    minutes = int(age.total_seconds() // 60)
    return f"{minutes} min old" if minutes >= 0 else "in the future: check the clock"


def beside_words(seen: StationSeen) -> str:
    """How a station stands to the airfield, in one clause: what changes the wind on the way."""
    if seen.distance_nm < _HERE_NM:
        return f"{seen.id}, at the field"
    height = (
        "elevation not known"
        if seen.higher_by_ft is None
        else f"{abs(seen.higher_by_ft):.0f} ft {'higher' if seen.higher_by_ft >= 0 else 'lower'}"
    )
    return (
        f"{seen.id}, {seen.distance_nm:.0f} NM away, "
        f"{bearing_words(seen.bearing_true)}° true, {height}"
    )


NOT_YOUR_WIND: Final = (
    "A station some miles away or higher or lower reports its own wind, not yours: compare both on "
    "a few windy days before you rely on it. The distance and the difference are shown in every "
    "notice."
)


def caution_lines() -> str:
    """What must be said wherever stations are offered."""
    return paragraph(NOT_YOUR_WIND)


def as_json(seen: StationSeen) -> dict[str, Any]:
    """A station as plain values; what is not known is null."""
    return {
        "id": seen.id,
        "name": seen.name or None,
        "latitude": seen.latitude,
        "longitude": seen.longitude,
        "distance_nm": round(seen.distance_nm, 2),
        "bearing_true_deg": round(seen.bearing_true, 1),
        "elevation_ft": None if seen.elevation_ft is None else round(seen.elevation_ft),
        "higher_by_ft": None if seen.higher_by_ft is None else round(seen.higher_by_ft),
        "observed_at": iso(seen.observed_at),
        "age_min": None if seen.age is None else round(seen.age.total_seconds() / 60, 1),
    }
