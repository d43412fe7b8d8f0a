"""Steps to the people they concern: who hears what, and the notices that go out now."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime

from windwatch.assessment.values import Assessment
from windwatch.episodes.books import Books, Setup
from windwatch.episodes.intake import wind_is_known
from windwatch.episodes.ledger import Told
from windwatch.episodes.silence import Silence
from windwatch.episodes.state import AirfieldState
from windwatch.episodes.track import Folded, Track
from windwatch.episodes.values import ReportRef, Step, StepName, TrackKey
from windwatch.fleet import Airfield, RunwaySteps
from windwatch.notices.routing import hears, make_notice, release
from windwatch.notices.situation import every_open_track, make_situation, open_tracks_of
from windwatch.notices.values import Notice, Situation
from windwatch.reports.values import Report
from windwatch.rules import Rules


@dataclass
class Telling:
    """One pass over the contacts: the books being rewritten, and what each is to hear.

    Attributes
    ----------
    steps : list of Step
        Every step made, told or not.
    heard_by : dict of step id to contact names
    to_hear : dict of contact name to steps
        In the order in which they were made.
    over : list of Silence
        Silences that have just ended: their conversations go on once more.
    """

    setup: Setup
    airfield: Airfield
    now: datetime
    state: AirfieldState
    folded: Folded
    steps: list[Step] = field(default_factory=list)
    heard_by: dict[str, tuple[str, ...]] = field(default_factory=dict)
    to_hear: dict[str, list[Step]] = field(default_factory=dict)
    over: list[Silence] = field(default_factory=list)

    @property
    def rules(self) -> Rules:
        """The figures of judgement in force."""
        return self.setup.fleet.rules

    @property
    def books(self) -> Books:
        """The books as they stand."""
        return Books(self.state, self.folded)

    def say(self, step: Step, contacts: tuple[str, ...]) -> None:
        """Have contacts hear a step; a step that nobody hears is still a step."""
        if step.id not in self.heard_by:
            self.steps.append(step)
        self.heard_by[step.id] = joined(self.heard_by.get(step.id, ()), contacts)
        for name in contacts:
            self.to_hear.setdefault(name, []).append(step)


def joined(known: tuple[str, ...], more: tuple[str, ...]) -> tuple[str, ...]:
    """Names, each once, in their first order."""
    return tuple(dict.fromkeys((*known, *more)))


def tell(telling: Telling, steps: tuple[Step, ...]) -> None:
    """Decide who hears each step, and note in the ledger who was told of a beginning."""
    contacts = telling.setup.fleet.contacts
    ledger = {told.episode: told for told in telling.state.ledger}
    lost_with_track = _lost_with_track(telling.state.ledger)
    for step in steps:
        told = ledger.get(step.episode)
        known = () if told is None else told.contacts
        was_best = bool(step.runway) and _was_best(telling.folded.track(step.track), step.runway)
        names = tuple(c.name for c in contacts if hears(c, step, known, was_best))
        telling.say(step, names)
        if told is not None and names:
            anew = not known or step.name is StepName.OPENED
            told_at = telling.now if anew else told.told_at
            ledger[step.episode] = told._replace(contacts=joined(known, names), told_at=told_at)
        if step.name in (StepName.OPENED, StepName.UNSETTLED):
            # Who hears of each runway knows by *none left* that these are lost.
            each = tuple(
                c.name
                for c in contacts
                if c.name in names and c.tell_about.runways is RunwaySteps.EACH
            )
            for episode in lost_with_track.get(step.track, ()):
                lost = ledger[episode]
                ledger[episode] = lost._replace(contacts=joined(lost.contacts, each))
    telling.state = replace(telling.state, ledger=tuple(ledger.values()))


def _was_best(track: Track, runway: str) -> bool:
    """Whether a lost runway was the best by the report before."""
    spans = track.gauge(runway).spans
    return bool(spans) and spans[-1].of_best


def _lost_with_track(ledger: tuple[Told, ...]) -> dict[TrackKey, list[str]]:
    """Episodes of runways that were lost together with the last one, by track."""
    found: dict[TrackKey, list[str]] = {}
    for told in ledger:
        if told.runway and told.by_opening and told.open:
            found.setdefault(told.track, []).append(told.episode)
    return found


def go_out(telling: Telling) -> tuple[tuple[Notice, Situation], ...]:
    """The notices that go out now; what must wait is held in the books."""
    state, books = telling.state, telling.books
    contacts = {c.contact: c for c in state.contacts}
    notices = []
    for contact in telling.setup.fleet.contacts:
        known = state.contact(contact.name)
        new = tuple(telling.to_hear.get(contact.name, ()))
        released = release(known, new, contact, telling.airfield, telling.rules, books, telling.now)
        if released.state != known:
            contacts[contact.name] = released.state
        if released.steps:
            references = _references(telling, contact.name, released.steps)
            notice = make_notice(
                contact,
                telling.airfield,
                released.steps,
                telling.rules,
                telling.now,
                references,
            )
            notices.append(notice)
    if tuple(contacts.values()) != state.contacts:
        telling.state = replace(state, contacts=tuple(contacts.values()))
    if not notices:
        return ()
    telling.state = _note_conversations(telling.state, notices)
    here = _here(telling.setup, telling.airfield, telling.books, telling.now)
    open_now = every_open_track(telling.folded, telling.state, telling.rules, telling.now)
    return tuple(
        (notice, replace(here, open_tracks=open_tracks_of(open_now, notice.contact)))
        for notice in notices
    )


def _references(telling: Telling, contact: str, steps: tuple[Step, ...]) -> tuple[str, ...]:
    """The notices that began the conversations which these steps continue."""
    episodes = {step.episode for step in steps}
    conversations = [(told.episode, told.first_notices) for told in telling.state.ledger]
    silences = (*telling.state.silences, *telling.over)
    conversations += [(silent.episode, silent.first_notices) for silent in silences]
    found = [
        notice
        for episode, first_notices in conversations
        if episode in episodes
        for name, notice in first_notices
        if name == contact
    ]
    return tuple(dict.fromkeys(found))


def _note_conversations(state: AirfieldState, notices: list[Notice]) -> AirfieldState:
    """Remember for each contact the notice that began the conversation about each episode."""
    roots: dict[str, dict[str, str]] = {}
    for notice in notices:
        root = notice.references[0] if notice.references else notice.id
        for step in notice.steps:
            roots.setdefault(step.episode, {})[notice.contact] = root

    def noted(first: tuple[tuple[str, str], ...], episode: str) -> tuple[tuple[str, str], ...]:
        if not first:
            return tuple(roots[episode].items())
        known = {contact for contact, _ in first}
        new = [pair for pair in roots[episode].items() if pair[0] not in known]
        return (*first, *new)

    return replace(
        state,
        ledger=tuple(
            told._replace(first_notices=noted(told.first_notices, told.episode))
            if told.episode in roots
            else told
            for told in state.ledger
        ),
        silences=tuple(
            replace(silent, first_notices=noted(silent.first_notices, silent.episode))
            if silent.episode in roots
            else silent
            for silent in state.silences
        ),
    )


def situation_now(
    setup: Setup, airfield: Airfield, books: Books, contact: str, now: datetime
) -> Situation:
    """How things stand at an airfield, as words for a contact need it."""
    open_now = every_open_track(books.folded, books.state, setup.fleet.rules, now)
    here = _here(setup, airfield, books, now)
    return replace(here, open_tracks=open_tracks_of(open_now, contact))


def _here(setup: Setup, airfield: Airfield, books: Books, now: datetime) -> Situation:
    state = books.state
    newest: tuple[ReportRef, Report, Assessment] | None = None
    covered = not wind_is_known(airfield, state, now)
    for entry in reversed(state.entries):
        report, assessment = setup.read(airfield, entry)
        if report.wind is not None and (covered or not entry.fall_back):
            newest = (entry.ref, report, assessment)
            break
    main = [entry.ref for entry in state.entries if not entry.fall_back]
    return make_situation(
        airfield,
        state,
        now,
        newest,
        main[-1] if main else None,
        setup.plan(airfield, now.date()).variation_deg,
    )
