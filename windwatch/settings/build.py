"""From the tables of a judged file to the fleet."""

from __future__ import annotations

from datetime import date, time
from types import MappingProxyType

from windwatch.airframe import Gear, WingPosition
from windwatch.fleet import (
    CROSSWIND,
    GUST_SPREAD,
    SHELTER,
    TAILWIND,
    TAXI,
    TIE_DOWN,
    WIND,
    Aircraft,
    Airfield,
    Contact,
    Fleet,
    Limit,
    Of,
    OperatingHours,
    PilotLimits,
    Runway,
    RunwayEnd,
    RunwayNote,
    RunwaySteps,
    Station,
    TaxiLeg,
    TellAbout,
)
from windwatch.hours import Absence, DutyHours, QuietHours
from windwatch.rules import Rules
from windwatch.settings.rules_contacts import channels
from windwatch.settings.schema import WholeFile
from windwatch.settings.schema_airfield import (
    AirfieldTable,
    Headed,
    OperatingHoursTable,
    ReportingHoursTable,
    RunwayTable,
)
from windwatch.settings.schema_limits import LimitTable, RunwayLimits
from windwatch.settings.schema_people import AircraftTable, ContactTable
from windwatch.settings.schema_rim import FeedTable
from windwatch.settings.schema_rules import rules_of
from windwatch.settings.staleness import ages
from windwatch.wind import (
    DegreesMagnetic,
    DegreesTrue,
    Heading,
    HeadingFromDesignator,
    HeadingMagnetic,
    HeadingTrue,
    Knots,
)

QUANTITY_OF = MappingProxyType(
    {
        "crosswind_kt": CROSSWIND,
        "tailwind_kt": TAILWIND,
        "wind_kt": WIND,
        "gust_spread_kt": GUST_SPREAD,
        "taxi_wind_kt": TAXI,
        "tie_down_kt": TIE_DOWN,
        "shelter_kt": SHELTER,
    }
)


def fleet(whole: WholeFile) -> Fleet:
    """Return the fleet that a file describes; every rule must have been judged before."""
    rules = rules_of(whole.rules, whole.reminders)
    near_at = rules.near_at
    return Fleet(
        airfields=tuple(_airfield(each, whole.feed, rules) for each in whole.airfield),
        aircraft=tuple(_aircraft(each, near_at) for each in whole.aircraft),
        pilot_limits=MappingProxyType(
            {
                each.name: PilotLimits(each.name, _limits(each.limits, each.name, near_at))
                for each in whole.pilot_limits
            }
        ),
        contacts=tuple(_contact(each) for each in whole.contact),
        rules=rules,
    )


def _limits(limits: RunwayLimits, whose: str, near_at: float) -> tuple[Limit, ...]:
    return tuple(
        _limit(quantity, given, whose, near_at)
        for key, quantity in QUANTITY_OF.items()
        if (given := getattr(limits, key, None)) is not None
    )


def _limit(quantity: str, given: LimitTable, whose: str, near_at: float) -> Limit:
    return Limit(
        quantity=quantity,
        value=Knots(float(given.kt)),
        whose=whose,
        of=Of(given.of),
        near_at=near_at if given.near_at is None else given.near_at,
        confirm_reports=given.confirm_reports,
    )


def _airfield(table: AirfieldTable, feed: FeedTable, rules: Rules) -> Airfield:
    every, stale, told = ages(table, feed, rules)
    return Airfield(
        id=table.id,
        name=table.name or table.id,
        station=Station(
            table.station or table.id,
            table.station_distance_nm,
            _degrees(table.station_bearing_true_deg),
            table.station_elevation_ft,
        ),
        latitude=table.latitude,
        longitude=table.longitude,
        elevation_ft=table.elevation_ft,
        time_zone=table.time_zone,
        runways=tuple(_runway(each, rules.near_at) for each in table.runway),
        fall_back_stations=(
            *(Station(each) for each in table.fall_back_stations),
            *(
                Station(
                    each.id, each.distance_nm, _degrees(each.bearing_true_deg), each.elevation_ft
                )
                for each in table.fall_back_station
            ),
        ),
        forecast_station=table.forecast_station,
        taxi_legs=tuple(TaxiLeg(each.name, _heading(each, each.name)) for each in table.taxi_leg),
        operating_hours=_hours(table.operating_hours),
        reports_every=every,
        stale_after=stale,
        no_data_after=told,
        variation_deg=table.variation_deg,
        reports_between=_hours(table.reports_between),
    )


def _hours(table: OperatingHoursTable | ReportingHoursTable | None) -> OperatingHours | None:
    return None if table is None else OperatingHours(_time(table.from_), _time(table.to))


def _degrees(value: float | None) -> DegreesTrue | None:
    return None if value is None else DegreesTrue(value)


def _runway(table: RunwayTable, near_at: float) -> Runway:
    name = "/".join(end.name for end in table.ends)
    return Runway(
        name=name,
        ends=tuple(
            RunwayEnd(end.name, _heading(end, end.name, approximate=end.approximate))
            for end in table.ends
        ),
        uses=tuple(table.uses),
        limits=_limits(table.limits, f"runway {name}", near_at),
        notes=tuple(
            RunwayNote(
                each.text,
                None
                if each.wind_from_true_deg is None
                else (
                    DegreesTrue(each.wind_from_true_deg[0]),
                    DegreesTrue(each.wind_from_true_deg[1]),
                ),
                Knots(float(each.over_kt)),
            )
            for each in table.note
        ),
    )


def _heading(table: Headed, name: str, *, approximate: bool = False) -> Heading:
    if table.heading_true_deg is not None:
        return HeadingTrue(DegreesTrue(float(table.heading_true_deg)), approximate)
    if table.heading_magnetic_deg is not None:
        magnetic = DegreesMagnetic(float(table.heading_magnetic_deg))
        return HeadingMagnetic(magnetic, approximate)
    digits = "".join(char for char in name if char.isdigit())
    return HeadingFromDesignator(DegreesMagnetic(int(digits) * 10.0))


def _aircraft(table: AircraftTable, near_at: float) -> Aircraft:
    own = tuple(
        _limit(key.removesuffix("_kt"), limit, table.name, near_at)
        for key, limit in table.ground_limits.items()
    )
    return Aircraft(
        name=table.name,
        gear=Gear.TAILWHEEL if table.gear == "tailwheel" else Gear.NOSEWHEEL,
        wing=WingPosition(table.wing),
        based_at=table.based_at,
        limits=(*_limits(table.limits, table.name, near_at), *own),
        flown_by=tuple(table.flown_by),
        description=table.description or "",
        stall_speed=_knots(table.stall_speed_kt),
        demonstrated_crosswind=_knots(table.demonstrated_crosswind_kt),
    )


def _knots(value: float | None) -> Knots | None:
    return None if value is None else Knots(float(value))


def _contact(table: ContactTable) -> Contact:
    about = table.tell_about
    return Contact(
        name=table.name,
        channels=channels(table),
        tell_about=TellAbout(
            airfields=tuple(about.airfields),
            aircraft=tuple(about.aircraft),
            pilot_limits=tuple(about.pilot_limits),
            runways=RunwaySteps(about.runways),
            ground=about.ground,
            thunder=about.thunder,
            levels=None if about.levels is None else tuple(about.levels),
            easing=about.easing,
        ),
        operator=table.operator,
        fall_back=table.fall_back,
        then_tell=table.then_tell or "",
        units=table.units,
        time_zone=table.time_zone or "",
        quiet_hours=None
        if table.quiet_hours is None
        else QuietHours(_time(table.quiet_hours.from_), _time(table.quiet_hours.to)),
        full_silence=table.full_silence,
        duty=tuple(
            DutyHours(tuple(each.days), _time(each.from_), _time(each.to)) for each in table.duty
        ),
        absent=tuple(
            Absence(date.fromisoformat(each.from_), date.fromisoformat(each.until))
            for each in table.absent
        ),
    )


def _time(text: str) -> time:
    return time.fromisoformat(text)
