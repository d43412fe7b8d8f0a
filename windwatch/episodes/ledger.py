"""What has been said, against what is true: the steps.

The tracks are recomputed from the reports; the ledger remembers which episodes were told, how bad,
and to whom. A step is the difference between the two. So a correction withdraws, a late report
takes its place, and judging the same reports again says nothing twice.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from windwatch.assessment.limits import worsening_step
from windwatch.assessment.values import Level
from windwatch.episodes.gauge import Span
from windwatch.episodes.made_steps import (
    counted,
    make_step,
    opening,
    returning,
    runway_out,
    standing_end,
    standing_finding,
    withdrawal,
)
from windwatch.episodes.told import Evidence, Reckoning, Told, begin, matched
from windwatch.episodes.track import Folded, Track
from windwatch.episodes.values import Step, StepName, TrackKey, TrackKind
from windwatch.rules import Rules

__all__ = ["Evidence", "Told", "reconcile"]


def reconcile(
    folded: Folded, ledger: tuple[Told, ...], evidence: Evidence, rules: Rules, now: datetime
) -> tuple[tuple[Step, ...], tuple[Told, ...]]:
    """Find what must be said, and the ledger once it is.

    Parameters
    ----------
    folded : Folded
        The tracks, from all reports known now.
    ledger : tuple of Told
        What has been said.
    evidence : Evidence
    rules : Rules
        In force now.
    now : datetime

    Returns
    -------
    steps, ledger
        In the order of the tracks; a runway's steps after its track's.
    """
    reckoning = Reckoning(now, evidence, rules)
    remembered_for = rules.remembered_for
    by_track: dict[TrackKey, list[Told]] = {}
    for told in ledger:
        by_track.setdefault(told.track, []).append(told)
    for track in folded.tracks:
        known = by_track.pop(track.key, [])
        if not known and not track.spans and not any(g.spans for _, g in track.gauges):
            continue
        _reckon_track(reckoning, track, known)
    for key, known in by_track.items():
        # A correction took away all that was ever said of it.
        _reckon_track(reckoning, Track(key), known)
    # What is said now is looked up by whoever tells it, however long ago it ended.
    said = {step.episode for step in reckoning.steps}
    kept = tuple(
        told
        for told in reckoning.ledger
        if told.open
        or told.closed_at is None
        or now - told.closed_at <= remembered_for
        or told.episode in said
        or _is_remembered(folded.track(told.track), told)
    )
    return tuple(reckoning.steps), kept


def _is_remembered(track: Track, told: Told) -> bool:
    """Whether the reports still say it: else it would be news to the next that looks far back."""
    spans = track.gauge(told.runway).spans if told.runway else track.spans
    mine = (told.opened_by, told.follows)
    return any(s.level is told.level and s.opened_by in mine for s in spans)


def _reckon_track(reckoning: Reckoning, track: Track, known: list[Told]) -> None:
    before = len(reckoning.steps)
    level_told = [t for t in known if not t.runway]
    for level in (Level.OVER, Level.NEAR):
        told = [t for t in level_told if t.level is level]
        spans = [s for s in track.spans if s.level is level]
        if told or spans:
            _reckon_level(reckoning, track, level, told, spans)
    if track.key.kind is TrackKind.RUNWAYS:
        made = {step.name for step in reckoning.steps[before:] if not step.runway}
        _reckon_runways(reckoning, track, [t for t in known if t.runway], made)


def _reckon_level(
    reckoning: Reckoning, track: Track, level: Level, known: list[Told], spans: list[Span]
) -> None:
    pairs, left = matched(known, spans)
    for told, span in pairs:
        if level is Level.OVER:
            _reckon_known_over(reckoning, track, told, span)
        else:
            _reckon_known_near(reckoning, track, told, span)
    for span in left:
        if level is Level.OVER:
            _reckon_new_over(reckoning, track, span)
        else:
            _reckon_new_near(reckoning, track, span)


def _reckon_known_over(reckoning: Reckoning, track: Track, told: Told, span: Span | None) -> None:
    if not told.open:
        if span is not None and span.open:
            again = told._replace(open=True, closed_at=None, easing=track.easing, withdrawn=False)
            reason = "a correction or late report contradicts what was told: it is still over"
            if told.withdrawn:
                reason = "what was withdrawn is over after all"
            reckoning.say(again, opening(reckoning, track, again, span, reason=reason))
        else:
            reckoning.ledger.append(told)
        return
    span = span or _forgotten(reckoning, told)
    if span is None:
        closed = told._replace(open=False, closed_at=reckoning.now, withdrawn=True)
        reckoning.say(closed, withdrawal(reckoning, track, closed))
        return
    if not span.open and not reckoning.evidence.fresh(track):
        reckoning.ledger.append(told)  # it waits for a fresh report
        return
    if not span.open:
        closed = told._replace(open=False, closed_at=span.closed_at or reckoning.now)
        reckoning.say(closed, returning(reckoning, track, closed, span))
        return
    if _worse(reckoning.rules, track, told, span):
        step = make_step(
            reckoning,
            track,
            told,
            StepName.WORSENED,
            finding=span.worst,
            since=span.opened_at,
            worst=span.worst,
            reports=reckoning.evidence.named((span.worst_by,)),
            reason=(
                f"new worst: at least {reckoning.rules.worsen_kt:g} kt and "
                f"{100 * reckoning.rules.worsen_share:g} % of the limit above the last told"
            ),
        )
        reckoning.say(told._replace(easing=track.easing), step)
        return
    if track.easing and not told.easing:
        step = make_step(
            reckoning,
            track,
            told,
            StepName.EASING,
            finding=track.finding,
            since=span.opened_at,
            worst=span.worst,
            reports=reckoning.evidence.latest,
            reason="below the limit, not yet back within limits",
        )
        reckoning.say(told._replace(easing=True), step)
        return
    goes_on = not told.easing or track.easing
    reckoning.ledger.append(told if goes_on else told._replace(easing=False))


def _forgotten(reckoning: Reckoning, told: Told) -> Span | None:
    """What stands for a span that ended too long ago to be remembered; None: it never was.

    No correction reaches so far back: it has ended, and that waited too long to be told.
    """
    if reckoning.now - told.opened_at <= reckoning.rules.remembered_for:
        return None
    by, at = told.opened_by, told.opened_at
    return Span(told.level, by, at, None, "", None, by, closed_at=reckoning.now)


def _worse(rules: Rules, track: Track, told: Told, span: Span) -> bool:
    if track.key.kind is not TrackKind.GROUND or span.worst is None or told.worst is None:
        return False
    # Tenths of a knot, free of binary dust.
    needed = round(told.worst + worsening_step(span.worst.limit.value, rules), 4)
    return span.worst.figure >= needed


def _reckon_new_over(reckoning: Reckoning, track: Track, span: Span) -> None:
    told = begin(track, span, easing=track.easing)
    if span.open:
        reckoning.say(told, opening(reckoning, track, told, span))
        return
    ended_at = span.closed_at or reckoning.now
    past = told._replace(open=False, closed_at=ended_at)
    # Later it is only recorded.
    if reckoning.now - ended_at <= reckoning.rules.still_told:
        reason = "began and ended before it could be told"
        step = opening(reckoning, track, past, span, reason=reason)
        reckoning.say(past, replace(step, level=track.level, ended_at=ended_at))
    else:
        reckoning.ledger.append(past)


def _reckon_known_near(reckoning: Reckoning, track: Track, told: Told, span: Span | None) -> None:
    if not told.open:
        again = told._replace(open=True, closed_at=None, withdrawn=False)
        if span is None or not span.open:
            reckoning.ledger.append(told)
        elif told.steps == 0 or told.withdrawn:
            # Nobody was told, or it was taken back; and it is near now.
            reckoning.say(again, _near(reckoning, track, again, span))
        else:
            reckoning.ledger.append(again)
        return
    if span is not None and span.open:
        reckoning.ledger.append(told)
        return
    overs = [s for s in track.spans if s.level is Level.OVER]
    if track.level is Level.NEAR and overs:
        # By a correction it goes on from an earlier *back*: it is near still, as they know.
        reckoning.ledger.append(told._replace(follows=overs[-1].opened_by))
        return
    # At its own time where that is known: after a gap in watching `now` is hours later, and a near
    # of meanwhile would be taken for its going on.
    ended_at = None if span is None else span.closed_at
    closed = told._replace(open=False, closed_at=ended_at or reckoning.now)
    if span is None and track.level is Level.WITHIN and not _became_over(overs, told):
        withdrawn = closed._replace(withdrawn=True)
        reckoning.say(withdrawn, withdrawal(reckoning, track, withdrawn))
        return
    # *Near* ends untold, also when it has become *over* (settled case 12).
    reckoning.ledger.append(closed)


def _became_over(overs: list[Span], told: Told) -> bool:
    """Whether it went over since, or goes on from what was over before."""
    return any(
        s.closed_at is None or s.closed_at > told.opened_at or s.opened_by == told.follows
        for s in overs
    )


def _reckon_new_near(reckoning: Reckoning, track: Track, span: Span) -> None:
    told = begin(track, span)
    if not span.open:
        reckoning.ledger.append(told._replace(open=False, closed_at=span.closed_at))
        return
    known = _known_before_withdrawn(reckoning, track, span)
    if known is not None:
        again = known._replace(open=True, closed_at=None, follows=span.opened_by)
        reckoning.ledger[reckoning.ledger.index(known)] = again
        return
    reckoning.say(told, _near(reckoning, track, told, span))


def _known_before_withdrawn(reckoning: Reckoning, track: Track, span: Span) -> Told | None:
    """The *near* that people had heard before an opening that is withdrawn now: it goes on.

    With what is withdrawn they read that it is near still; *near* again would be told twice.
    """
    withdrawn = any(
        step.name is StepName.WITHDRAWN and step.track == track.key and not step.runway
        for step in reckoning.steps
    )
    if not withdrawn:
        return None
    for told in reckoning.ledger:
        mine = told.track == track.key and told.level is Level.NEAR and not told.runway
        heard = told.steps > 0 and not told.open and not told.withdrawn
        if mine and heard and told.closed_at is not None and span.opened_at < told.closed_at:
            return told
    return None


def _near(reckoning: Reckoning, track: Track, told: Told, span: Span) -> Step:
    reason = "above the near threshold of the limit"
    if track.key.kind is TrackKind.THUNDER:
        reason = "; ".join(reckoning.evidence.thunder) or "thunder in the vicinity"
    return make_step(
        reckoning,
        track,
        told,
        StepName.NEAR,
        level=Level.NEAR,
        finding=span.opening,
        end=span.end,
        since=span.opened_at,
        reports=reckoning.evidence.named((span.opened_by,)),
        reason=reason,
    )


# --- single runways of a track ----------------------------------------------


def _reckon_runways(
    reckoning: Reckoning, track: Track, known: list[Told], made: set[StepName]
) -> None:
    """*Runway out* and *runway back* while another remains; otherwise the track's step says it."""
    # A runway that no report speaks of any more, since a correction, was told of all the same.
    names = dict.fromkeys((*(name for name, _ in track.gauges), *(t.runway for t in known)))
    for name in names:
        spans = [s for s in track.gauge(name).spans if s.level is Level.OVER]
        pairs, left = matched([t for t in known if t.runway == name], spans)
        for told, span in pairs:
            _reckon_known_runway(reckoning, track, told, span, made)
        for span in left:
            told = begin(track, span, name)
            if not span.open:
                closed_at = span.closed_at or reckoning.now
                reckoning.ledger.append(told._replace(open=False, closed_at=closed_at))
            elif track.level is Level.OVER:
                reckoning.ledger.append(told._replace(by_opening=True))
            else:
                reckoning.say(told, runway_out(reckoning, track, told, span))


def _reckon_known_runway(
    reckoning: Reckoning, track: Track, told: Told, span: Span | None, made: set[StepName]
) -> None:
    if not told.open:
        _reckon_returned_runway(reckoning, track, told, span)
        return
    span = span or _forgotten(reckoning, told)
    if not reckoning.evidence.fresh(track) and span is not None and not span.open:
        reckoning.ledger.append(told)
        return
    if span is None:
        closed = told._replace(open=False, closed_at=reckoning.now, withdrawn=True)
        if told.by_opening:
            reckoning.ledger.append(closed)  # the withdrawal of *opened* has said it
        else:
            reckoning.say(closed, withdrawal(reckoning, track, closed, told.runway))
        return
    if not span.open:
        closed = told._replace(open=False, closed_at=span.closed_at)
        if StepName.BACK in made:
            reckoning.ledger.append(closed)  # the track's own *back* says it
        else:
            step = make_step(
                reckoning,
                track,
                closed,
                StepName.RUNWAY_BACK,
                finding=standing_finding(track, told.runway),
                end=standing_end(track, told.runway),
                runway=told.runway,
                since=span.opened_at,
                worst=span.worst,
                reports=reckoning.evidence.named(span.closed_by),
                ended_at=span.closed_at,
                reason=(
                    f"{counted(reckoning.rules.low_reports)} low reports for this runway; "
                    "another had remained"
                ),
            )
            reckoning.say(closed, step)
        return
    _reckon_lost_runway(reckoning, track, told, span, made)


def _reckon_returned_runway(
    reckoning: Reckoning, track: Track, told: Told, span: Span | None
) -> None:
    """A runway that people know to be back: perhaps it is not."""
    if span is None or not span.open:
        reckoning.ledger.append(told)
        return
    again = told._replace(open=True, closed_at=None, withdrawn=False)
    if track.level is Level.OVER:
        reckoning.ledger.append(again._replace(by_opening=True))
    else:
        reckoning.say(again, runway_out(reckoning, track, again, span))


def _reckon_lost_runway(
    reckoning: Reckoning, track: Track, told: Told, span: Span, made: set[StepName]
) -> None:
    """A runway that people know to be out, and that is out still."""
    if told.by_opening and StepName.BACK in made:
        # *Back* has named what remains: that this one is out is known of itself from now on.
        reckoning.ledger.append(told._replace(by_opening=False))
    elif told.by_opening and StepName.WITHDRAWN in made:
        # The opening that had told of this loss is withdrawn, but this runway is still out.
        out = told._replace(by_opening=False)
        reckoning.say(out, runway_out(reckoning, track, out, span))
    else:
        reckoning.ledger.append(told)
