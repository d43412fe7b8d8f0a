"""Figures and limits for the simple model: its own trigonometry, from design.md section 4."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from windwatch.fleet import (
    CROSSWIND,
    GUST_SPREAD,
    RUNWAY_QUANTITIES,
    TAILWIND,
    WIND,
    Aircraft,
    Fleet,
    Limit,
    Of,
    Runway,
    RunwayEnd,
)
from windwatch.wind import Calm, HeadingTrue, Steady, Wind

WITHIN, NEAR, OVER = 0, 1, 2


def tenth(figure: float) -> float:
    """Half up to 0.1 kt; a sine that ends in ...4999999999 is the half it stands for."""
    return math.floor(round(figure * 10, 6) + 0.5) / 10


@dataclass(frozen=True)
class Bounds:
    """One limit and everything that follows from it."""

    value: float
    near: float
    low: float
    near_ends: float
    worse_by: float
    of_mean: bool

    @staticmethod
    def of(limit: Limit) -> "Bounds":
        value, near = float(limit.value), limit.value * limit.near_at
        return Bounds(
            value,
            near,
            value - min(max(2.0, 0.05 * value), 0.2 * value),
            near - min(max(1.0, 0.05 * value), 0.2 * value),
            max(3.0, 0.2 * value),
            limit.of is Of.MEAN,
        )

    def level(self, figure: float) -> int:
        if above(figure, self.value):
            return OVER
        return NEAR if above(figure, self.near) else WITHIN


def above(figure: float, bound: float) -> bool:
    return figure > bound + 1e-9


@dataclass(frozen=True)
class Own:
    """What one report says of one subject, before anything is held."""

    level: int
    figure: float
    low: bool
    near_low: bool
    headwind: float = 0.0


def directions(wind: Wind, heading: float) -> list[float] | None:
    """Every direction to try; None: any."""
    if not isinstance(wind.direction, Steady):
        return None
    tried = [float(wind.direction.wind_from)]
    if wind.sector is not None:
        begin, end = wind.sector
        width = (end - begin) % 360
        tried += [begin + k for k in range(int(width) + 1)] + [float(end)]
        for square in (heading + 90, heading - 90, heading + 180, heading):
            if (square - begin) % 360 <= width:
                tried.append(square)
    return tried


@lru_cache(maxsize=4096)
def figures(wind: Wind, heading: float, *, mean: bool) -> Mapping[str, float]:
    """Worst of the sector for one runway end.

    The model folds all from the first report each time: the same winds come again and again.
    """
    speed = float(wind.speed if mean else wind.strongest)
    spread = 0.0 if wind.gust is None else max(0.0, wind.gust - wind.speed)
    if isinstance(wind.direction, Calm):
        return {CROSSWIND: 0.0, TAILWIND: 0.0, WIND: 0.0, GUST_SPREAD: 0.0}
    tried = directions(wind, heading)
    if tried is None:
        across = behind = speed
    else:
        turns = [math.radians(d - heading) for d in tried]
        across = max(abs(speed * math.sin(t)) for t in turns)
        behind = max(max(0.0, -speed * math.cos(t)) for t in turns)
    found = {CROSSWIND: across, TAILWIND: behind, WIND: speed, GUST_SPREAD: spread}
    return {name: tenth(figure) for name, figure in found.items()}


def runway_bounds(fleet: Fleet, craft: Aircraft, pilot: str, runway: Runway) -> dict[str, Bounds]:
    """The smallest limit that applies, per quantity."""
    limits = [*craft.limits, *runway.limits]
    if pilot:
        limits += fleet.pilot_limits[pilot].limits
    chosen: dict[str, Bounds] = {}
    for quantity in RUNWAY_QUANTITIES:
        here = [limit for limit in limits if limit.quantity == quantity]
        if here:
            chosen[quantity] = Bounds.of(min(here, key=lambda limit: limit.value))
    return chosen


def own_of_end(wind: Wind, end: RunwayEnd, bounds: dict[str, Bounds]) -> Own:
    assert isinstance(end.heading, HeadingTrue), "the model knows surveyed headings only"
    heading = float(end.heading.heading_true)
    level, share, worst, low, near_low = WITHIN, -1.0, 0.0, True, True
    for quantity, bound in bounds.items():
        figure = figures(wind, heading, mean=bound.of_mean)[quantity]
        level = max(level, bound.level(figure))
        low = low and not above(figure, bound.low)
        near_low = near_low and not above(figure, bound.near_ends)
        if figure / bound.value > share:
            share, worst = figure / bound.value, figure
    headwind = 0.0
    if isinstance(wind.direction, Steady):
        headwind = wind.strongest * math.cos(math.radians(wind.direction.wind_from - heading))
    return Own(level, worst, low, near_low, headwind)


def own_of_runway(wind: Wind, runway: Runway, bounds: dict[str, Bounds]) -> Own:
    """The better end's."""
    return min(
        (own_of_end(wind, end, bounds) for end in runway.ends),
        key=lambda own: (own.level, -own.headwind),
    )


def own_of_ground(figure: float, bound: Bounds) -> Own:
    return Own(
        bound.level(figure),
        figure,
        not above(figure, bound.low),
        not above(figure, bound.near_ends),
    )
