"""Contradictions in aircraft and pilot standards."""

from __future__ import annotations

from windwatch.settings import words
from windwatch.settings.findings import Findings
from windwatch.settings.lines import Loc
from windwatch.settings.rules_limits import given, judge_limits
from windwatch.settings.rules_names import (
    known_aircraft,
    known_airfields,
    known_pilots,
    twice,
    unknown_name,
    unknown_names,
)
from windwatch.settings.schema_people import AircraftTable


def judge_aircraft(found: Findings) -> None:
    """Judge every aircraft."""
    craft_names = [each.name for each in found.whole.aircraft]
    twice(found, [(("aircraft", i, "name"), name) for i, name in enumerate(craft_names)])
    airfields, pilots = known_airfields(found), known_pilots(found)
    for number, craft in enumerate(found.whole.aircraft):
        loc: Loc = ("aircraft", number)
        unknown_name(found, (*loc, "based_at"), craft.based_at, airfields, "airfield")
        unknown_names(found, (*loc, "flown_by"), craft.flown_by, pilots, "pilot standard")
        judge_limits(found, (*loc, "limits"), craft.limits)
        if not given(craft.limits) and not craft.ground_limits:
            found.caution(
                loc, "no limits: it is never warned about", "add limits = { crosswind_kt = 15 }"
            )
        crosswind, shown = craft.limits.crosswind_kt, craft.demonstrated_crosswind_kt
        if crosswind is not None and shown is not None and crosswind.kt > shown:
            found.caution(
                (*loc, "limits", "crosswind_kt"),
                f"{crosswind.kt:g} is above the demonstrated crosswind, {shown:g}",
                "make sure that the school allows more than was shown at certification",
                (*loc, "demonstrated_crosswind_kt"),
            )
        _judge_runways(found, loc, craft)
    if not found.whole.aircraft:
        found.caution(
            ("aircraft",), "no aircraft: only thunder is watched", "add an [[aircraft]] table"
        )


def judge_pilots(found: Findings) -> None:
    """Judge every pilot standard."""
    pilot_names = [each.name for each in found.whole.pilot_limits]
    twice(found, [(("pilot_limits", i, "name"), name) for i, name in enumerate(pilot_names)])
    flown = {name for craft in found.whole.aircraft for name in craft.flown_by}
    for number, pilot in enumerate(found.whole.pilot_limits):
        loc: Loc = ("pilot_limits", number)
        judge_limits(found, (*loc, "limits"), pilot.limits)
        if pilot.name not in flown:
            found.caution(
                loc, "no aircraft is flown by it", f"add {words.toml(pilot.name)} to a flown_by"
            )


def _judge_runways(found: Findings, loc: Loc, craft: AircraftTable) -> None:
    """Say where no runway of its airfield may be used, so that nothing is judged."""
    for airfield in found.whole.airfield:
        if airfield.id != craft.based_at:
            continue
        for standard in craft.flown_by:
            if not any(
                _may_use(found, each.uses, craft.name, standard) for each in airfield.runway
            ):
                found.caution(
                    loc,
                    f"flown by {words.shown(standard)} it may use no runway at {airfield.id}",
                    "add it to the uses of one, or take that standard out of flown_by",
                )


def _may_use(found: Findings, uses: list[str], aircraft: str, standard: str) -> bool:
    """Return whether `uses` allows it: each kind of name counts only where one is given."""
    crafts = set(uses) & set(known_aircraft(found) or ())
    standards = set(uses) & set(known_pilots(found) or ())
    return (not crafts or aircraft in crafts) and (not standards or standard in standards)
