"""Momentary wind samples made into what a report carries: a 2-minute mean and a 10-minute peak.

The rules of an observer's wind are those of US surface observing, FMH-1 chapter 5 (from
memory): the mean over two minutes; the peak over ten; a sector where the direction varies by
60 degrees or more above 6 kt, and VRB where it does so up to 6 kt.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from math import atan2, cos, degrees, radians, sin
from typing import Final, NamedTuple

MEAN_OVER: Final = timedelta(minutes=2)
PEAK_OVER: Final = timedelta(minutes=10)
# One sample is no mean: at least two, a minute apart (a judgement).
LEAST_SPAN: Final = timedelta(minutes=1)
VARIES_FROM_DEG: Final = 60.0
VARIES_ALL_ROUND_DEG: Final = 180.0
VARIABLE_UP_TO_KT: Final = 6.0


class Sample(NamedTuple):
    """One reading of an anemometer.

    Attributes
    ----------
    at : datetime
        When it was measured, UTC.
    wind_from_true : float or None
        [°T]; None: not measured.
    speed_kt : float or None
        [kt]; None: not measured.
    gust_kt : float or None
        A peak since the reading before, where the device gives one. [kt]
    """

    at: datetime
    wind_from_true: float | None
    speed_kt: float | None
    gust_kt: float | None = None


class Reduced(NamedTuple):
    """What a report can say.

    Attributes
    ----------
    observed_at : datetime
        Time of the newest sample.
    wind_from_true : float or None
        Vector mean; None: not known, or variable (then `variable` is set). [°T]
    speed_kt : float
        Scalar mean of two minutes. [kt]
    gust_kt : float or None
        Strongest of ten minutes; None if not above the mean. [kt]
    sector_true : tuple of float or None
        Clockwise from and to, where the direction varied that much. [°T]
    """

    observed_at: datetime
    wind_from_true: float | None
    speed_kt: float
    gust_kt: float | None
    variable: bool = False
    sector_true: tuple[float, float] | None = None


def reduce_samples(samples: Iterable[Sample], now: datetime) -> Reduced | None:
    """Make a two-minute mean and a ten-minute peak.

    Parameters
    ----------
    samples : iterable of Sample
        In any order; of several at the same instant the last one counts.
    now : datetime
        Samples of a later time are left out.

    Returns
    -------
    Reduced or None
        None while there are not two speeds, a minute apart, in the newest two minutes.
    """
    in_order = sorted(
        {sample.at: sample for sample in samples if sample.at <= now}.values(),
        key=lambda sample: sample.at,
    )
    measured = [sample for sample in in_order if sample.speed_kt is not None]
    if not measured:
        return None
    newest = measured[-1].at
    recent = [sample for sample in measured if sample.at > newest - MEAN_OVER]
    if recent[-1].at - recent[0].at < LEAST_SPAN:
        return None
    speeds = [sample.speed_kt for sample in recent if sample.speed_kt is not None]
    mean = sum(speeds) / len(speeds)
    peak = max(
        peak
        for sample in in_order
        if newest - PEAK_OVER < sample.at <= newest
        for peak in (sample.speed_kt, sample.gust_kt)
        if peak is not None
    )
    wind_from, variable, sector = _direction(recent, mean)
    return Reduced(newest, wind_from, mean, peak if peak > mean else None, variable, sector)


def _direction(
    recent: list[Sample], mean_kt: float
) -> tuple[float | None, bool, tuple[float, float] | None]:
    """Return the vector mean, whether it is variable, and the sector it swung over."""
    vectors = [
        (sample.wind_from_true, sample.speed_kt)
        for sample in recent
        if sample.wind_from_true is not None and sample.speed_kt
    ]
    if 2 * len(vectors) < sum(1 for sample in recent if sample.speed_kt):
        return None, False, None
    if not vectors:
        return None, False, None
    width, start, end = swing([wind_from for wind_from, _ in vectors])
    if width >= VARIES_ALL_ROUND_DEG or (width >= VARIES_FROM_DEG and mean_kt <= VARIABLE_UP_TO_KT):
        return None, True, None
    east = sum(speed * sin(radians(wind_from)) for wind_from, speed in vectors)
    north = sum(speed * cos(radians(wind_from)) for wind_from, speed in vectors)
    mean_from = degrees(atan2(east, north)) % 360
    return mean_from, False, (start, end) if width >= VARIES_FROM_DEG else None


def swing(directions_true: list[float]) -> tuple[float, float, float]:
    """Return the smallest arc that holds all directions.

    Returns
    -------
    tuple of float
        Its width, and where it begins and ends going clockwise. [deg, °T, °T]
    """
    around = sorted({direction % 360 for direction in directions_true})
    gaps = [
        ((after - before) % 360 or 360.0, before, after)
        for before, after in zip(around, around[1:] + around[:1], strict=True)
    ]
    # The widest gap is what the wind never came from; the arc is the rest.
    gap, before_gap, after_gap = max(gaps)
    return 360.0 - gap, after_gap, before_gap
