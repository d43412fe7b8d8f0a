"""Wind speeds in other units, and the Beaufort scale."""

from __future__ import annotations

from typing import Final, NamedTuple

from windwatch.wind import Knots

# Units in one knot. Exact: the international nautical mile is 1852 m, the mile 1609.344 m.
PER_KNOT: Final = {
    "kt": 1.0,
    "km/h": 1.852,
    "m/s": 1852 / 3600,
    "mph": 1852 / 1609.344,
}


def to_knots(value: float, unit: str) -> Knots:
    """Speed in knots of a speed in ``kt``, ``km/h``, ``m/s`` or ``mph``.

    Raises
    ------
    ValueError
        If the unit is none of these.
    """
    return Knots(value / _per_knot(unit))


def from_knots(speed: Knots, unit: str) -> float:
    """Speed in ``kt``, ``km/h``, ``m/s`` or ``mph`` of a speed in knots.

    Raises
    ------
    ValueError
        If the unit is none of these.
    """
    return speed * _per_knot(unit)


def _per_knot(unit: str) -> float:
    try:
        return PER_KNOT[unit]
    except KeyError:
        raise ValueError(f"unit {unit!r} is none of {', '.join(PER_KNOT)}") from None


class BeaufortNumber(NamedTuple):
    """One row of the Beaufort scale, at 10 m above open ground.

    Attributes
    ----------
    number : int
    up_to : float
        Highest whole knot of the row. [kt]
    name, on_land : str
        What it is called and what it does.
    """

    number: int
    up_to: float
    name: str
    on_land: str


# US National Weather Service table; AFMAN 15-111, Table 7.2.
BEAUFORT: Final = (
    BeaufortNumber(0, 0, "calm", "smoke rises straight up"),
    BeaufortNumber(1, 3, "light air", "smoke drifts, vanes stand still"),
    BeaufortNumber(2, 6, "light breeze", "felt on the face, leaves rustle"),
    BeaufortNumber(3, 10, "gentle breeze", "twigs move, a light flag stands out"),
    BeaufortNumber(4, 16, "moderate breeze", "dust and loose paper fly, small branches move"),
    BeaufortNumber(5, 21, "fresh breeze", "small trees sway"),
    BeaufortNumber(6, 27, "strong breeze", "large branches move, wires whistle"),
    BeaufortNumber(7, 33, "near gale", "whole trees move, hard to walk"),
    BeaufortNumber(8, 40, "gale", "twigs break off"),
    BeaufortNumber(9, 47, "strong gale", "slight damage to buildings"),
    BeaufortNumber(10, 55, "storm", "trees are uprooted"),
    BeaufortNumber(11, 63, "violent storm", "widespread damage"),
    BeaufortNumber(12, float("inf"), "hurricane", "devastation"),
)


def beaufort(speed: Knots) -> BeaufortNumber:
    """Row of the Beaufort scale for a mean speed, rounded half up to whole knots.

    Raises
    ------
    ValueError
        If the speed is negative or no number.
    """
    if not speed >= 0:
        raise ValueError(f"a wind speed is 0 kt or more, not {speed}")
    # A hair more than half: 3.5 kt from metres per second may arrive as 3.4999999.
    whole = int(speed + 0.5 + 1e-9) if speed < BEAUFORT[-2].up_to + 1 else speed
    return next(row for row in BEAUFORT if whole <= row.up_to)
