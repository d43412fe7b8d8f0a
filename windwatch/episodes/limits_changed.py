"""When the configuration changes: what was judged by other limits is judged anew.

A track whose limits are the same goes on untouched. Changed ones are judged at once on the newest
fresh report; an episode ended so is *ended*, never *back within limits*.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from windwatch.assessment.values import Assessment, Level
from windwatch.episodes.entries import Entry
from windwatch.episodes.ledger import Told
from windwatch.episodes.state import AirfieldState
from windwatch.episodes.track import Folded, Track, fold
from windwatch.episodes.values import Step, StepName, TrackKey, computed_id
from windwatch.reports.values import Report


@dataclass(frozen=True, slots=True)
class Change:
    """The tracks and the ledger under the new limits, and the episodes that ended by it."""

    folded: Folded
    ledger: tuple[Told, ...]
    steps: tuple[Step, ...]


def adopt(
    folded: Folded,
    state: AirfieldState,
    prints: tuple[tuple[str, str], ...],
    fresh: tuple[Entry, Report, Assessment] | None,
    now: datetime,
) -> Change:
    """Judge changed tracks anew.

    Parameters
    ----------
    fresh : tuple or None
        The newest report, if it is fresh; without one a changed track starts from nothing and
        an open episode of it ends.
    """
    old, new = dict(state.fingerprints), dict(prints)
    judged: dict[TrackKey, Track] = {}
    if fresh is not None:
        entry, report, assessment = fresh
        alone = fold(replace(folded, tracks=()), entry, report, assessment)
        judged = {t.key: t for t in alone.tracks if not _same(t.key, old, new)}
    known = {t.key for t in folded.tracks}
    tracks = [
        t if _same(t.key, old, new) else judged.get(t.key, Track(t.key))
        for t in folded.tracks
        if str(t.key) in new
    ]
    tracks += [t for key, t in judged.items() if key not in known]
    ledger = []
    steps = []
    for told in state.ledger:
        if not told.open or _same(told.track, old, new):
            ledger.append(told)
            continue
        track = judged.get(told.track)
        if track is not None and _still_so(track, told):
            ledger.append(told)
            continue
        closed = replace(told, open=False, closed_at=now, withdrawn=True, steps=told.steps + 1)
        ledger.append(closed)
        if told.level is Level.OVER and not told.runway:
            steps.append(_ended(told, new, now))
    return Change(replace(folded, tracks=tuple(tracks)), tuple(ledger), tuple(steps))


def _same(key: TrackKey, old: Mapping[str, str], new: Mapping[str, str]) -> bool:
    return old.get(str(key)) == new.get(str(key)) is not None


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
