"""One figure against its limits over time: a runway of a runways track, or a ground quantity.

One report is enough on the way in; on the way out it takes the whole rule of `ClearRule`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final, NamedTuple

from windwatch.assessment.values import Finding, Level

# Two reports must not share a gust window of ten minutes.
APART: Final = timedelta(minutes=10)
# Closed spans are remembered this long: two hours to tell them, six for late reports.
REMEMBER: Final = timedelta(hours=8)


class ClearRule(NamedTuple):
    """What it takes to be *back within limits*.

    Attributes
    ----------
    reports : int
        Distinct low reports in a row, the first and last at least ten minutes apart.
    hold : timedelta
        Between the last report (or peak) that was over and the last low one.
    convective_hold : timedelta
        Between the last thunder, squall, funnel cloud or wind shift and the last low report.
    """

    reports: int
    hold: timedelta
    convective_hold: timedelta


class Reading(NamedTuple):
    """What one report, or the peak in its remarks, says about one gauge.

    Attributes
    ----------
    report : str
        Id of the report.
    at : datetime
        Observation time; for a peak, its own time.
    level : Level or None
        None: the report says nothing of it (no wind); whatever was counted starts anew.
    low : bool
        May count towards *back within limits*.
    quiet : bool
        At or below the near threshold less its deadband.
    peak : bool
        A peak opens and holds; it never clears.
    neutral : bool
        A report of a fall-back station that may neither clear nor restart the count.
    """

    report: str
    at: datetime
    level: Level | None
    low: bool = False
    quiet: bool = False
    finding: Finding | None = None
    end: str = ""
    peak: bool = False
    fall_back: bool = False
    neutral: bool = False


class Low(NamedTuple):
    """A report that counts towards *back within limits*."""

    report: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Span:
    """A time at one level, near or over, with the report that opened it.

    Attributes
    ----------
    opened_at : datetime
        Observation time of the opening report (or time of its peak).
    opening, worst : Finding or None
        None for thunder, which has no figure.
    closed_by : tuple of str
        The reports that met the rule.
    """

    level: Level
    opened_by: str
    opened_at: datetime
    opening: Finding | None
    end: str
    worst: Finding | None
    worst_by: str
    by_fall_back: bool = False
    unsettled: bool = False
    closed_at: datetime | None = None
    closed_by: tuple[str, ...] = ()

    @property
    def open(self) -> bool:
        """Whether it still lasts."""
        return self.closed_at is None

    def covers(self, at: datetime) -> bool:
        """Whether a moment lies within it."""
        return self.opened_at <= at and (self.closed_at is None or at < self.closed_at)


@dataclass(frozen=True, slots=True)
class Gauge:
    """The state of one figure: a pure function of the reports so far, in their order."""

    level: Level = Level.WITHIN
    spans: tuple[Span, ...] = ()
    last_over_at: datetime | None = None
    lows: tuple[Low, ...] = ()
    overs: int = 0

    @property
    def easing(self) -> bool:
        """Below the limit, not yet back within limits."""
        return self.level is Level.OVER and bool(self.lows)


def advance(
    gauge: Gauge,
    reading: Reading,
    rule: ClearRule,
    convective_at: datetime | None,
    confirm_reports: int = 1,
) -> Gauge:
    """Advance a gauge by one reading.

    Parameters
    ----------
    gauge : Gauge
    reading : Reading
        Not earlier than the readings before it, save a peak.
    rule : ClearRule
    convective_at : datetime or None
        Last thunder, squall, funnel cloud or wind shift at the field known by this report.
    confirm_reports : int
        How many readings over in a row it takes to open.
    """
    if reading.level is None:
        return replace(gauge, lows=(), overs=0) if gauge.lows or gauge.overs else gauge
    if reading.level is Level.OVER:
        return _over(gauge, reading, confirm_reports)
    if gauge.level is Level.OVER:
        return (
            gauge if reading.peak or reading.neutral else _ease(gauge, reading, rule, convective_at)
        )
    if reading.level is Level.NEAR:
        return _move(replace(gauge, overs=0), Level.NEAR, reading)
    if gauge.level is Level.NEAR and reading.quiet and not reading.peak:
        return _move(replace(gauge, overs=0), Level.WITHIN, reading)
    return replace(gauge, overs=0) if gauge.overs and not reading.peak else gauge


def _over(gauge: Gauge, reading: Reading, confirm_reports: int) -> Gauge:
    last = gauge.last_over_at
    counted = replace(
        gauge,
        last_over_at=reading.at if last is None else max(last, reading.at),
        lows=tuple(low for low in gauge.lows if low.at > reading.at),
        overs=gauge.overs + 1,
    )
    if gauge.level is Level.OVER:
        return replace(counted, spans=worsen(gauge.spans, reading))
    if counted.overs < confirm_reports:
        # Not confirmed yet: it is near at least, for it is above the near threshold.
        return _move(counted, Level.NEAR, reading)
    return _move(counted, Level.OVER, reading)


def _ease(gauge: Gauge, reading: Reading, rule: ClearRule, convective_at: datetime | None) -> Gauge:
    if not reading.low:
        return replace(gauge, lows=(), overs=0)
    lows = (*gauge.lows, Low(reading.report, reading.at))
    eased = replace(gauge, lows=lows, overs=0)
    pair = _clearing(lows, rule, gauge.last_over_at, convective_at)
    if pair is None:
        return eased
    level = Level.NEAR if reading.level is Level.NEAR else Level.WITHIN
    return replace(_move(eased, level, reading, closed_by=pair), lows=(), last_over_at=None)


def _clearing(
    lows: tuple[Low, ...],
    rule: ClearRule,
    last_over_at: datetime | None,
    convective_at: datetime | None,
) -> tuple[str, ...] | None:
    """The reports that meet the rule, or None."""
    last = lows[-1]
    if last_over_at is not None and last.at - last_over_at < rule.hold:
        return None
    if convective_at is not None and last.at - convective_at < rule.convective_hold:
        return None
    if rule.reports == 1:
        return (last.report,)
    for low in reversed(lows[:-1]):
        if last.at - low.at >= APART and low.report != last.report:
            return (low.report, last.report)
    return None


def _move(gauge: Gauge, level: Level, reading: Reading, closed_by: tuple[str, ...] = ()) -> Gauge:
    if level is gauge.level:
        return gauge
    spans = next_spans(gauge.spans, gauge.level, level, reading, closed_by)
    return replace(gauge, level=level, spans=spans)


def next_spans(
    spans: tuple[Span, ...],
    before: Level,
    after: Level,
    reading: Reading,
    closed_by: tuple[str, ...] = (),
    *,
    unsettled: bool = False,
) -> tuple[Span, ...]:
    """Close the span that ends and open the one that begins as a level changes.

    Falling from over to near opens none: that is told with *back*, and not as *near* again.
    """
    kept = [s for s in spans if s.closed_at is None or reading.at - s.closed_at <= REMEMBER]
    if kept and kept[-1].open and before is not after:
        kept[-1] = replace(kept[-1], closed_at=reading.at, closed_by=closed_by)
    if after > before:
        kept.append(
            Span(
                after,
                reading.report,
                reading.at,
                reading.finding,
                reading.end,
                reading.finding,
                reading.report,
                by_fall_back=reading.fall_back,
                unsettled=unsettled,
            )
        )
    return tuple(kept)


def worsen(spans: tuple[Span, ...], reading: Reading) -> tuple[Span, ...]:
    """Note a new worst figure in the open span."""
    found = reading.finding
    if not spans or not spans[-1].open or found is None:
        return spans
    worst = spans[-1].worst
    if worst is not None and found.share <= worst.share:
        return spans
    return (*spans[:-1], replace(spans[-1], worst=found, worst_by=reading.report))
