"""The wind as a picture: an arrow that flies with it, its tail where the wind comes from.

Calm, variable and not reported are three pictures, none of which can be taken for another.
"""

from __future__ import annotations

from typing import Final

from windwatch.drawings.levels import question_ring
from windwatch.drawings.svg import (
    Markup,
    Point,
    arc,
    circle,
    group,
    path,
    placed,
    polygon,
    towards,
    wedge,
)
from windwatch.drawings.theme import Theme
from windwatch.wind import Calm, Knots, Missing, Steady, Variable, Wind

# An arrow of this speed is as long as there is room; the figure beside it says how strong.
LONGEST_AT: Final = Knots(40.0)
SHORTEST: Final = 34.0
HEAD: Final = 24.0
GUST_SHOWS_BY: Final = 26.0
GUST_OUTLINE: Final = (9.0, 20.0, 31.0)  # shaft, barb, head
MEAN_OUTLINE: Final = (4.4, 12.0, HEAD)


def wind_on_the_field(wind: Wind | None, centre: Point, radius: float, theme: Theme) -> Markup:
    """The wind across a round field: arrow and gust; broken ring, dot or unknown shape.

    Parameters
    ----------
    wind : Wind or None
        None: not reported, drawn as unknown.
    centre : Point
        Of the field.
    radius : float
        Room that the longest arrow takes on either side of the centre.
    """
    if wind is None:
        return unknown_wind(centre, 54, theme)
    match wind.direction:
        case Steady(wind_from):
            return _flying(wind, wind_from, centre, radius, theme)
        case Variable():
            return variable_ring(centre, radius * 0.5, theme)
        case Calm() if wind.strongest <= 0:
            return calm_dot(centre, theme)
        case Calm() | Missing():
            return unknown_wind(centre, 54, theme)


def _flying(wind: Wind, wind_from: float, centre: Point, radius: float, theme: Theme) -> Markup:
    mean = length_for(wind.speed, radius)
    gust = None
    if wind.gust is not None and wind.gust > wind.speed:
        gust = max(length_for(wind.gust, radius), mean + GUST_SHOWS_BY)
        # The gust stays on the field, and so the mean gives way.
        gust = min(gust, 2 * radius)
        mean = min(mean, gust - GUST_SHOWS_BY)
    return arrow(centre, wind_from + 180, mean, gust, theme)


def length_for(speed: Knots, radius: float) -> float:
    """Length of an arrow, in proportion to the speed, within what can be seen and has room."""
    return max(SHORTEST, 2 * radius * min(1.0, speed / LONGEST_AT))


def arrow(
    centre: Point,
    bearing_deg: float,
    mean: float,
    gust: float | None,
    theme: Theme,
    scale: float = 1.0,
) -> Markup:
    """An arrow pointing to a bearing; the gust as a longer one drawn round it.

    The first point of each outline is its tip.
    """
    parts = []
    if gust is not None:
        outer = placed(outline(gust, *GUST_OUTLINE), centre, bearing_deg, scale)
        parts += [
            polygon(outer, fill="none", stroke=theme.paper, stroke_width=6 * scale),
            polygon(
                outer,
                fill=theme.paper,
                stroke=theme.wind,
                stroke_width=2.2 * scale,
                stroke_linejoin="round",
                data_part="gust",
            ),
        ]
    inner = placed(outline(mean, *MEAN_OUTLINE), centre, bearing_deg, scale)
    parts += [
        polygon(
            inner,
            fill=theme.wind,
            stroke=theme.paper,
            stroke_width=2 * scale,
            stroke_linejoin="round",
            paint_order="stroke",
            data_part="mean",
        )
    ]
    return group(parts, data_wind="steady")


def outline(
    length: float, shaft: float, barb: float, head: float
) -> tuple[tuple[float, float], ...]:
    """An arrow about its middle, ahead, with a notch in its tail."""
    tip, tail = length / 2, -length / 2
    neck = tip - min(head, length * 0.7)
    notch = tail + shaft * 0.9
    return (
        (0, tip),
        (barb, neck),
        (shaft, neck),
        (shaft, tail),
        (0, notch),
        (-shaft, tail),
        (-shaft, neck),
        (-barb, neck),
    )


def sector_wedge(wind: Wind | None, centre: Point, radius: float, theme: Theme) -> Markup:
    """The reported sector as a pale slice on the side that the wind comes from."""
    if wind is None or wind.sector is None:
        return Markup("")
    first, second = wind.sector
    return path(
        wedge(centre, radius, first, second),
        fill=theme.pale,
        stroke=theme.wind,
        stroke_width=1.2,
        data_part="sector",
    )


def variable_ring(centre: Point, radius: float, theme: Theme) -> Markup:
    """A broken ring of three arcs that turn: from anywhere."""
    parts = []
    for start in (10, 130, 250):
        end = start + 82
        around = arc(centre, radius, start, end)
        parts.append(path(around, fill="none", stroke=theme.paper, stroke_width=10))
        parts.append(path(around, fill="none", stroke=theme.wind, stroke_width=5))
        head = placed(((0, 13), (9, -5), (-9, -5)), towards(centre, end, radius), end + 90)
        parts.append(polygon(head, fill=theme.wind, stroke=theme.paper, stroke_width=1.5))
    return group(parts, data_wind="variable")


def calm_dot(centre: Point, theme: Theme) -> Markup:
    """A dot: no wind worth a direction."""
    return group(
        [
            circle(centre, 11, fill=theme.paper),
            circle(centre, 8, fill=theme.wind),
        ],
        data_wind="calm",
    )


def unknown_wind(centre: Point, size: float, theme: Theme) -> Markup:
    """The unknown shape: nobody knows from where, or whether it blows at all."""
    return group(
        [
            circle(centre, size / 2 + 4, fill=theme.paper),
            *question_ring(centre, size, theme.unknown, theme),
        ],
        data_wind="unknown",
    )
