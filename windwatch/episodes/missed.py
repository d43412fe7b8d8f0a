"""What was missed while nobody watched: judged at its own time, and told however long ago it was.

A report that *comes* late has a crossing told only for a while after its end, and after some hours
it is only recorded (`still_told`, `late_after`). A report that nobody asked for, because the
program did not run or its machine slept, is not late: people could not be told, and are told once,
with the gap (reliability, promise 6 and *Restart*).

The gap itself is told at the first poll after it, whatever the feed says then. What was missed in
it comes only with the first answer: until then each airfield remembers from when on. It is part of
what the store keeps, so that neither another restart nor a replay forgets it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from windwatch.episodes.clock_doubt import Gap
from windwatch.episodes.entries import Judged, Status
from windwatch.episodes.state import AirfieldState
from windwatch.rules import Rules


def note_gap(state: AirfieldState, gap: Gap | None) -> AirfieldState:
    """Remember from what observation time on an airfield's reports were missed.

    Parameters
    ----------
    gap : Gap or None
        Found now, and not noted yet.

    Returns
    -------
    AirfieldState
        The same object where it changes nothing. `missed_since` is the newest observation known
        when the gap began, where there is one: what was observed just before the gap had not come
        yet. An earlier gap that no answer has made good goes on.
    """
    if gap is None:
        return state
    seen = [one.at for one in (state.wind, state.weather) if one is not None]
    since = min(gap.since, *seen) if seen else gap.since
    if state.missed_since is not None and state.missed_since <= since:
        return state
    return replace(state, missed_since=since)


def feed_answered(judged: Iterable[Judged], since: datetime | None) -> bool:
    """Whether these reports are the feed's answer for what was missed.

    It has answered with anything of the main station that is newer than what was known: what it
    has of the gap came in the same reply. A reply without that says nothing of the gap, and what
    a fall-back station says is no word about the main one.

    Parameters
    ----------
    since : datetime or None
        From what observation time on reports were missed; None: none were.
    """
    return since is not None and any(
        each.status is Status.ACCEPTED and each.entry is not None and each.entry.observed_at > since
        for each in judged
    )


def catching_up(rules: Rules, since: datetime | None, now: datetime) -> Rules:
    """The figures by which missed reports are told: what has ended since is told, however old.

    Parameters
    ----------
    since : datetime or None
        From what observation time on reports were missed; None: none were.
    """
    if since is None or now - since <= rules.still_told:
        return rules
    return replace(rules, still_told=now - since)
