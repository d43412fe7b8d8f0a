"""Quiet hours, duty and absences: what waits, and what is left to say when the wait ends."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Final

from windwatch.assessment.values import Level
from windwatch.episodes.intake import weather_is_known, wind_is_known
from windwatch.episodes.ledger import Told
from windwatch.episodes.silence import WIND
from windwatch.episodes.state import AirfieldState
from windwatch.episodes.told import is_standing
from windwatch.episodes.track import Folded
from windwatch.episodes.values import ReportRef, Step, StepName
from windwatch.fleet import Airfield, Contact
from windwatch.hours import is_on_duty, is_quiet
from windwatch.rules import Rules

# What quiet hours may hold. Whatever opens, worsens, is withdrawn or is not known any more goes
# out at any hour; runway steps outside the operating hours wait for the opening anyway.
HELD_IN_QUIET: Final = frozenset(
    {StepName.NEAR, StepName.EASING, StepName.REMINDER, StepName.DATA_BACK}
)


def is_silent(contact: Contact, airfield: Airfield, now: datetime) -> bool:
    """Whether everything waits: off duty, away, or full silence in the quiet hours."""
    if not (contact.duty or contact.absent or contact.full_silence):
        return False
    zone = contact.time_zone or airfield.time_zone
    if not is_on_duty(contact.duty, contact.absent, zone, now):
        return True
    return contact.full_silence and is_quiet(contact.quiet_hours, zone, now)


def waits(contact: Contact, step: Step, airfield: Airfield, now: datetime) -> bool:
    """Whether a step waits for its contact's hours."""
    if is_silent(contact, airfield, now):
        return True
    if step.name not in HELD_IN_QUIET:
        return False
    return is_quiet(contact.quiet_hours, contact.time_zone or airfield.time_zone, now)


def as_it_stands(
    step: Step,
    airfield: Airfield,
    rules: Rules,
    state: AirfieldState,
    folded: Folded,
    now: datetime,
) -> Step | None:
    """What is left to say of a step that has waited; None: it is not true any more.

    Parameters
    ----------
    step : Step
        As `windwatch.notices.routing.compress` leaves it: what began and ended is past.
    state, folded
        The airfield now.
    """
    if step.past:
        return step
    told = next((told for told in state.ledger if told.episode == step.episode), None)
    match step.name:
        case StepName.NEAR:
            return _refreshed(step, airfield, state, folded, now) if _is_near(told) else None
        case StepName.REMINDER:
            if told is None or not _is_over(told) or folded.track(told.track).easing:
                return None
            noted = any(ack.episode == told.episode for ack in state.acknowledged)
            if noted or is_standing(told.opened_at, rules, now):
                return None
            return _refreshed(step, airfield, state, folded, now)
        case StepName.EASING:
            if told is None or not _is_over(told) or not folded.track(told.track).easing:
                return None
            return _refreshed(step, airfield, state, folded, now)
        case StepName.DATA_BACK:
            known = wind_is_known if step.track.quantity == WIND else weather_is_known
            return step if known(airfield, state, now) else None
        case StepName.OPENED | StepName.UNSETTLED if told is not None and _is_over(told):
            return _refreshed(step, airfield, state, folded, now)
        case _:
            return step


def _is_near(told: Told | None) -> bool:
    return told is not None and told.open and told.level is Level.NEAR


def _is_over(told: Told) -> bool:
    return told.open and told.level is Level.OVER


def _refreshed(
    step: Step, airfield: Airfield, state: AirfieldState, folded: Folded, now: datetime
) -> Step:
    """The present figure in a step that has waited, with the report it comes from."""
    track = folded.track(step.track)
    newest = _newest(state)
    if track.finding is None or newest is None or not wind_is_known(airfield, state, now):
        return step
    span = track.open_span
    worst = step.worst if span is None else span.worst
    seen = {report.id: report for report in (*step.reports, newest)}
    return replace(
        step,
        level=track.level,
        finding=track.finding,
        end=track.end,
        worst=worst,
        reports=tuple(seen.values()),
    )


def _newest(state: AirfieldState) -> ReportRef | None:
    return state.entries[-1].ref if state.entries else None
