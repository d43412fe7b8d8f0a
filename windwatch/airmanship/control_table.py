"""The table of taxi control positions: quarters of the wind, and what each asks for.

Sources: FAA, Airplane Flying Handbook FAA-H-8083-3C, ch. 2 (text at Fig. 2-15) and its tailwheel
chapter; FAA private pilot question bank, Fig. 9; EASA PPL bank, operational procedures
(tailwheel in a tailwind: elevator down). Straight ahead, astern and square across: ailerons by
common practice. Edges: common practice, no source gives them.
"""

from __future__ import annotations

from enum import Enum
from math import atan2, cos, degrees, hypot, radians, sin
from typing import Final, NamedTuple

from windwatch.airframe import Gear
from windwatch.airmanship.components import round_half_up_tenth
from windwatch.wind import Knots, Wind

STRAIGHT_WITHIN_DEG: Final = 15.0  # of the nose, the tail or a wingtip
LIGHT_UP_TO: Final = Knots(5.0)


class Deflection(Enum):
    """Where the trailing edge of an aileron or the elevator stands."""

    UP = "up"
    NEUTRAL = "neutral"
    DOWN = "down"


class Roll(Enum):
    """How the yoke is turned, or the stick moved sideways."""

    LEFT = "left"
    CENTRE = "centre"
    RIGHT = "right"


class Pitch(Enum):
    """How the yoke or stick is held fore and aft."""

    BACK = "back"
    NEUTRAL = "neutral"
    FORWARD = "forward"


class Quarter(Enum):
    """Where the wind comes from, as a taxiing pilot names it."""

    HEADWIND = "headwind"
    QUARTERING_HEADWIND = "quartering headwind"
    CROSSWIND = "crosswind"
    QUARTERING_TAILWIND = "quartering tailwind"
    TAILWIND = "tailwind"
    LIGHT = "light"


class RelativeWind(NamedTuple):
    """The wind as it meets the aeroplane.

    Attributes
    ----------
    angle_deg : float or None
        Clockwise from the nose, 0 to below 360; None: from anywhere, or calm. [°]
    speed : Knots
        Mean speed. [kt]
    gust : Knots or None
        None where no gust was reported, which does not mean no gusts. [kt]
    quarter : Quarter
    """

    angle_deg: float | None
    speed: Knots
    gust: Knots | None
    quarter: Quarter

    def as_json(self) -> dict[str, object]:
        """Keys as the command `windwatch taxi --json` documents them, figures to 0.1."""
        angle = None if self.angle_deg is None else round_half_up_tenth(self.angle_deg) % 360
        return {
            "angle_deg": angle,
            "speed_kt": round_half_up_tenth(self.speed),
            "gust_kt": None if self.gust is None else round_half_up_tenth(self.gust),
            "quarter": self.quarter.value,
        }


class Ailerons(NamedTuple):
    """Both ailerons; they move opposite ways."""

    left: Deflection
    right: Deflection


class Yoke(NamedTuple):
    """How the yoke, control column or stick is held."""

    roll: Roll
    pitch: Pitch


class ControlPositions(NamedTuple):
    """How the controls are held on one heading in one wind.

    Attributes
    ----------
    relative_wind : RelativeWind
        With the aeroplane standing still.
    ailerons, elevator, yoke
        What it asks for.
    most_critical : bool
        A quartering tailwind: the wind that turns aeroplanes over.
    alternatives : tuple of ControlPositions
        Other positions that this wind, or taxiing, may ask for; they have no alternatives.
    notes : tuple of str
        Sentences, in the order of doing.
    moving : RelativeWind or None
        Airflow over the aeroplane at the taxi speed asked for; None when standing. [kt]
    """

    relative_wind: RelativeWind
    ailerons: Ailerons
    elevator: Deflection
    yoke: Yoke
    most_critical: bool
    alternatives: tuple[ControlPositions, ...] = ()
    notes: tuple[str, ...] = ()
    moving: RelativeWind | None = None

    def as_json(self) -> dict[str, object]:
        """Keys as the command `windwatch taxi --json` documents them."""
        return {
            "relative_wind": self.relative_wind.as_json(),
            "ailerons": {"left": self.ailerons.left.value, "right": self.ailerons.right.value},
            "elevator": self.elevator.value,
            "yoke": {"roll": self.yoke.roll.value, "pitch": self.yoke.pitch.value},
            "most_critical": self.most_critical,
            "alternatives": [other.as_json() for other in self.alternatives],
            "notes": list(self.notes),
            "relative_wind_moving": None if self.moving is None else self.moving.as_json(),
        }


# --- the table ----------------------------------------------------------------

# Clockwise from the nose: the middle of each eighth, its quarter, and the side it is on.
EIGHTHS: Final = (
    (0.0, Quarter.HEADWIND, None),
    (45.0, Quarter.QUARTERING_HEADWIND, Roll.RIGHT),
    (90.0, Quarter.CROSSWIND, Roll.RIGHT),
    (135.0, Quarter.QUARTERING_TAILWIND, Roll.RIGHT),
    (180.0, Quarter.TAILWIND, None),
    (225.0, Quarter.QUARTERING_TAILWIND, Roll.LEFT),
    (270.0, Quarter.CROSSWIND, Roll.LEFT),
    (315.0, Quarter.QUARTERING_HEADWIND, Roll.LEFT),
)
FROM_AHEAD: Final = (Quarter.HEADWIND, Quarter.QUARTERING_HEADWIND, Quarter.CROSSWIND)
_STRAIGHT: Final = (Quarter.HEADWIND, Quarter.TAILWIND)
RIGHT_BEHIND: Final = 3  # rows of the table
LEFT_BEHIND: Final = 5

_OPPOSITE: Final = {Roll.LEFT: Roll.RIGHT, Roll.RIGHT: Roll.LEFT}
AILERONS_NEUTRAL: Final = Ailerons(Deflection.NEUTRAL, Deflection.NEUTRAL)
# The aileron on the side that the control is turned to goes up, the other one down.
AILERONS: Final = {
    Roll.LEFT: Ailerons(Deflection.UP, Deflection.DOWN),
    Roll.CENTRE: AILERONS_NEUTRAL,
    Roll.RIGHT: Ailerons(Deflection.DOWN, Deflection.UP),
}
ELEVATOR: Final = {
    Pitch.BACK: Deflection.UP,
    Pitch.NEUTRAL: Deflection.NEUTRAL,
    Pitch.FORWARD: Deflection.DOWN,
}


def yoke_for(quarter: Quarter, side: Roll | None, gear: Gear) -> Yoke:
    """Turned towards a wind from ahead or abeam and away from one behind; forward from behind."""
    ahead = quarter in FROM_AHEAD
    if side is None or quarter in _STRAIGHT:
        roll = Roll.CENTRE
    else:
        roll = side if ahead else _OPPOSITE[side]
    if not ahead:
        return Yoke(roll, Pitch.FORWARD)
    return Yoke(roll, Pitch.BACK if gear is Gear.TAILWHEEL else Pitch.NEUTRAL)


def quarter_of(angle_deg: float) -> tuple[Quarter, Roll | None]:
    """Quarter and side of a wind clockwise from the nose; the side is None straight on.

    Within 15° of the nose or tail counts as straight, within 15° of a wingtip as square across.
    """
    _, quarter, side = EIGHTHS[eighth_of(angle_deg)]
    return quarter, side


def eighth_of(angle_deg: float) -> int:
    """Row of `EIGHTHS`; the edges belong to the nose, the tail and the wingtips."""
    angle = angle_deg % 360
    for row in (0, 2, 4, 6):
        off = abs((angle - EIGHTHS[row][0] + 180) % 360 - 180)
        # Sums of decimal degrees miss the edge by less than any wind vane.
        if off <= STRAIGHT_WITHIN_DEG + 1e-9:
            return row
    return 1 + 2 * int(angle // 90)


def positions_in(angle: float | None, row: int, wind: Wind, gear: Gear) -> ControlPositions:
    """The positions for one eighth, without alternatives and notes."""
    _, quarter, side = EIGHTHS[row]
    light = wind.strongest <= LIGHT_UP_TO and gear is Gear.NOSEWHEEL
    yoke = yoke_for(quarter, side, gear)
    return ControlPositions(
        RelativeWind(angle, wind.speed, wind.gust, Quarter.LIGHT if light else quarter),
        AILERONS[yoke.roll],
        ELEVATOR[yoke.pitch],
        yoke,
        most_critical=quarter is Quarter.QUARTERING_TAILWIND and not light,
    )


def air_over_the_aeroplane(
    angle_deg: float, speed: Knots, gust: Knots | None, taxi_speed: Knots
) -> RelativeWind:
    """Wind and own motion as one airflow: own motion adds from ahead, both are vectors."""
    along = speed * cos(radians(angle_deg)) + taxi_speed
    across = speed * sin(radians(angle_deg))
    flow = hypot(along, across)
    if flow < 0.05:
        return RelativeWind(None, Knots(0.0), None, Quarter.LIGHT)
    angle = degrees(atan2(across, along)) % 360
    gust_flow = None
    if gust is not None:
        gust_flow = air_over_the_aeroplane(angle_deg, gust, None, taxi_speed).speed
    return RelativeWind(angle, Knots(flow), gust_flow, quarter_of(angle)[0])
