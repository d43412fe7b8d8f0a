"""What is owed without a new report: no data, data back, reminders, the state to newcomers."""

from __future__ import annotations

from dataclasses import replace

from windwatch.assessment.values import Level
from windwatch.episodes import silence
from windwatch.episodes.intake import covering, weather_is_known, wind_is_known
from windwatch.episodes.ledger import Told
from windwatch.episodes.reporting import silent_for
from windwatch.episodes.silence import Silence
from windwatch.episodes.state import Seen
from windwatch.episodes.told import is_standing
from windwatch.episodes.values import Step, StepName, TrackKey, TrackKind, computed_id
from windwatch.fleet import PARKED_QUANTITIES
from windwatch.notices.routing import hears, hears_unknown
from windwatch.notices.situation import holds_any
from windwatch.notices.telling import Telling, joined


def tell_silences(telling: Telling) -> None:
    """Say once that nothing is known of a group of quantities, and once that it is again."""
    before = {s.group: s for s in telling.state.silences}
    silences = []
    for group in silence.GROUPS:
        known = before.get(group)
        if _is_known(telling, group):
            if known is not None and known.told:
                _say_data_back(telling, known)
                telling.over.append(known)
            continue
        silent = _say_no_data(telling, known or _begin(telling, group))
        if silent.told:
            silences.append(silent)
    telling.state = replace(telling.state, silences=tuple(silences))


def _is_known(telling: Telling, group: str) -> bool:
    known = wind_is_known if group == silence.WIND else weather_is_known
    return known(telling.airfield, telling.state, telling.now)


def _seen(telling: Telling, group: str) -> Seen | None:
    return telling.state.wind if group == silence.WIND else telling.state.weather


def _begin(telling: Telling, group: str) -> Silence:
    seen = _seen(telling, group)
    since = telling.state.started_at if seen is None else seen.at
    entries = telling.state.entries
    without = entries[-1].id if entries and entries[-1].observed_at > since else ""
    return silence.begin(telling.airfield.id, group, since, never=seen is None, without=without)


def _say_no_data(telling: Telling, silent: Silence) -> Silence:
    cover = None
    if silent.group == silence.WIND:
        cover = covering(telling.airfield, telling.state, telling.now)
    affected = _open_in_group(telling, silent.group)
    names = _who_hears_no_data(telling, silent, affected, covered=cover is not None)
    if not names:
        return silent
    seen = _seen(telling, silent.group)
    step = silence.no_data(
        telling.airfield.id,
        silent,
        telling.now,
        None if seen is None else seen.ref,
        affected,
        "" if cover is None else cover.station,
        closed=silent_for(telling.airfield, silent.since, telling.now) is None,
    )
    telling.say(step, names)
    return silence.tell(silent, names)


def _who_hears_no_data(
    telling: Telling, silent: Silence, affected: tuple[TrackKey, ...], *, covered: bool
) -> tuple[str, ...]:
    """Who holds an open episode hears at `stale_after`; the others later, unless covered.

    Outside the station's reporting hours nobody else hears, and after them it has time to begin.
    Who hears of one group's silence hears of the other's in the same notice.
    """
    airfield, state = telling.airfield, telling.state
    expected = silent_for(airfield, silent.since, telling.now)
    due_to_all = expected is not None and expected >= airfield.no_data_after and not covered
    stale = telling.now - silent.since >= airfield.stale_after
    names = []
    for contact in telling.setup.fleet.contacts:
        if contact.name in silent.told:
            continue
        holds = holds_any(state, contact.name, affected)
        if not hears_unknown(contact, airfield.id, silent.group, holds=holds):
            continue
        heard_now = any(s.name is StepName.NO_DATA for s in telling.to_hear.get(contact.name, ()))
        if due_to_all or (stale and (holds or heard_now)):
            names.append(contact.name)
    return tuple(names)


def _open_in_group(telling: Telling, group: str) -> tuple[TrackKey, ...]:
    wanted = (
        (TrackKind.RUNWAYS, TrackKind.GROUND) if group == silence.WIND else (TrackKind.THUNDER,)
    )
    return tuple(
        told.track
        for told in telling.state.ledger
        if told.open and told.level is Level.OVER and not told.runway and told.track.kind in wanted
    )


def _say_data_back(telling: Telling, known: Silence) -> None:
    seen = _seen(telling, known.group)
    affected = _open_in_group(telling, known.group)
    level = max((telling.folded.track(key).level for key in affected), default=Level.WITHIN)
    step = silence.data_back(
        telling.airfield.id,
        known,
        telling.now,
        None if seen is None else seen.ref,
        level,
        affected,
    )
    names = tuple(c.name for c in telling.setup.fleet.contacts if c.name in known.told)
    telling.say(step, names)


def remind(telling: Telling) -> None:
    """Parked aircraft past their limit: again after `remind_every` without a notice.

    Every notice lists the open episodes, so every notice starts the clock anew. What is standing
    is listed, and nobody is reminded of it any more.
    """
    state = telling.state
    acknowledged = {a.episode for a in state.acknowledged}
    parked = [told for told in state.ledger if _may_remind(telling, told, acknowledged)]
    due = [c.name for c in telling.setup.fleet.contacts if _is_due(telling, c.name)]
    reminded = set()
    for told in parked:
        names = tuple(name for name in due if name in told.contacts)
        if names:
            reason = "still past the limit"
            telling.say(present_state(telling, told, StepName.REMINDER, reason), names)
            reminded.add(told.episode)
    if reminded:
        ledger = tuple(
            t._replace(steps=t.steps + 1) if t.episode in reminded else t for t in state.ledger
        )
        telling.state = replace(state, ledger=ledger)


def _is_due(telling: Telling, contact: str) -> bool:
    if telling.to_hear.get(contact):
        return False
    known = telling.state.contact(contact)
    if any(held.step.name is StepName.REMINDER for held in known.held):
        return False
    last = known.last_notice_at
    return last is not None and telling.now - last >= telling.rules.remind_every


def _may_remind(telling: Telling, told: Told, acknowledged: set[str]) -> bool:
    if not told.open or told.level is not Level.OVER or told.episode in acknowledged:
        return False
    if told.track.kind is not TrackKind.GROUND or told.track.quantity not in PARKED_QUANTITIES:
        return False
    if is_standing(told.opened_at, telling.rules, telling.now):
        return False
    track = telling.folded.track(told.track)
    return track.level is Level.OVER and not track.easing


def tell_newcomers(telling: Telling) -> None:
    """A contact that was added during an episode gets the present state."""
    state = telling.state
    contacts = telling.setup.fleet.contacts
    names = tuple(contact.name for contact in contacts)
    if names == state.known_contacts:
        return
    added = [contact for contact in contacts if contact.name not in state.known_contacts]
    ledger = []
    for told in state.ledger:
        line = told
        if told.open and told.level is Level.OVER and not told.runway:
            reason = "the present state, for a contact that was added"
            step = present_state(telling, told, StepName.OPENED, reason)
            new = tuple(
                contact.name
                for contact in added
                if contact.name not in told.contacts and hears(contact, step, (), was_best=False)
            )
            if new:
                telling.say(step, new)
                line = told._replace(steps=told.steps + 1, contacts=joined(told.contacts, new))
        ledger.append(line)
    telling.state = replace(state, ledger=tuple(ledger), known_contacts=names)


def present_state(telling: Telling, told: Told, name: StepName, reason: str) -> Step:
    """The step that tells somebody how an open episode stands now."""
    track = telling.folded.track(told.track)
    span = track.episode
    entries = telling.state.entries
    return Step(
        id=computed_id(told.episode, str(told.steps + 1)),
        episode=told.episode,
        name=name,
        track=told.track,
        at=telling.now,
        level=track.level,
        finding=track.finding,
        end=track.end,
        since=told.opened_at,
        worst=None if span is None else span.worst,
        reports=(entries[-1].ref,) if entries else (),
        reason=reason,
    )
