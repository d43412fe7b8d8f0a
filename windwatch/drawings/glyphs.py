"""Small pictures for tables and lines of text: an aeroplane, a wind."""

from __future__ import annotations

from typing import Final

from windwatch.drawings.aeroplane import at_rest
from windwatch.drawings.arrow import arrow, calm_dot, unknown_wind, variable_ring
from windwatch.drawings.control_card import Craft
from windwatch.drawings.svg import Drawing, Markup, Point, document
from windwatch.drawings.theme import Theme
from windwatch.drawings.wind_words import wind_sentence
from windwatch.wind import Calm, Missing, Steady, Variable, Wind

_SIZE: Final = 48.0


def craft_glyph(craft: Craft, theme: Theme, size: float = _SIZE) -> Drawing:
    """An aeroplane from above: gear and wing told apart, controls neutral."""
    middle = Point(size / 2, size * 0.46)
    drawn = at_rest(craft.gear, craft.wing, middle, size / 196, theme)
    return document("craft", size, size, craft.words, f"Aeroplane, {craft.words}", [drawn])


def wind_glyph(wind: Wind | None, theme: Theme, unit: str = "kt", size: float = _SIZE) -> Drawing:
    """A wind without its speed: an arrow flying with it; ring, dot or unknown shape."""
    drawn = _wind(wind, Point(size / 2, size / 2), size, theme)
    return document("wind", size, size, "Wind, north up", wind_sentence(wind, unit) + ".", [drawn])


def _wind(wind: Wind | None, middle: Point, size: float, theme: Theme) -> Markup:
    direction = None if wind is None else wind.direction
    match direction:
        case Steady(wind_from):
            return arrow(middle, wind_from + 180, 44, None, theme, size / _SIZE)
        case Variable():
            return variable_ring(middle, size * 0.34, theme)
        case Calm() if wind is not None and wind.strongest <= 0:
            return calm_dot(middle, theme)
        case None | Calm() | Missing():
            return unknown_wind(middle, size * 0.7, theme)
