"""What a configuration comes to: effective limits and whose each is, and who hears what."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any, Final

from windwatch.airmanship.variation import true_heading
from windwatch.assessment.limits import Thresholds
from windwatch.assessment.plan import AirfieldPlan, plan_airfield
from windwatch.cli.show import paragraph, table
from windwatch.cli.wind_option import east_or_west
from windwatch.cli.wind_words import degrees
from windwatch.fleet import (
    RUNWAY_QUANTITIES,
    Aircraft,
    Airfield,
    Contact,
    Limit,
    Of,
    RunwayEnd,
    RunwaySteps,
)
from windwatch.hours import WEEKDAYS
from windwatch.notices.words import listed, number, quantity
from windwatch.rules import Rules, changed, figures
from windwatch.settings.running import Settings
from windwatch.settings.schema_rules import range_in_words, shown, written
from windwatch.wind import KNOTS

_HEARS_USUALLY: Final = "over, unknown (near for ground and thunder)"
_RUNWAYS_HEARD: Final = {
    RunwaySteps.EACH: "every runway",
    RunwaySteps.BEST: "the best runway",
    RunwaySteps.LAST: "runways only when none is left",
    RunwaySteps.NONE: "no runways",
}


def plans_of(settings: Settings, on: date) -> tuple[AirfieldPlan, ...]:
    """Every airfield laid out as the watch judges it."""
    fleet = settings.fleet
    return tuple(plan_airfield(fleet, airfield, on) for airfield in fleet.airfields)


def not_judged(plan: AirfieldPlan, craft: Iterable[Aircraft]) -> tuple[str, ...]:
    """Aircraft whose own runway limits nobody is judged by, for no standard flies them there."""
    flown = {subject.aircraft for subject in plan.subjects}
    return tuple(
        each.name
        for each in craft
        if each.name not in flown
        and any(limit.quantity in RUNWAY_QUANTITIES for limit in each.limits)
    )


def not_judged_words(name: str) -> str:
    """What to say of such an aircraft."""
    return f"{name}: its runway limits are not judged, for no standard flies it; add flown_by."


# --- in words ------------------------------------------------------------------


def settings_in_words(settings: Settings, on: date) -> str:
    """Everything in tables of at most 80 columns.

    Parameters
    ----------
    on : date
        For the magnetic variation.
    """
    fleet = settings.fleet
    lines: list[str] = []
    for plan in plans_of(settings, on):
        based = fleet.based_at(plan.airfield.id)
        lines += [
            *_airfield_lines(plan, on),
            "",
            *limits_lines(plan, based),
            "",
        ]
    lines += ["Contacts"]
    lines += [paragraph(_contact_words(each), "  ", "    ") for each in fleet.contacts] or [
        "  nobody: windwatch tells no one"
    ]
    lines += ["", *_rules_lines(fleet.rules), paragraph(_rim_words(settings)), ""]
    return "\n".join(lines)


def _airfield_lines(plan: AirfieldPlan, on: date) -> list[str]:
    field = plan.airfield
    name = field.id if field.name == field.id else f"{field.id} {field.name}"
    stations = listed([field.station.id, *(each.id for each in field.fall_back_stations)])
    given = "as configured" if field.variation_deg is not None else f"on {on}"
    runways = "; ".join(
        " / ".join(end_words(end, plan.variation_deg) for end in runway.ends)
        for runway in field.runways
    )
    return [
        paragraph(
            f"{name}: reports of {stations}; variation {east_or_west(plan.variation_deg)} {given}."
        ),
        paragraph(f"Runways: {runways}."),
    ]


def limits_lines(plan: AirfieldPlan, based: tuple[Aircraft, ...]) -> list[str]:
    """The limits that apply at an airfield, whose each is, and what is not judged."""
    return [
        *_runway_limits(plan),
        *(paragraph(not_judged_words(name)) for name in not_judged(plan, based)),
        "",
        *_ground_limits(plan),
        *_demonstrated(based),
    ]


def end_words(end: RunwayEnd, variation_deg: float) -> str:
    """``10 (091 true)``: an end of a runway with its heading.

    Parameters
    ----------
    variation_deg : float
        East positive. [°]
    """
    found = true_heading(end.heading, variation_deg)
    approximate = ", approximate heading" if found.approximate else ""
    return f"{end.name} ({degrees(found.heading_true)} true{approximate})"


def _runway_limits(plan: AirfieldPlan) -> list[str]:
    """One row a limit; runways with the same limits share it."""
    rows: list[tuple[str, ...]] = []
    every = [runway.name for runway in plan.airfield.runways]
    for subject in plan.subjects:
        shared: dict[tuple[Thresholds, ...], list[str]] = {}
        for runway in subject.runways:
            shared.setdefault(runway.limits, []).append(runway.name)
        who = (subject.aircraft, subject.pilot_limits or "anybody")
        for limits, names in shared.items():
            where = "all" if names == every and len(every) > 1 else ", ".join(names)
            for found in limits:
                rows.append((*who, where, *_limit_cells(found)))
                who, where = ("", ""), ""
        if not any(shared):
            rows.append((*who, ", ".join(every), "no limit", "", "", ""))
    if not rows:
        return []
    headers = ("aircraft", "flown by", "runways", "quantity", "limit", "near", "whose")
    return ["Runway limits in kt; over is more than the limit.", table(rows, headers)]


def _ground_limits(plan: AirfieldPlan) -> list[str]:
    rows: list[tuple[str, ...]] = []
    before = ""
    for found in plan.ground:
        name = "" if found.aircraft == before else found.aircraft
        before = found.aircraft
        rows.append((name, *_limit_cells(found.thresholds)))
    if not rows:
        return []
    headers = ("aircraft", "quantity", "limit", "near", "whose")
    return ["Ground limits in kt; over is more than the limit.", table(rows, headers)]


def _limit_cells(found: Thresholds) -> tuple[str, str, str, str]:
    limit = found.limit
    return quantity_words(limit), number(limit.value), number(found.near), limit.whose


def quantity_words(limit: Limit) -> str:
    """What a limit is on: the gust figure unless *mean* stands before it."""
    name = f"mean {quantity(limit.quantity)}" if limit.of is Of.MEAN else quantity(limit.quantity)
    return f"{name} ({limit.confirm_reports} reports)" if limit.confirm_reports > 1 else name


def _demonstrated(craft: Iterable[Aircraft]) -> list[str]:
    shown = [
        f"{each.name} {number(each.demonstrated_crosswind)} kt"
        for each in craft
        if each.demonstrated_crosswind is not None
    ]
    if not shown:
        return []
    return [paragraph(f"Crosswind demonstrated, not a limit: {', '.join(shown)}.", hang="  ")]


def _contact_words(contact: Contact) -> str:
    about = contact.tell_about
    own = "; also about windwatch itself" if contact.operator else ""
    heard = [
        f"airfields {', '.join(about.airfields) or 'all'}",
        f"aircraft {', '.join(about.aircraft) or 'all'}",
        *([f"standards {', '.join(about.pilot_limits)}"] if about.pilot_limits else []),
        _RUNWAYS_HEARD[about.runways],
        "aircraft on the ground" if about.ground else "nothing of aircraft on the ground",
        "thunder" if about.thunder else "no thunder",
        f"levels {_HEARS_USUALLY if about.levels is None else ', '.join(about.levels)}",
        *(["easing too"] if about.easing else []),
        *([f"speeds in {contact.units}"] if contact.units != KNOTS else []),
    ]
    by = ", or else ".join(contact.channels) if contact.fall_back else listed(contact.channels)
    heard += _hours_words(contact)
    return f"{contact.name} (by {by}{own}): {'; '.join(heard)}"


def _hours_words(contact: Contact) -> list[str]:
    """When it is told, and who is told after it."""
    found = []
    for duty in contact.duty:
        days = "every day" if duty.days == WEEKDAYS else listed(duty.days)
        found.append(f"on duty {days} {duty.begins:%H:%M} to {duty.ends:%H:%M}")
    if contact.quiet_hours is not None:
        quiet = contact.quiet_hours
        how = "full silence" if contact.full_silence else "quiet"
        found.append(f"{how} {quiet.begins:%H:%M} to {quiet.ends:%H:%M}")
    found += [f"away {away.first} to {away.last}" for away in contact.absent]
    if found and contact.time_zone:
        found.append(f"hours of {contact.time_zone}")
    if contact.then_tell:
        found.append(f"if it takes no note, {contact.then_tell} is told")
    return found


def _rim_words(settings: Settings) -> str:
    feed, store, folder = settings.feed, settings.store, settings.delivery.folder
    kept = f"books in {store.path}" if store.path is not None else "books in a database"
    leaves = "notices are sent" if folder is None else f"notices are left in {folder}, not sent"
    every_hours = settings.fleet.rules.remind_every.total_seconds() / 3600
    return (
        f"Feed {feed.kind}, asked every {feed.every.total_seconds():g} s; {kept}; {leaves}; open "
        f"warnings are repeated every {every_hours:g} h."
    )


def _rules_lines(rules: Rules) -> list[str]:
    """The figures of judgement that are others than usual."""
    known = figures()
    rows = [
        (name, shown(here), shown(usual), range_in_words(known[name]))
        for name, (here, usual) in changed(rules).items()
    ]
    if not rows:
        return []
    headers = ("figure of judgement", "here", "usually", "range")
    return [table(rows, headers), ""]


# --- as JSON -------------------------------------------------------------------


def settings_as_json(settings: Settings, on: date) -> dict[str, Any]:
    """The same as plain values; addresses and secrets stay out."""
    fleet = settings.fleet
    return {
        "airfields": [
            _airfield_as_json(plan, fleet.based_at(plan.airfield.id))
            for plan in plans_of(settings, on)
        ],
        "contacts": [_contact_as_json(contact) for contact in fleet.contacts],
        "feed": {
            "kind": settings.feed.kind,
            "every_seconds": settings.feed.every.total_seconds(),
        },
        "rules": {
            name: {"here": written(here), "usually": written(usual)}
            for name, (here, usual) in changed(fleet.rules).items()
        },
        "warnings": list(settings.warnings),
    }


def _airfield_as_json(plan: AirfieldPlan, based: tuple[Aircraft, ...]) -> dict[str, Any]:
    field: Airfield = plan.airfield
    return {
        "id": field.id,
        "name": field.name,
        "station": field.station.id,
        "fall_back_stations": [station.id for station in field.fall_back_stations],
        "variation_deg": round(plan.variation_deg, 4),
        "runway_limits": [
            {
                "aircraft": subject.aircraft,
                "pilot_limits": subject.pilot_limits,
                "runway": runway.name,
                "ends": [
                    {
                        "name": end.name,
                        "heading_true_deg": round(end.heading_true, 4),
                        "approximate": end.approximate,
                    }
                    for end in runway.ends
                ],
                "limits": [_limit_as_json(found) for found in runway.limits],
            }
            for subject in plan.subjects
            for runway in subject.runways
        ],
        "ground_limits": [
            {"aircraft": ground.aircraft, **_limit_as_json(ground.thresholds)}
            for ground in plan.ground
        ],
        "demonstrated_crosswind_kt": {
            each.name: each.demonstrated_crosswind
            for each in based
            if each.demonstrated_crosswind is not None
        },
        "not_judged": list(not_judged(plan, based)),
    }


def _limit_as_json(found: Thresholds) -> dict[str, Any]:
    limit = found.limit
    return {
        "quantity": limit.quantity,
        "limit_kt": limit.value,
        "near_kt": found.near,
        "of": limit.of.value,
        "whose": limit.whose,
        "confirm_reports": limit.confirm_reports,
    }


def _contact_as_json(contact: Contact) -> dict[str, Any]:
    about = contact.tell_about
    return {
        "name": contact.name,
        "channels": list(contact.channels),
        "operator": contact.operator,
        "units": contact.units,
        "tell_about": {
            "airfields": list(about.airfields),
            "aircraft": list(about.aircraft),
            "pilot_limits": list(about.pilot_limits),
            "runways": about.runways.value,
            "ground": about.ground,
            "thunder": about.thunder,
            "levels": None if about.levels is None else list(about.levels),
            "easing": about.easing,
        },
    }
