"""Wind along and across a heading, nominal and worst over the reported sector.

Called thousands of times a round: plain arithmetic, no objects but the answer.
"""

from __future__ import annotations

from math import cos, floor, radians, sin
from typing import Final, NamedTuple

from windwatch.wind import Calm, DegreesTrue, Knots, Sector, Steady, Wind

# Sines of round angles miss their half by about 1e-16 of the speed (15 kt at 30° gives
# 7.499999999999999), and so do decimals that binary cannot hold.
_HALF_AND_A_HAIR: Final = 0.5 + 1e-7


def round_half_up_tenth(figure: float) -> float:
    """Round a figure to 0.1, halves away from zero, as a person would.

    Every figure is rounded so before it is compared with a limit or shown; what is shown can
    then never contradict the level. Both signs round alike, so a wind from the left gives the
    figure of the same wind from the right.

    Parameters
    ----------
    figure : float
        Any figure, most often a speed. [kt]

    Returns
    -------
    float
        The nearest tenth; never -0.0.

    Examples
    --------
    >>> round_half_up_tenth(12.25), round_half_up_tenth(-12.25), round_half_up_tenth(0.15)
    (12.3, -12.3, 0.2)
    """
    if figure < 0:
        tenths = floor(_HALF_AND_A_HAIR - figure * 10)
        return -tenths / 10 if tenths else 0.0
    return floor(figure * 10 + _HALF_AND_A_HAIR) / 10


class Components(NamedTuple):
    """A wind resolved along and across a heading.

    Attributes
    ----------
    headwind : Knots
        Negative for a tailwind. [kt]
    crosswind : Knots
        Positive from the right. [kt]
    """

    headwind: Knots
    crosswind: Knots

    @property
    def tailwind(self) -> Knots:
        """The wind from behind, 0 in a headwind, in knots."""
        return Knots(max(0.0, -self.headwind))


STILL: Final = Components(Knots(0.0), Knots(0.0))


class WindOnRunway(NamedTuple):
    """What a wind does on one heading.

    The worst figures count the nominal direction and the whole sector, its interior included,
    and never lie below the nominal ones. Where the direction is unknown there is no nominal
    figure, and the whole speed counts as crosswind and as tailwind.

    Attributes
    ----------
    mean, gust : Components or None
        Nominal, from the reported direction; `gust` is None where no gust was reported. [kt]
    worst_crosswind, worst_tailwind : Knots
        At gust speed where a gust was reported, else at mean speed; never negative. [kt]
    worst_mean_crosswind, worst_mean_tailwind : Knots
        At mean speed; never negative. [kt]
    """

    mean: Components | None
    gust: Components | None
    worst_crosswind: Knots
    worst_tailwind: Knots
    worst_mean_crosswind: Knots
    worst_mean_tailwind: Knots


def components(wind_from: DegreesTrue, speed: Knots, heading: DegreesTrue) -> Components:
    """Resolve a wind along and across a heading.

    Parameters
    ----------
    wind_from : DegreesTrue
        Direction the wind blows from. [°T]
    speed : Knots
        Mean speed, or the gust where the gust is judged. [kt]
    heading : DegreesTrue
        Heading flown on landing or taxied, true and not magnetic. [°T]

    Returns
    -------
    Components
        Headwind, negative for a tailwind; crosswind, positive from the right. [kt]

    Raises
    ------
    ValueError
        If `speed` is negative or no number.

    References
    ----------
    .. [1] FAA, Pilot's Handbook of Aeronautical Knowledge, FAA-H-8083-25, ch. 11.

    Examples
    --------
    >>> found = components(DegreesTrue(220), Knots(30), DegreesTrue(180))
    >>> round(found.headwind, 2), round(found.crosswind, 2)
    (22.98, 19.28)
    """
    if not speed >= 0:
        raise ValueError(f"a wind speed is 0 kt or more, not {speed}")
    angle = radians(wind_from - heading)
    return Components(Knots(speed * cos(angle)), Knots(speed * sin(angle)))


def wind_on_runway(wind: Wind, heading: DegreesTrue) -> WindOnRunway:
    """Resolve a reported wind on a heading, with its worst over gust and sector.

    Parameters
    ----------
    wind : Wind
        As reported. A wind that was not reported has no figures and must not come here.
    heading : DegreesTrue
        Heading flown on landing. [°T]

    Returns
    -------
    WindOnRunway
        Nominal and worst figures, unrounded. [kt]

    Raises
    ------
    ValueError
        If the speed is negative or no number.

    Notes
    -----
    A calm wind is 0. Variable and missing directions count in full, for the wind may come
    straight across and straight from behind. A sector runs clockwise from its first to its
    second direction; equal ends, and 000V360 as automatic stations send it, are the whole circle.
    """
    direction, speed, gust, sector, _, _ = wind
    if not speed >= 0:
        raise ValueError(f"a wind speed is 0 kt or more, not {speed}")
    strongest = speed if gust is None or gust < speed else gust
    if isinstance(direction, Steady):
        angle = radians(direction[0] - heading)
        along, across = cos(angle), sin(angle)
        if sector is None:
            most_across, most_behind = abs(across), -along if along < 0 else 0.0
        else:
            most_across, most_behind = _worst_shares(along, across, sector, heading)
        return WindOnRunway(
            Components(Knots(speed * along), Knots(speed * across)),
            None if gust is None else Components(Knots(gust * along), Knots(gust * across)),
            Knots(strongest * most_across),
            Knots(strongest * most_behind),
            Knots(speed * most_across),
            Knots(speed * most_behind),
        )
    nominal = STILL if isinstance(direction, Calm) else None
    # A gust out of a calm has no direction either, so the whole of it counts.
    return WindOnRunway(nominal, None, strongest, strongest, speed, speed)


def _worst_shares(
    along: float, across: float, sector: Sector, heading: DegreesTrue
) -> tuple[float, float]:
    """Largest shares of the speed across and from behind, over a sector and the nominal wind."""
    first, second = sector
    start = (first - heading) % 360
    width = (second - first) % 360 or 360.0
    start_angle, end_angle = radians(start), radians(start + width)
    if (90 - start) % 360 <= width or (270 - start) % 360 <= width:
        most_across = 1.0  # the arc holds a wind square across
    else:
        most_across = max(abs(across), abs(sin(start_angle)), abs(sin(end_angle)))
    if (180 - start) % 360 <= width:
        most_behind = 1.0  # the arc holds a wind straight from behind
    else:
        most_behind = max(0.0, -along, -cos(start_angle), -cos(end_angle))
    return most_across, most_behind
