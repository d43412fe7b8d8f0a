"""One pure step: what is remembered, an event and the time in; what is remembered and notices out.

The watch, `replay` and every test go through `step`. It touches no network, clock or database.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Final

from windwatch.episodes import limits_changed
from windwatch.episodes.books import Books, Setup
from windwatch.episodes.entries import Judged
from windwatch.episodes.intake import cover_with_fall_back, prune, refold, take_in
from windwatch.episodes.ledger import Evidence, reconcile
from windwatch.episodes.state import Acknowledgement, AirfieldState
from windwatch.episodes.track import Folded
from windwatch.episodes.values import Step
from windwatch.fleet import Airfield
from windwatch.notices.owed import remind, tell_silences
from windwatch.notices.telling import Telling, go_out, tell
from windwatch.notices.values import Notice, Situation
from windwatch.reports.raw import RawReport

ACKNOWLEDGED_FOR: Final = timedelta(hours=6)


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
    """

    books: Books
    judged: tuple[Judged, ...] = ()
    steps: tuple[Step, ...] = ()
    heard_by: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    notices: tuple[tuple[Notice, Situation], ...] = ()


def begin(setup: Setup, airfield: Airfield, now: datetime) -> Books:
    """Books of an airfield that was not watched before."""
    prints = setup.fingerprints(airfield)
    return Books(AirfieldState(airfield.id, now, fingerprints=prints), Folded())


def restore(setup: Setup, airfield: Airfield, state: AirfieldState) -> Books:
    """Books from what the store kept."""
    return Books(state, refold(setup, airfield, state))


def step(setup: Setup, books: Books, event: Event, now: datetime) -> Outcome:
    """Advance an airfield by one event.

    Parameters
    ----------
    setup : Setup
    books : Books
    event : Event
    now : datetime
        Aware, UTC.
    """
    airfield = setup.fleet.airfield(books.state.airfield)
    judged: tuple[Judged, ...] = ()
    before = books
    books, ended = _adopt_limits(setup, airfield, books, now)
    match event:
        case ReportsCame(reports):
            books, judged = take_in(setup, airfield, books, reports, now)
        case Acknowledged(episodes, by):
            books = _acknowledge(books, episodes, by, now)
        case Tick():
            books = _acknowledgements_lapse(books, now)
    books = cover_with_fall_back(setup, airfield, books, now)
    books, found = _reckon(setup, airfield, books, now)
    telling = Telling(setup, airfield, now, books.state, books.folded)
    tell(telling, (*ended, *found))
    tell_silences(telling)
    remind(telling)
    notices = go_out(telling)
    books = prune(setup, airfield, telling.books, now)
    if books == before:
        books = before
    return Outcome(books, judged, tuple(telling.steps), telling.heard_by, notices)


def _reckon(
    setup: Setup, airfield: Airfield, books: Books, now: datetime
) -> tuple[Books, tuple[Step, ...]]:
    """Hold what is true against what has been said."""
    state = books.state
    main = [entry for entry in state.entries if not entry.fall_back]
    thunder = setup.read(airfield, main[-1])[1].thunder if main else None
    evidence = Evidence(
        refs={entry.id: entry.ref for entry in state.entries},
        newest=state.entries[-1].ref if state.entries else None,
        thunder=() if thunder is None else thunder.reasons,
    )
    steps, ledger = reconcile(books.folded, state.ledger, evidence, now)
    return Books(replace(state, ledger=ledger), books.folded), steps


def _adopt_limits(
    setup: Setup, airfield: Airfield, books: Books, now: datetime
) -> tuple[Books, tuple[Step, ...]]:
    """Judge tracks whose limits changed anew, on the newest fresh report."""
    prints = setup.fingerprints(airfield)
    if prints == books.state.fingerprints:
        return books, ()
    state = books.state
    fresh = None
    if state.entries and now - state.entries[-1].observed_at < airfield.stale_after:
        newest = state.entries[-1]
        fresh = (newest, *setup.read(airfield, newest))
    change = limits_changed.adopt(books.folded, state, prints, fresh, now)
    state = replace(
        state,
        checkpoint=change.folded,
        settled_at=state.entries[-1].order_at if state.entries else state.settled_at,
        ledger=change.ledger,
        fingerprints=prints,
    )
    return Books(state, change.folded), change.steps


def _acknowledge(books: Books, episodes: tuple[str, ...], by: str, now: datetime) -> Books:
    kept = tuple(a for a in books.state.acknowledged if a.episode not in episodes)
    new = tuple(Acknowledgement(episode, by, now) for episode in episodes)
    return replace(books, state=replace(books.state, acknowledged=(*kept, *new)))


def _acknowledgements_lapse(books: Books, now: datetime) -> Books:
    kept = tuple(a for a in books.state.acknowledged if now - a.at < ACKNOWLEDGED_FOR)
    if kept == books.state.acknowledged:
        return books
    return replace(books, state=replace(books.state, acknowledged=kept))
