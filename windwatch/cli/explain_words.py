"""`windwatch explain`, in words: every figure can be checked with pencil and paper."""

from __future__ import annotations

from collections.abc import Iterator
from zoneinfo import ZoneInfo

from windwatch.airmanship.components import round_half_up_tenth, wind_on_runway
from windwatch.assessment.limits import deadband, near_deadband, thresholds, worsening_step
from windwatch.assessment.plan import plan_airfield
from windwatch.assessment.values import Finding
from windwatch.cli.show import paragraph
from windwatch.episodes.values import Step, TrackKind
from windwatch.fleet import Airfield
from windwatch.notices.clean import visible
from windwatch.notices.lines import step_line
from windwatch.notices.words import Times, number, quantity, wind_short
from windwatch.reports.decode import decode_report
from windwatch.settings.running import Settings
from windwatch.store.store import Store
from windwatch.store.values import StoredNotice


def explained(step: Step, settings: Settings) -> Iterator[str]:
    """One step: the rule, the raw reports, the figure and what it was compared with."""
    airfield = next((a for a in settings.fleet.airfields if a.id == step.track.airfield), None)
    zone = None if airfield is None else ZoneInfo(airfield.time_zone)
    times = Times(zone, step.at)
    yield paragraph(step_line(step), hang="  ")
    yield f"  step {step.id[:8]}, found {times.dated(step.at)}"
    if step.reason:
        yield paragraph(f"rule: {step.reason}", "  ", "    ")
    for ref in step.reports:
        yield paragraph(f"report: {visible(ref.raw, 2000)}", "  ", "    ")
        yield paragraph(
            f"observed {times.at(ref.observed_at)}, received {times.at(ref.received_at)}"
            f"{', fall-back station' if ref.fall_back else ''}",
            "    ",
        )
    if step.finding is not None:
        yield from _sum(step, step.finding, settings, airfield)


def _sum(
    step: Step, finding: Finding, settings: Settings, airfield: Airfield | None
) -> Iterator[str]:
    """The figure recomputed from the raw report, and what it was compared with."""
    limit = finding.limit
    of = "gust, or mean without one" if limit.of.value == "gust" else "mean"
    rules = settings.fleet.rules
    bounds = thresholds(limit, rules)
    yield paragraph(
        f"figure: {quantity(finding.quantity)} {number(finding.figure)} kt (of the {of}); limit "
        f"{number(limit.value)} kt, {limit.whose}",
        "  ",
        "    ",
    )
    margin, near_margin = deadband(limit.value, rules), near_deadband(limit.value, rules)
    yield paragraph(
        f"over: above {number(limit.value)}; near: above {bounds.near:g}; counts towards back "
        f"within limits: {bounds.low:g} or less (margin {margin:g}); near ends at "
        f"{bounds.near_low:g} or less (margin {near_margin:g}); worse is told from "
        f"{worsening_step(limit.value, rules):g} kt more on",
        "  ",
        "    ",
    )
    if not step.reports:
        return
    ref = step.reports[0]
    report = decode_report(ref.raw, ref.received_at, ref.observed_at, ref.kind)
    yield f"  decoded: {wind_short(report.wind)} true"
    if report.peak_wind is not None and step.track.kind is TrackKind.GROUND:
        peak = report.peak_wind
        blew = f"{peak.wind_from:03.0f}/{number(peak.speed)} kt"
        yield f"  peak in the remarks: {blew} at {peak.at:%H:%MZ}"
    if report.wind is None or airfield is None or not step.end:
        return
    plan = plan_airfield(settings.fleet, airfield, ref.observed_at.date())
    for runway in (r for s in plan.subjects for r in s.runways):
        for end in runway.ends:
            if end.name == step.end:
                on = wind_on_runway(report.wind, end.heading_true)
                yield paragraph(
                    f"recomputed on {end.name}, heading {end.heading_true:.1f} true: worst "
                    f"crosswind {round_half_up_tenth(on.worst_crosswind)} kt, worst tailwind "
                    f"{round_half_up_tenth(on.worst_tailwind)} kt (speed times sine of the angle "
                    "between wind and heading, and times its cosine)",
                    "  ",
                    "    ",
                )
                return


def told(store: Store, stored: StoredNotice) -> Iterator[str]:
    """Who was told, and every try at it."""
    notice = stored.notice
    yield paragraph(
        f"told {notice.contact} at {notice.at:%d %H:%M:%SZ}: {visible(stored.content.subject)}",
        hang="  ",
    )
    for d in stored.deliveries:
        for attempt in store.attempts(d.id):
            yield paragraph(
                f"{d.channel} try {attempt.number} at {attempt.started_at:%H:%M:%SZ}: "
                f"{attempt.outcome} {visible(attempt.answer, 200)}".rstrip(),
                "  ",
                "    ",
            )
