"""Control positions in words, and the notes beside them.

Where published opinions differ, the notes show it; the approved flight manual decides.
"""

from __future__ import annotations

from typing import Final

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship.components import round_half_up_tenth
from windwatch.airmanship.control_table import (
    FROM_AHEAD,
    ControlPositions,
    Deflection,
    Pitch,
    Quarter,
    RelativeWind,
    Roll,
    Yoke,
    quarter_of,
)
from windwatch.wind import Knots

# Common practice; the handbooks give no figures.
SLIPSTREAM_MATTERS_UP_TO: Final = Knots(10.0)
VERY_STRONG_FROM: Final = Knots(25.0)

MOST_CRITICAL: Final = (
    "Quartering tailwind: the most critical wind while taxiing{wing}. "
    "No sudden power, no sharp braking."
)
MAY_BECOME_CRITICAL: Final = (
    "It may become a quartering tailwind, the most critical wind while taxiing{wing}. "
    "No sudden power, no sharp braking."
)
ABOVE_ALL: Final = ", for a high wing above all"
FOLLOW_THE_WINDSOCK: Final = "Direction unknown: follow the windsock, expect a quartering tailwind."
LIGHT_NOTE: Final = "Light wind: hold them anyway, the effect is small."
CALM_NOTE: Final = "Calm: hold the controls as in a headwind, and follow the windsock."
NEAR_AN_EDGE: Final = "10° of direction would change the answer: {others}."
SECTOR_REACHES: Final = "The reported sector also holds: {others}."
UNDER_WAY: Final = (
    "At {taxi} kt of taxi speed{when} the air meets the aeroplane at {flow} kt "
    "as a {moving}; when braking it is a {standing} again."
)
CANCELLED: Final = (
    "At {taxi} kt of taxi speed the aeroplane moves with the wind; when braking it is a "
    "{standing} again."
)
SLIPSTREAM: Final = (
    "Tailwheel in a light tailwind under power: the slipstream over the tail may outweigh the "
    "wind, and some hold the stick back or at most neutral; the keyed answers say forward. "
    "The flight manual decides."
)
EASE_FORWARD: Final = (
    "In a very strong headwind the stick may be eased towards neutral (Airplane Flying Handbook)."
)
ABEAM: Final = (
    "Square across: aileron up on the wind's side is common practice; some texts hold neutral. "
    "The flight manual decides."
)
ASTERN: Final = (
    "Straight behind: some texts hold neutral; training practice is forward. "
    "The flight manual decides."
)
HELD_BACK: Final = (
    "One student textbook holds the yoke back in winds from ahead for nosewheel aeroplanes too; "
    "the Airplane Flying Handbook says neutral."
)


def in_words(positions: ControlPositions) -> str:
    """How the controls are held, in one line.

    Examples
    --------
    >>> from windwatch.airmanship.control_positions import control_positions
    >>> from windwatch.wind import DegreesTrue, Steady, Wind
    >>> wind = Wind(Steady(DegreesTrue(135)), Knots(18))
    >>> in_words(control_positions(wind, DegreesTrue(360), Gear.NOSEWHEEL, WingPosition.HIGH))
    'turn left, forward: left aileron up, right aileron down, elevator down'
    """
    left, right = positions.ailerons
    if left is Deflection.NEUTRAL and right is Deflection.NEUTRAL:
        ailerons = "ailerons neutral"
    else:
        ailerons = f"left aileron {left.value}, right aileron {right.value}"
    return f"{yoke_in_words(positions.yoke)}: {ailerons}, elevator {positions.elevator.value}"


def yoke_in_words(yoke: Yoke) -> str:
    """How the yoke, control column or stick is held: ``turn left, forward``."""
    if yoke == (Roll.CENTRE, Pitch.NEUTRAL):
        return "hold neutral"
    roll = "centred" if yoke.roll is Roll.CENTRE else f"turn {yoke.roll.value}"
    pitch = "pitch neutral" if yoke.pitch is Pitch.NEUTRAL else yoke.pitch.value
    return f"{roll}, {pitch}"


def wind_in_words(wind: RelativeWind) -> str:
    """The relative wind as a pilot names it: ``quartering tailwind from the left``."""
    if wind.angle_deg is None:
        return "calm" if wind.speed <= 0 else f"{wind.quarter.value} expected, side unknown"
    if wind.quarter is Quarter.LIGHT:
        return f"light, {from_side(quarter_of(wind.angle_deg)[0], wind.angle_deg)}"
    return from_side(wind.quarter, wind.angle_deg)


def from_side(quarter: Quarter, angle_deg: float) -> str:
    """The quarter with its side, where it has one."""
    _, side = quarter_of(angle_deg)
    return quarter.value if side is None else f"{quarter.value} from the {side.value}"


def listed(others: list[ControlPositions]) -> str:
    """The other answers, each with its wind: ``quartering tailwind from the left, turn right``."""
    return "; ".join(
        f"{from_side(quarter_of(angle)[0], angle)}, {yoke_in_words(other.yoke)}"
        for other in others
        if (angle := other.relative_wind.angle_deg) is not None
    )


def in_knots(speed: Knots) -> str:
    """Figure to 0.1 kt, without a needless zero."""
    return f"{round_half_up_tenth(speed):g}"


def warnings(
    answer: ControlPositions, possible: tuple[ControlPositions, ...], wing: WingPosition
) -> tuple[str, ...]:
    """What to mind before all else: a quartering tailwind, present or possible; a light wind."""
    above_all = ABOVE_ALL if wing is WingPosition.HIGH else ""
    notes = []
    if answer.most_critical:
        notes.append(MOST_CRITICAL.format(wing=above_all))
    elif any(other.most_critical for other in possible):
        notes.append(MAY_BECOME_CRITICAL.format(wing=above_all))
    if answer.relative_wind.quarter is Quarter.LIGHT:
        notes.append(LIGHT_NOTE)
    return tuple(notes)


def opinions(quarter: Quarter, strongest: Knots, gear: Gear) -> tuple[str, ...]:
    """Where published opinions differ, or the handbook allows more: shown, not hidden."""
    behind = quarter not in FROM_AHEAD
    rows = (
        (gear is Gear.TAILWHEEL and behind and strongest <= SLIPSTREAM_MATTERS_UP_TO, SLIPSTREAM),
        (
            gear is Gear.TAILWHEEL
            and quarter is Quarter.HEADWIND
            and strongest >= VERY_STRONG_FROM,
            EASE_FORWARD,
        ),
        (quarter is Quarter.CROSSWIND, ABEAM),
        (quarter is Quarter.TAILWIND, ASTERN),
        (gear is Gear.NOSEWHEEL and not behind, HELD_BACK),
    )
    return tuple(note for applies, note in rows if applies)
