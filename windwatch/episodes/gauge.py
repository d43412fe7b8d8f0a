"""One figure against its limits over time: a runway of a runways track, or a ground quantity.

One report is enough on the way in; on the way out it takes the whole rule of `ClearRule`.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import NamedTuple

from windwatch.assessment.values import Cause, Finding, Level
from windwatch.rules import Rules


class ClearRule(NamedTuple):
    """What it takes to be *back within limits*.

    Attributes
    ----------
    reports : int
        Distinct low reports in a row.
    apart : timedelta
        Between the first and the last of them, at least: they must not share a gust window.
    stale_after : timedelta
        A low report so long after the one before, or longer, starts the count anew: in between
        nothing was known, and what was low yesterday vouches for nothing today.
    hold : timedelta
        Between the last report (or peak) that was over and the last low one.
    convective_hold : timedelta
        Between the last thunder, squall, funnel cloud or wind shift and the last low report.
    remember : timedelta
        How long what has closed is kept.
    """

    reports: int
    apart: timedelta
    stale_after: timedelta
    hold: timedelta
    convective_hold: timedelta
    remember: timedelta


class ClearRules(NamedTuple):
    """What it takes to be back within limits, for each kind of track."""

    runway: ClearRule
    parked: ClearRule
    thunder: ClearRule


def clear_rules(rules: Rules, stale_after: timedelta) -> ClearRules:
    """What it takes to be back within limits, by the figures of judgement.

    Parameters
    ----------
    rules : Rules
    stale_after : timedelta
        Age at which an observation at the airfield says nothing any more.
    """
    runway = ClearRule(
        rules.low_reports,
        rules.low_apart,
        stale_after,
        rules.runway_hold,
        rules.convective_hold,
        rules.remembered_for,
    )
    return ClearRules(
        runway,
        runway._replace(hold=rules.parked_hold),
        # Thunder is over at the first quiet report so long after the last of it (settled case 11).
        runway._replace(reports=1, hold=rules.convective_hold, convective_hold=timedelta(0)),
    )


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
        A peak opens and holds; it never clears. Its `low` says whether what was counted before
        it still stands.
    neutral : bool
        A report of a fall-back station that may neither clear nor restart the count.
    of_best : bool
        Of a runway: it was the best one by the report before.
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
    of_best: bool = False


class Low(NamedTuple):
    """A report that counts towards *back within limits*."""

    report: str
    at: datetime


class Span(NamedTuple):
    """A time at one level, near or over, with the report that opened it.

    Attributes
    ----------
    opened_at : datetime
        Observation time of the opening report (or time of its peak).
    opening, worst : Finding or None
        None for thunder, which has no figure.
    of_best : bool
        Of a runway: it was the best one by the report before.
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
    of_best: bool = False
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


class Gauge(NamedTuple):
    """The state of one figure: a pure function of the reports so far, in their order.

    Attributes
    ----------
    last_over_at : datetime or None
        Of the latest reading over the limit, while over.
    high_at : datetime or None
        Of the latest reading that was not low, while over: of two texts for one time the worse
        counts, so a low one of that time does not.
    overs, over_by : int, str
        How many reports in a row were over, and the last of them; a peak and the wind of one
        report are one.
    """

    level: Level = Level.WITHIN
    spans: tuple[Span, ...] = ()
    last_over_at: datetime | None = None
    high_at: datetime | None = None
    lows: tuple[Low, ...] = ()
    overs: int = 0
    over_by: str = ""

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
        return gauge._replace(lows=(), overs=0) if gauge.lows or gauge.overs else gauge
    if reading.level is Level.OVER:
        return _over(gauge, reading, rule, confirm_reports)
    if gauge.level is Level.OVER:
        if reading.neutral:
            return gauge
        if reading.peak:
            return gauge if reading.low else _interrupted(gauge, reading)
        return _ease(gauge, reading, rule, convective_at)
    if reading.level is Level.NEAR:
        return _move(gauge._replace(overs=0), Level.NEAR, reading, rule)
    if gauge.level is Level.NEAR and reading.quiet and not reading.peak:
        return _move(gauge._replace(overs=0), Level.WITHIN, reading, rule)
    return gauge._replace(overs=0) if gauge.overs and not reading.peak else gauge


def _over(gauge: Gauge, reading: Reading, rule: ClearRule, confirm_reports: int) -> Gauge:
    overs = gauge.overs if gauge.over_by == reading.report else gauge.overs + 1
    level, spans = gauge.level, gauge.spans
    if level is Level.OVER:
        spans = worsen(spans, reading)
    else:
        # Not confirmed yet, it is near at least, for it is above the near threshold.
        level = Level.OVER if overs >= confirm_reports else Level.NEAR
        if level is not gauge.level:
            spans = next_spans(spans, gauge.level, level, reading, rule.remember)
    return gauge._replace(
        level=level,
        spans=spans,
        last_over_at=_later(gauge.last_over_at, reading.at),
        high_at=_later(gauge.high_at, reading.at),
        lows=_lows_after(gauge.lows, reading.at),
        overs=overs,
        over_by=reading.report,
    )


def _interrupted(gauge: Gauge, reading: Reading) -> Gauge:
    """Something that was not low: whatever was counted up to its time counts no more."""
    return gauge._replace(
        high_at=_later(gauge.high_at, reading.at), lows=_lows_after(gauge.lows, reading.at)
    )


def _later(known: datetime | None, at: datetime) -> datetime:
    return at if known is None or at > known else known


def _lows_after(lows: tuple[Low, ...], at: datetime) -> tuple[Low, ...]:
    return tuple(low for low in lows if low.at > at) if lows else lows


def _lows_known(lows: tuple[Low, ...], at: datetime, rule: ClearRule) -> tuple[Low, ...]:
    """The low reports so far; none, where the newest had become too old before the next came."""
    newest = max((low.at for low in lows), default=at)
    return lows if at - newest < rule.stale_after else ()


def _ease(gauge: Gauge, reading: Reading, rule: ClearRule, convective_at: datetime | None) -> Gauge:
    if not reading.low:
        return _interrupted(gauge, reading)._replace(overs=0)
    if gauge.high_at is not None and reading.at <= gauge.high_at:
        return gauge
    lows = (*_lows_known(gauge.lows, reading.at, rule), Low(reading.report, reading.at))
    eased = gauge._replace(lows=lows, overs=0)
    met_by = _clearing(lows, rule, gauge.last_over_at, convective_at)
    if met_by is None:
        return eased
    level = Level.NEAR if reading.level is Level.NEAR else Level.WITHIN
    closed = _move(eased, level, reading, rule, closed_by=met_by)
    return closed._replace(lows=(), last_over_at=None, high_at=None)


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
    earlier = [low for low in lows if low.report != last.report]
    # The first is as late as may be; whatever else it takes are the latest between the two.
    between = rule.reports - 2
    for number in range(len(earlier) - between - 1, -1, -1):
        first = earlier[number]
        if last.at - first.at >= rule.apart:
            latest = [low.report for low in earlier[len(earlier) - between :]]
            return (first.report, *latest, last.report)
    return None


def _move(
    gauge: Gauge,
    level: Level,
    reading: Reading,
    rule: ClearRule,
    closed_by: tuple[str, ...] = (),
) -> Gauge:
    if level is gauge.level:
        return gauge
    spans = next_spans(gauge.spans, gauge.level, level, reading, rule.remember, closed_by)
    return gauge._replace(level=level, spans=spans)


def next_spans(
    spans: tuple[Span, ...],
    before: Level,
    after: Level,
    reading: Reading,
    remember: timedelta,
    closed_by: tuple[str, ...] = (),
) -> tuple[Span, ...]:
    """Close the span that ends and open the one that begins as a level changes.

    Falling from over to near opens none: that is told with *back*, and not as *near* again.
    """
    # The newest one past the limit stays however old: its end may still have to be told.
    newest = next((s for s in reversed(spans) if s.level is Level.OVER), None)
    kept = [
        s
        for s in spans
        if s is newest or s.closed_at is None or reading.at - s.closed_at <= remember
    ]
    if kept and kept[-1].open and before is not after:
        kept[-1] = kept[-1]._replace(closed_at=reading.at, closed_by=closed_by)
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
                of_best=reading.of_best,
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
        # Of a gust and a peak of the same strength people read about the gust.
        plainer = worst.cause is Cause.PEAK and found.cause is not Cause.PEAK
        if found.share < worst.share or not plainer:
            return spans
    return (*spans[:-1], spans[-1]._replace(worst=found, worst_by=reading.report))
