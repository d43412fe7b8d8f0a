"""Wind speeds in other units, and the Beaufort scale."""

from __future__ import annotations

from math import floor
from typing import Final, NamedTuple

from windwatch.wind import PER_KNOT, Knots

# Decimals that people read: a whole km/h or mph is finer than the whole knot of a report.
_DECIMALS: Final = {"kt": 1, "m/s": 1, "km/h": 0, "mph": 0}
_MOST_DECIMALS: Final = 6
# A hair more than half: what is half in the report's unit may arrive as 0.4999999 in another.
_HALF_AND_A_HAIR: Final = 0.5 + 1e-9


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


def speed_figure(speed: Knots, unit: str = "kt") -> str:
    """A speed as people read it, in their unit, rounded half up and without an empty decimal.

    To 0.1 in knots and metres per second, to whole figures in ``km/h`` and ``mph``.

    Parameters
    ----------
    speed : Knots
        [kt]
    unit : str
        ``kt``, ``m/s``, ``km/h`` or ``mph``.

    Raises
    ------
    ValueError
        If the unit is none of these.

    Examples
    --------
    >>> speed_figure(Knots(41.0)), speed_figure(Knots(41.0), "km/h"), speed_figure(Knots(41), "m/s")
    ('41', '76', '21.1')
    """
    return _written(from_knots(speed, unit), _decimals(unit))


def beside_limits(figure: Knots, limits: tuple[Knots, ...], unit: str = "kt") -> tuple[str, ...]:
    """A figure and the limits that it is held against, in one unit, as people read them.

    What is judged in knots must not look otherwise in another unit: as many decimals are written
    as keep the figure over, at or below each limit, as it is.

    Parameters
    ----------
    figure : Knots
        As judged. [kt]
    limits : tuple of Knots
        [kt]
    unit : str
        ``kt``, ``m/s``, ``km/h`` or ``mph``.

    Returns
    -------
    tuple of str
        The figure, then each limit.

    Raises
    ------
    ValueError
        If the unit is none of these.

    Examples
    --------
    >>> beside_limits(Knots(41.0), (Knots(22.0),), "km/h")
    ('76', '41')
    >>> beside_limits(Knots(15.1), (Knots(15.0),), "km/h")
    ('28', '27.8')
    >>> beside_limits(Knots(15.2), (Knots(15.1),), "m/s")
    ('7.82', '7.77')
    """
    speeds = [from_knots(speed, unit) for speed in (figure, *limits)]
    written: list[str] = []
    for places in range(_decimals(unit), _MOST_DECIMALS + 1):
        written = [_written(speed, places) for speed in speeds]
        shown = [float(each) for each in written]
        if all(
            _order(shown[0], at) == _order(figure, limit)
            for at, limit in zip(shown[1:], limits, strict=True)
        ):
            break
    return tuple(written)


def _order(one: float, other: float) -> int:
    """1: more; 0: the same; -1: less."""
    return (one > other) - (one < other)


def _decimals(unit: str) -> int:
    _per_knot(unit)
    return _DECIMALS[unit]


def _written(value: float, places: int) -> str:
    """Rounded half up to so many places, without empty ones."""
    scale: int = 10**places
    text = f"{floor(value * scale + _HALF_AND_A_HAIR) / scale:.{places}f}"
    return text.rstrip("0").rstrip(".") if places else text


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
