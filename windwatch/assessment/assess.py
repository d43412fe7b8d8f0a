"""Limits × wind = findings, for every aircraft, pilot standard, runway end and ground quantity."""

from __future__ import annotations

from datetime import timedelta

from windwatch.airmanship.components import WindOnRunway, round_half_up_tenth, wind_on_runway
from windwatch.assessment.limits import Thresholds
from windwatch.assessment.plan import AirfieldPlan, EndPlan, RunwayPlan, SubjectPlan
from windwatch.assessment.thunder import thunder_finding, weather_notes
from windwatch.assessment.values import (
    Assessment,
    Cause,
    EndFinding,
    Finding,
    GroundFinding,
    Level,
    RunwayFinding,
    RunwaysFinding,
)
from windwatch.desk import NOTHING_KNOWN, Desk
from windwatch.fleet import CROSSWIND, GUST_SPREAD, TAILWIND, WIND, Of, RunwayNote
from windwatch.reports.values import Report
from windwatch.wind import DegreesTrue, Knots, Missing, PeakWind, Steady, Variable, Wind


def assess(plan: AirfieldPlan, report: Report, desk: Desk = NOTHING_KNOWN) -> Assessment:
    """Judge one report against every subject of an airfield.

    Parameters
    ----------
    plan : AirfieldPlan
    report : Report
        Decoded, with an observation time.
    desk : Desk
        What people know: closed runways do not count.

    Returns
    -------
    Assessment
        Without a reported wind the runway and ground findings are empty: nothing is known.

    Raises
    ------
    ValueError
        If the report has no observation time.
    """
    if report.observed_at is None:
        raise ValueError(f"a report without a time cannot be judged: {report.raw[:60]}")
    wind = report.wind
    peak = _peak_shortly_before(report, plan.rules.peak_within)
    runways: tuple[RunwaysFinding, ...] = ()
    ground: tuple[GroundFinding, ...] = ()
    if wind is not None:
        closed = {
            runway.name
            for runway in plan.airfield.runways
            if desk.closed(plan.airfield.id, runway.name, report.observed_at)
        }
        runways = _judge_runways(plan, wind, closed)
        ground = tuple(
            GroundFinding(g.aircraft, judge_ground(wind, g.thresholds)) for g in plan.ground
        )
    return Assessment(
        airfield=plan.airfield.id,
        station=report.station,
        observed_at=report.observed_at,
        wind=wind,
        direction_known=wind is not None and not isinstance(wind.direction, Missing),
        runways=runways,
        ground=ground,
        peak_at=None if peak is None else peak.at,
        peak_ground=() if peak is None else _judge_peak(plan, peak),
        thunder=thunder_finding(report),
        weather_notes=weather_notes(report),
    )


def finding(
    figure: Knots,
    against: Thresholds,
    *,
    nominal: Knots | None,
    cause: Cause = Cause.NOMINAL,
    at_least: bool = False,
) -> Finding:
    """Compare a figure, already half up to 0.1, with a limit: over is greater, never equal."""
    limit, near, low, near_low = against
    if figure > limit.value:
        level = Level.OVER
    elif figure > near:
        level = Level.NEAR
    else:
        level = Level.WITHIN
    return Finding(
        limit.quantity,
        figure,
        limit,
        level,
        nominal,
        cause,
        at_least,
        figure <= low and not at_least,
        figure <= near_low and not at_least,
    )


def judge_ground(wind: Wind, against: Thresholds) -> Finding:
    """The strongest wind, from any direction, against a ground limit."""
    mean = against.limit.of is Of.MEAN
    figure = Knots(round_half_up_tenth(wind.speed if mean else wind.strongest))
    return finding(figure, against, nominal=figure, at_least=_at_least(wind, mean))


def deciding(findings: tuple[Finding, ...]) -> Finding | None:
    """The finding with the worst level, then the largest share of its limit."""
    worst = None
    for found in findings:
        if (
            worst is None
            or found.level > worst.level
            or (found.level == worst.level and found.share > worst.share)
        ):
            worst = found
    return worst


class _OneWind:
    """A wind being judged: what is the same for many aircraft is worked out once."""

    def __init__(self, wind: Wind, closed: set[str]) -> None:
        self.wind = wind
        self.closed = closed
        self._resolved: dict[float, WindOnRunway] = {}
        self._found: dict[tuple[float, int], Finding] = {}
        self._notes: dict[str, tuple[str, ...]] = {}

    def on(self, heading: DegreesTrue) -> WindOnRunway:
        """The wind on a heading."""
        if heading not in self._resolved:
            self._resolved[heading] = wind_on_runway(self.wind, heading)
        return self._resolved[heading]

    def against(self, heading: DegreesTrue, limit: Thresholds) -> Finding:
        """The wind on a heading against a limit."""
        # Equal limits are one object in a plan, and the plan keeps them alive.
        key = (heading, id(limit))
        found = self._found.get(key)
        if found is None:
            found = self._found[key] = _judge_quantity(limit, self.wind, self.on(heading))
        return found

    def notes(self, runway: RunwayPlan) -> tuple[str, ...]:
        """The notes of a runway that apply."""
        if runway.name not in self._notes:
            self._notes[runway.name] = _notes_that_apply(runway.notes, self.wind)
        return self._notes[runway.name]


def _judge_runways(plan: AirfieldPlan, wind: Wind, closed: set[str]) -> tuple[RunwaysFinding, ...]:
    one = _OneWind(wind, closed)
    return tuple(_judge_subject(subject, one) for subject in plan.subjects)


def _judge_subject(subject: SubjectPlan, one: _OneWind) -> RunwaysFinding:
    found = []
    for runway in subject.runways:
        if runway.name in one.closed:
            continue
        ends = tuple([_judge_end(end, runway, one) for end in runway.ends])
        best = min(ends, key=_end_rank)
        found.append(RunwayFinding(runway.name, best, ends, one.notes(runway)))
    found.sort(key=lambda r: _end_rank(r.best))
    return RunwaysFinding(subject.aircraft, subject.pilot_limits, tuple(found))


def _end_rank(end: EndFinding) -> tuple[Level, float]:
    """Ends rank by their worst level over all quantities, then by nominal headwind."""
    return end.level, -(end.headwind or 0.0)


def _judge_end(end: EndPlan, runway: RunwayPlan, one: _OneWind) -> EndFinding:
    heading = end.heading_true
    findings = tuple([one.against(heading, limit) for limit in runway.limits])
    worst = deciding(findings)
    on_runway = one.on(heading)
    nominal = on_runway.gust or on_runway.mean
    return EndFinding(
        end.name,
        end.heading_true,
        end.approximate,
        None if nominal is None else nominal.headwind,
        None if nominal is None else nominal.crosswind,
        Level.WITHIN if worst is None else worst.level,
        findings,
        worst,
    )


def _judge_quantity(against: Thresholds, wind: Wind, on: WindOnRunway) -> Finding:
    quantity = against.limit.quantity
    mean = against.limit.of is Of.MEAN
    at_least = _at_least(wind, mean)
    nominal = on.mean if mean or on.gust is None else on.gust
    if quantity == CROSSWIND:
        worst = on.worst_mean_crosswind if mean else on.worst_crosswind
        straight = None if nominal is None else abs(nominal.crosswind)
    elif quantity == TAILWIND:
        worst = on.worst_mean_tailwind if mean else on.worst_tailwind
        straight = None if nominal is None else nominal.tailwind
    elif quantity == WIND:
        worst = straight = wind.speed if mean else wind.strongest
    elif quantity == GUST_SPREAD:
        worst = straight = wind.spread
    else:
        raise ValueError(f"{quantity} is not a quantity of a runway")
    figure = Knots(round_half_up_tenth(worst))
    shown = None if straight is None else Knots(round_half_up_tenth(straight))
    cause = Cause.NOMINAL
    if quantity in (CROSSWIND, TAILWIND):
        cause = _cause(wind, figure, shown)
    return finding(figure, against, nominal=shown, cause=cause, at_least=at_least)


def _cause(wind: Wind, figure: Knots, nominal: Knots | None) -> Cause:
    match wind.direction:
        case Variable():
            return Cause.VARIABLE
        case Missing():
            return Cause.NO_DIRECTION
        case _:
            return Cause.SECTOR if nominal is not None and figure > nominal else Cause.NOMINAL


def _at_least(wind: Wind, mean: bool) -> bool:
    if mean or wind.gust is None:
        return wind.speed_at_least
    return wind.gust_at_least or wind.speed_at_least


def _judge_peak(plan: AirfieldPlan, peak: PeakWind) -> tuple[GroundFinding, ...]:
    """A peak against the ground limits; it says nothing of a mean."""
    figure = Knots(round_half_up_tenth(peak.speed))
    return tuple(
        GroundFinding(
            ground.aircraft,
            finding(
                figure,
                ground.thresholds,
                nominal=figure,
                cause=Cause.PEAK,
                at_least=peak.at_least,
            ),
        )
        for ground in plan.ground
        if ground.thresholds.limit.of is Of.GUST
    )


def _peak_shortly_before(report: Report, within: timedelta) -> PeakWind | None:
    """The peak, if it fell within so long before the report's own time."""
    peak = report.peak_wind
    if peak is None or report.observed_at is None:
        return None
    return peak if timedelta(0) <= report.observed_at - peak.at <= within else None


def _notes_that_apply(notes: tuple[RunwayNote, ...], wind: Wind) -> tuple[str, ...]:
    return tuple(note.text for note in notes if _note_applies(note, wind))


def _note_applies(note: RunwayNote, wind: Wind) -> bool:
    """A note applies above its speed, where the wind or its sector touches the note's sector."""
    if wind.strongest <= note.over:
        return False
    if note.sector_true is None or not isinstance(wind.direction, Steady):
        return True  # from anywhere, so perhaps from there
    first, second = note.sector_true
    if _in_arc(wind.direction.wind_from, first, second):
        return True
    if wind.sector is None:
        return False
    return (
        _in_arc(wind.sector.from_true, first, second)
        or _in_arc(wind.sector.to_true, first, second)
        or _in_arc(first, wind.sector.from_true, wind.sector.to_true)
    )


def _in_arc(direction: DegreesTrue, first: DegreesTrue, second: DegreesTrue) -> bool:
    # Equal ends are the whole circle.
    return (direction - first) % 360 <= ((second - first) % 360 or 360)
