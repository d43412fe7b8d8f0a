"""The tables about airfields."""

from __future__ import annotations

import re
from typing import Annotated, Final

from pydantic import AfterValidator, Field

from windwatch.settings import words
from windwatch.settings.schema_base import (
    ClockTime,
    Degrees,
    Name,
    StationId,
    Table,
    Text,
    duration_type,
)
from windwatch.settings.schema_limits import RunwayLimits

_END: Final = re.compile(r"[A-Z0-9]{1,4}")
_AIRFIELD: Final = re.compile(r"[A-Z0-9][A-Z0-9-]{1,9}")


def _end_name(text: str) -> str:
    if not _END.fullmatch(text):
        raise words.refused(
            f"{words.shown(text)} is no name of a runway end",
            'write it as painted, as "10" or "28L"',
        )
    if text.isdigit() and not 1 <= int(text) <= 36:
        raise words.refused(
            f"{words.shown(text)} is no runway number", "write a number from 1 to 36"
        )
    return text


def _airfield_id(text: str) -> str:
    if not _AIRFIELD.fullmatch(text):
        raise words.refused(
            f"{words.shown(text)} is no identifier of an airfield",
            "write 2 to 10 capital letters, digits or hyphens, as "
            + words.toml(text.upper() if _AIRFIELD.fullmatch(text.upper()) else "XLKS"),
        )
    return text


class OperatingHoursTable(Table):
    """Local hours of flying."""

    from_: ClockTime = Field(
        alias="from", description="Local time of the first flight.", examples=["07:00"]
    )
    to: ClockTime = Field(description="Local time of the last landing.", examples=["20:00"])


class ReportingHoursTable(Table):
    """Local hours in which a station reports, every day."""

    from_: ClockTime = Field(
        alias="from", description="Local time of its first report.", examples=["06:00"]
    )
    to: ClockTime = Field(
        description="Local time at which it closes, the next day where it is earlier.",
        examples=["22:00"],
    )


class FallBackStation(Table):
    """A station that is listened to while the airfield's own is silent."""

    id: StationId = Field(description="Its identifier in reports.", examples=["XBRN"])
    distance_nm: float | None = Field(
        default=None, ge=0, le=200, description="How far from the airfield.", examples=[25]
    )
    bearing_true_deg: Degrees | None = Field(
        default=None, description="Direction from the airfield to it, degrees true.", examples=[270]
    )
    elevation_ft: float | None = Field(
        default=None, ge=-1500, le=20000, description="Its elevation.", examples=[1010]
    )


class Headed(Table):
    """Something with a heading: true or magnetic, never both."""

    heading_true_deg: Degrees | None = Field(
        default=None, description="Surveyed heading, degrees true.", examples=[91.4]
    )
    heading_magnetic_deg: Degrees | None = Field(
        default=None,
        description="Heading by the compass; made true with the variation of place and date.",
        examples=[104],
    )


class RunwayEndTable(Headed):
    """One end, with the heading of somebody landing on it; without one, its number counts."""

    name: Annotated[str, AfterValidator(_end_name)] = Field(
        description="As painted.", examples=["10"]
    )
    approximate: bool = Field(
        default=False,
        description=(
            "The heading is no survey (read off a map, or known from a compass point): it is "
            "called approximate wherever it is shown."
        ),
        examples=[True],
    )


class RunwayNoteTable(Table):
    """Local knowledge, shown when the wind is so."""

    text: Text = Field(
        description="What to know.", examples=["rotor from the hangars on short final of 28"]
    )
    wind_from_true_deg: list[Degrees] | None = Field(
        default=None,
        min_length=2,
        max_length=2,
        description="Sector of the wind, clockwise from the first to the second, degrees true.",
        examples=[[200, 250]],
    )
    over_kt: float = Field(
        default=0, ge=0, le=150, description="Wind or gust above which it applies.", examples=[15]
    )


class RunwayTable(Table):
    """A runway."""

    ends: list[RunwayEndTable] = Field(
        min_length=1,
        max_length=2,
        description="Its two ends, or the one that is used where one_way = true.",
        examples=[
            [
                {"name": "10", "heading_true_deg": 91.4},
                {"name": "28", "heading_true_deg": 271.4},
            ]
        ],
    )
    one_way: bool = Field(default=False, description="Only one end is used.", examples=[True])
    uses: list[Name] = Field(
        default=[],
        description=(
            "Who may use it: aircraft, pilot standards, or both; naming none of a kind allows "
            "all of that kind."
        ),
        examples=[["X-LARK"]],
    )
    limits: RunwayLimits = Field(
        default=RunwayLimits(),
        description="Limits of the runway itself.",
        examples=[{"crosswind_kt": 12}],
    )
    note: list[RunwayNoteTable] = Field(
        default=[],
        description="Local knowledge.",
        examples=[[{"text": "rotor from the hangars", "over_kt": 15}]],
    )


class TaxiLegTable(Headed):
    """A stretch of taxiing with one heading."""

    name: Name = Field(description="What people call it.", examples=["apron to hold 28"])


class AirfieldTable(Table):
    """An airfield that is watched."""

    id: Annotated[str, AfterValidator(_airfield_id)] = Field(
        description="Its identifier.", examples=["XLKS"]
    )
    name: Name | None = Field(
        default=None,
        description="What people call it; left out: the identifier.",
        examples=["Larkspur"],
    )
    station: StationId | None = Field(
        default=None,
        description="Who reports for it; left out: its own identifier.",
        examples=["XLKS"],
    )
    station_distance_nm: float | None = Field(
        default=None, ge=0, le=200, description="How far the station is.", examples=[6]
    )
    station_bearing_true_deg: Degrees | None = Field(
        default=None,
        description="Direction from the airfield to the station, degrees true.",
        examples=[250],
    )
    station_elevation_ft: float | None = Field(
        default=None, ge=-1500, le=20000, description="The station's elevation.", examples=[960]
    )
    fall_back_stations: list[StationId] = Field(
        default=[],
        description="Other stations in order, by identifier alone.",
        examples=[["XBRN"]],
    )
    fall_back_station: list[FallBackStation] = Field(
        default=[],
        description="Other stations in order, with where they stand.",
        examples=[[{"id": "XBRN", "distance_nm": 25}]],
    )
    forecast_station: StationId | None = Field(
        default=None,
        description="Whose forecast the wind strip shows; it is not yet judged.",
        examples=["XBRN"],
    )
    latitude: float = Field(ge=-90, le=90, description="Degrees, north positive.", examples=[42.93])
    longitude: float = Field(
        ge=-180, le=180, description="Degrees, east positive.", examples=[-76.02]
    )
    elevation_ft: float = Field(ge=-1500, le=20000, description="Above sea level.", examples=[960])
    time_zone: Name = Field(
        description="Name in the time zone database.", examples=["America/New_York"]
    )
    variation_deg: float | None = Field(
        default=None,
        ge=-180,
        le=180,
        description=(
            "Magnetic variation, degrees, east positive; left out: computed from the World "
            "Magnetic Model."
        ),
        examples=[-11.5],
    )
    operating_hours: OperatingHoursTable | None = Field(
        default=None,
        description="Local hours within which runway steps are told; left out: always.",
        examples=[{"from": "07:00", "to": "20:00"}],
    )
    reports_every: duration_type("1min", "6h") | None = Field(  # type: ignore[valid-type]
        None,
        description=(
            "Usual interval of the station's routine reports, 1min to 6h; left out: 60min, "
            "or 1min for a json feed that gives figures."
        ),
        examples=["60min"],
    )
    reports_between: ReportingHoursTable | None = Field(
        default=None,
        description=(
            "Local hours in which the station reports, where it closes at night; outside them "
            "missing data are told only to whoever holds an open alert; left out: around the "
            "clock."
        ),
        examples=[{"from": "06:00", "to": "22:00"}],
    )
    stale_after: duration_type("2min", "12h") | None = Field(  # type: ignore[valid-type]
        None,
        description=(
            "Age of the newest observation at which nothing is known any more, 2min to 12h; left "
            "out: reports_every and the stale_margin of [rules], usually 15min, more (10min where "
            "reports come at least every 5min)."
        ),
        examples=["75min"],
    )
    no_data_after: duration_type("2min", "24h") | None = Field(  # type: ignore[valid-type]
        None,
        description=(
            "Age at which missing data are told where no episode is open, 2min to 24h; left out: "
            "reports_every and the told_margin of [rules], usually 30min, more (20min where "
            "reports come at least every 5min)."
        ),
        examples=["90min"],
    )
    runway: list[RunwayTable] = Field(
        min_length=1,
        description="Its runways.",
        examples=[[{"ends": [{"name": "10"}, {"name": "28"}]}]],
    )
    taxi_leg: list[TaxiLegTable] = Field(
        default=[],
        description="Stretches of taxiing for which control positions are shown.",
        examples=[[{"name": "apron to hold 28", "heading_magnetic_deg": 193}]],
    )
