"""One pure step: what is remembered, an event and the time in; what is remembered and notices out.

The watch, `replay` and every test go through `step`. It touches no network, clock or database.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from windwatch.episodes import limits_changed
from windwatch.episodes.books import Books, Setup
from windwatch.episodes.clock_doubt import ALL_IS_WELL, Conditions, Gap
from windwatch.episodes.entries import Judged
from windwatch.episodes.intake import (
    cover_with_fall_back,
    newest_with_wind,
    prune,
    refold,
    take_in,
    weather_is_known,
)
from windwatch.episodes.ledger import Evidence, reconcile
from windwatch.episodes.missed import catching_up, feed_answered, note_gap
from windwatch.episodes.rules_changed import adopt_rules
from windwatch.episodes.state import Acknowledgement, AirfieldState, Ruled
from windwatch.episodes.track import Folded
from windwatch.episodes.values import Step
from windwatch.fleet import Airfield, Fleet, Station
from windwatch.notices.escalation import pass_on
from windwatch.notices.gap import tell_gap
from windwatch.notices.owed import remind, tell_newcomers, tell_silences
from windwatch.notices.telling import Telling, go_out, tell
from windwatch.notices.values import Notice, Situation
from windwatch.reports.raw import RawReport
from windwatch.rules import Rules


@dataclass(frozen=True, slots=True)
class ReportsCame:
    """Reports of an airfield's stations, as one reply brought them."""

    reports: tuple[RawReport, ...]


@dataclass(frozen=True, slots=True)
class Tick:
    """Time has passed."""


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """Somebody took note of episodes."""

    episodes: tuple[str, ...]
    by: str


Event = ReportsCame | Tick | Acknowledged


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one step comes to.

    Attributes
    ----------
    books : Books
        The same object where the event changed nothing.
    judged : tuple of Judged
        What became of each report of the event.
    steps : tuple of Step
        Every step made, told or not.
    heard_by : mapping of step id to contact names
        Who hears it (perhaps later).
    notices : tuple of (Notice, Situation)
        What goes out now.
    gap : Gap or None
        In which nobody watched, where that was noted, and told, by this step: a replay needs it.
    """

    books: Books
    judged: tuple[Judged, ...] = ()
    steps: tuple[Step, ...] = ()
    heard_by: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    notices: tuple[tuple[Notice, Situation], ...] = ()
    gap: Gap | None = None


def begin(setup: Setup, airfield: Airfield, now: datetime) -> Books:
    """Books of an airfield that was not watched before."""
    state = AirfieldState(
        airfield.id,
        now,
        fingerprints=setup.fingerprints(airfield),
        known_contacts=tuple(contact.name for contact in setup.fleet.contacts),
        ruled=(Ruled(now, setup.fleet.rules, airfield.stale_after),),
    )
    return Books(state, Folded())


def restore(setup: Setup, airfield: Airfield, state: AirfieldState) -> Books:
    """Books from what the store kept."""
    return Books(state, refold(setup, airfield, state))


def step(
    setup: Setup,
    books: Books,
    event: Event,
    now: datetime,
    conditions: Conditions = ALL_IS_WELL,
) -> Outcome:
    """Advance an airfield by one event.

    Parameters
    ----------
    setup : Setup
    books : Books
    event : Event
    now : datetime
        Aware, UTC.
    conditions : Conditions
        What must wait: while the clock is in doubt, say, nothing is called back within limits.
    """
    airfield = setup.fleet.airfield(books.state.airfield)
    judged: tuple[Judged, ...] = ()
    before = books
    prints_before = books.state.fingerprints
    books = Books(note_gap(books.state, conditions.not_watched), books.folded)
    since = books.state.missed_since
    books = _adopt_rules(setup, airfield, books)
    books, ended = _adopt_limits(setup, airfield, books, now)
    match event:
        case ReportsCame(reports):
            books, judged = take_in(setup, airfield, books, reports, now, since)
        case Acknowledged(episodes, by):
            books = _acknowledge(books, episodes, by, now)
        case Tick() if not conditions.clock_in_doubt:
            # Settling is housekeeping: a report does not wait for it.
            books = prune(setup, airfield, _acknowledgements_lapse(setup, books, now), now)
        case Tick():
            pass  # nothing is forgotten while the clock is in doubt
    books = cover_with_fall_back(setup, airfield, books, now)
    rules = setup.fleet.rules
    if feed_answered(judged, since):
        rules = catching_up(rules, since, now)
        books = Books(replace(books.state, missed_since=None), books.folded)
    books, found = _reckon(setup, airfield, books, now, conditions, rules)
    found = limits_changed.name_the_change(found, prints_before, books.state.fingerprints)
    telling = Telling(setup, airfield, now, books.state, books.folded)
    tell(telling, (*ended, *found))
    tell_newcomers(telling)
    tell_gap(telling, conditions.not_watched)
    if conditions.may_call_silent:
        tell_silences(telling)
    pass_on(telling)
    remind(telling)
    notices = go_out(telling)
    books = telling.books
    if books == before:
        books = before
    return Outcome(
        books,
        judged,
        tuple(telling.steps),
        telling.heard_by,
        notices,
        conditions.not_watched,
    )


def drop(fleet: Fleet, books: Books, now: datetime) -> Outcome:
    """End what is open at an airfield that is not configured any more.

    Parameters
    ----------
    fleet : Fleet
        Without the airfield; its contacts are told that it is no longer watched, which is never
        *back within limits*.
    books : Books
    now : datetime
        Aware, UTC.
    """
    state = books.state
    main = next((e.station for e in state.entries if not e.fall_back), state.airfield)
    airfield = Airfield(
        id=state.airfield,
        name=state.airfield,
        station=Station(main),
        latitude=0.0,
        longitude=0.0,
        elevation_ft=0.0,
        time_zone="UTC",
        runways=(),
        variation_deg=0.0,
    )
    setup = Setup(replace(fleet, airfields=(airfield,), aircraft=()))
    old = state.fingerprints
    ended = limits_changed.end_what_changed(Folded(), state.ledger, old, (), now)
    state = replace(state, ledger=ended.ledger, fingerprints=(), silences=())
    telling = Telling(setup, airfield, now, state, Folded())
    tell(telling, ended.steps)
    notices = go_out(telling)
    return Outcome(telling.books, (), tuple(telling.steps), telling.heard_by, notices)


def _reckon(
    setup: Setup,
    airfield: Airfield,
    books: Books,
    now: datetime,
    conditions: Conditions,
    rules: Rules,
) -> tuple[Books, tuple[Step, ...]]:
    """Hold what is true against what has been said."""
    state = books.state
    main = [entry for entry in state.entries if not entry.fall_back]
    thunder = setup.read(airfield, main[-1])[1].thunder if main else None
    evidence = Evidence(
        refs={entry.id: entry.ref for entry in state.entries},
        newest=state.entries[-1].ref if state.entries else None,
        thunder=() if thunder is None else thunder.reasons,
        wind_fresh=conditions.may_clear
        and newest_with_wind(setup, airfield, state, now) is not None,
        weather_fresh=conditions.may_clear and weather_is_known(airfield, state, now),
    )
    steps, ledger = reconcile(books.folded, state.ledger, evidence, rules, now)
    return Books(replace(state, ledger=ledger), books.folded), steps


def _adopt_rules(setup: Setup, airfield: Airfield, books: Books) -> Books:
    state = adopt_rules(books.state, setup.fleet.rules, airfield.stale_after)
    return books if state is books.state else Books(state, books.folded)


def _adopt_limits(
    setup: Setup, airfield: Airfield, books: Books, now: datetime
) -> tuple[Books, tuple[Step, ...]]:
    """Judge tracks whose limits changed anew, on the newest fresh report."""
    prints = setup.fingerprints(airfield)
    if prints == books.state.fingerprints:
        return books, ()
    old = books.state.fingerprints
    fresh = newest_with_wind(setup, airfield, books.state, now)
    state = limits_changed.start_anew(books.state, prints, fresh)
    folded = refold(setup, airfield, state)
    ended = limits_changed.end_what_changed(folded, state.ledger, old, prints, now)
    return Books(replace(state, ledger=ended.ledger), folded), ended.steps


def _acknowledge(books: Books, episodes: tuple[str, ...], by: str, now: datetime) -> Books:
    kept = tuple(a for a in books.state.acknowledged if a.episode not in episodes)
    new = tuple(Acknowledgement(episode, by, now) for episode in episodes)
    return replace(books, state=replace(books.state, acknowledged=(*kept, *new)))


def _acknowledgements_lapse(setup: Setup, books: Books, now: datetime) -> Books:
    lasts = setup.fleet.rules.acknowledged_for
    kept = tuple(a for a in books.state.acknowledged if now - a.at < lasts)
    if kept == books.state.acknowledged:
        return books
    return replace(books, state=replace(books.state, acknowledged=kept))
