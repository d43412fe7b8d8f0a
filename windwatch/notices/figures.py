"""Which subject, which figure against which limit, whose; equal answers share a line."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from windwatch.airmanship.conversions import beside_limits
from windwatch.assessment.values import Finding, Level, RunwayFinding, RunwaysFinding
from windwatch.episodes.clock_doubt import WATCH
from windwatch.episodes.told import is_standing
from windwatch.episodes.values import Step, StepName, TrackKey, TrackKind
from windwatch.notices import words
from windwatch.notices.page import Row
from windwatch.notices.scene import ALARMS, Scene, mark_of, runways_of
from windwatch.notices.words import (
    against,
    figure_and_limit,
    figure_of,
    quantity,
    quantity_of,
    speed,
)
from windwatch.reports.decode import decode_report
from windwatch.rules import Rules
from windwatch.wind import KNOTS


def figure_rows(scene: Scene) -> tuple[Row, ...]:
    """What changed: each step's subject, figure and limit, the leading one first."""
    grouped: dict[tuple[object, ...], list[Step]] = {}
    for step in scene.steps:
        grouped.setdefault(_answer(scene, step), []).append(step)
    return tuple(_row(scene, steps) for steps in grouped.values())


def _answer(scene: Scene, step: Step) -> tuple[object, ...]:
    """Steps with the same answer share a line."""
    if step.past:
        return ("past", step.id)
    name: object = "alarm" if step.name in ALARMS and step.level is Level.OVER else step.name
    if step.track.kind is TrackKind.GROUND and step.finding is not None:
        return (
            name,
            step.level,
            step.track.quantity,
            quantity_of(step.finding),
            figure_of(step.finding),  # in knots, as judged
        )
    if step.track.kind is TrackKind.RUNWAYS:
        # Figures that differ in knots are not the same answer, whatever the unit.
        judged = "" if scene.unit == KNOTS else _runway_figures(scene, step, KNOTS)
        return name, step.level, runways_text(scene, step), judged
    return name, step.track


def _row(scene: Scene, steps: list[Step]) -> Row:
    first = steps[0]
    if first.past:
        return _past_row(scene, first)
    match first.track.kind:
        case TrackKind.GROUND:
            return _ground_row(scene, steps)
        case TrackKind.RUNWAYS:
            pairs = [(s.track.aircraft, s.track.pilot_limits) for s in steps]
            too = in_knots_too(scene, partial(_runway_figures, scene, first))
            return Row(
                runways_text(scene, first),
                head=words.subjects(pairs),
                mark=mark_of(first),
                details=(*too, *_remarks(scene, steps)),
            )
        case TrackKind.THUNDER:
            return Row(
                thunder_text(scene, first),
                head="Thunder",
                mark=mark_of(first),
                details=_remarks(scene, steps),
            )
        case TrackKind.DATA:
            return Row(
                data_text(scene, first),
                head=_data_head(first),
                mark=mark_of(first) if first.name is StepName.NO_DATA else None,
                details=_last_known(scene, first),
            )


# --- ground --------------------------------------------------------------------


def _ground_row(scene: Scene, steps: list[Step]) -> Row:
    first = steps[0]
    head = words.first_upper(quantity(first.track.quantity))
    if first.finding is None:
        names = ", ".join(s.track.aircraft for s in steps)
        what = first.reason if first.name is StepName.ENDED else words.STEP[first.name]
        return Row(f"{names} - {what or words.STEP[first.name]}", head=head)
    pairs = [(step, step.finding) for step in steps if step.finding is not None]
    text = _ground_figures(pairs, scene.unit)
    if first.name not in ALARMS or first.name is StepName.UNSETTLED:
        text += f" - {words.STEP[first.name]}"
    too = in_knots_too(scene, partial(_ground_figures, pairs))
    return Row(text, head=head, mark=mark_of(first), details=(*too, *_remarks(scene, steps)))


def _ground_figures(pairs: list[tuple[Step, Finding]], unit: str) -> str:
    """``41 kt > X-WREN 22 kt, X-LARK 25 kt``: one figure against the limits of several."""
    shared = pairs[0][1]
    figure, *limits = beside_limits(
        shared.figure, tuple(finding.limit.value for _, finding in pairs), unit
    )
    least = "at least " if shared.at_least else ""
    sign = ">" if shared.level is Level.OVER else "of"
    whose = (
        _limit_of(step, finding, f"{limit} {unit}")
        for (step, finding), limit in zip(pairs, limits, strict=True)
    )
    return f"{least}{figure} {unit} {sign} {', '.join(whose)}"


def in_knots_too(scene: Scene, figures_in: Callable[[str], str]) -> tuple[str, ...]:
    """Figures once more as they are judged, for a contact who is told in another unit than knots.

    Parameters
    ----------
    figures_in : callable
        The figures and limits in a unit.
    """
    if scene.unit == KNOTS:
        return ()
    judged = figures_in(KNOTS)
    return () if judged == figures_in(scene.unit) else (words.in_knots_too(judged),)


def _limit_of(step: Step, finding: Finding, limit: str) -> str:
    """``X-WREN 22 kt``, with whose it is where that is somebody else's, and what is new."""
    name = step.track.aircraft
    tags = []
    if finding.limit.whose != name:
        tags.append(finding.limit.whose)
    if step.name is StepName.WORSENED:
        tags.append("worse")
    if step.name is StepName.REMINDER:
        tags.append("still")
    tagged = f" ({', '.join(tags)})" if tags else ""
    return f"{name} {limit}{tagged}"


# --- runways -------------------------------------------------------------------


def runways_text(scene: Scene, step: Step) -> str:
    """A step of a runways track in words, with every runway's figure where it is known."""
    figures = _runway_figures(scene, step, scene.unit)
    match step.name:
        case StepName.OPENED | StepName.WORSENED | StepName.REMINDER:
            still = "still " if step.name is StepName.REMINDER else ""
            return f"{still}no runway within limits: {figures}"
        case StepName.UNSETTLED:
            return f"swinging about the limit, treat as over: {figures}"
        case StepName.NEAR:
            return f"near the limits: {figures}"
        case StepName.EASING:
            return f"{words.NOT_YET}: {figures}"
        case StepName.RUNWAY_OUT:
            figure = f": {figures}" if figures else ""
            return f"{step.runway} out{figure}. {remaining_text(step)}"
        case StepName.RUNWAY_BACK:
            figure = f": {figures}" if figures else ""
            return f"{step.runway} {words.BACK}{figure}"
        case StepName.BACK:
            others = [end for end in step.remaining if end != step.end]
            left = f". Within limits too: {words.listed(others)}" if others else ""
            return f"{words.BACK}: {figures}{left}"
        case StepName.WITHDRAWN:
            return f"alert withdrawn; by the corrected report {figures}"
        case StepName.ENDED:
            return step.reason or words.STEP[step.name]
        case _:
            return f"{words.STEP[step.name]}: {figures}"


def remaining_text(step: Step) -> str:
    """What remains within limits, the best first."""
    if not step.remaining:
        return "No runway remains within limits"
    if len(step.remaining) == 1:
        return f"One left: {step.remaining[0]} remains within limits"
    return f"{words.listed(step.remaining)} remain within limits"


def _runway_figures(scene: Scene, step: Step, unit: str) -> str:
    """The figures that a step of a runways track tells; '' where it tells none."""
    if step.name is StepName.ENDED:
        return ""
    if step.name in (StepName.RUNWAY_OUT, StepName.RUNWAY_BACK):
        return _deciding(step.end, step.finding, unit) if step.finding else ""
    return _each_runway(scene, step, unit)


def _each_runway(scene: Scene, step: Step, unit: str) -> str:
    assessment = scene.assessment_of(step)
    found = runways_of(assessment, step.track) if assessment else None
    if found is None or not found.runways:
        return _deciding(step.end, step.finding, unit) if step.finding else "no figure"
    if step.name in (StepName.BACK, StepName.WITHDRAWN, StepName.NEAR):
        return _deciding(step.end, step.finding, unit) if step.finding else _shown(found, unit)
    return _shown(found, unit, held=not step.remaining)


def _shown(found: RunwaysFinding, unit: str, *, held: bool = False) -> str:
    return "; ".join(_runway(runway, unit, held=held) for runway in found.runways)


def _runway(runway: RunwayFinding, unit: str, *, held: bool) -> str:
    """One runway by its better end: ``28 total wind 41 kt > 28 kt (dual)``."""
    best = runway.best
    if best.deciding is None:
        return f"{best.end} has no limit"
    text = _deciding(best.end, best.deciding, unit)
    if held and best.level is not Level.OVER:
        text += f", {words.not_yet(best.deciding)}"
    return text


def _deciding(end: str, finding: Finding, unit: str) -> str:
    place = f"{end} " if end else ""
    return f"{place}{quantity_of(finding)} {against(finding, unit)} ({finding.limit.whose})"


# --- thunder and what is known ----------------------------------------------------


def thunder_text(scene: Scene, step: Step) -> str:
    """Thunder, squall or funnel cloud, in words."""
    assessment = scene.assessment_of(step)
    reasons = assessment.thunder.reasons if assessment and assessment.thunder else ()
    match step.name:
        case StepName.BACK:
            return f"no longer reported; {words.BACK}"
        case StepName.WITHDRAWN:
            return "alert withdrawn: the report was corrected"
        case StepName.ENDED:
            return step.reason or words.STEP[step.name]
        case _:
            return ", ".join(reasons) or step.reason or mark_of(step).value


def known_since(scene: Scene, step: Step) -> str:
    """When the last observation was, in words; '' where there was none."""
    last = step.reports[-1].observed_at if step.reports else step.since
    if last is None and not scene.fall_back:
        last = scene.situation.wind_seen_at
    return "" if last is None else f" since {scene.times.at(last)}"


def data_text(scene: Scene, step: Step) -> str:
    """What is known of wind or weather, and since when not."""
    station = scene.airfield.station.id
    if step.track.quantity == WATCH:
        return f"not watched from {from_to(scene, step)}"
    what = "wind" if step.track.quantity == "wind" else "weather"
    if step.name is StepName.NO_DATA:
        return f"no {what} known from {station}{known_since(scene, step)}"
    if step.name is StepName.DATA_BACK:
        return f"{what} known again from {station}"
    return f"{what} of {station} {words.STEP[step.name]}"


def from_to(scene: Scene, step: Step) -> str:
    """From when to when nobody watched."""
    since, until = step.since or step.at, step.ended_at or step.at
    return f"{scene.times.at(since)} to {scene.times.at(until)}"


def _last_known(scene: Scene, step: Step) -> tuple[str, ...]:
    """The last wind before nothing was known."""
    if step.name is not StepName.NO_DATA:
        return ()
    lines = []
    if step.reports and step.track.quantity == "wind":
        last = step.reports[-1]
        report = decode_report(last.raw, last.received_at, last.observed_at, last.kind)
        lines.append(f"Last known: {words.wind_short(report.wind, scene.unit)}")
    return tuple(lines)


def _data_head(step: Step) -> str:
    if step.track.quantity == WATCH:
        return "Watch"
    return "Wind" if step.track.quantity == "wind" else "Weather"


# --- remarks ----------------------------------------------------------------------


def _remarks(scene: Scene, steps: list[Step]) -> tuple[str, ...]:
    """What made the figures what they are, and what stood before; equal ones together."""
    whose: dict[str, list[str]] = {}
    for step in steps:
        for note in _remarks_of(scene, step):
            whose.setdefault(note, []).append(step.track.aircraft)
    return tuple(
        f"{', '.join(names)}: {note}" if len(steps) > 1 and len(names) < len(steps) else note
        for note, names in whose.items()
    )


def _remarks_of(scene: Scene, step: Step) -> list[str]:
    notes: list[str] = []
    finding = step.finding
    if finding is not None and (cause := words.CAUSE.get(finding.cause)):
        nominal = ""
        if finding.nominal is not None and finding.nominal != finding.figure:
            nominal = f" ({speed(finding.nominal, scene.unit)} by the mean direction)"
        notes.append(f"{quantity(finding.quantity)}: {cause}{nominal}")
    since = f"over since {scene.times.at(step.since)}" if step.since is not None else ""
    if step.name in (StepName.WORSENED, StepName.REMINDER) and since:
        notes.append(since)
    if step.name is StepName.REMINDER and _is_the_last(step, scene.rules):
        notes.append("the last reminder: it stays listed as standing; review the limit")
    if step.name in (StepName.BACK, StepName.RUNWAY_BACK) and step.worst is not None:
        notes.append(f"worst {figure_of(step.worst, scene.unit)}{f', {since}' if since else ''}")
    if step.name is StepName.WITHDRAWN and step.worst is not None:
        notes.append(f"the withdrawn figure was {figure_of(step.worst, scene.unit)}")
    return notes


def _is_the_last(reminder: Step, rules: Rules) -> bool:
    """Whether the episode is standing before the next reminder would be due."""
    next_at = reminder.at + rules.remind_every
    return reminder.since is not None and is_standing(reminder.since, rules, next_at)


def _past_row(scene: Scene, step: Step) -> Row:
    began = f" from {scene.times.at(step.since)}" if step.since else ""
    ended = f" to {scene.times.at(step.ended_at)}" if step.ended_at else ""
    worst = step.worst or step.finding
    figure = f"; worst {_past_limit(worst, scene.unit)}" if worst else ""
    return Row(
        f"was over{began}{ended}{figure}; told now, as past",
        head=words.first_upper(track_words(step.track)),
        details=in_knots_too(scene, partial(_past_limit, worst)) if worst else (),
    )


def _past_limit(worst: Finding, unit: str) -> str:
    figure, limit = figure_and_limit(worst, unit)
    return f"{figure} {unit} > {limit} {unit}"


def who(track: TrackKey) -> str:
    """An aircraft and the standard that flies it, where one is named: ``X-LARK / dual``."""
    return words.subjects([(track.aircraft, track.pilot_limits)])


def track_words(track: TrackKey) -> str:
    """A track for people: ``tie-down X-WREN``, ``runways X-LARK / dual``."""
    match track.kind:
        case TrackKind.GROUND:
            return f"{quantity(track.quantity)} {track.aircraft}"
        case TrackKind.RUNWAYS:
            return f"runways {who(track)}"
        case TrackKind.THUNDER:
            return "thunder"
        case TrackKind.DATA:
            return {"wind": "wind", WATCH: "watching"}.get(track.quantity, "weather")


def quantity_in(finding: Finding) -> str:
    """The quantity before a figure, where it is one of a runway."""
    ground = finding.quantity not in words.RUNWAY_WORDS
    return "" if ground else f"{quantity_of(finding)} "
