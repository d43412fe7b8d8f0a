"""Reports folded into the tracks of an airfield, one by one, in their order."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from windwatch.assessment.assess import deciding
from windwatch.assessment.values import (
    Assessment,
    Finding,
    GroundFinding,
    Level,
    RunwayFinding,
    RunwaysFinding,
)
from windwatch.episodes.entries import Entry
from windwatch.episodes.gauge import (
    ClearRule,
    ClearRules,
    Gauge,
    Reading,
    Span,
    advance,
    clear_rules,
    next_spans,
    worsen,
)
from windwatch.episodes.track import Folded, RunwayStanding, Track
from windwatch.episodes.values import TrackKey, TrackKind
from windwatch.fleet import PARKED_QUANTITIES
from windwatch.reports.values import Report
from windwatch.rules import Rules
from windwatch.wind import Knots


def fold(
    folded: Folded,
    entry: Entry,
    report: Report,
    assessment: Assessment,
    rules: Rules,
    stale_after: timedelta,
    not_yet: frozenset[str] = frozenset(),
) -> Folded:
    """Fold one more report into the state of an airfield.

    Parameters
    ----------
    folded : Folded
    entry : Entry
        In its place: not before the entries folded already.
    report : Report
    assessment : Assessment
        Of that report.
    rules : Rules
        In force at its place.
    stale_after : timedelta
        Age at which an observation at the airfield says nothing any more; in force at its place.
    not_yet : frozenset of str
        Tracks that are judged by later reports only, for their limits were others then.
    """
    known = {track.key: track for track in folded.tracks}
    main = not entry.fall_back
    convective_at = folded.convective_at
    if main:
        convective_at = _latest(convective_at, _convective(report, entry.observed_at))
    gone = folded.wind_at is None or entry.order_at - folded.wind_at >= rules.main_gone
    sure = not report.wind_doubtful and not entry.in_doubt
    certain = sure and not _disturbed(report)
    neutral = entry.fall_back and not gone
    clear = clear_rules(rules, stale_after)
    step = _Step(entry, assessment, sure, certain, convective_at, neutral, rules, clear)
    peaks = folded.peaks
    if main and assessment.peak_at is not None:
        peaks = _count_peak(peaks, report, entry.observed_at, rules)
    new_peak = peaks is not folded.peaks
    changed = _step_all(known, report, assessment.peak_ground if new_peak else (), step)
    if not_yet:
        changed = {key: track for key, track in changed.items() if str(key) not in not_yet}
    return Folded(
        tuple({**known, **changed}.values()),
        convective_at,
        peaks,
        entry.observed_at if main and assessment.wind is not None else folded.wind_at,
    )


def _count_peak(
    counted: tuple[tuple[datetime, Knots], ...],
    report: Report,
    observed_at: datetime,
    rules: Rules,
) -> tuple[tuple[datetime, Knots], ...]:
    """The counted peaks with that of a report; the same ones where it was counted before."""
    peak = report.peak_wind
    if peak is None or any(at == peak.at and speed >= peak.speed for at, speed in counted):
        return counted
    # An older peak is not counted any more, so none need be remembered for long.
    young = tuple(p for p in counted if observed_at - p[0] <= 2 * rules.peak_within)
    return (*young, (peak.at, peak.speed))


def _step_all(
    known: dict[TrackKey, Track], report: Report, peaks: tuple[GroundFinding, ...], step: _Step
) -> dict[TrackKey, Track]:
    """Every track that the report says something of."""
    assessment = step.assessment
    changed: dict[TrackKey, Track] = {}
    for subject in assessment.runways:
        key = TrackKey(
            TrackKind.RUNWAYS, assessment.airfield, subject.aircraft, subject.pilot_limits
        )
        changed[key] = _step_runways(known.get(key) or Track(key), subject, step)
    for key, readings in _ground_readings(assessment, peaks, step).items():
        changed[key] = _step_single(known.get(key) or Track(key), readings, step)
    if assessment.thunder is not None and not step.entry.fall_back:
        key = TrackKey(TrackKind.THUNDER, assessment.airfield)
        changed[key] = _step_thunder(known.get(key) or Track(key), report, step)
    if assessment.wind is None and not step.neutral:
        for key, track in known.items():
            if key.kind is not TrackKind.THUNDER and key not in changed:
                changed[key] = _blank(track, step)
            elif key in changed and key.kind is TrackKind.GROUND:
                changed[key] = _blank(changed[key], step)
    return changed


@dataclass(frozen=True, slots=True)
class _Step:
    """What is the same for every track in one report."""

    entry: Entry
    assessment: Assessment
    sure: bool
    certain: bool
    convective_at: datetime | None
    neutral: bool
    rules: Rules
    clear: ClearRules

    def may_clear(self) -> bool:
        """Direction reported, nothing in doubt, and no thunder or cumulonimbus about."""
        return self.assessment.direction_known and self.certain


def _latest(*moments: datetime | None) -> datetime | None:
    return max((m for m in moments if m is not None), default=None)


def _convective(report: Report, observed_at: datetime) -> datetime | None:
    """The latest thunder, squall, funnel cloud or wind shift that the report tells of."""
    weather = report.weather
    now = weather.thunderstorm or weather.squall or weather.funnel_cloud
    return _latest(observed_at if now else None, _thunder_told_of(report), report.wind_shift_at)


def _thunder_told_of(report: Report) -> datetime | None:
    """The latest thunder in the remarks: its end, or its beginning where no end is given."""
    return report.thunder_times[-1].at if report.thunder_times else None


def _disturbed(report: Report) -> bool:
    """Thunder at the field or in the vicinity, squall, funnel cloud or cumulonimbus."""
    weather = report.weather
    return (
        weather.thunderstorm
        or weather.squall
        or weather.funnel_cloud
        or weather.thunder_in_vicinity
        or weather.funnel_cloud_in_vicinity
        or weather.cumulonimbus
    )


# --- runways ---------------------------------------------------------------


def _step_runways(track: Track, subject: RunwaysFinding, step: _Step) -> Track:
    rule = _unsettled_rule(step.clear.runway, track, step.rules)
    gauges = dict(track.gauges)
    for runway in subject.runways:
        before = gauges.get(runway.runway) or Gauge()
        reading = _runway_reading(runway, before, step, track.best)
        gauges[runway.runway] = advance(
            before, reading, rule, step.convective_at, _confirm(runway.best.findings)
        )
    ranked = _ranked(subject.runways, gauges, track.best)
    standing = tuple(
        [
            RunwayStanding(r.runway, r.best.end, gauges[r.runway].level, r.best.deciding)
            for r in ranked
        ]
    )
    best = ranked[0] if ranked else None
    level = min((s.level for s in standing), default=Level.OVER)
    finding = None if best is None else best.best.deciding
    end = "" if best is None else best.best.end
    reading = Reading(
        step.entry.id,
        step.entry.observed_at,
        level,
        finding=finding,
        end=end,
        fall_back=step.entry.fall_back,
    )
    return _with_level(
        track._replace(
            gauges=tuple(gauges.items()),
            best="" if best is None else best.runway,
            finding=finding,
            end=end,
            standing=standing,
        ),
        level,
        reading,
        step.rules,
        closed_by=_closing_reports(track.gauges, gauges, step),
    )


def _closing_reports(
    before: tuple[tuple[str, Gauge], ...], after: dict[str, Gauge], step: _Step
) -> tuple[str, ...]:
    """The low reports of the runway whose return closes the track."""
    for name, gauge in before:
        now = after[name]
        if gauge.level is Level.OVER and now.level is not Level.OVER:
            return now.spans[-1].closed_by if now.spans else ()
    return (step.entry.id,)


def _runway_reading(runway: RunwayFinding, gauge: Gauge, step: _Step, best: str) -> Reading:
    end = runway.best
    return Reading(
        step.entry.id,
        step.entry.observed_at,
        end.level,
        low=step.may_clear() and all(f.low for f in end.findings),
        quiet=step.sure and all(f.near_low for f in end.findings),
        finding=end.deciding,
        end=end.end,
        fall_back=step.entry.fall_back,
        neutral=step.neutral and not _opened_by_fall_back(gauge),
        of_best=runway.runway == best,
    )


def _ranked(
    runways: tuple[RunwayFinding, ...], gauges: dict[str, Gauge], former: str
) -> list[RunwayFinding]:
    """Runways by held level, then nominal headwind of the better end; ties keep the former."""
    return sorted(
        runways,
        key=lambda r: (
            gauges[r.runway].level,
            -(r.best.headwind or 0.0),
            r.runway != former,
        ),
    )


# --- ground and thunder ----------------------------------------------------

# With how many reports in a row it takes to open.
_GroundReading = tuple[Reading, int]


def _ground_readings(
    assessment: Assessment, peaks: tuple[GroundFinding, ...], step: _Step
) -> dict[TrackKey, list[_GroundReading]]:
    """The peak first, at its own time, then the wind; limits of gust and mean together."""
    readings: dict[TrackKey, list[_GroundReading]] = {}
    for peak, all_found in ((True, peaks), (False, assessment.ground)):
        by_key: dict[TrackKey, tuple[Finding, ...]] = {}
        for found in all_found:
            quantity = found.finding.limit.quantity
            key = TrackKey(TrackKind.GROUND, assessment.airfield, found.aircraft, quantity=quantity)
            by_key[key] = (*by_key.get(key, ()), found.finding)
        for key, findings in by_key.items():
            readings.setdefault(key, []).append(_ground_reading(findings, step, peak=peak))
    return readings


def _ground_reading(findings: tuple[Finding, ...], step: _Step, *, peak: bool) -> _GroundReading:
    worst = deciding(findings)
    at = step.assessment.peak_at if peak else None
    reading = Reading(
        step.entry.id,
        at or step.entry.observed_at,
        max(f.level for f in findings),
        low=all(f.low for f in findings) and (peak or step.may_clear()),
        quiet=step.sure and all(f.near_low for f in findings),
        finding=worst,
        peak=peak,
        fall_back=step.entry.fall_back,
        neutral=step.neutral,
    )
    return reading, _confirm(findings)


def _step_single(track: Track, readings: list[_GroundReading], step: _Step) -> Track:
    parked = track.key.quantity in PARKED_QUANTITIES
    usual = step.clear.parked if parked else step.clear.runway
    rule = _unsettled_rule(usual, track, step.rules)
    for reading, confirm in readings:
        gauge = track.gauge("")
        judged = reading._replace(neutral=reading.neutral and not _opened_by_fall_back(gauge))
        gauge = advance(gauge, judged, rule, step.convective_at, confirm)
        track = _adopt(track, gauge, reading.finding, step.rules)
    return track


def _step_thunder(track: Track, report: Report, step: _Step) -> Track:
    found = step.assessment.thunder
    if found is None:
        return track
    entry = step.entry
    readings = []
    told_of = _thunder_told_of(report)
    if told_of is not None and _thunder_is_new(track, told_of, step):
        # Thunder that is over by now was at the field then: it counts at its own time and once,
        # as a peak wind does.
        readings.append(Reading(entry.id, told_of, Level.OVER, peak=True))
    readings.append(
        Reading(
            entry.id,
            entry.observed_at,
            found.level,
            low=found.level is Level.WITHIN,
            quiet=found.level is Level.WITHIN,
        )
    )
    gauge = track.gauge("")
    rule = _unsettled_rule(step.clear.thunder, track, step.rules)
    for reading in readings:
        gauge = advance(gauge, reading, rule, None)
    return _adopt(track, gauge, None, step.rules)


def _thunder_is_new(track: Track, at: datetime, step: _Step) -> bool:
    """Whether thunder was shortly before, and not in an episode that is closed."""
    if not timedelta(0) <= step.entry.observed_at - at <= step.rules.peak_within:
        return False
    return not any(s.level is Level.OVER and not s.open and s.covers(at) for s in track.spans)


def _adopt(track: Track, gauge: Gauge, finding: Finding | None, rules: Rules) -> Track:
    """A track with one gauge has that gauge's level and spans."""
    spans = gauge.spans
    if gauge.level is Level.OVER and track.level is not Level.OVER:
        spans = _mark_unsettled(spans, rules)
    elif spans and spans[-1].open and track.episode is not None and track.episode.unsettled:
        spans = (*spans[:-1], spans[-1]._replace(unsettled=True))
    return track._replace(level=gauge.level, spans=spans, gauges=(("", gauge),), finding=finding)


def _blank(track: Track, step: _Step) -> Track:
    """A report without wind: whatever was counted towards *back within limits* starts anew."""
    nothing = Reading(step.entry.id, step.entry.observed_at, None)
    gauges = tuple(
        (name, advance(gauge, nothing, step.clear.runway, None)) for name, gauge in track.gauges
    )
    return track if gauges == track.gauges else track._replace(gauges=gauges)


# --- common ----------------------------------------------------------------


def _with_level(
    track: Track, level: Level, reading: Reading, rules: Rules, closed_by: tuple[str, ...]
) -> Track:
    if level is track.level:
        spans = worsen(track.spans, reading) if level is Level.OVER else track.spans
        return track if spans is track.spans else track._replace(spans=spans)
    spans = next_spans(track.spans, track.level, level, reading, rules.remembered_for, closed_by)
    if level is Level.OVER:
        spans = _mark_unsettled(spans, rules)
    return track._replace(level=level, spans=spans)


def _mark_unsettled(spans: tuple[Span, ...], rules: Rules) -> tuple[Span, ...]:
    """So many openings within a few hours are swinging about the limit."""
    if not spans or not spans[-1].open:
        return spans
    since = spans[-1].opened_at - rules.unsettled_within
    openings = sum(s.level is Level.OVER and s.opened_at >= since for s in spans)
    if openings < rules.unsettled_openings:
        return spans
    return (*spans[:-1], spans[-1]._replace(unsettled=True))


def _unsettled_rule(rule: ClearRule, track: Track, rules: Rules) -> ClearRule:
    episode = track.episode
    if episode is None or not episode.unsettled:
        return rule
    return rule._replace(hold=max(rule.hold, rules.unsettled_hold))


def _opened_by_fall_back(gauge: Gauge) -> bool:
    return bool(gauge.spans) and gauge.spans[-1].open and gauge.spans[-1].by_fall_back


def _confirm(findings: tuple[Finding, ...]) -> int:
    """The fewest that a limit which is over asks for."""
    return min([f.limit.confirm_reports for f in findings if f.level is Level.OVER], default=1)
