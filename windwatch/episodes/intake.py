"""Reports taken into the books: accepted, put in their place, folded in; and fall-backs.

Everything here is a pure function of the books, the reports and `now`.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Final

from windwatch.episodes.books import Books, Setup
from windwatch.episodes.entries import LATE, Entry, Judged, Status, insert, read_entry
from windwatch.episodes.state import AirfieldState, Seen
from windwatch.episodes.track import Folded, fold
from windwatch.fleet import Airfield
from windwatch.reports.raw import RawReport

# How many reports of each fall-back station are kept ready.
_STANDBY: Final = 3
# So many of the newest reports are kept as evidence, however old.
_EVIDENCE: Final = 4


def wind_is_known(airfield: Airfield, state: AirfieldState, now: datetime) -> bool:
    """Whether the main station's wind is fresh."""
    return state.wind is not None and now - state.wind.at < airfield.stale_after


def weather_is_known(airfield: Airfield, state: AirfieldState, now: datetime) -> bool:
    """Whether the main station's present weather is fresh."""
    return state.weather is not None and now - state.weather.at < airfield.stale_after


def take_in(
    setup: Setup,
    airfield: Airfield,
    books: Books,
    reports: tuple[RawReport, ...],
    now: datetime,
) -> tuple[Books, tuple[Judged, ...]]:
    """Take the reports of one reply in, and say what became of each."""
    state = books.state
    judged = []
    for raw in reports:
        found = read_entry(raw, airfield, now)
        if found.entry is not None:
            state, found = _accept(setup, airfield, state, found)
        judged.append(found)
    if state.entries == books.state.entries:
        return Books(state, books.folded), tuple(judged)
    return _fold_in(setup, airfield, books, state), tuple(judged)


def _accept(
    setup: Setup, airfield: Airfield, state: AirfieldState, found: Judged
) -> tuple[AirfieldState, Judged]:
    entry = found.entry
    if entry is None:
        return state, found
    duplicate = found._replace(status=Status.DUPLICATE, reason="known already", entry=None)
    if any(entry.id == known.id for known in (*state.entries, *state.standby)):
        return state, duplicate
    if entry.fall_back:
        return replace(state, standby=_stand_by(state.standby, entry)), found
    if state.settled_at is not None and entry.order_at <= state.settled_at:
        late = found._replace(
            status=Status.LATE, reason="its time is settled already: recorded only", entry=None
        )
        return state, late
    entries = insert(state.entries, entry)
    if entries == state.entries:
        return state, duplicate._replace(reason="replaced by a correction already")
    report, _ = setup.read(airfield, entry)
    seen = Seen(entry.observed_at, entry.ref)
    wind, weather = state.wind, state.weather
    if report.wind is not None and (wind is None or entry.observed_at >= wind.at):
        wind = seen
    if report.weather.reported and (weather is None or entry.observed_at >= weather.at):
        weather = seen
    return replace(state, entries=entries, wind=wind, weather=weather), found


def _stand_by(standby: tuple[Entry, ...], new: Entry) -> tuple[Entry, ...]:
    mine = [e for e in standby if e.station == new.station and not new.replaces(e)]
    others = [e for e in standby if e.station != new.station]
    mine = sorted([*mine, new], key=lambda e: e.place)[-_STANDBY:]
    return (*others, *mine)


def _fold_in(setup: Setup, airfield: Airfield, books: Books, state: AirfieldState) -> Books:
    """Fold new entries in: one by one where they come last, else all anew from the checkpoint."""
    before, after = books.state.entries, state.entries
    if after[: len(before)] == before:
        folded = books.folded
        for entry in after[len(before) :]:
            folded = _fold_one(setup, airfield, folded, entry)
        return Books(state, folded)
    return Books(state, refold(setup, airfield, state))


def refold(setup: Setup, airfield: Airfield, state: AirfieldState) -> Folded:
    """The tracks anew, from the checkpoint and every entry since."""
    folded = state.checkpoint
    for entry in state.entries:
        if state.settled_at is None or entry.order_at > state.settled_at:
            folded = _fold_one(setup, airfield, folded, entry)
    return folded


def _fold_one(setup: Setup, airfield: Airfield, folded: Folded, entry: Entry) -> Folded:
    report, assessment = setup.read(airfield, entry)
    return fold(folded, entry, report, assessment)


def cover_with_fall_back(setup: Setup, airfield: Airfield, books: Books, now: datetime) -> Books:
    """From the main station's overdue time on, the first fresh fall-back is judged."""
    state = books.state
    if not state.standby or wind_is_known(airfield, state, now):
        return books
    entry = covering(airfield, state, now)
    if entry is None or any(entry.id == e.id for e in state.entries):
        return books
    placed = replace(entry, order_at=max(now, entry.observed_at))
    return _fold_in(setup, airfield, books, replace(state, entries=insert(state.entries, placed)))


def covering(airfield: Airfield, state: AirfieldState, now: datetime) -> Entry | None:
    """The newest report of the first fall-back station that has a fresh one."""
    for station in airfield.fall_back_stations:
        fresh = [
            e
            for e in state.standby
            if e.station == station.id and now - e.observed_at < airfield.stale_after
        ]
        if fresh:
            return fresh[-1]
    return None


def prune(setup: Setup, airfield: Airfield, books: Books, now: datetime) -> Books:
    """Settle entries for which nothing late can come any more, and forget the oldest."""
    state = books.state
    cutoff = now - LATE
    if not state.entries or state.entries[0].order_at >= cutoff:
        return books
    settled_at, checkpoint = state.settled_at, state.checkpoint
    for entry in state.entries:
        if entry.order_at >= cutoff:
            break
        if settled_at is None or entry.order_at > settled_at:
            checkpoint = _fold_one(setup, airfield, checkpoint, entry)
            settled_at = entry.order_at
    old = [e for e in state.entries if e.order_at < cutoff]
    young = state.entries[len(old) :]
    spare = max(0, _EVIDENCE - len(young))
    kept = (*old[len(old) - spare :], *young) if spare else young
    if kept == state.entries and settled_at == state.settled_at:
        return books
    return Books(
        replace(state, entries=kept, settled_at=settled_at, checkpoint=checkpoint), books.folded
    )
