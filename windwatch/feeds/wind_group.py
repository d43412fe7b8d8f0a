"""Writing a measured wind in the form of a report.

Numbers become whole knots and tens of degrees, as a station codes them.
"""

from __future__ import annotations

from datetime import datetime
from math import floor
from typing import Final

from windwatch.feeds.samples import Reduced

# Exact by definition of the international nautical mile (1852 m) and mile (1609.344 m).
KNOTS_PER: Final = {
    "kt": 1.0,
    "m/s": 3600 / 1852,
    "km/h": 1 / 1.852,
    "mph": 1609.344 / 1852,
}


def half_up(value: float) -> int:
    """Round to the nearest whole number, a half upwards."""
    return floor(value + 0.5)


def tens(direction_true: float) -> str:
    """Write a direction in tens of degrees, north as 360."""
    return f"{half_up(direction_true / 10) * 10 % 360 or 360:03d}"


def wind_group(
    wind_from_true: float | None,
    speed_kt: float | None,
    gust_kt: float | None = None,
    *,
    variable: bool = False,
    sector_true: tuple[float, float] | None = None,
) -> str:
    """Write a wind group, with its sector.

    Parameters
    ----------
    wind_from_true : float or None
        Where it comes from; None: not known, or variable. [°T]
    speed_kt, gust_kt : float or None
        None for the speed: nothing is known, which is never calm. [kt]

    Returns
    -------
    str
        ``22015G25KT 190V260``, ``VRB03KT``, ``00000KT``, ``///10KT`` or ``/////KT``.

    Examples
    --------
    >>> wind_group(223.0, 14.6, 25.2)
    '22015G25KT'
    >>> wind_group(None, None)
    '/////KT'
    """
    if speed_kt is None:
        # A peak without a mean is still a wind that blew: told, direction unknown.
        return "/////KT" if gust_kt is None else f"///{half_up(gust_kt):02d}KT"
    speed = half_up(speed_kt)
    gust = half_up(gust_kt) if gust_kt is not None and half_up(gust_kt) > speed else 0
    if speed == 0 and gust == 0:
        return "00000KT"
    direction = "VRB" if variable else "///" if wind_from_true is None else tens(wind_from_true)
    # A mean below half a knot with a gust: 000 would say calm.
    group = f"{direction}{max(speed, 1):02d}{f'G{gust:02d}' if gust > 1 else ''}KT"
    if sector_true is None:
        return group
    start, end = (tens(edge) for edge in sector_true)
    return f"{group} {start}V{end}" if start != end else group


def wind_report(station: str, observed_at: datetime, group: str) -> str:
    """Write a report that holds nothing but a wind."""
    return f"METAR {station} {observed_at:%d%H%M}Z AUTO {group}"


def reduced_group(reduced: Reduced) -> str:
    """Write what was made of samples."""
    return wind_group(
        reduced.wind_from_true,
        reduced.speed_kt,
        reduced.gust_kt,
        variable=reduced.variable,
        sector_true=reduced.sector_true,
    )
