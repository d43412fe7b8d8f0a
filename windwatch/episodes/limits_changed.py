"""When the configuration changes: what was judged by other limits is judged anew.

A track whose limits are the same goes on untouched. Changed ones are judged at once on the newest
fresh report; an episode ended so is *ended*, never *back within limits*.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from windwatch.assessment.values import Level
from windwatch.episodes.entries import Entry
from windwatch.episodes.ledger import Told
from windwatch.episodes.state import AirfieldState
from windwatch.episodes.track import Folded, Track
from windwatch.episodes.values import Step, StepName, computed_id

Prints = tuple[tuple[str, str], ...]
# How the reason of a step begins that was made because of the change: people are told so.
LIMITS_CHANGED: Final = "limits changed"
WATCHED_NOW: Final = "watched from now on"
_BEGUN = (StepName.NEAR, StepName.OPENED, StepName.UNSETTLED, StepName.RUNWAY_OUT)


@dataclass(frozen=True, slots=True)
class Ended:
    """The ledger under the new limits, and the episodes that ended by them."""

    ledger: tuple[Told, ...]
    steps: tuple[Step, ...]


def start_anew(state: AirfieldState, prints: Prints, fresh: Entry | None) -> AirfieldState:
    """The books, with every changed track forgotten but for the newest fresh report.

    The entries stay: a correction or a late report still finds its place.

    Parameters
    ----------
    fresh : Entry or None
        The newest report with a wind, if it is fresh; without one a changed track waits for
        the next.
    """
    old, new = dict(state.fingerprints), dict(prints)
    kept = {key for key in new if old.get(key) == new[key]}
    judged_from = tuple((key, at) for key, at in state.judged_from if key in kept)
    if state.entries:
        newest = state.entries[-1].order_at + timedelta(microseconds=1)
        from_at = newest if fresh is None else fresh.order_at
        judged_from += tuple((key, from_at) for key in new if key not in kept)
    tracks = tuple(t for t in state.checkpoint.tracks if str(t.key) in kept)
    return replace(
        state,
        checkpoint=state.checkpoint._replace(tracks=tracks),
        fingerprints=prints,
        judged_from=judged_from,
    )


def end_what_changed(
    folded: Folded, ledger: tuple[Told, ...], old: Prints, new: Prints, now: datetime
) -> Ended:
    """End the episodes of changed tracks that are none any more under the new limits.

    Parameters
    ----------
    folded : Folded
        The tracks under the new limits.
    """
    was, now_is = dict(old), dict(new)
    kept = []
    steps = []
    for told in ledger:
        changed = was.get(str(told.track)) != now_is.get(str(told.track))
        if not told.open or not changed or _still_so(folded.track(told.track), told):
            kept.append(told)
            continue
        kept.append(told._replace(open=False, closed_at=now, withdrawn=True, steps=told.steps + 1))
        if told.level is Level.OVER and not told.runway:
            steps.append(_ended(told, now_is, now))
    return Ended(tuple(kept), tuple(steps))


def name_the_change(steps: tuple[Step, ...], old: Prints, new: Prints) -> tuple[Step, ...]:
    """Steps made under new limits say so."""
    was, now_is = dict(old), dict(new)
    return tuple(_named(step, was, now_is) for step in steps)


def _named(step: Step, was: Mapping[str, str], now_is: Mapping[str, str]) -> Step:
    key = str(step.track)
    if step.name not in _BEGUN or was.get(key) == now_is.get(key):
        return step
    what = LIMITS_CHANGED if key in was else WATCHED_NOW
    return replace(step, reason=f"{what}: {step.reason}")


def _still_so(track: Track, told: Told) -> bool:
    if told.runway:
        return track.gauge(told.runway).level is Level.OVER
    span = track.open_span
    return span is not None and span.level is told.level


def _ended(told: Told, new: Mapping[str, str], now: datetime) -> Step:
    gone = str(told.track) not in new
    return Step(
        id=computed_id(told.episode, str(told.steps + 1)),
        episode=told.episode,
        name=StepName.ENDED,
        track=told.track,
        at=now,
        level=Level.WITHIN,
        since=told.opened_at,
        reason="no longer watched" if gone else "the limits were changed",
    )
