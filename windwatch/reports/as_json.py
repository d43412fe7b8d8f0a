"""A wind in the JSON form that commands and webhooks share."""

from __future__ import annotations

from typing import Any, assert_never

from windwatch.wind import Calm, Missing, Steady, Variable, Wind


def wind_as_json(wind: Wind | None) -> dict[str, Any] | None:
    """Return a wind as plain JSON values; None where no wind was reported.

    Parameters
    ----------
    wind : Wind or None
        As decoded; speeds stay unrounded. [kt]

    Returns
    -------
    dict or None
        ``direction_true_deg`` is 0 when calm, and null when variable or not reported; those
        two are told apart by ``variable``.
    """
    if wind is None:
        return None
    direction: float | None
    match wind.direction:
        case Calm():
            direction = 0
        case Steady(wind_from):
            direction = _whole(wind_from)
        case Variable() | Missing():
            direction = None
        case _:
            assert_never(wind.direction)
    return {
        "direction_true_deg": direction,
        "variable": isinstance(wind.direction, Variable),
        "speed_kt": _whole(wind.speed),
        "gust_kt": None if wind.gust is None else _whole(wind.gust),
        "sector": None
        if wind.sector is None
        else [_whole(wind.sector.from_true), _whole(wind.sector.to_true)],
        "speed_at_least": wind.speed_at_least,
        "gust_at_least": wind.gust_at_least,
        "calm": isinstance(wind.direction, Calm),
    }


def _whole(figure: float) -> float:
    """Whole numbers without an empty decimal, others unrounded."""
    return int(figure) if float(figure).is_integer() else float(figure)
