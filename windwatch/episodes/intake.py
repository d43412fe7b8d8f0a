"""Reports taken into the books: accepted, put in their place, folded in; and fall-backs.

Everything here is a pure function of the books, the reports and `now`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from typing import Final

from windwatch.episodes.books import Books, Setup
from windwatch.episodes.entries import Entry, Judged, Status, insert, read_entry
from windwatch.episodes.fold import fold
from windwatch.episodes.missed import catching_up
from windwatch.episodes.rules_changed import forget_rules, ruled_at
from windwatch.episodes.state import AirfieldState, Seen
from windwatch.episodes.track import Folded
from windwatch.fleet import Airfield
from windwatch.reports.raw import RawReport
from windwatch.reports.values import Report
from windwatch.rules import in_words

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


def newest_with_wind(
    setup: Setup, airfield: Airfield, state: AirfieldState, now: datetime
) -> Entry | None:
    """The newest accepted report that had a wind, of any station, if it is fresh."""
    for entry in reversed(state.entries):
        if now - entry.observed_at >= airfield.stale_after:
            continue
        if setup.report(airfield, entry).wind is not None:
            return entry
    return None


def take_in(
    setup: Setup,
    airfield: Airfield,
    books: Books,
    reports: tuple[RawReport, ...],
    now: datetime,
    missed_since: datetime | None = None,
) -> tuple[Books, tuple[Judged, ...]]:
    """Take the reports of one reply in, and say what became of each.

    Parameters
    ----------
    missed_since : datetime or None
        Observations after this were missed while nobody watched.
    """
    state = books.state
    judged = []
    for raw in reports:
        found = read_entry(raw, airfield, setup.fleet.rules, now, missed_since)
        if found.entry is not None:
            state, found = _accept(setup, airfield, state, found)
        judged.append(found)
    if state.entries == books.state.entries:
        return Books(state, books.folded), tuple(judged)
    return _fold_in(setup, airfield, books, state, missed_since, now), tuple(judged)


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
        return _accept_fall_back(state, entry, found.report), found
    if state.settled_at is not None and entry.order_at <= state.settled_at:
        late = found._replace(
            status=Status.LATE, reason="its time is settled already: recorded only", entry=None
        )
        return state, late
    doubt = _doubt_of_sensor(setup, airfield, state, entry, found.report)
    if doubt:
        entry = replace(entry, in_doubt=True)
        found = found._replace(reason=doubt, entry=entry)
    entries = insert(state.entries, entry)
    if entries == state.entries:
        return state, duplicate._replace(reason="replaced by a correction already")
    accepted = replace(
        state,
        entries=entries,
        wind=_newest(setup, airfield, entries, state.wind, _has_wind),
        weather=_newest(setup, airfield, entries, state.weather, _has_weather),
    )
    return accepted, found


def _doubt_of_sensor(
    setup: Setup, airfield: Airfield, state: AirfieldState, new: Entry, report: Report
) -> str:
    """Why the sensor seems stuck, or ''."""
    rules = setup.fleet.rules
    neighbour = next(
        (
            e
            for e in state.standby
            if e.strongest > rules.stuck_beside_kt
            and new.observed_at - e.observed_at < airfield.stale_after
        ),
        None,
    )
    if neighbour is None or report.wind is None:
        return ""
    same_since = new.observed_at
    for entry in reversed(state.entries):
        wind = setup.report(airfield, entry).wind
        if entry.fall_back or wind is None or entry.observed_at > new.observed_at:
            continue
        if wind != report.wind:
            break
        same_since = entry.observed_at
    if new.observed_at - same_since < rules.stuck_after:
        return ""
    return (
        f"in doubt: the very same wind for {in_words(rules.stuck_after)}, while "
        f"{neighbour.station} blows over {rules.stuck_beside_kt:g} kt"
    )


def _has_wind(report: Report) -> bool:
    return report.wind is not None


def _has_weather(report: Report) -> bool:
    return report.weather.reported


def _newest(
    setup: Setup,
    airfield: Airfield,
    entries: tuple[Entry, ...],
    known: Seen | None,
    has: Callable[[Report], bool],
) -> Seen | None:
    """The newest report of the main station that has a group; a correction may take it away."""
    main = [e for e in entries if not e.fall_back]
    having = [e for e in main if has(setup.report(airfield, e))]
    newest = max(having, key=lambda e: e.observed_at, default=None)
    found = None if newest is None else Seen(newest.observed_at, newest.ref)
    if known is None or any(e.observed_at == known.at for e in main):
        return found
    return known if found is None or found.at < known.at else found


def _accept_fall_back(state: AirfieldState, entry: Entry, report: Report) -> AirfieldState:
    """A fall-back report waits, if it has a wind; a correction also mends what was judged."""
    corrected = next((e for e in state.entries if entry.replaces(e)), None)
    entries = state.entries
    if corrected is not None:
        entries = insert(entries, replace(entry, order_at=corrected.order_at))
    standby = tuple(e for e in state.standby if not entry.replaces(e))
    if report.wind is not None:
        standby = _stand_by(standby, entry)
    return replace(state, entries=entries, standby=standby)


def _stand_by(standby: tuple[Entry, ...], new: Entry) -> tuple[Entry, ...]:
    mine = [e for e in standby if e.station == new.station]
    others = [e for e in standby if e.station != new.station]
    mine = sorted([*mine, new], key=lambda e: e.place)[-_STANDBY:]
    return (*others, *mine)


def _fold_in(
    setup: Setup,
    airfield: Airfield,
    books: Books,
    state: AirfieldState,
    missed_since: datetime | None,
    now: datetime,
) -> Books:
    """Fold new entries in: one by one where they come last, else all anew from the checkpoint.

    What has ended since `missed_since` is remembered, for it is still to be told.
    """
    before, after = books.state.entries, state.entries
    known = after[: len(before)] == before
    folded = books.folded if known else state.checkpoint
    for entry in after[len(before) :] if known else _unsettled(state):
        folded = _fold_one(setup, airfield, state, folded, entry, missed_since, now)
    return Books(state, folded)


def refold(setup: Setup, airfield: Airfield, state: AirfieldState) -> Folded:
    """The tracks anew, from the checkpoint and every entry since."""
    folded = state.checkpoint
    for entry in _unsettled(state):
        folded = _fold_one(setup, airfield, state, folded, entry)
    return folded


def _unsettled(state: AirfieldState) -> Iterator[Entry]:
    """The entries that are not in the checkpoint, in order."""
    for entry in state.entries:
        if state.settled_at is None or entry.order_at > state.settled_at:
            yield entry


def _fold_one(
    setup: Setup,
    airfield: Airfield,
    state: AirfieldState,
    folded: Folded,
    entry: Entry,
    missed_since: datetime | None = None,
    now: datetime | None = None,
) -> Folded:
    ruled = ruled_at(state, entry.order_at)
    rules, stale_after = ruled.rules, ruled.stale_after or airfield.stale_after
    report, assessment = setup.under(rules).read(airfield, entry)
    if now is not None:
        rules = catching_up(rules, missed_since, now)
    not_yet = frozenset(key for key, at in state.judged_from if entry.order_at < at)
    return fold(folded, entry, report, assessment, rules, stale_after, not_yet)


def cover_with_fall_back(setup: Setup, airfield: Airfield, books: Books, now: datetime) -> Books:
    """From the main station's overdue time on, the first fresh fall-back is judged."""
    state = books.state
    if not state.standby or wind_is_known(airfield, state, now):
        return books
    entry = covering(airfield, state, now)
    if entry is None or any(entry.id == e.id for e in state.entries):
        return books
    placed = replace(entry, order_at=max(now, entry.observed_at))
    covered = replace(state, entries=insert(state.entries, placed))
    return _fold_in(setup, airfield, books, covered, None, now)


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
    cutoff = now - setup.fleet.rules.late_after
    if not state.entries or state.entries[0].order_at >= cutoff:
        return books
    settled_at, checkpoint = state.settled_at, state.checkpoint
    old = [e for e in state.entries if e.order_at < cutoff]
    for entry in old:
        # Several may share a time: all of them are settled together.
        if state.settled_at is None or entry.order_at > state.settled_at:
            checkpoint = _fold_one(setup, airfield, state, checkpoint, entry)
            settled_at = entry.order_at
    young = state.entries[len(old) :]
    spare = max(0, _EVIDENCE - len(young))
    kept = (*old[max(0, len(old) - spare) :], *young)
    if kept == state.entries and settled_at == state.settled_at:
        return books
    setup.keep_only(airfield, kept)
    return Books(
        replace(
            state,
            entries=kept,
            settled_at=settled_at,
            checkpoint=checkpoint,
            judged_from=tuple(
                (key, at) for key, at in state.judged_from if settled_at is None or at > settled_at
            ),
            ruled=forget_rules(state.ruled, settled_at),
        ),
        books.folded,
    )
