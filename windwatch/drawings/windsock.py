"""A windsock from above: it flies with the wind and stands out as the wind is strong."""

from __future__ import annotations

from typing import Final

from windwatch.drawings.svg import Markup, Point, circle, group, placed, polygon
from windwatch.drawings.theme import Theme
from windwatch.wind import Knots, Steady, Wind

# FAA AC 150/5345-27 (wind cones): fully extended in 15 kt; from memory.
STANDS_OUT_AT: Final = Knots(15.0)
LONG: Final = 42.0
LIMP: Final = 12.0


def windsock(wind: Wind | None, mast: Point, theme: Theme) -> Markup:
    """The mast and, where a direction was reported, the sock that flies from it.

    Without a direction there is no sock: a limp one would say calm.
    """
    parts = [circle(mast, 4, fill=theme.paper, stroke=theme.ink, stroke_width=1.6)]
    if wind is not None and isinstance(wind.direction, Steady):
        parts = [*sock(mast, wind.direction.wind_from + 180, wind.speed, theme), *parts]
        return group(parts, data_part="windsock")
    return Markup("")


def sock(mast: Point, bearing_deg: float, speed: Knots, theme: Theme) -> list[Markup]:
    """The striped cone, as long from above as the wind lifts it."""
    length = LIMP + (LONG - LIMP) * min(1.0, speed / STANDS_OUT_AT)
    parts = []
    for stripe in range(5):
        near, far = length * stripe / 5, length * (stripe + 1) / 5
        wide, thin = 7.5 - 3.5 * stripe / 5, 7.5 - 3.5 * (stripe + 1) / 5
        parts.append(
            polygon(
                placed(((-wide, near), (wide, near), (thin, far), (-thin, far)), mast, bearing_deg),
                fill=theme.paper if stripe % 2 else theme.over,
                stroke=theme.over,
                stroke_width=1,
                data_part="stripe",
            )
        )
    return parts
