"""Reminders for an aeroplane on the ground, in the order of doing.

Tie-down and picketing are one thing; both words appear once.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship.ropes import (
    ANCHOR_LBF_SINGLE_ENGINE,
    ROPE_ANGLE_DEG,
    ROPE_LBF,
    SLACK_INCHES,
)
from windwatch.airmanship.wing_lift import (
    LiftBand,
    air_density_ratio,
    lift_in_words,
    wing_lift_share,
)
from windwatch.wind import DegreesTrue, Knots, Steady, Wind

# Published sources, and how far they were read.
AC_20_35C: Final = "FAA AC 20-35C, Tiedown Sense, 12 July 1983"
AC_20_35C_IN_PART: Final = f"{AC_20_35C} (read in part, rest from memory)"
AC_20_35C_REPORTED: Final = f"{AC_20_35C} (as reported by others)"
AMT_HANDBOOK: Final = "FAA, Aviation Maintenance Technician Handbook - General"
CAP_66_1: Final = "Civil Air Patrol Regulation 66-1 (as reported by others)"
ARMY_MOORING: Final = "US Army mooring manuals"
COMMON_PRACTICE: Final = "common practice, no source"
LIFT_EQUATION: Final = "lift equation; lift coefficients are estimates without a source"

# Army manuals: mooring within 45° of the wind is satisfactory.
MOORING_WITHIN_DEG: Final = 45.0
# Spoilers from here on: our choice. The full span once the wing could lift off is published.
SPOILERS_FROM_SHARE: Final = 0.5

_POINTS: Final = (
    "north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west",
)  # fmt: skip


class Reminder(NamedTuple):
    """One thing to do, and whose advice it is."""

    text: str
    source: str


# What holds in every wind, by topic.
PREFERENCE: Final = Reminder(
    "Fly it out of the area if there is time; else put it into a storm-proof hangar; "
    "else tie it down.",
    AC_20_35C,
)
BEFORE_THE_FRONT: Final = Reminder(
    "A front is coming: finish before it arrives, and stay clear of the aeroplane in the gusts.",
    COMMON_PRACTICE,
)
THREE_POINTS: Final = {
    WingPosition.HIGH: Reminder(
        "Tie down (picket) at three points, both wings and tail, only at the tie-down rings, "
        "never to a lift strut itself.",
        f"{AMT_HANDBOOK}; {AC_20_35C}",
    ),
    WingPosition.LOW: Reminder(
        "Tie down (picket) at three points, both wings and tail, only at the tie-down rings.",
        f"{AMT_HANDBOOK}; {AC_20_35C}",
    ),
}
ROPES: Final = Reminder(
    f"Ropes of at least {ROPE_LBF:,} lb (13 kN) each, nylon or polyester rather than manila, "
    "which shrinks when wet and rots.",
    AC_20_35C,
)
SLACK: Final = Reminder(
    f"Leave about {SLACK_INCHES} inch (2.5 cm) of movement: loose ropes jerk, tight ones load "
    "the wing; knots that do not slip, such as a bowline.",
    AC_20_35C,
)
ROPE_ANGLE: Final = Reminder(
    f"Lead the ropes outwards at about {ROPE_ANGLE_DEG:.0f}°.", AC_20_35C_REPORTED
)
ANCHORS: Final = Reminder(
    f"Anchors that hold about {ANCHOR_LBF_SINGLE_ENGINE:,} lb (13 kN) each; driven stakes pull "
    "out of soaked ground.",
    AC_20_35C,
)
CHOCKS: Final = Reminder("Chock the wheels fore and aft.", AMT_HANDBOOK)
PARKING_BRAKE: Final = Reminder(
    "Leave the parking brake off where it stands for more than an hour.", CAP_66_1
)
THIRD_WHEEL: Final = {
    Gear.NOSEWHEEL: Reminder("Lock the nosewheel fore and aft.", AMT_HANDBOOK),
    Gear.TAILWHEEL: Reminder("Lock the tailwheel fore and aft.", AMT_HANDBOOK),
}
CONTROL_LOCKS: Final = Reminder(
    "Lock ailerons and rudder neutral; flag external locks with streamers.", AC_20_35C
)
ELEVATOR_LOCK: Final = {
    Gear.TAILWHEEL: Reminder(
        "Nose into the wind: lock the elevator up. Tail into the wind: lock it down.",
        AC_20_35C_IN_PART,
    ),
    Gear.NOSEWHEEL: Reminder(
        "Lock the elevator as the flight manual says, with the aeroplane's own control lock.",
        COMMON_PRACTICE,
    ),
}
OPENINGS: Final = Reminder(
    "Close doors and windows; cover engine openings, pitot and static.", AC_20_35C
)
SPOILERS: Final = Reminder(
    "Put spoilers on the wings: one row of sandbags, or padded 2 by 2 inch boards, along the "
    "upper surface at the leading edge, without overloading the wing.",
    AC_20_35C,
)
SPOILERS_FULL_SPAN: Final = Reminder(
    "The wind may exceed the lift-off speed of the wing: spoiler boards or sandbags along its "
    "full span, on the upper surface at the leading edge, without overloading the wing.",
    AC_20_35C,
)
NEIGHBOURS: Final = Reminder("Check that the aeroplanes beside it are tied too.", AC_20_35C)
_TURN_AND_TIE: Final = (
    "The wind will turn: turn and tie the aeroplane again before it does, as far as the points "
    f"allow; a mooring within {MOORING_WITHIN_DEG:.0f}° of the wind is satisfactory."
)
TURNS: Final = {
    Gear.NOSEWHEEL: Reminder(_TURN_AND_TIE, ARMY_MOORING),
    Gear.TAILWHEEL: Reminder(
        f"{_TURN_AND_TIE} If the tail will stand into it, change the elevator lock to down.",
        f"{ARMY_MOORING}; {AC_20_35C_IN_PART}",
    ),
}


def tie_down_reminders(
    gear: Gear,
    wing: WingPosition,
    wind: Wind | None,
    *,
    wind_to_come: Wind | None = None,
    stall_speed: Knots | None = None,
    front_coming: bool = False,
    temperature_c: float | None = None,
    pressure_hpa: float | None = None,
) -> tuple[Reminder, ...]:
    """What to do for a parked aeroplane, in the order of doing.

    Parameters
    ----------
    gear, wing
        Decide the elevator lock, the locked wheel and the strut.
    wind : Wind or None
        As reported; None: not reported.
    wind_to_come : Wind or None
        The strongest forecast for its stay.
    stall_speed : Knots or None
        Clean, calibrated, at the largest weight; gives the lift reminder. [kt]
    front_coming : bool
        Thunder, a squall or a front is near: the wind will turn.
    temperature_c, pressure_hpa : float or None
        At the field itself; the standard air of the sea level where one is missing. [°C, hPa]

    Returns
    -------
    tuple of Reminder
        Each with its source.
    """
    strongest = strongest_of(wind, wind_to_come)
    lift = None
    if stall_speed is not None and strongest is not None:
        lift = wing_lift_share(
            strongest.strongest,
            stall_speed,
            gear,
            density_ratio=1.0
            if temperature_c is None or pressure_hpa is None
            else air_density_ratio(temperature_c, pressure_hpa),
        )
    candidates = (
        (front_coming, BEFORE_THE_FRONT),
        (True, PREFERENCE),
        (True, _nose_into(strongest, to_come=strongest is not None and strongest is not wind)),
        (True, THREE_POINTS[wing]),
        (True, ANCHORS),
        (True, ROPES),
        (True, ROPE_ANGLE),
        (True, SLACK),
        (True, CHOCKS),
        (True, PARKING_BRAKE),
        (True, THIRD_WHEEL[gear]),
        (True, CONTROL_LOCKS),
        (True, ELEVATOR_LOCK[gear]),
        (True, OPENINGS),
        *_spoilers(lift),
        (True, NEIGHBOURS),
        (front_coming or turns(wind, wind_to_come), TURNS[gear]),
    )
    reminders = tuple(reminder for applies, reminder in candidates if applies)
    if lift is None:
        return reminders
    return (*reminders, Reminder(lift_in_words(lift), LIFT_EQUATION))


def strongest_of(wind: Wind | None, wind_to_come: Wind | None) -> Wind | None:
    """The wind to prepare for: the stronger of the two, the present one if they are equal."""
    if wind is None or (wind_to_come is not None and wind_to_come.strongest > wind.strongest):
        return wind_to_come
    return wind


def turns(wind: Wind | None, wind_to_come: Wind | None) -> bool:
    """Whether the wind to come leaves the 45° within which a mooring is satisfactory."""
    if wind is None or wind_to_come is None:
        return False
    now, then = wind.direction, wind_to_come.direction
    if not (isinstance(now, Steady) and isinstance(then, Steady)):
        return False
    return abs((then.wind_from - now.wind_from + 180) % 360 - 180) > MOORING_WITHIN_DEG


def compass_point(direction: DegreesTrue) -> str:
    """The nearest of the eight points of the compass: ``north-west``."""
    return _POINTS[int((direction % 360 + 22.5) // 45) % 8]


def _nose_into(strongest: Wind | None, *, to_come: bool) -> Reminder:
    """Where the nose should point, as far as the tie-down points allow."""
    if strongest is None or not isinstance(strongest.direction, Steady):
        return Reminder(
            "Point the nose into the strongest wind expected, as far as the tie-down points "
            "allow; its direction is not known, so follow the windsock.",
            AMT_HANDBOOK,
        )
    wind_from = strongest.direction.wind_from
    which = "the strongest wind to come" if to_come else "the wind"
    return Reminder(
        f"Point the nose {compass_point(wind_from)} ({wind_from:03.0f}° true), into {which}, "
        "as far as the tie-down points allow.",
        AMT_HANDBOOK,
    )


def _spoilers(lift: LiftBand | None) -> tuple[tuple[bool, Reminder], ...]:
    """Spoilers once the wing may carry half the weight, full span once it may carry all of it."""
    high = 0.0 if lift is None else lift.high
    return (
        (SPOILERS_FROM_SHARE <= high < 1, SPOILERS),
        (high >= 1, SPOILERS_FULL_SPAN),
    )
