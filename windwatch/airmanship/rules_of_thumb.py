"""Questions that training asks about wind and runway: limits turned round, and estimates.

Nothing here sets a level; `windwatch.airmanship.components` does that. A largest wind must be
shown rounded down and a component rounded up, if whole knots are shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, inf, radians, sin
from typing import Final

from windwatch.airmanship.components import components, round_half_up_tenth
from windwatch.wind import DegreesTrue, Knots

# 14 CFR 23.233(a) before amendment 23-64; Airplane Flying Handbook FAA-H-8083-3C, ch. 9:
# the 90° component shown safe is at least this share of the stalling speed VS0.
SHARE_OF_VS0: Final = 0.2
# A sine of 180° is not quite 0 in binary, and a limit divided by it would look like a figure.
_NOTHING: Final = 1e-12


def largest_wind_for_crosswind(limit: Knots, angle_off_deg: float) -> Knots:
    """Largest wind whose crosswind stays at the limit: ``limit / |sin a|``.

    Parameters
    ----------
    limit : Knots
        Crosswind limit. [kt]
    angle_off_deg : float
        Between the wind and the runway heading, either side. [°]

    Returns
    -------
    Knots
        Infinite for a wind straight along the runway. [kt]
    """
    return _limit_over_share(limit, abs(sin(radians(angle_off_deg))))


def largest_wind_for_tailwind(limit: Knots, angle_off_deg: float) -> Knots:
    """Largest wind whose tailwind stays at the limit; infinite where there is none, in knots."""
    return _limit_over_share(limit, -cos(radians(angle_off_deg)))


def least_wind_for_headwind(headwind: Knots, angle_off_deg: float) -> Knots:
    """Least wind that gives a headwind; infinite where it never does, in knots."""
    return _limit_over_share(headwind, cos(radians(angle_off_deg)))


def _limit_over_share(limit: Knots, share: float) -> Knots:
    return Knots(limit / share if share > _NOTHING else inf)


def best_end(
    wind_from: DegreesTrue, speed: Knots, headings: Sequence[DegreesTrue], limit: Knots
) -> int | None:
    """Place in `headings` of the end with the most headwind among those within the limit.

    The other end of a runway has the same crosswind, so the crosswind alone cannot choose.

    Returns
    -------
    int or None
        None where every crosswind is over the limit.
    """
    found = [components(wind_from, speed, heading) for heading in headings]
    within = [
        place
        for place, wind in enumerate(found)
        if round_half_up_tenth(abs(wind.crosswind)) <= limit
    ]
    return max(within, key=lambda place: found[place].headwind, default=None)


def clock_code_crosswind(speed: Knots, angle_off_deg: float) -> Knots:
    """Crosswind by the clock code: a quarter of the wind at 15°, all of it from 60°.

    An estimate for display, up to 0.9 % of the speed too low below 30°, in knots.

    References
    ----------
    .. [1] UK flying-school note on the clock code.
    """
    off = abs((angle_off_deg + 180) % 360 - 180)
    off = min(off, 180 - off)
    return Knots(speed * min(off, 60) / 60)


def demonstrated_crosswind_at_least(vs0: Knots) -> Knots:
    """Crosswind that certification must at least have shown safe: 0.2 VS0, in knots."""
    return Knots(SHARE_OF_VS0 * vs0)


def approach_speed_in_gusts(normal: Knots, gust_factor: Knots) -> Knots:
    """Normal approach speed plus half the gust factor (gust minus mean), in knots.

    It says how fast to fly, and nothing about which wind a crosswind limit means.

    References
    ----------
    .. [1] FAA, Airplane Flying Handbook, turbulent-air approach and landing.
    """
    return Knots(normal + gust_factor / 2)
