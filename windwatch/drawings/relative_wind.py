"""The wind on the aeroplane: an arrow that blows on it, on no word, or signs of no direction."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import radians, sin
from typing import Final

from windwatch.airmanship.control_table import RelativeWind
from windwatch.drawings.arrow import (
    GUST_OUTLINE,
    MEAN_OUTLINE,
    arrow,
    calm_dot,
    outline,
    unknown_wind,
    variable_ring,
)
from windwatch.drawings.boxes import Box
from windwatch.drawings.svg import Markup, Point, group, placed, towards
from windwatch.drawings.theme import Theme

RING: Final = 164.0  # of a wind from anywhere
ARROW_AT: Final = 140.0  # from the middle of the aeroplane to that of the arrow
LENGTHS: Final = (56.0, 42.0, 70.0)  # of a mean alone; of a mean with its gust, and of the gust
SIZE: Final = 0.95
GAP: Final = 5.0  # between an arrow and a word
HALF_WIDTH: Final = 180.0  # of the paper round the aeroplane
SLIDES: Final = tuple(range(0, 72, 4))
FURTHER: Final = (0.0, 8.0, 16.0, 24.0)
WING_AHEAD: Final = 20.0


def blows(wind: RelativeWind) -> bool:
    """Whether it is not calm."""
    return wind.speed > 0 or wind.gust is not None


def room_for(wind: RelativeWind) -> tuple[float, float]:
    """Room ahead of the middle of the aeroplane and behind it, with its wind and its names."""
    if wind.angle_deg is None:
        return (108.0, 136.0) if not blows(wind) else (RING + 10, RING + 10)
    reach = towards(Point(0, 0), wind.angle_deg, ARROW_AT).y
    return max(82.0, 42 - reach), max(136.0, 42 + reach)


def relative_wind(
    wind: RelativeWind, middle: Point, scale: float, taken: Sequence[Box], theme: Theme
) -> Markup:
    """An arrow that blows on the aeroplane from where the wind comes.

    Parameters
    ----------
    taken : sequence of Box
        Where words stand, on which no arrow may lie.
    """
    if wind.angle_deg is None:
        if not blows(wind):
            return calm_dot(Point(middle.x - 128 * scale, middle.y - 96 * scale), theme)
        # From anywhere: round about the aeroplane.
        return group(
            [
                variable_ring(middle, RING * scale, theme),
                unknown_wind(
                    Point(middle.x - 84 * scale, middle.y - 84 * scale), 30 * scale, theme
                ),
            ]
        )
    mean, gust = LENGTHS[0], None
    if wind.gust is not None and wind.gust > wind.speed:
        _, mean, gust = LENGTHS
    size = SIZE * scale
    drawn = outline(mean, *MEAN_OUTLINE) if gust is None else outline(gust, *GUST_OUTLINE)
    bearing = wind.angle_deg + 180
    ahead, behind = room_for(wind)
    paper = Box(
        middle.x, middle.y + (behind - ahead) * scale / 2, 2 * HALF_WIDTH * scale,
        (ahead + behind) * scale,
    )  # fmt: skip
    for at in _places(wind.angle_deg, middle, scale):
        if _free(_along(placed(drawn, at, bearing, size)), taken, paper):
            break
    else:
        at = next(_places(wind.angle_deg, middle, scale))
    return arrow(at, bearing, mean, gust, theme, size)


def _places(angle: float, middle: Point, scale: float) -> Iterator[Point]:
    """Where the arrow may stand, the best first: it gives way ahead or aft, and outwards."""
    # A wind from abeam is drawn at the wing, which lies ahead of the middle.
    wing = towards(middle, 0, WING_AHEAD * scale * abs(sin(radians(angle))))
    ways = [
        (slide + out, out, way * slide) for out in FURTHER for slide in SLIDES for way in (-1, 1)
    ]
    for _, out, slide in sorted(ways):
        at = towards(wing, angle, (ARROW_AT + out) * scale)
        yield Point(at.x, at.y + slide * scale)


def _along(corners: Sequence[Point]) -> Iterator[Point]:
    """Points on the edges of a shape."""
    for one, other in zip(corners, [*corners[1:], corners[0]], strict=True):
        for share in range(6):
            part = share / 6
            yield Point(one.x + (other.x - one.x) * part, one.y + (other.y - one.y) * part)


def _free(edge: Iterator[Point], taken: Sequence[Box], paper: Box) -> bool:
    return all(
        _within(point, paper, -1) and not any(_within(point, box, GAP) for box in taken)
        for point in edge
    )


def _within(point: Point, box: Box, more: float) -> bool:
    return (
        abs(point.x - box.x) < box.width / 2 + more and abs(point.y - box.y) < box.height / 2 + more
    )
