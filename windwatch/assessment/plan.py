"""An airfield laid out for judging: who may use which end, against which thresholds.

Everything that does not depend on the report is worked out once for a configuration and a date.
"""

from __future__ import annotations

from datetime import date
from functools import cache, partial
from typing import NamedTuple

from windwatch.airmanship.variation import true_heading, variation
from windwatch.assessment.limits import Thresholds, effective_limits, thresholds
from windwatch.fleet import (
    RUNWAY_QUANTITIES,
    Aircraft,
    Airfield,
    Fleet,
    Limit,
    PilotLimits,
    Runway,
    RunwayNote,
)
from windwatch.rules import Rules
from windwatch.wind import DegreesTrue


class EndPlan(NamedTuple):
    """A runway end with its heading made true."""

    name: str
    heading_true: DegreesTrue
    approximate: bool


class RunwayPlan(NamedTuple):
    """A runway that a subject may use, with the limits that then apply."""

    name: str
    ends: tuple[EndPlan, ...]
    limits: tuple[Thresholds, ...]
    notes: tuple[RunwayNote, ...]


class SubjectPlan(NamedTuple):
    """An aircraft and a pilot standard, and the runways they may use."""

    aircraft: str
    pilot_limits: str
    runways: tuple[RunwayPlan, ...]


class GroundPlan(NamedTuple):
    """An aircraft and one of its ground limits."""

    aircraft: str
    thresholds: Thresholds


class AirfieldPlan(NamedTuple):
    """Everything to be judged at one airfield."""

    airfield: Airfield
    variation_deg: float
    subjects: tuple[SubjectPlan, ...]
    ground: tuple[GroundPlan, ...]
    rules: Rules


def field_variation(airfield: Airfield, on: date) -> float:
    """Magnetic variation at an airfield: as configured, else by the model, east positive."""
    if airfield.variation_deg is not None:
        return airfield.variation_deg
    return variation(airfield.latitude, airfield.longitude, on, airfield.elevation_ft).variation_deg


def plan_airfield(fleet: Fleet, airfield: Airfield, on: date) -> AirfieldPlan:
    """Lay out an airfield for judging.

    Parameters
    ----------
    fleet : Fleet
    airfield : Airfield
        One of its airfields.
    on : date
        For the magnetic variation.
    """
    variation_deg = field_variation(airfield, on)
    ends = {runway.name: _ends(runway, variation_deg) for runway in airfield.runways}
    based = fleet.based_at(airfield.id)
    # One object for equal limits: a wind is held against it once (`assess`).
    against = cache(partial(thresholds, rules=fleet.rules))
    subjects = [
        SubjectPlan(
            aircraft.name,
            name,
            tuple(
                RunwayPlan(
                    runway.name,
                    ends[runway.name],
                    tuple(
                        against(limit)
                        for limit in runway_limits(aircraft, fleet.pilot_limits.get(name), runway)
                    ),
                    runway.notes,
                )
                for runway in airfield.runways
                if _may_use(fleet, runway, aircraft, name)
            ),
        )
        for aircraft in based
        for name in standards_of(aircraft)
    ]
    ground = [
        GroundPlan(aircraft.name, against(limit))
        for aircraft in based
        for limit in ground_limits(aircraft)
    ]
    return AirfieldPlan(airfield, variation_deg, tuple(subjects), tuple(ground), fleet.rules)


def standards_of(aircraft: Aircraft) -> tuple[str, ...]:
    """The pilot standards that fly an aircraft; '' for anybody, where none is named."""
    return aircraft.flown_by or ("",)


def runway_limits(
    aircraft: Aircraft, pilot: PilotLimits | None, runway: Runway
) -> tuple[Limit, ...]:
    """The effective runway limits of an aircraft, a pilot standard and a runway."""
    sources = (
        aircraft.limits,
        pilot.limits if pilot is not None else (),
        runway.limits,
    )
    found = [limit for limit in effective_limits(sources) if limit.quantity in RUNWAY_QUANTITIES]
    found.sort(key=lambda limit: RUNWAY_QUANTITIES.index(limit.quantity))
    return tuple(found)


def ground_limits(aircraft: Aircraft) -> tuple[Limit, ...]:
    """The ground limits of an aircraft, the school's own ones last."""
    return tuple(
        limit
        for limit in effective_limits((aircraft.limits,))
        if limit.quantity not in RUNWAY_QUANTITIES
    )


def _may_use(fleet: Fleet, runway: Runway, aircraft: Aircraft, pilot_limits: str) -> bool:
    """Whether `uses` allows it; naming only aircraft leaves the standards free, and vice versa."""
    if not runway.uses:
        return True
    crafts = {craft.name for craft in fleet.aircraft if craft.name in runway.uses}
    standards = {name for name in fleet.pilot_limits if name in runway.uses}
    return (not crafts or aircraft.name in crafts) and (not standards or pilot_limits in standards)


def _ends(runway: Runway, variation_deg: float) -> tuple[EndPlan, ...]:
    found = []
    for end in runway.ends:
        heading = true_heading(end.heading, variation_deg)
        found.append(EndPlan(end.name, heading.heading_true, heading.approximate))
    return tuple(found)
