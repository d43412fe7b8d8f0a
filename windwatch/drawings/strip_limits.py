"""The limits on the wind strip: a line for each value, and names that keep apart."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from windwatch.airmanship.conversions import speed_figure
from windwatch.drawings.strip_facts import StripLimit
from windwatch.drawings.svg import Markup, Point, group, label, line, polyline, shortened, width_of
from windwatch.drawings.theme import Theme

SMALL: Final = 14.0
APART: Final = 17.0  # between two names
_NAME_AT: Final = 22.0  # from the left edge of the plot; a leader runs up to it
_BEFORE: Final = 3.0


def by_value(limits: Sequence[StripLimit]) -> list[StripLimit]:
    """One line for each value, the highest first, with all whose it is."""
    names: dict[float, list[str]] = {}
    for limit in limits:
        names.setdefault(limit.value, []).append(limit.label)
    return [
        StripLimit(limit.value, ", ".join(dict.fromkeys(names[limit.value])))
        for limit in sorted({one.value: one for one in limits}.values(), reverse=True)
    ]


def limit_lines(
    limits: Sequence[StripLimit],
    height: Callable[[float], float],
    left: float,
    right: float,
    theme: Theme,
) -> list[Markup]:
    """The lines themselves, below the wind."""
    return [
        line(
            Point(left, height(limit.value)),
            Point(right, height(limit.value)),
            theme.over,
            1.6,
            stroke_dasharray="10 4",
            data_part="limit",
        )
        for limit in by_value(limits)
    ]


def limit_names(
    limits: Sequence[StripLimit],
    height: Callable[[float], float],
    left: float,
    right: float,
    between: tuple[float, float],
    theme: Theme,
    unit: str,
) -> list[Markup]:
    """Names upon the wind, so that they can be read; a leader runs from each to its line.

    Parameters
    ----------
    height : callable
        Where a speed lies. [kt] to units of the drawing
    between : (float, float)
        The highest and the lowest place for the middle of a name.
    """
    told = by_value(limits)
    lines = [height(limit.value) for limit in told]
    parts = []
    for limit, at, middle in zip(told, lines, spread(lines, APART, between), strict=True):
        figure = f" {speed_figure(limit.value, unit)} {unit}"
        room = right - left - _NAME_AT - width_of(figure, SMALL) - 4
        # The figure is never cut off.
        said = f"{shortened(limit.label, SMALL, room)}{figure}"
        corner = Point(left + _NAME_AT, middle + SMALL * 0.36)
        way = (
            Point(left, at),
            Point(left + 6, at),
            Point(corner.x - 2 * _BEFORE, middle),
            Point(corner.x - _BEFORE, middle),
        )
        parts.append(
            group(
                [
                    polyline(way, theme.paper, 4),
                    polyline(way, theme.over, 1.4, data_part="limit-leader"),
                    label(said, corner, SMALL, theme.over, halo=theme.paper),
                ],
                data_limit=f"{limit.value:g}",
            )
        )
    return parts


def spread(wanted: Sequence[float], apart: float, between: tuple[float, float]) -> list[float]:
    """Places as near as can be to those wanted, in the same order and apart from each other.

    Where there is not room for all, they run on beyond the lower end.

    Parameters
    ----------
    wanted : sequence of float
        In rising order.

    Examples
    --------
    >>> spread([10, 12, 60], 10, (0, 100))
    [6.0, 16.0, 60.0]
    """
    # Less the room that those before take, order alone is asked for: neighbours that stand too
    # close share the mean of what they want.
    bundles: list[list[float]] = []
    for place, want in enumerate(wanted):
        bundles.append([want - place * apart])
        while len(bundles) > 1 and _mean(bundles[-2]) > _mean(bundles[-1]):
            last = bundles.pop()
            bundles[-1] += last
    high, low = between
    low = max(high, low - (len(wanted) - 1) * apart)
    evened = [min(max(_mean(one), high), low) for one in bundles for _ in one]
    return [place * apart + base for place, base in enumerate(evened)]


def _mean(values: list[float]) -> float:
    return sum(values) / len(values)
