"""Who hears which step, and when: filters, hours, the gathering minute, the rate."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, time
from typing import Final
from zoneinfo import ZoneInfo

from windwatch.episodes.books import Books
from windwatch.episodes.silence import WIND
from windwatch.episodes.state import ContactState, Held
from windwatch.episodes.values import (
    BEGINNINGS,
    ENDINGS,
    Step,
    StepName,
    TrackKey,
    TrackKind,
    computed_id,
)
from windwatch.fleet import Airfield, Contact, RunwaySteps, TellAbout
from windwatch.notices import rate
from windwatch.notices.manners import as_it_stands, waits
from windwatch.notices.values import Notice
from windwatch.rules import Rules

# True for longer than an observation is fresh.
_STATES: Final = frozenset({StepName.BACK, StepName.NO_DATA, StepName.DATA_BACK, StepName.ENDED})


def concerns(tell: TellAbout, airfield: str, track: TrackKey) -> bool:
    """Whether a contact wants to hear of a track at all."""
    if tell.airfields and airfield not in tell.airfields:
        return False
    match track.kind:
        case TrackKind.THUNDER:
            return tell.thunder
        case TrackKind.DATA:
            return _concerned_by_group(tell, track.quantity)
        case TrackKind.GROUND:
            return tell.ground and _names(tell.aircraft, track.aircraft)
        case TrackKind.RUNWAYS:
            return (
                tell.runways is not RunwaySteps.NONE
                and _names(tell.aircraft, track.aircraft)
                and _names(tell.pilot_limits, track.pilot_limits)
            )


def _concerned_by_group(tell: TellAbout, group: str) -> bool:
    if group == WIND:
        return tell.ground or tell.runways is not RunwaySteps.NONE
    return tell.thunder


def _names(chosen: tuple[str, ...], name: str) -> bool:
    return not chosen or name in chosen


def hears(contact: Contact, step: Step, told: Iterable[str], was_best: bool) -> bool:
    """Whether a contact hears a step.

    Parameters
    ----------
    told : iterable of str
        Contacts who heard of the beginning of what the step continues.
    was_best : bool
        For *runway out*: that runway was the best by the report before.
    """
    tell = contact.tell_about
    if step.name in ENDINGS:
        return contact.name in told
    if not concerns(tell, step.track.airfield, step.track):
        # Who has been passed an episode that is not its own concern hears how it goes on.
        return step.name is StepName.WORSENED and contact.name in told
    match step.name:
        case StepName.NEAR:
            return _hears_near(tell, step.track.kind)
        case StepName.EASING:
            return tell.easing and contact.name in told
        case StepName.RUNWAY_OUT:
            if not _hears_level(tell, "over"):
                return False
            return tell.runways is RunwaySteps.EACH or (
                tell.runways is RunwaySteps.BEST and was_best
            )
        case StepName.NO_DATA:
            return _hears_level(tell, "unknown")
        case _:
            return _hears_level(tell, "over")


def hears_unknown(contact: Contact, airfield: str, group: str, *, holds: bool = False) -> bool:
    """Whether a contact wants to know that nothing is known of a group of quantities.

    Parameters
    ----------
    holds : bool
        Whether it has been told of an open episode of the group, perhaps passed on to it.
    """
    tell = contact.tell_about
    track = TrackKey(TrackKind.DATA, airfield, quantity=group)
    if not concerns(tell, airfield, track):
        return holds
    return _hears_level(tell, "unknown")


def _hears_near(tell: TellAbout, kind: TrackKind) -> bool:
    if tell.levels is not None:
        return "near" in tell.levels
    return kind in (TrackKind.GROUND, TrackKind.THUNDER)


def _hears_level(tell: TellAbout, level: str) -> bool:
    return tell.levels is None or level in tell.levels


# --- when -------------------------------------------------------------------


def is_open(airfield: Airfield, at: datetime) -> bool:
    """Whether the airfield is within its operating hours; always, where none are set."""
    hours = airfield.operating_hours
    if hours is None:
        return True
    local: time = at.astimezone(ZoneInfo(airfield.time_zone)).time()
    if hours.opens <= hours.closes:
        return hours.opens <= local < hours.closes
    return local >= hours.opens or local < hours.closes


@dataclass(frozen=True, slots=True)
class Release:
    """What goes to a contact now, and what waits on."""

    steps: tuple[Step, ...]
    state: ContactState


def release(
    state: ContactState,
    new: tuple[Step, ...],
    contact: Contact,
    airfield: Airfield,
    rules: Rules,
    books: Books,
    now: datetime,
) -> Release:
    """Hold what must wait, and gather what may go.

    Runway steps wait for the opening outside operating hours, and what the contact's own hours
    hold waits for their end. Within a minute of a notice, what comes waits and goes together
    when that minute ends. Beyond so many notices in an hour `windwatch.notices.rate` decides.
    """
    open_now = is_open(airfield, now)
    queue = [
        *((held.step, _still_waits(held, contact, airfield, now, open_now)) for held in state.held),
        *((step, _begins_to_wait(step, contact, airfield, now, open_now)) for step in new),
    ]
    ready = [step for step, waiting in queue if waiting is None]
    long_held = {held.step.id for held in state.held if held.until is None}
    minute_ends = None if state.last_notice_at is None else state.last_notice_at + rules.gather
    wait: Held | None = None
    told: tuple[Step, ...] = ()
    if ready and minute_ends is not None and now < minute_ends:
        wait = Held(ready[0], minute_ends)
    else:
        told = _still_true(compress(tuple(ready)), long_held, airfield, rules, books, now)
        if told and not rate.may_go(
            state.recent,
            told,
            books.state.ledger,
            contact.name,
            rules.notices_an_hour,
            now,
        ):
            wait = Held(ready[0], None)
            told = ()
    if wait is not None:
        queue = [(step, waiting or replace(wait, step=step)) for step, waiting in queue]
    held = tuple(waiting for _, waiting in queue if waiting is not None)
    if told:
        recent = rate.noted(state.recent, rules.notices_an_hour, now)
        return Release(told, replace(state, held=held, last_notice_at=now, recent=recent))
    return Release((), state if held == state.held else replace(state, held=held))


def _still_waits(
    held: Held, contact: Contact, airfield: Airfield, now: datetime, open_now: bool
) -> Held | None:
    """Why a step waits on; None: not any longer."""
    if held.until is not None and now < held.until:
        return held
    # What only waited for its minute was made while the airfield was open.
    closed = held.until is None and held.step.track.kind is TrackKind.RUNWAYS and not open_now
    return Held(held.step, None) if closed or waits(contact, held.step, airfield, now) else None


def _begins_to_wait(
    step: Step, contact: Contact, airfield: Airfield, now: datetime, open_now: bool
) -> Held | None:
    closed = step.track.kind is TrackKind.RUNWAYS and not open_now
    return Held(step, None) if closed or waits(contact, step, airfield, now) else None


def _still_true(
    steps: tuple[Step, ...],
    long_held: set[str],
    airfield: Airfield,
    rules: Rules,
    books: Books,
    now: datetime,
) -> tuple[Step, ...]:
    """What has waited longer than its minute, as it stands now; what is over is left out."""
    found = (
        as_it_stands(step, airfield, rules, books.state, books.folded, now)
        if step.id in long_held
        else step
        for step in steps
    )
    return tuple(step for step in found if step is not None)


def compress(steps: tuple[Step, ...]) -> tuple[Step, ...]:
    """Make one line of what began and ended, or worsened, while it waited."""
    by_episode: dict[str, list[Step]] = {}
    for step in steps:
        by_episode.setdefault(step.episode, []).append(step)
    return tuple(step for group in by_episode.values() for step in _compress_episode(group))


def _compress_episode(steps: list[Step]) -> list[Step]:
    first, last = steps[0], steps[-1]
    if len(steps) == 1 or first.name not in BEGINNINGS:
        return steps if len(steps) == 1 else [last]
    if last.name in ENDINGS:
        if last.name is StepName.WITHDRAWN:
            return []
        return [replace(first, ended_at=last.ended_at or last.at, level=last.level)]
    worst = max(
        (s.worst for s in steps if s.worst is not None),
        key=lambda finding: finding.share,
        default=first.worst,
    )
    return [replace(first, finding=last.finding or first.finding, worst=worst)]


# --- notices ----------------------------------------------------------------


def make_notice(
    contact: Contact,
    airfield: Airfield,
    steps: tuple[Step, ...],
    rules: Rules,
    now: datetime,
    references: tuple[str, ...],
) -> Notice:
    """One notice of all steps of one event; its id is computed from the contact and the steps."""
    return Notice(
        id=computed_id(contact.name, *(step.id for step in steps)),
        contact=contact.name,
        airfield=airfield.id,
        at=now,
        kind=_kind(steps),
        steps=steps,
        urgent=any(step.urgent for step in steps),
        valid_until=min(_valid_until(step, airfield, rules, now) for step in steps),
        references=references,
    )


def _kind(steps: tuple[Step, ...]) -> str:
    if any(s.name in BEGINNINGS or s.name is StepName.WORSENED for s in steps):
        return "alert"
    if all(s.name in ENDINGS for s in steps):
        return "cancel"
    return "update"


def _valid_until(step: Step, airfield: Airfield, rules: Rules, now: datetime) -> datetime:
    """Until when a step may be sent as current: a wind only while its observation is fresh."""
    if step.name is StepName.WITHDRAWN:
        return now + rules.withdrawn_valid_for
    if step.name in _STATES or step.past:
        return now + rules.state_valid_for
    observed = max((r.observed_at for r in step.reports), default=now)
    if step.name is StepName.REMINDER:
        observed = now
    return max(observed + airfield.stale_after, now + rules.tried_at_least)
