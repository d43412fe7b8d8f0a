"""How the controls are held while taxiing: the answer, and where it may change.

The answer is for the aeroplane standing still. Its own motion, a sector or a direction near an
edge are shown as alternatives, never as the answer. The approved flight manual decides.
"""

from __future__ import annotations

from typing import Final

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship import control_words as words
from windwatch.airmanship.control_table import (
    AILERONS_NEUTRAL,
    EIGHTHS,
    ELEVATOR,
    LEFT_BEHIND,
    RIGHT_BEHIND,
    Ailerons,
    ControlPositions,
    Deflection,
    Pitch,
    Quarter,
    RelativeWind,
    Roll,
    Yoke,
    air_over_the_aeroplane,
    eighth_of,
    positions_in,
    yoke_for,
)
from windwatch.wind import CALM, Calm, DegreesTrue, Knots, Steady, Wind

# Reports give tens of degrees, and the wind wanders: common practice, no source.
DIRECTION_MAY_BE_OFF_DEG: Final = 10.0
STANDING: Final = Knots(0.0)


def control_positions(
    wind: Wind,
    heading: DegreesTrue,
    gear: Gear,
    wing: WingPosition,
    taxi_speed: Knots = STANDING,
) -> ControlPositions:
    """How the controls are held on one heading.

    Parameters
    ----------
    wind : Wind
        As reported.
    heading : DegreesTrue
        Where the nose points. [°T]
    gear : Gear
        Decides the elevator in winds from ahead.
    wing : WingPosition
        A high wing makes a quartering tailwind worse still.
    taxi_speed : Knots
        Own speed over the ground, for the note on own motion. [kt]

    Returns
    -------
    ControlPositions
        For the aeroplane standing still, with alternatives and notes.

    Raises
    ------
    ValueError
        If a speed is negative.
    """
    if not (wind.speed >= 0 and taxi_speed >= 0):
        raise ValueError(f"speeds are 0 kt or more, not {min(wind.speed, taxi_speed)}")
    if wind.strongest <= 0 or (isinstance(wind.direction, Calm) and wind.gust is None):
        return _in_calm(gear, taxi_speed)
    if not isinstance(wind.direction, Steady):
        return _from_anywhere(wind, gear, wing)
    angle = (wind.direction.wind_from - heading) % 360
    row = eighth_of(angle)
    answer = positions_in(angle, row, wind, gear)
    alternatives, notes = _other_quarters(answer, row, wind, heading, gear)
    moving = None
    if taxi_speed > 0:
        moving = air_over_the_aeroplane(angle, wind.speed, wind.gust, taxi_speed)
        others, told = _under_way(answer, row, wind, gear, taxi_speed)
        alternatives, notes = alternatives + others, notes + told
    _, quarter, _ = EIGHTHS[row]
    return answer._replace(
        alternatives=_distinct(answer, alternatives),
        notes=(
            *words.warnings(answer, (answer, *alternatives), wing),
            *notes,
            *words.opinions(quarter, wind.strongest, gear),
        ),
        moving=moving,
    )


def card_of_eight(
    speed: Knots, gust: Knots | None, gear: Gear, wing: WingPosition
) -> tuple[ControlPositions, ...]:
    """The answers for winds from 0, 45, ... 315 degrees clockwise from the nose."""
    return tuple(
        control_positions(
            Wind(Steady(DegreesTrue(angle or 360.0)) if speed or gust else CALM, speed, gust),
            DegreesTrue(360.0),
            gear,
            wing,
        )
        for angle, _, _ in EIGHTHS
    )


def _in_calm(gear: Gear, taxi_speed: Knots) -> ControlPositions:
    """No wind: as in the headwind that taxiing itself makes."""
    yoke = yoke_for(Quarter.HEADWIND, None, gear)
    moving = None
    if taxi_speed > 0:
        moving = RelativeWind(0.0, taxi_speed, None, Quarter.HEADWIND)
    return ControlPositions(
        RelativeWind(None, Knots(0.0), None, Quarter.LIGHT),
        AILERONS_NEUTRAL,
        ELEVATOR[yoke.pitch],
        yoke,
        most_critical=False,
        notes=(words.CALM_NOTE,),
        moving=moving,
    )


def _from_anywhere(wind: Wind, gear: Gear, wing: WingPosition) -> ControlPositions:
    """Variable, or not reported: a quartering tailwind from either side must be expected."""
    sides = tuple(
        positions_in(EIGHTHS[row][0], row, wind, gear) for row in (RIGHT_BEHIND, LEFT_BEHIND)
    )
    one_side = sides[0]
    answer = one_side._replace(
        relative_wind=one_side.relative_wind._replace(angle_deg=None),
        ailerons=AILERONS_NEUTRAL,
        yoke=Yoke(Roll.CENTRE, Pitch.FORWARD),
    )
    return answer._replace(
        alternatives=sides,
        notes=(
            words.FOLLOW_THE_WINDSOCK,
            *words.warnings(answer, (answer,), wing),
            *words.opinions(Quarter.QUARTERING_TAILWIND, wind.strongest, gear),
        ),
    )


# --- where the answer may change ------------------------------------------------


def _other_quarters(
    answer: ControlPositions, row: int, wind: Wind, heading: DegreesTrue, gear: Gear
) -> tuple[tuple[ControlPositions, ...], tuple[str, ...]]:
    """Positions of the eighths that the sector, or 10° of direction, reaches; and why."""
    angle = answer.relative_wind.angle_deg or 0.0
    near = _reached(angle - DIRECTION_MAY_BE_OFF_DEG, 2 * DIRECTION_MAY_BE_OFF_DEG)
    swept: dict[int, float] = {}
    if wind.sector is not None:
        first, second = wind.sector
        swept = _reached(first - heading, (second - first) % 360 or 360.0)
    alternatives: list[ControlPositions] = []
    notes: list[str] = []
    for reached, why in ((near, words.NEAR_AN_EDGE), (swept, words.SECTOR_REACHES)):
        found = [
            positions_in(other_angle, other, wind, gear)
            for other, other_angle in reached.items()
            if other != row
        ]
        different = [other for other in found if _hold(other) != _hold(answer)]
        if different:
            alternatives += different
            notes.append(why.format(others=words.listed(different)))
    return tuple(alternatives), tuple(notes)


def _reached(start: float, width: float) -> dict[int, float]:
    """Eighths that an arc clockwise from `start` touches, with their angle nearest the middle."""
    reached: dict[int, float] = {}
    for row, (middle, _, _) in enumerate(EIGHTHS):
        beyond = (middle - start) % 360
        if beyond <= width:
            nearest = middle
        else:
            # The middle lies outside: the closer end of the arc is the best it offers.
            nearest = (start if 360 - beyond < beyond - width else start + width) % 360
        if eighth_of(nearest) == row:
            reached[row] = nearest
    return reached


def _under_way(
    answer: ControlPositions, row: int, wind: Wind, gear: Gear, taxi_speed: Knots
) -> tuple[tuple[ControlPositions, ...], tuple[str, ...]]:
    """What own motion does to the quarter, at mean speed and in the gust."""
    angle = answer.relative_wind.angle_deg or 0.0
    _, standing, _ = EIGHTHS[row]
    others: list[ControlPositions] = []
    notes: list[str] = []
    for when, speed in (("", wind.speed), (" in a gust", wind.gust)):
        if speed is None:
            continue
        flow = air_over_the_aeroplane(angle, speed, None, taxi_speed)
        if flow.angle_deg is None:
            notes.append(
                words.CANCELLED.format(taxi=words.in_knots(taxi_speed), standing=standing.value)
            )
            continue
        other_row = eighth_of(flow.angle_deg)
        if other_row == row:
            continue
        notes.append(
            words.UNDER_WAY.format(
                taxi=words.in_knots(taxi_speed),
                when=when,
                flow=words.in_knots(flow.speed),
                moving=words.from_side(flow.quarter, flow.angle_deg),
                standing=standing.value,
            )
        )
        # However slow the airflow, its side and quarter are what the controls answer to.
        other = positions_in(flow.angle_deg, other_row, wind, gear)
        others.append(
            other._replace(
                relative_wind=flow,
                most_critical=flow.quarter is Quarter.QUARTERING_TAILWIND,
            )
        )
    return tuple(others), tuple(notes)


def _hold(positions: ControlPositions) -> tuple[Ailerons, Deflection]:
    return positions.ailerons, positions.elevator


def _distinct(
    answer: ControlPositions, alternatives: tuple[ControlPositions, ...]
) -> tuple[ControlPositions, ...]:
    """Each other way of holding the controls once, the most critical first."""
    kept: dict[tuple[Ailerons, Deflection], ControlPositions] = {}
    for other in sorted(alternatives, key=lambda other: not other.most_critical):
        if _hold(other) != _hold(answer):
            kept.setdefault(_hold(other), other)
    return tuple(kept.values())
