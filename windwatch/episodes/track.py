"""All subjects of one airfield over time: reports folded in, one by one, in their order."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from windwatch.assessment.values import (
    Assessment,
    EndFinding,
    Finding,
    GroundFinding,
    Level,
    RunwayFinding,
    RunwaysFinding,
)
from windwatch.episodes.entries import Entry
from windwatch.episodes.gauge import (
    ClearRule,
    Gauge,
    Reading,
    Span,
    advance,
    next_spans,
    worsen,
)
from windwatch.episodes.values import TrackKey, TrackKind
from windwatch.fleet import PARKED_QUANTITIES
from windwatch.reports.values import Report

_HOUR: Final = timedelta(hours=1)
# All figures below are engineering judgements of the reliability page, kept in this one place.
RUNWAY_RULE: Final = ClearRule(2, timedelta(minutes=30), _HOUR)
PARKED_RULE: Final = ClearRule(2, _HOUR, _HOUR)
# Thunder is over at the first quiet report an hour after the last of it (settled case 11).
THUNDER_RULE: Final = ClearRule(1, _HOUR, timedelta(0))
UNSETTLED_OPENINGS: Final = 3
UNSETTLED_WITHIN: Final = timedelta(hours=6)
UNSETTLED_HOLD: Final = timedelta(hours=2)
# Without the main station for so long, a fall-back may clear what it did not open.
MAIN_GONE: Final = timedelta(hours=2)


@dataclass(frozen=True, slots=True)
class Track:
    """One subject followed over time: a pure function of the reports.

    Attributes
    ----------
    gauges : tuple of (str, Gauge)
        One a runway; for ground and thunder a single one named ''.
    best : str
        The best runway by the newest report.
    finding : Finding or None
        Deciding figure of the newest report (of the best runway).
    """

    key: TrackKey
    level: Level = Level.WITHIN
    spans: tuple[Span, ...] = ()
    gauges: tuple[tuple[str, Gauge], ...] = ()
    best: str = ""
    best_before: str = ""
    finding: Finding | None = None
    end: str = ""
    standing: tuple[RunwayStanding, ...] = ()

    @property
    def open_span(self) -> Span | None:
        """The span that lasts, if any."""
        return self.spans[-1] if self.spans and self.spans[-1].open else None

    @property
    def episode(self) -> Span | None:
        """The open span past the limit, if any."""
        span = self.open_span
        return span if span is not None and span.level is Level.OVER else None

    @property
    def easing(self) -> bool:
        """Below the limit, not yet back within limits."""
        return self.level is Level.OVER and any(g.easing for _, g in self.gauges)

    def gauge(self, name: str) -> Gauge:
        """The gauge of that name, new where there is none yet."""
        for known, gauge in self.gauges:
            if known == name:
                return gauge
        return Gauge()


@dataclass(frozen=True, slots=True)
class RunwayStanding:
    """A runway as it stands for a subject after the newest report, best first.

    `level` is the held one: over until the rule for *back within limits* is met.
    """

    runway: str
    end: str
    level: Level
    finding: Finding | None


@dataclass(frozen=True, slots=True)
class Folded:
    """The state of one airfield's tracks after its reports so far.

    Attributes
    ----------
    convective_at : datetime or None
        Last thunder, squall, funnel cloud or wind shift at the field.
    peak_at : datetime or None
        Time of the newest peak wind that has been counted.
    wind_at : datetime or None
        Newest observation of the main station that had a wind.
    """

    tracks: tuple[Track, ...] = ()
    convective_at: datetime | None = None
    peak_at: datetime | None = None
    wind_at: datetime | None = None

    def track(self, key: TrackKey) -> Track:
        """The track of that key, new where there is none yet."""
        for track in self.tracks:
            if track.key == key:
                return track
        return Track(key)


def fold(folded: Folded, entry: Entry, report: Report, assessment: Assessment) -> Folded:
    """Fold one more report into the state of an airfield.

    Parameters
    ----------
    folded : Folded
    entry : Entry
        In its place: not before the entries folded already.
    report : Report
    assessment : Assessment
        Of that report.
    """
    known = {track.key: track for track in folded.tracks}
    main = not entry.fall_back
    convective_at = folded.convective_at
    if main:
        convective_at = _latest(convective_at, _convective(report, entry.observed_at))
    gone = folded.wind_at is None or entry.order_at - folded.wind_at >= MAIN_GONE
    step = _Step(entry, assessment, _disturbed(report), convective_at, entry.fall_back and not gone)
    peak_at = folded.peak_at
    new_peak = assessment.peak_at is not None and (peak_at is None or assessment.peak_at > peak_at)
    if main and new_peak:
        peak_at = assessment.peak_at
    changed: dict[TrackKey, Track] = {}
    for subject in assessment.runways:
        key = TrackKey(
            TrackKind.RUNWAYS, assessment.airfield, subject.aircraft, subject.pilot_limits
        )
        changed[key] = _step_runways(known.get(key) or Track(key), subject, step)
    peaks = assessment.peak_ground if main and new_peak else ()
    for key, readings in _ground_readings(assessment, peaks, step).items():
        changed[key] = _step_single(known.get(key) or Track(key), readings, step)
    if main and assessment.thunder is not None:
        key = TrackKey(TrackKind.THUNDER, assessment.airfield)
        changed[key] = _step_thunder(known.get(key) or Track(key), report, step)
    if assessment.wind is None:
        for key, track in known.items():
            if key.kind is not TrackKind.THUNDER and key not in changed:
                changed[key] = _blank(track, entry)
            elif key in changed and key.kind is TrackKind.GROUND:
                changed[key] = _blank(changed[key], entry)
    return Folded(
        tuple({**known, **changed}.values()),
        convective_at,
        peak_at,
        entry.observed_at if main and assessment.wind is not None else folded.wind_at,
    )


@dataclass(frozen=True, slots=True)
class _Step:
    """What is the same for every track in one report."""

    entry: Entry
    assessment: Assessment
    disturbed: bool
    convective_at: datetime | None
    neutral: bool

    def may_clear(self) -> bool:
        """Direction reported, and no thunder or cumulonimbus about."""
        return self.assessment.direction_known and not self.disturbed


def _latest(*moments: datetime | None) -> datetime | None:
    return max((m for m in moments if m is not None), default=None)


def _convective(report: Report, observed_at: datetime) -> datetime | None:
    """The latest thunder, squall, funnel cloud or wind shift that the report tells of."""
    weather = report.weather
    now = weather.thunderstorm or weather.squall or weather.funnel_cloud
    return _latest(observed_at if now else None, weather.thunder_ended_at, report.wind_shift_at)


def _disturbed(report: Report) -> bool:
    """Thunder at the field or in the vicinity, squall, funnel cloud or cumulonimbus."""
    weather = report.weather
    return (
        weather.thunderstorm
        or weather.squall
        or weather.funnel_cloud
        or weather.thunder_in_vicinity
        or weather.cumulonimbus
    )


# --- runways ---------------------------------------------------------------


def _step_runways(track: Track, subject: RunwaysFinding, step: _Step) -> Track:
    rule = _unsettled_rule(RUNWAY_RULE, track)
    gauges = dict(track.gauges)
    for runway in subject.runways:
        before = gauges.get(runway.runway) or Gauge()
        reading = _runway_reading(runway.best, before, step)
        gauges[runway.runway] = advance(
            before, reading, rule, step.convective_at, _confirm(runway.best.deciding)
        )
    ranked = _ranked(subject.runways, gauges, track.best)
    standing = tuple(
        RunwayStanding(r.runway, r.best.end, gauges[r.runway].level, r.best.deciding)
        for r in ranked
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
        replace(
            track,
            gauges=tuple(gauges.items()),
            best="" if best is None else best.runway,
            best_before=track.best,
            finding=finding,
            end=end,
            standing=standing,
        ),
        level,
        reading,
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


def _runway_reading(end: EndFinding, gauge: Gauge, step: _Step) -> Reading:
    return Reading(
        step.entry.id,
        step.entry.observed_at,
        end.level,
        low=step.may_clear() and all(f.low for f in end.findings),
        quiet=all(f.near_low for f in end.findings),
        finding=end.deciding,
        end=end.end,
        fall_back=step.entry.fall_back,
        neutral=step.neutral and not _opened_by_fall_back(gauge),
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


def _ground_readings(
    assessment: Assessment, peaks: tuple[GroundFinding, ...], step: _Step
) -> dict[TrackKey, list[Reading]]:
    """The peak first, at its own time, then the wind."""
    readings: dict[TrackKey, list[Reading]] = {}
    for found, peak in (*((p, True) for p in peaks), *((g, False) for g in assessment.ground)):
        key = TrackKey(
            TrackKind.GROUND,
            assessment.airfield,
            found.aircraft,
            quantity=found.finding.limit.quantity,
        )
        at = assessment.peak_at if peak else None
        readings.setdefault(key, []).append(
            Reading(
                step.entry.id,
                at or step.entry.observed_at,
                found.finding.level,
                low=step.may_clear() and found.finding.low and not peak,
                quiet=found.finding.near_low,
                finding=found.finding,
                peak=peak,
                fall_back=step.entry.fall_back,
                neutral=step.neutral,
            )
        )
    return readings


def _step_single(track: Track, readings: list[Reading], step: _Step) -> Track:
    parked = track.key.quantity in PARKED_QUANTITIES
    rule = _unsettled_rule(PARKED_RULE if parked else RUNWAY_RULE, track)
    for reading in readings:
        gauge = track.gauge("")
        judged = reading._replace(neutral=reading.neutral and not _opened_by_fall_back(gauge))
        gauge = advance(gauge, judged, rule, step.convective_at, _confirm(reading.finding))
        track = _adopt(track, gauge, reading.finding)
    return track


def _step_thunder(track: Track, report: Report, step: _Step) -> Track:
    found = step.assessment.thunder
    if found is None:
        return track
    entry = step.entry
    readings = []
    ended_at = report.weather.thunder_ended_at
    if ended_at is not None and timedelta(0) <= entry.observed_at - ended_at <= _HOUR:
        # Thunder that is over by now was at the field then: it counts at its own time, as a
        # peak wind does.
        readings.append(Reading(entry.id, ended_at, Level.OVER, peak=True))
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
    for reading in readings:
        gauge = advance(gauge, reading, THUNDER_RULE, None)
    return _adopt(track, gauge, None)


def _adopt(track: Track, gauge: Gauge, finding: Finding | None) -> Track:
    """A track with one gauge has that gauge's level and spans."""
    spans = gauge.spans
    if gauge.level is Level.OVER and track.level is not Level.OVER:
        spans = _mark_unsettled(spans)
    elif spans and spans[-1].open and track.episode is not None and track.episode.unsettled:
        spans = (*spans[:-1], replace(spans[-1], unsettled=True))
    return replace(track, level=gauge.level, spans=spans, gauges=(("", gauge),), finding=finding)


def _blank(track: Track, entry: Entry) -> Track:
    """A report without wind: whatever was counted towards *back within limits* starts anew."""
    nothing = Reading(entry.id, entry.observed_at, None)
    gauges = tuple(
        (name, advance(gauge, nothing, RUNWAY_RULE, None)) for name, gauge in track.gauges
    )
    return track if gauges == track.gauges else replace(track, gauges=gauges)


# --- common ----------------------------------------------------------------


def _with_level(track: Track, level: Level, reading: Reading, closed_by: tuple[str, ...]) -> Track:
    if level is track.level:
        spans = worsen(track.spans, reading) if level is Level.OVER else track.spans
        return track if spans is track.spans else replace(track, spans=spans)
    spans = next_spans(track.spans, track.level, level, reading, closed_by)
    if level is Level.OVER:
        spans = _mark_unsettled(spans)
    return replace(track, level=level, spans=spans)


def _mark_unsettled(spans: tuple[Span, ...]) -> tuple[Span, ...]:
    """The third opening within six hours is swinging about the limit."""
    if not spans or not spans[-1].open:
        return spans
    since = spans[-1].opened_at - UNSETTLED_WITHIN
    openings = sum(s.level is Level.OVER and s.opened_at >= since for s in spans)
    if openings < UNSETTLED_OPENINGS:
        return spans
    return (*spans[:-1], replace(spans[-1], unsettled=True))


def _unsettled_rule(rule: ClearRule, track: Track) -> ClearRule:
    episode = track.episode
    if episode is None or not episode.unsettled:
        return rule
    return rule._replace(hold=max(rule.hold, UNSETTLED_HOLD))


def _opened_by_fall_back(gauge: Gauge) -> bool:
    return bool(gauge.spans) and gauge.spans[-1].open and gauge.spans[-1].by_fall_back


def _confirm(finding: Finding | None) -> int:
    return 1 if finding is None else finding.limit.confirm_reports
