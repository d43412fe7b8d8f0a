"""The wind in words, as the drawings and their text alternatives say it."""

from __future__ import annotations

from typing import assert_never

from windwatch.airmanship.conversions import speed_figure
from windwatch.wind import Calm, Missing, Steady, Variable, Wind


def degrees(direction: float) -> str:
    """Three figures; north is 360."""
    return f"{round(direction) % 360 or 360:03d}"


def mean_and_gust(wind: Wind, unit: str = "kt") -> str:
    """``18 kt, gust 27 kt``, each marked where it is a lower bound."""
    least = "at least " if wind.speed_at_least else ""
    said = f"{least}{speed_figure(wind.speed, unit)} {unit}"
    if wind.gust is not None:
        least = "at least " if wind.gust_at_least else ""
        said += f", gust {least}{speed_figure(wind.gust, unit)} {unit}"
    return said


def wind_line(wind: Wind | None, unit: str = "kt") -> str:
    """The wind without its sector: ``310° true, 18 kt, gust 27 kt``."""
    if wind is None:
        return "wind not reported"
    match wind.direction:
        case Calm():
            return "calm" if wind.strongest <= 0 else f"calm, {mean_and_gust(wind, unit)}"
        case Steady(wind_from):
            return f"{degrees(wind_from)}° true, {mean_and_gust(wind, unit)}"
        case Variable():
            return f"variable, {mean_and_gust(wind, unit)}"
        case Missing():
            return f"direction not reported, {mean_and_gust(wind, unit)}"
        case _:
            assert_never(wind.direction)


def sector_line(wind: Wind | None) -> str:
    """The reported sector, or nothing: ``varying 280° to 340° true``."""
    if wind is None or wind.sector is None:
        return ""
    first, second = wind.sector
    return f"varying {degrees(first)}° to {degrees(second)}° true"


def wind_sentence(wind: Wind | None, unit: str = "kt") -> str:
    """The wind in one sentence without its full stop."""
    if wind is None:
        return "Wind not reported, which is not calm"
    said = wind_line(wind, unit)
    said = f"wind {'from ' if isinstance(wind.direction, Steady) else ''}{said}"
    sector = sector_line(wind)
    said = f"{said}, {sector}" if sector else said
    return said[0].upper() + said[1:]
