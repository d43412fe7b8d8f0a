"""Why: the wind, who reported it, when, how old it is; and the evidence."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from windwatch.airmanship import cautions
from windwatch.assessment.values import EndFinding
from windwatch.episodes.limits_changed import LIMITS_CHANGED, WATCHED_NOW
from windwatch.episodes.values import ReportRef, Step, StepName, TrackKind
from windwatch.fleet import Station
from windwatch.notices import words
from windwatch.notices.clean import REPORT_LIMIT, visible
from windwatch.notices.page import Row
from windwatch.notices.scene import Scene, runways_of

# Nothing happened to the wind: the configuration is why it is told.
_CHANGE_SHOWN: Final = (LIMITS_CHANGED, WATCHED_NOW)
# Steps whose rule must be readable beside the report.
_RULE_SHOWN: Final = frozenset(
    {
        StepName.BACK,
        StepName.WITHDRAWN,
        StepName.ENDED,
        StepName.UNSETTLED,
        StepName.RUNWAY_BACK,
        StepName.EASING,
    }
)


def why_rows(scene: Scene) -> tuple[Row, ...]:
    """The wind, the station, the times, and what else made the figures."""
    rows = [Row(line) for line in _wind_lines(scene)]
    rows += [Row(line) for line in (*_weather(scene), *_station(scene), *_times(scene))]
    rows += [Row(line) for line in (*_approximate(scene), *_local_notes(scene))]
    if scene.situation.assessment is not None and scene.field_weather:
        rows += [Row(note) for note in scene.situation.assessment.weather_notes]
    return tuple(rows)


def _wind_lines(scene: Scene) -> tuple[str, ...]:
    report = scene.situation.report
    if report is None:
        return ("Wind: nothing is known",)
    lines = words.wind_long(report.wind, scene.situation.variation_deg, scene.unit)
    if not scene.known:
        when = report.observed_at
        last = f" at {scene.times.at(when)}" if when else ""
        lines = ("The present wind is not known", f"Last known{last}: {lines[0]}", *lines[1:])
    peak = report.peak_wind
    if peak is not None:
        least = "at least " if peak.at_least else ""
        lines += (
            (
                f"Peak {least}{words.speed(peak.speed, scene.unit)} from "
                f"{words.degrees(peak.wind_from)} true at {scene.times.at(peak.at)}"
            ),
        )
    if report.wind_shift_at is not None:
        lines += (f"Wind shift at {scene.times.at(report.wind_shift_at)}",)
    return lines


def _weather(scene: Scene) -> tuple[str, ...]:
    assessment = scene.situation.assessment
    if assessment is None or assessment.thunder is None or not scene.field_weather:
        return ()
    if not assessment.thunder.reasons:
        return ()
    if any(step.track.kind is TrackKind.THUNDER for step in scene.steps):
        return ()  # it stands among the figures
    return (words.first_upper(", ".join(assessment.thunder.reasons)),)


def _station(scene: Scene) -> tuple[str, ...]:
    """Who reports; distance and elevation difference where it is not the field's own."""
    used = scene.situation.station_in_use
    field = scene.airfield
    station = next(
        (s for s in (field.station, *field.fall_back_stations) if s.id == used), Station(used)
    )
    covers = f", in place of {field.station.id}" if scene.fall_back else ""
    if used == field.id and not scene.fall_back:
        return (f"Station {used}, the field's own",)
    if station.distance_nm is None:
        where = "distance not known"
    else:
        bearing = (
            ""
            if station.bearing_true is None
            else f", bearing {words.degrees(station.bearing_true)} true"
        )
        where = f"{words.number(station.distance_nm)} NM from the field{bearing}"
    if station.elevation_ft is None:
        height = "elevation not known"
    else:
        difference = round(station.elevation_ft - field.elevation_ft)
        height = (
            "at the field's elevation"
            if difference == 0
            else f"{abs(difference)} ft {'higher' if difference > 0 else 'lower'} than the field"
        )
    return (f"Station {used}{covers}: {where}, {height}",)


def _times(scene: Scene) -> tuple[str, ...]:
    situation = scene.situation
    lines: list[str] = []
    if situation.wind_seen_at is not None and situation.age is not None:
        lines.append(
            f"Observed {scene.times.at(situation.wind_seen_at)}, "
            f"{words.minutes(situation.age)} old when this was made"
        )
    newest = situation.newest
    if newest is not None and _without_wind(scene, newest):
        lines.append(
            f"The newest report of {newest.station}, {scene.times.at(newest.observed_at)}, "
            "has no wind"
        )
    if situation.next_report_due is not None:
        due = situation.next_report_due
        overdue = due < scene.notice.at
        lines.append(
            f"Next report {'was' if overdue else 'is'} due {scene.times.at(due)}"
            f"{', and has not come' if overdue else ''}"
        )
    return tuple(lines)


def _without_wind(scene: Scene, newest: ReportRef) -> bool:
    """Whether the main station reported after the wind in use, and without one."""
    seen = scene.situation.wind_seen_at
    ref = scene.situation.ref
    if seen is None or (ref is not None and ref.id == newest.id):
        return False
    return newest.station == scene.airfield.station.id and (
        newest.observed_at > seen or scene.fall_back
    )


def _ends(scene: Scene) -> tuple[EndFinding, ...]:
    """The better ends of the runways that the steps speak of."""
    assessment = scene.situation.assessment
    if assessment is None:
        return ()
    return tuple(
        runway.best
        for step in scene.steps
        if step.track.kind is TrackKind.RUNWAYS
        and (found := runways_of(assessment, step.track)) is not None
        for runway in found.runways
    )


def _approximate(scene: Scene) -> tuple[str, ...]:
    ends = dict.fromkeys(end.end for end in _ends(scene) if end.approximate)
    if not ends:
        return ()
    return (
        f"Approximate heading of {words.listed(list(ends))}: no survey, or the painted number only",
    )


def _local_notes(scene: Scene) -> tuple[str, ...]:
    """Local knowledge that applies to this wind."""
    assessment = scene.situation.assessment
    if assessment is None or not scene.known or scene.ground_only:
        return ()
    notes = dict.fromkeys(
        f"Local note, runway {runway.runway}: {note}"
        for found in assessment.runways
        for runway in found.runways
        for note in runway.notes
    )
    return tuple(notes)


# --- evidence -------------------------------------------------------------------


def report_tags(report: ReportRef) -> str:
    """What sets a report apart, to stand behind its times: ``, corrected report``."""
    return "".join(
        f", {tag}"
        for tag, there in (
            ("corrected report", report.corrected),
            ("fall-back station", report.fall_back),
        )
        if there
    )


def evidence_rows(scene: Scene) -> tuple[Row, ...]:
    """The raw reports with their receipt times, and the rule where it is not the figure itself."""
    rows: list[Row] = []
    for report in reports_shown(scene):
        tags = report_tags(report)
        rows.append(
            Row(
                f"{report.kind} of {report.station}, "
                f"observed {scene.times.at(report.observed_at)}, "
                f"received {scene.times.at(report.received_at)}{tags}"
            )
        )
        rows.append(Row(visible(report.raw, REPORT_LIMIT), verbatim=True))
    rows += [Row(line) for line in _rules(scene)]
    return tuple(rows)


def reports_shown(scene: Scene, most: int = 6) -> tuple[ReportRef, ...]:
    """The reports behind the steps and the present state, each once, newest first."""
    found: dict[str, ReportRef] = {}
    for step in scene.steps:
        found.update({report.id: report for report in step.reports})
    for extra in (scene.situation.ref, scene.situation.newest):
        if extra is not None:
            found[extra.id] = extra
    newest_first = sorted(found.values(), key=_by_time, reverse=True)
    return tuple(newest_first[:most])


def _by_time(report: ReportRef) -> tuple[datetime, datetime, str]:
    return report.observed_at, report.received_at, report.id


def _rules(scene: Scene, most: int = 8) -> tuple[str, ...]:
    reasons: dict[str, list[Step]] = {}
    for step in scene.steps:
        shown = step.name in _RULE_SHOWN or step.past or step.reason.startswith(_CHANGE_SHOWN)
        if step.reason and shown:
            reasons.setdefault(step.reason, []).append(step)
    lines = [f"Rule: {reason}" for reason in reasons]
    left = len(lines) - most
    return (*lines[:most], f"and {left} more") if left > 0 else tuple(lines)


def caution_rows() -> tuple[Row, ...]:
    """Who decides, and what the program does not see."""
    return (Row(cautions.CAUTION), Row(cautions.PROP_WASH))
