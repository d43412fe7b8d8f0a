"""A wind in words, for the commands that show one."""

from __future__ import annotations

from typing import Final, assert_never

from windwatch.airmanship.components import round_half_up_tenth
from windwatch.wind import Calm, Knots, Missing, Steady, Variable, Wind

NOT_REPORTED: Final = "wind not reported, which is not calm"


def knots(speed: float) -> str:
    """A speed to 0.1 kt, without an empty decimal."""
    return f"{round_half_up_tenth(speed):.1f}".removesuffix(".0") + " kt"


def degrees(direction: float) -> str:
    """Three figures; north is 360."""
    return f"{round(direction) % 360 or 360:03d}"


def wind_in_words(wind: Wind | None, reference: str = "true") -> str:
    """The wind in one sentence: direction and its reference, mean, gust, sector."""
    if wind is None:
        return NOT_REPORTED
    speed = f"{'at least ' if wind.speed_at_least else ''}{knots(wind.speed)}"
    match wind.direction:
        case Calm():
            said = "calm"
        case Steady(wind_from):
            said = f"wind from {degrees(wind_from)} {reference}, {speed}"
        case Variable():
            said = f"wind variable, {speed}"
        case Missing():
            said = f"wind {speed}, direction not reported"
        case _:
            assert_never(wind.direction)
    if wind.gust is not None:
        said += f", gusts {'at least ' if wind.gust_at_least else ''}{knots(wind.gust)}"
    if wind.sector is not None:
        first, second = wind.sector
        said += f", varying clockwise from {degrees(first)} to {degrees(second)} {reference}"
    return said


def first_upper(text: str) -> str:
    """The first letter large, the rest untouched."""
    return text[:1].upper() + text[1:]


def side(crosswind: Knots) -> str:
    """Where a crosswind comes from: ``right``, ``left``; nothing where there is none to 0.1 kt."""
    if round_half_up_tenth(crosswind) == 0:
        return ""
    return "right" if crosswind > 0 else "left"
