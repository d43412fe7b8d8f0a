"""`windwatch now`: what it shows of one airfield, and that as JSON."""

from __future__ import annotations

from datetime import datetime
from typing import Any, NamedTuple

from windwatch.airmanship.cautions import CAUTION
from windwatch.assessment.plan import AirfieldPlan
from windwatch.assessment.values import Assessment, EndFinding, Finding, Level, RunwaysFinding
from windwatch.cli.show import iso
from windwatch.fleet import Airfield
from windwatch.reports.as_json import wind_as_json
from windwatch.reports.values import Report


class Shown(NamedTuple):
    """One airfield and the report it is judged by; None: nothing is known."""

    airfield: Airfield
    plan: AirfieldPlan
    report: Report | None
    assessment: Assessment | None
    stale: bool
    supposed: bool


def known(shown: Shown) -> bool:
    """Whether its wind is known and fresh, or supposed."""
    return shown.report is not None and shown.report.wind is not None and not shown.stale


def document(shown: list[Shown], moment: datetime) -> dict[str, Any]:
    """The whole answer."""
    return {
        "at": iso(moment),
        "airfields": [_airfield_json(s, moment) for s in shown],
        "caution": CAUTION,
    }


def _airfield_json(shown: Shown, moment: datetime) -> dict[str, Any]:
    report, judged = shown.report, shown.assessment
    observed = None if report is None else report.observed_at
    found: dict[str, Any] = {
        "airfield": shown.airfield.id,
        "wind_known": known(shown),
        "supposed": shown.supposed,
        "station": None if report is None else report.station,
        "observed_at": iso(observed),
        "age_min": None if observed is None else int((moment - observed).total_seconds() // 60),
        "raw": None if report is None else report.raw,
        "wind": None if report is None else wind_as_json(report.wind),
        "runways": [],
        "ground": [],
        "thunder": None,
    }
    if judged is not None:
        stale = shown.stale
        found["runways"] = [_subject_json(s, stale) for s in judged.runways]
        found["ground"] = [
            {"aircraft": g.aircraft, **_finding_json(g.finding, stale)} for g in judged.ground
        ]
        if judged.thunder is not None:
            found["thunder"] = {
                **_level_json(judged.thunder.level, stale),
                "reasons": list(judged.thunder.reasons),
            }
    return found


def _level_json(level: Level, stale: bool) -> dict[str, str]:
    return {"level": "unknown" if stale else level.word, "last_known_level": level.word}


def _subject_json(subject: RunwaysFinding, stale: bool) -> dict[str, Any]:
    return {
        "aircraft": subject.aircraft,
        "pilot_limits": subject.pilot_limits,
        **_level_json(subject.level, stale),
        "runways": [
            {
                "runway": runway.runway,
                "best_end": runway.best.end,
                "ends": [_end_json(end, stale) for end in runway.ends],
                "notes": list(runway.notes),
            }
            for runway in subject.runways
        ],
    }


def _end_json(end: EndFinding, stale: bool) -> dict[str, Any]:
    return {
        "end": end.end,
        "heading_true_deg": end.heading_true,
        "approximate": end.approximate,
        **_level_json(end.level, stale),
        "headwind_kt": None if end.headwind is None else round(end.headwind, 1),
        "crosswind_kt": None if end.crosswind is None else round(end.crosswind, 1),
        "findings": [_finding_json(f, stale) for f in end.findings],
    }


def _finding_json(finding: Finding, stale: bool) -> dict[str, Any]:
    return {
        "quantity": finding.quantity,
        "figure_kt": finding.figure,
        "nominal_kt": finding.nominal,
        "limit_kt": finding.limit.value,
        "whose": finding.limit.whose,
        "of": finding.limit.of.value,
        **_level_json(finding.level, stale),
        "at_least": finding.at_least,
    }
