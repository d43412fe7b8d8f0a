"""When a figure of judgement changes: levels go on, and what comes next is judged by the new one.

A margin or a hold is no limit. Judging the last hours anew by another one would take back what
was told, or end an episode without a new report; so every report is judged by the figures that
were in force when it found its place, also after a restart and when it is corrected.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from windwatch.episodes.state import AirfieldState, Ruled
from windwatch.rules import USUAL, Rules


def ruled_at(state: AirfieldState, order_at: datetime) -> Ruled:
    """The figures by which a report in this place is judged."""
    for ruled in reversed(state.ruled):
        if order_at >= ruled.since:
            return ruled
    return state.ruled[0] if state.ruled else Ruled(state.started_at, USUAL)


def adopt_rules(state: AirfieldState, rules: Rules, stale_after: timedelta) -> AirfieldState:
    """The books with the figures in force from the next report on; the same where none changed.

    Parameters
    ----------
    stale_after : timedelta
        The airfield's. By a longer one than before, two low reports might follow one another
        that did not when they came.
    """
    if state.ruled and _are(state.ruled[-1], rules, stale_after):
        return state
    known = state.ruled or (Ruled(state.started_at, USUAL),)
    if not state.entries:
        # Nothing that may still be judged anew was judged by others.
        return replace(state, ruled=(Ruled(known[0].since, rules, stale_after),))
    since = state.entries[-1].order_at + timedelta(microseconds=1)
    before = tuple(each for each in known if each.since < since)
    if before and _are(before[-1], rules, stale_after):
        return replace(state, ruled=before)
    return replace(state, ruled=(*before, Ruled(since, rules, stale_after)))


def _are(ruled: Ruled, rules: Rules, stale_after: timedelta) -> bool:
    same = ruled.rules is rules or ruled.rules == rules
    return same and ruled.stale_after == stale_after


def forget_rules(ruled: tuple[Ruled, ...], settled_at: datetime | None) -> tuple[Ruled, ...]:
    """Without the figures by which nothing can be judged any more."""
    if settled_at is None or len(ruled) < 2:
        return ruled
    last_settled = sum(each.since <= settled_at for each in ruled) - 1
    return ruled[max(0, last_settled) :]
