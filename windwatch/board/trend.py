"""The trend of the last three hours, in words: the first hour of them against the last.

Which difference counts is common practice, without a source.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from math import atan2, cos, degrees, radians, sin
from typing import Final

from windwatch.board.snapshot import Observation
from windwatch.notices import words
from windwatch.notices.words import Times
from windwatch.wind import Steady, Wind

OVER: Final = timedelta(hours=3)
AN_HOUR: Final = timedelta(hours=1)
# Mean speeds within so much of each other are one wind, and directions within so many degrees.
STEADY_KT: Final = 4.0
STEADY_DEG: Final = 20.0
# Below this a direction wanders about without meaning anything. [kt]
LIGHT_KT: Final = 4.0
TOO_FEW: Final = "too few reports in the last 3 h for a trend"


def trend_in_words(observations: Sequence[Observation], times: Times, now: datetime) -> str:
    """``rising: mean 8 kt three hours ago, 22 kt in the last hour; veering from 240 to 290 true``.

    Parameters
    ----------
    observations : sequence of Observation
        Oldest first.
    times : Times
    now : datetime
        The last three hours end here.
    """
    start = now - OVER
    blown = [
        (each.observed_at, each.wind)
        for each in observations
        if each.wind is not None and start <= each.observed_at <= now
    ]
    before = [wind for at, wind in blown if at < start + AN_HOUR]
    lately = [wind for at, wind in blown if at > now - AN_HOUR]
    if not before or not lately:
        return TOO_FEW
    parts = [_speed(before, lately)]
    turned = _turn(before, lately)
    if turned:
        parts.append(turned)
    at, most = max(blown, key=lambda pair: pair[1].strongest)
    parts.append(f"strongest {words.kt(round(most.strongest, 1))} at {times.at(at)}")
    return "; ".join(parts)


def _speed(before: list[Wind], lately: list[Wind]) -> str:
    was, now_is = _mean(before), _mean(lately)
    if abs(now_is - was) < STEADY_KT:
        return f"steady: mean {words.kt(round(now_is))} in the last hour, as three hours ago"
    word = "rising" if now_is > was else "falling"
    return (
        f"{word}: mean {words.kt(round(was))} three hours ago, {words.kt(round(now_is))} in the "
        "last hour"
    )


def _mean(winds: list[Wind]) -> float:
    return sum(wind.speed for wind in winds) / len(winds)


def _turn(before: list[Wind], lately: list[Wind]) -> str:
    """Veering is clockwise, backing the other way; '' where it does neither."""
    first, last = _direction(before), _direction(lately)
    if first is None or last is None:
        return ""
    turned = (last - first + 180) % 360 - 180
    if abs(turned) < STEADY_DEG:
        return ""
    way = "veering" if turned > 0 else "backing"
    return f"{way} from {words.degrees(first)} to {words.degrees(last)} true"


def _direction(winds: list[Wind]) -> float | None:
    """The mean direction by vectors, of winds that have one and blow enough to mean it."""
    from_deg = [
        (wind.direction.wind_from, wind.speed)
        for wind in winds
        if isinstance(wind.direction, Steady) and wind.speed >= LIGHT_KT
    ]
    if not from_deg:
        return None
    east = sum(speed * sin(radians(deg)) for deg, speed in from_deg)
    north = sum(speed * cos(radians(deg)) for deg, speed in from_deg)
    return degrees(atan2(east, north)) % 360
