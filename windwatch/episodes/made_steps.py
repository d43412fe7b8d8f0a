"""The steps themselves: what is said, with the figures and reports behind it."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from windwatch.assessment.values import Finding, Level
from windwatch.episodes.gauge import Span
from windwatch.episodes.told import Reckoning, Told
from windwatch.episodes.track import Track
from windwatch.episodes.values import ReportRef, Step, StepName, TrackKind, computed_id
from windwatch.fleet import PARKED_QUANTITIES
from windwatch.rules import in_words

_COUNTED: Final = {2: "two", 3: "three", 4: "four"}
_PLACE: Final = {2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth"}


def counted(number: int) -> str:
    """A small number in words."""
    return _COUNTED.get(number, str(number))


def opening(
    reckoning: Reckoning, track: Track, told: Told, span: Span, *, reason: str = ""
) -> Step:
    """*Opened*; or *unsettled*, when it swings about the limit."""
    unsettled = span.unsettled and not reason
    finding: Finding | None = span.worst
    default = "one report over the limit is enough"
    if track.key.kind is TrackKind.RUNWAYS:
        default = "no runway remains within limits"
        finding = span.opening
    if track.key.kind is TrackKind.THUNDER:
        default = "; ".join(reckoning.evidence.thunder) or "thunder at the field"
    if unsettled:
        rules = reckoning.rules
        default = (
            f"{_PLACE.get(rules.unsettled_openings, f'{rules.unsettled_openings}th')} opening "
            f"within {in_words(rules.unsettled_within)}: swinging about the limit; it now stays "
            "open"
        )
    return make_step(
        reckoning,
        track,
        told,
        StepName.UNSETTLED if unsettled else StepName.OPENED,
        level=Level.OVER,
        finding=finding,
        end=span.end,
        since=span.opened_at,
        worst=span.worst,
        reports=reckoning.evidence.named((span.opened_by, span.worst_by)),
        reason=reason or default,
    )


def withdrawal(reckoning: Reckoning, track: Track, told: Told, runway: str = "") -> Step:
    """*Withdrawn*, with the corrected figure."""
    return make_step(
        reckoning,
        track,
        told,
        StepName.WITHDRAWN,
        finding=track.finding,
        end=track.end,
        runway=runway,
        since=told.opened_at,
        reports=reckoning.evidence.latest,
        reason="the report that caused it was corrected",
    )


def returning(reckoning: Reckoning, track: Track, told: Told, span: Span) -> Step:
    """*Back within limits*, with the reports that met the rule."""
    rules = reckoning.rules
    if track.key.kind is TrackKind.THUNDER:
        reason = (
            f"{in_words(rules.convective_hold)} since the last thunder, and a report without "
            "thunder at the field or in the vicinity and without cumulonimbus"
        )
    else:
        parked = track.key.quantity in PARKED_QUANTITIES
        hold = rules.parked_hold if parked else rules.runway_hold
        reason = (
            f"{counted(rules.low_reports)} reports at least {in_words(rules.low_apart)} apart "
            f"below the limit less its margin, {in_words(hold)} after the last one over, "
            f"{in_words(rules.convective_hold)} after thunder or wind shift"
        )
    return make_step(
        reckoning,
        track,
        told,
        StepName.BACK,
        finding=track.finding,
        end=track.end,
        since=span.opened_at,
        worst=span.worst,
        reports=reckoning.evidence.named(span.closed_by),
        ended_at=span.closed_at,
        reason=reason,
    )


def runway_out(reckoning: Reckoning, track: Track, told: Told, span: Span) -> Step:
    """*Runway out*, while another remains."""
    return make_step(
        reckoning,
        track,
        told,
        StepName.RUNWAY_OUT,
        finding=standing_finding(track, told.runway) or span.opening,
        end=standing_end(track, told.runway) or span.end,
        runway=told.runway,
        since=span.opened_at,
        worst=span.worst,
        reports=reckoning.evidence.named((span.opened_by,)),
        reason="over its limit while another runway remains",
    )


def make_step(
    reckoning: Reckoning,
    track: Track,
    told: Told,
    name: StepName,
    *,
    finding: Finding | None,
    reports: tuple[ReportRef, ...],
    reason: str,
    level: Level | None = None,
    end: str = "",
    runway: str = "",
    since: datetime | None = None,
    worst: Finding | None = None,
    ended_at: datetime | None = None,
) -> Step:
    """A step with its computed id and what is the same for all."""
    return Step(
        id=computed_id(told.episode, str(told.steps + 1)),
        episode=told.episode,
        name=name,
        track=track.key,
        at=reckoning.now,
        level=track.level if level is None else level,
        finding=finding,
        end=end,
        runway=runway,
        remaining=remaining_ends(track),
        since=since,
        worst=worst,
        reports=reports,
        ended_at=ended_at,
        reason=reason,
    )


def remaining_ends(track: Track) -> tuple[str, ...]:
    """The better ends of the runways that are not over, best first."""
    return tuple(s.end for s in track.standing if s.level is not Level.OVER)


def standing_finding(track: Track, runway: str) -> Finding | None:
    """The deciding figure of one runway by the newest report."""
    return next((s.finding for s in track.standing if s.runway == runway), None)


def standing_end(track: Track, runway: str) -> str:
    """The better end of one runway by the newest report."""
    return next((s.end for s in track.standing if s.runway == runway), "")
