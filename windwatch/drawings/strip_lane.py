"""The lane of directions below the wind strip: the mean as dots, the sector as a band."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Final

from windwatch.drawings.levels import question_ring
from windwatch.drawings.strip_facts import Strip, shown_points
from windwatch.drawings.svg import Markup, Point, box, circle, group, label, line
from windwatch.drawings.theme import Theme
from windwatch.wind import Calm, Missing, Sector, Steady, Variable, Wind

LANE_HEIGHT: Final = 64.0
_SMALL: Final = 14.0
_LEFT: Final = 46.0
_RIGHT: Final = 14.0
_CARDINALS: Final = ((0, "N"), (90, ""), (180, "S"), (270, ""), (360, "N"))
_LIGHTER: Final = timedelta(minutes=12)
# Between two signs of one forecast that is no direction.
_APART: Final = 40.0


def direction_lane(
    strip: Strip, across: Callable[[datetime], float], top: float, width: float, theme: Theme
) -> Markup:
    """North at the foot and at the top, south in the middle; each report at its time.

    Variable fills the lane with a broken line, calm is a small ring at its foot, and a direction
    that was not reported is a question mark: none of them is a direction.
    """
    parts = []
    for degrees, name in _CARDINALS:
        y = _down(degrees, top)
        parts.append(line(Point(_LEFT, y), Point(width - _RIGHT, y), theme.hair, 1))
        if name:
            parts.append(label(name, Point(_LEFT - 6, y + 5), _SMALL, theme.quiet, "end"))
    points = [point for point in shown_points(strip) if point.wind is not None]
    for place, point in enumerate(points):
        following = points[place + 1].at if place + 1 < len(points) else point.at + _LIGHTER * 2
        half = min(9.0, max(1.5, (across(following) - across(point.at)) / 2))
        if point.wind is not None:
            parts.append(_one(point.wind, across(point.at), half, top, theme))
    for span in strip.forecast:
        if span.wind is None or span.to_at <= strip.now or span.from_at >= strip.end:
            continue
        left = across(max(span.from_at, strip.now))
        right = across(min(span.to_at, strip.end))
        if not span.temporary:
            parts += _forecast(span.wind, left, right, top, theme)
    return group(parts, data_part="lane")


def _forecast(wind: Wind, left: float, right: float, top: float, theme: Theme) -> list[Markup]:
    """What prevails, lighter; variable as broken lines from side to side, calm as rings."""
    foot = top + LANE_HEIGHT
    places = [left + _APART * n for n in range(int((right - left) / _APART) + 1)]
    match wind.direction:
        case Steady(wind_from):
            y = _down(wind_from, top)
            return [line(Point(left, y), Point(right, y), theme.thin, 2.4)]
        case Variable():
            return [
                line(Point(x, top), Point(x, foot), theme.thin, 1.6, stroke_dasharray="7 4")
                for x in places
            ]
        case Calm() if wind.strongest <= 0:
            return [
                circle(Point(x, foot - 4), 3, fill=theme.paper, stroke=theme.thin, stroke_width=1.6)
                for x in places
            ]
        case _:
            return []


def _down(degrees: float, top: float) -> float:
    """North below and above, so that east is in the lower half and west in the upper."""
    return top + LANE_HEIGHT * (1 - degrees / 360)


def _one(wind: Wind, x: float, half: float, top: float, theme: Theme) -> Markup:
    parts = []
    if wind.sector is not None:
        parts += _band(wind.sector, x, half, top, theme)
    match wind.direction:
        case Steady(wind_from):
            parts.append(circle(Point(x, _down(wind_from, top)), 2.8, fill=theme.wind))
        case Variable():
            parts.append(
                line(
                    Point(x, top),
                    Point(x, top + LANE_HEIGHT),
                    theme.wind,
                    2.4,
                    stroke_dasharray="7 4",
                )
            )
        case Calm() if wind.strongest <= 0:
            at = Point(x, top + LANE_HEIGHT - 4)
            parts.append(circle(at, 3, fill=theme.paper, stroke=theme.wind, stroke_width=1.6))
        case Calm() | Missing():
            at = Point(x, top + LANE_HEIGHT / 2)
            parts += question_ring(at, 13, theme.unknown, theme)
    return group(parts)


def _band(sector: Sector, x: float, half: float, top: float, theme: Theme) -> list[Markup]:
    """The sector as a bar; one through north is in two pieces."""
    first, second = sector.from_true % 360, sector.to_true % 360
    spans = [(first, second)] if first < second else [(first, 360.0), (0.0, second)]
    return [
        box(
            Point(x - half, _down(high, top)),
            2 * half,
            _down(low, top) - _down(high, top),
            fill=theme.pale,
            stroke=theme.wind,
            stroke_width=0.9,
            data_part="sector",
        )
        for low, high in spans
        if high > low
    ]
