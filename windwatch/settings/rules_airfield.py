"""Contradictions in an airfield, its stations and its runways."""

from __future__ import annotations

import re
import zoneinfo
from datetime import date
from typing import Final

from windwatch.airmanship.variation import reciprocal, variation
from windwatch.settings import words
from windwatch.settings.findings import Findings
from windwatch.settings.lines import Loc
from windwatch.settings.rules_limits import judge_limits
from windwatch.settings.rules_names import known_aircraft, known_pilots, twice, unknown_names
from windwatch.settings.schema_airfield import (
    AirfieldTable,
    Headed,
    RunwayEndTable,
    RunwayTable,
)
from windwatch.settings.schema_rules import rules_of
from windwatch.settings.staleness import ages

_OPPOSITE_WITHIN_DEG: Final = 10
# Further than rounding and an older variation come to; an engineering judgement.
_DOUBTFUL_BEYOND_DEG: Final = 2
_NUMBER_WITHIN_DEG: Final = 30
_OFFSET: Final = re.compile(r"(?:UTC|GMT|Z)?\s*[+-]\d{1,2}(?::?\d\d)?", re.IGNORECASE)
# A rough check against the painted number needs no date; this is inside the model's years.
_SOME_DAY: Final = date(2026, 1, 1)


def judge_airfields(found: Findings) -> None:
    """Judge every airfield."""
    airfields = found.whole.airfield
    twice(found, [(("airfield", i, "id"), each.id) for i, each in enumerate(airfields)])
    for number, airfield in enumerate(airfields):
        _judge_airfield(found, ("airfield", number), airfield)


def _judge_airfield(found: Findings, loc: Loc, airfield: AirfieldTable) -> None:
    if airfield.station is None and not words.is_station(airfield.id):
        found.refuse(
            (*loc, "id"),
            f"{words.shown(airfield.id)} is no station of reports, and no other is named",
            'add the station that reports for it, for example station = "XLKS"',
        )
    _judge_zone(found, (*loc, "time_zone"), airfield.time_zone)
    _judge_hours(found, loc, airfield)
    _judge_ages(found, loc, airfield)
    _judge_fall_back(found, loc, airfield)
    for number, leg in enumerate(airfield.taxi_leg):
        leg_loc = (*loc, "taxi_leg", number)
        _one_heading(found, leg_loc, leg)
        if leg.heading_true_deg is None and leg.heading_magnetic_deg is None:
            found.refuse(
                leg_loc,
                "no heading",
                "add heading_true_deg or heading_magnetic_deg, for example "
                "heading_magnetic_deg = 193",
                leg_loc,
            )
    twice(
        found,
        [((*loc, "taxi_leg", i, "name"), leg.name) for i, leg in enumerate(airfield.taxi_leg)],
    )
    twice(
        found,
        [
            ((*loc, "runway", i, "ends", j, "name"), end.name.lstrip("0"))
            for i, runway in enumerate(airfield.runway)
            for j, end in enumerate(runway.ends)
            if not j or end.name.lstrip("0") != runway.ends[0].name.lstrip("0")
        ],
        "an end of a runway",
        "give each runway its own ends, as 10L and 10R",
    )
    for number, runway in enumerate(airfield.runway):
        _judge_runway(found, (*loc, "runway", number), runway, airfield)


def _judge_zone(found: Findings, loc: Loc, name: str) -> None:
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        if _OFFSET.fullmatch(name):
            mend = (
                'write the name of its zone, as "America/New_York": an offset knows no summer time'
            )
        else:
            # A zone without a place in its name keeps no summer time.
            places = [zone for zone in zoneinfo.available_timezones() if "/" in zone]
            near = words.nearest(name, places) or "America/New_York"
            mend = f"write its name in the time zone database, for example {words.toml(near)}"
        found.refuse(loc, f"{words.shown(name)} is no time zone", mend)


def _judge_hours(found: Findings, loc: Loc, airfield: AirfieldTable) -> None:
    for key, hours, example in (
        ("operating_hours", airfield.operating_hours, '{ from = "07:00", to = "20:00" }'),
        ("reports_between", airfield.reports_between, '{ from = "06:00", to = "22:00" }'),
    ):
        if hours is not None and hours.from_ == hours.to:
            found.refuse(
                (*loc, key),
                f"it opens and closes at {words.shown(hours.to)}",
                f"write two different times, as {example}, or leave it out for always",
            )
    _judge_reporting(found, loc, airfield)


def _judge_reporting(found: Findings, loc: Loc, airfield: AirfieldTable) -> None:
    """Somebody must know the wind at night where aircraft stand outside."""
    if airfield.reports_between is None:
        return
    if not (airfield.fall_back_stations or airfield.fall_back_station):
        found.caution(
            (*loc, "reports_between"),
            "outside these hours nobody reports the wind here, and no other station is named",
            'name one that reports at night, for example fall_back_stations = ["XBRN"]',
        )


def _judge_ages(found: Findings, loc: Loc, airfield: AirfieldTable) -> None:
    rules = rules_of(found.whole.rules, found.whole.reminders)
    every, stale, told = ages(airfield, found.whole.feed, rules)
    if stale <= every:
        found.refuse(
            (*loc, "stale_after"),
            f"{words.spoken(stale)} is not longer than reports_every, {words.spoken(every)}",
            f'write a longer time, as stale_after = "{words.spoken(every + (every / 4))}"'
            if every.total_seconds() % 240 == 0
            else "write a longer time",
            (*loc, "reports_every"),
        )
    if told < stale:
        found.refuse(
            (*loc, "no_data_after" if airfield.no_data_after else "stale_after"),
            f"no_data_after ({words.spoken(told)}) is shorter than stale_after "
            f"({words.spoken(stale)})",
            f'write no_data_after = "{words.spoken(stale)}" or longer',
            (*loc, "stale_after"),
            (*loc, "reports_every"),
        )


def _judge_fall_back(found: Findings, loc: Loc, airfield: AirfieldTable) -> None:
    if airfield.fall_back_stations and airfield.fall_back_station:
        found.refuse(
            (*loc, "fall_back_stations"),
            "fall-back stations are given in two ways, so that their order is not clear",
            "keep the [[airfield.fall_back_station]] tables alone",
        )
    main = airfield.station or airfield.id
    named = [
        ((*loc, "fall_back_stations", i), name)
        for i, name in enumerate(airfield.fall_back_stations)
    ] + [
        ((*loc, "fall_back_station", i, "id"), station.id)
        for i, station in enumerate(airfield.fall_back_station)
    ]
    twice(
        found,
        [((*loc, "station" if airfield.station else "id"), main), *named],
        "a station of this airfield",
        "name each station once",
    )


# --- runways ----------------------------------------------------------------


def _judge_runway(found: Findings, loc: Loc, runway: RunwayTable, airfield: AirfieldTable) -> None:
    crafts, pilots = known_aircraft(found), known_pilots(found)
    known = None if crafts is None or pilots is None else crafts + pilots
    unknown_names(found, (*loc, "uses"), runway.uses, known, "aircraft or pilot standard")
    judge_limits(found, (*loc, "limits"), runway.limits)
    if len(runway.ends) == 1 and not runway.one_way:
        found.refuse(
            (*loc, "ends"),
            f"only end {runway.ends[0].name} is given",
            "add the other end, or write one_way = true if nobody uses it",
        )
    if len(runway.ends) == 2 and runway.one_way:
        found.refuse(
            (*loc, "one_way"),
            "true, and yet two ends are given",
            "name only the end that is used, or take one_way out",
        )
    names = [end.name.lstrip("0") for end in runway.ends]
    if len(names) == 2 and names[0] == names[1]:
        found.refuse(
            (*loc, "ends"),
            f"both ends are called {runway.ends[0].name}",
            _other_end(runway.ends[0].name),
            *((*loc, "ends", i) for i in (0, 1)),
        )
    for number, end in enumerate(runway.ends):
        end_loc = (*loc, "ends", number)
        _one_heading(found, end_loc, end)
        _judge_end(found, end_loc, end, end.name, airfield)
    if len(runway.ends) == 2:
        _judge_opposite(found, loc, runway, airfield)


def _one_heading(found: Findings, loc: Loc, headed: Headed) -> None:
    if headed.heading_true_deg is not None and headed.heading_magnetic_deg is not None:
        found.refuse(
            loc,
            f"two headings, {headed.heading_true_deg:g} true and "
            f"{headed.heading_magnetic_deg:g} magnetic",
            "keep the one that was surveyed",
        )


def _number(name: str) -> int | None:
    """Return the painted number of an end, if it has one."""
    digits = name.rstrip("LRCGSW")
    return int(digits) if digits.isdigit() else None


def _other_end(name: str) -> str:
    """What the other end would be called."""
    try:
        return f"name each as painted: the other end of {name} is {reciprocal(name)}"
    except ValueError:
        return "name each as painted, as 10 and 28"


def _variation_at(airfield: AirfieldTable) -> float:
    if airfield.variation_deg is not None:
        return airfield.variation_deg
    found = variation(airfield.latitude, airfield.longitude, _SOME_DAY, airfield.elevation_ft)
    return found.variation_deg


def _apart(first: float, second: float) -> float:
    """Return the angle between two headings, 0 to 180."""
    return abs((first - second + 180) % 360 - 180)


def _judge_end(
    found: Findings, loc: Loc, end: RunwayEndTable, name: str, airfield: AirfieldTable
) -> None:
    number = _number(name)
    given = _is_given(end)
    if given and end.approximate:
        found.caution(
            loc,
            "its heading is called approximate, so every figure is",
            "write the heading from a survey or chart, and take approximate out",
        )
    elif end.approximate and number is not None:
        found.refuse(
            (*loc, "approximate"),
            "there is no heading that it could be about; a number alone is approximate anyway",
            "take it out, or add heading_true_deg",
            loc,
        )
    if not given and number is None:
        found.refuse(
            loc,
            f"no heading, and {words.shown(name)} has no number to tell it",
            "add heading_true_deg, for example heading_true_deg = 91.4",
            loc,
        )
    elif not given:
        found.caution(
            loc,
            "no heading: its number alone says it, so every figure is approximate",
            "add heading_true_deg from a survey or chart",
        )
    elif number is not None and found.stands(loc, (*loc[:2], "latitude"), (*loc[:2], "longitude")):
        magnetic = end.heading_magnetic_deg
        if magnetic is None:
            magnetic = (end.heading_true_deg or 0.0) - _variation_at(airfield)
        off = _apart(magnetic, number * 10)
        if off > _NUMBER_WITHIN_DEG:
            found.caution(
                loc,
                f"its heading is {off:.0f}° from what its number says with the variation there",
                "check whether the two ends are swapped, and latitude and longitude",
            )


def _judge_opposite(
    found: Findings, loc: Loc, runway: RunwayTable, airfield: AirfieldTable
) -> None:
    first, second = (_true(end, end.name, airfield) for end in runway.ends)
    if first is None or second is None:
        return
    off = round(180 - _apart(first, second), 1)
    both_true = all(end.heading_true_deg is not None for end in runway.ends)
    place = () if both_true else ((*loc[:2], "latitude"), (*loc[:2], "longitude"))
    problem = (
        f"the headings of {runway.ends[0].name} and {runway.ends[1].name} "
        f"({_said(runway.ends[0])} and {_said(runway.ends[1])}) are {off:.0f}° from opposite"
    )
    compared = (*((*loc, "ends", i) for i in (0, 1)), *place)
    if off > _OPPOSITE_WITHIN_DEG:
        found.refuse(
            (*loc, "ends"),
            problem,
            f"correct one of them; they must be opposite within {_OPPOSITE_WITHIN_DEG}°",
            *compared,
        )
    elif off > _DOUBTFUL_BEYOND_DEG and all(_is_given(end) for end in runway.ends):
        # A painted number alone is rounded, and is said to be approximate anyway.
        found.caution(
            (*loc, "ends"),
            problem,
            "check both against the chart: the two ends of a straight runway are opposite",
            *compared,
        )


def _is_given(end: Headed) -> bool:
    return end.heading_true_deg is not None or end.heading_magnetic_deg is not None


def _said(end: Headed) -> str:
    if end.heading_true_deg is not None:
        return f"{end.heading_true_deg:g} true"
    if end.heading_magnetic_deg is not None:
        return f"{end.heading_magnetic_deg:g} magnetic"
    return "by its number"


def _true(end: Headed, name: str, airfield: AirfieldTable) -> float | None:
    """Return the heading in degrees true, if it can be told."""
    if end.heading_true_deg is not None:
        return end.heading_true_deg
    number = _number(name)
    magnetic = end.heading_magnetic_deg
    if magnetic is None and number is not None:
        magnetic = number * 10.0
    return None if magnetic is None else magnetic + _variation_at(airfield)
