"""What has been said, against what is true: the steps.

The tracks are recomputed from the reports; the ledger remembers which episodes were told, how bad,
and to whom. A step is the difference between the two. So a correction withdraws, a late report
takes its place, and judging the same reports again says nothing twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Final

from windwatch.assessment.limits import worsening_step
from windwatch.assessment.values import Finding, Level
from windwatch.episodes.gauge import REMEMBER, Span
from windwatch.episodes.track import Folded, Track
from windwatch.episodes.values import (
    ReportRef,
    Step,
    StepName,
    TrackKey,
    TrackKind,
    computed_id,
)

# An episode that began and ended untold is told as past for so long, and an all-clear that
# turns out wrong is withdrawn for so long; later it is only recorded.
STILL_TOLD: Final = timedelta(hours=2)


@dataclass(frozen=True, slots=True)
class Told:
    """One span that has been turned into steps.

    Attributes
    ----------
    runway : str
        The runway that was lost; '' for the track itself.
    worst : Knots or None
        The worst figure shown in any notice about it.
    contacts : tuple of str
        Who heard of its beginning (or will, when what holds the notice ends).
    by_opening : bool
        A runway that was lost together with the last one: told by *opened* alone.
    first_notices : tuple of (contact, notice id)
        The notice that began the conversation.
    """

    episode: str
    track: TrackKey
    level: Level
    runway: str
    opened_by: str
    opened_at: datetime
    open: bool = True
    steps: int = 0
    worst: float | None = None
    contacts: tuple[str, ...] = ()
    by_opening: bool = False
    easing: bool = False
    closed_at: datetime | None = None
    withdrawn: bool = False
    first_notices: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Evidence:
    """What steps are written from, beside the tracks.

    Attributes
    ----------
    refs : mapping of str to ReportRef
        Every report that may be named.
    newest : ReportRef or None
        The newest report folded in.
    thunder : tuple of str
        What the newest report says of thunder.
    """

    refs: Mapping[str, ReportRef] = field(default_factory=dict)
    newest: ReportRef | None = None
    thunder: tuple[str, ...] = ()

    def named(self, ids: Iterable[str]) -> tuple[ReportRef, ...]:
        """The reports of these ids that are still at hand."""
        return tuple(self.refs[i] for i in dict.fromkeys(ids) if i in self.refs)

    @property
    def latest(self) -> tuple[ReportRef, ...]:
        """The newest report, alone."""
        return () if self.newest is None else (self.newest,)


@dataclass
class _Reckoning:
    """One pass over the tracks: the ledger being rewritten, and the steps found."""

    now: datetime
    evidence: Evidence
    steps: list[Step] = field(default_factory=list)
    ledger: list[Told] = field(default_factory=list)

    def say(self, told: Told, step: Step) -> None:
        """Note a step and what is told with it."""
        self.steps.append(step)
        worst = told.worst
        if step.finding is not None and step.level is Level.OVER:
            shown = step.worst or step.finding
            worst = max(worst or 0.0, shown.figure, step.finding.figure)
        self.ledger.append(replace(told, steps=told.steps + 1, worst=worst))


def reconcile(
    folded: Folded, ledger: tuple[Told, ...], evidence: Evidence, now: datetime
) -> tuple[tuple[Step, ...], tuple[Told, ...]]:
    """Find what must be said, and the ledger once it is.

    Parameters
    ----------
    folded : Folded
        The tracks, from all reports known now.
    ledger : tuple of Told
        What has been said.
    evidence : Evidence
    now : datetime

    Returns
    -------
    steps, ledger
        In the order of the tracks; a runway's steps after its track's.
    """
    reckoning = _Reckoning(now, evidence)
    by_track: dict[TrackKey, list[Told]] = {}
    for told in ledger:
        by_track.setdefault(told.track, []).append(told)
    for track in folded.tracks:
        known = by_track.pop(track.key, [])
        if not known and not track.spans and not any(g.spans for _, g in track.gauges):
            continue
        _reckon_track(reckoning, track, known)
    for told_list in by_track.values():
        reckoning.ledger.extend(told_list)
    kept = tuple(
        told
        for told in reckoning.ledger
        if told.open or told.closed_at is None or now - told.closed_at <= REMEMBER
    )
    return tuple(reckoning.steps), kept


def _reckon_track(reckoning: _Reckoning, track: Track, known: list[Told]) -> None:
    before = len(reckoning.steps)
    level_told = [t for t in known if not t.runway]
    for level in (Level.OVER, Level.NEAR):
        told = [t for t in level_told if t.level is level]
        spans = [s for s in track.spans if s.level is level]
        _reckon_level(reckoning, track, level, told, spans)
    if track.key.kind is TrackKind.RUNWAYS:
        made = {step.name for step in reckoning.steps[before:] if not step.runway}
        _reckon_runways(reckoning, track, [t for t in known if t.runway], made)


def _match(told: Told, spans: list[Span]) -> Span | None:
    """The span that a told episode is about: by its opening report, else by overlap."""
    for span in spans:
        if span.opened_by == told.opened_by and span.opened_at == told.opened_at:
            return span
    for span in spans:
        if told.open:
            if span.covers(told.opened_at) or (span.opened_at >= told.opened_at and span.open):
                return span
        elif told.closed_at is not None and not told.withdrawn:
            begins_before_end = span.opened_at < told.closed_at
            if begins_before_end and (span.closed_at is None or span.closed_at > told.opened_at):
                return span
    return None


def _reckon_level(
    reckoning: _Reckoning, track: Track, level: Level, known: list[Told], spans: list[Span]
) -> None:
    left = list(spans)
    for told in known:
        span = _match(told, left)
        if span is not None:
            left.remove(span)
        if level is Level.OVER:
            _reckon_known_over(reckoning, track, told, span)
        else:
            _reckon_known_near(reckoning, track, told, span)
    for span in left:
        if level is Level.OVER:
            _reckon_new_over(reckoning, track, span)
        else:
            _reckon_new_near(reckoning, track, span)


def _reckon_known_over(reckoning: _Reckoning, track: Track, told: Told, span: Span | None) -> None:
    now = reckoning.now
    if not told.open:
        if span is not None and span.open and not told.withdrawn:
            again = replace(told, open=True, closed_at=None, easing=False)
            reason = "a correction or late report contradicts what was told: it is still over"
            reckoning.say(again, _opening(reckoning, track, again, span, reason=reason))
        else:
            reckoning.ledger.append(told)
        return
    if span is None:
        closed = replace(told, open=False, closed_at=now, withdrawn=True)
        reckoning.say(closed, _withdrawal(reckoning, track, closed))
        return
    if not span.open:
        closed = replace(told, open=False, closed_at=span.closed_at or now)
        reckoning.say(closed, _return(reckoning, track, closed, span))
        return
    if _worse(track, told, span):
        step = _made(
            reckoning,
            track,
            told,
            StepName.WORSENED,
            finding=span.worst,
            since=span.opened_at,
            worst=span.worst,
            reports=reckoning.evidence.named((span.worst_by,)),
            reason="new worst: at least 3 kt and 20 % of the limit above the last told",
        )
        reckoning.say(replace(told, easing=False), step)
        return
    if track.easing and not told.easing:
        step = _made(
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
        reckoning.say(replace(told, easing=True), step)
        return
    reckoning.ledger.append(told if track.easing else replace(told, easing=False))


def _worse(track: Track, told: Told, span: Span) -> bool:
    if track.key.kind is not TrackKind.GROUND or span.worst is None or told.worst is None:
        return False
    # Tenths of a knot, free of binary dust.
    needed = round(told.worst + worsening_step(span.worst.limit.value), 4)
    return span.worst.figure >= needed


def _reckon_new_over(reckoning: _Reckoning, track: Track, span: Span) -> None:
    told = _begin(track, span)
    if span.open:
        reckoning.say(told, _opening(reckoning, track, told, span))
        return
    ended_at = span.closed_at or reckoning.now
    past = replace(told, open=False, closed_at=ended_at)
    if reckoning.now - ended_at <= STILL_TOLD:
        reason = "began and ended before it could be told"
        step = _opening(reckoning, track, past, span, reason=reason)
        reckoning.say(past, replace(step, level=track.level, ended_at=ended_at))
    else:
        reckoning.ledger.append(past)


def _begin(track: Track, span: Span, runway: str = "") -> Told:
    parts = (str(track.key), runway, span.level.word, span.opened_by)
    return Told(computed_id(*parts), track.key, span.level, runway, span.opened_by, span.opened_at)


def _opening(
    reckoning: _Reckoning, track: Track, told: Told, span: Span, *, reason: str = ""
) -> Step:
    unsettled = span.unsettled and not reason
    finding: Finding | None = span.worst
    default = "one report over the limit is enough"
    if track.key.kind is TrackKind.RUNWAYS:
        default = "no runway remains within limits"
        finding = span.opening
    if track.key.kind is TrackKind.THUNDER:
        default = "; ".join(reckoning.evidence.thunder) or "thunder at the field"
    if unsettled:
        default = "third opening within 6 hours: swinging about the limit; it now stays open"
    return _made(
        reckoning,
        track,
        told,
        StepName.UNSETTLED if unsettled else StepName.OPENED,
        level=Level.OVER,
        finding=finding,
        end=span.end,
        since=span.opened_at,
        worst=span.worst,
        reports=reckoning.evidence.named((span.opened_by, span.worst_by)),
        reason=reason or default,
    )


def _withdrawal(reckoning: _Reckoning, track: Track, told: Told, runway: str = "") -> Step:
    return _made(
        reckoning,
        track,
        told,
        StepName.WITHDRAWN,
        finding=track.finding,
        end=track.end,
        runway=runway,
        since=told.opened_at,
        reports=reckoning.evidence.latest,
        reason="the report that caused it was corrected",
    )


def _return(reckoning: _Reckoning, track: Track, told: Told, span: Span) -> Step:
    if track.key.kind is TrackKind.THUNDER:
        reason = (
            "an hour since the last thunder, and a report without thunder at the field or in "
            "the vicinity and without cumulonimbus"
        )
    else:
        hold = "60" if track.key.quantity in ("tie_down", "shelter") else "30"
        reason = (
            f"two reports at least 10 minutes apart below the limit less its margin, {hold} "
            "minutes after the last one over, 60 minutes after thunder or wind shift"
        )
    return _made(
        reckoning,
        track,
        told,
        StepName.BACK,
        finding=track.finding,
        end=track.end,
        since=span.opened_at,
        worst=span.worst,
        reports=reckoning.evidence.named(span.closed_by),
        ended_at=span.closed_at,
        reason=reason,
    )


def _reckon_known_near(reckoning: _Reckoning, track: Track, told: Told, span: Span | None) -> None:
    if not told.open:
        reckoning.ledger.append(told)
        return
    if span is None and not any(
        s.level is Level.OVER and s.covers(told.opened_at) for s in track.spans
    ):
        closed = replace(told, open=False, closed_at=reckoning.now, withdrawn=True)
        reckoning.say(closed, _withdrawal(reckoning, track, closed))
        return
    if span is None or not span.open:
        # *Near* ends untold, also when it has become *over* (settled case 12).
        reckoning.ledger.append(replace(told, open=False, closed_at=reckoning.now))
        return
    reckoning.ledger.append(told)


def _reckon_new_near(reckoning: _Reckoning, track: Track, span: Span) -> None:
    told = _begin(track, span)
    if not span.open:
        reckoning.ledger.append(replace(told, open=False, closed_at=reckoning.now))
        return
    reason = "above the near threshold of the limit"
    if track.key.kind is TrackKind.THUNDER:
        reason = "; ".join(reckoning.evidence.thunder) or "thunder in the vicinity"
    step = _made(
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
    reckoning.say(told, step)


# --- single runways of a track ----------------------------------------------


def _reckon_runways(
    reckoning: _Reckoning, track: Track, known: list[Told], made: set[StepName]
) -> None:
    """*Runway out* and *runway back* while another remains; otherwise the track's step says it."""
    for name, gauge in track.gauges:
        left = [s for s in gauge.spans if s.level is Level.OVER]
        for told in [t for t in known if t.runway == name]:
            span = _match(told, left)
            if span is not None:
                left.remove(span)
            _reckon_known_runway(reckoning, track, told, span, made)
        for span in left:
            told = _begin(track, span, name)
            if track.level is Level.OVER:
                reckoning.ledger.append(replace(told, by_opening=True))
            elif span.open:
                reckoning.say(told, _runway_out(reckoning, track, told, span))
            else:
                closed_at = span.closed_at or reckoning.now
                reckoning.ledger.append(replace(told, open=False, closed_at=closed_at))


def _reckon_known_runway(
    reckoning: _Reckoning, track: Track, told: Told, span: Span | None, made: set[StepName]
) -> None:
    if not told.open:
        reckoning.ledger.append(told)
        return
    if span is None:
        closed = replace(told, open=False, closed_at=reckoning.now, withdrawn=True)
        if told.by_opening:
            reckoning.ledger.append(closed)  # the withdrawal of *opened* has said it
        else:
            reckoning.say(closed, _withdrawal(reckoning, track, closed, told.runway))
        return
    if not span.open:
        closed = replace(told, open=False, closed_at=span.closed_at)
        if StepName.BACK in made:
            reckoning.ledger.append(closed)  # the track's own *back* says it
        else:
            step = _made(
                reckoning,
                track,
                closed,
                StepName.RUNWAY_BACK,
                finding=_standing_finding(track, told.runway),
                end=_standing_end(track, told.runway),
                runway=told.runway,
                since=span.opened_at,
                worst=span.worst,
                reports=reckoning.evidence.named(span.closed_by),
                ended_at=span.closed_at,
                reason="two low reports for this runway; another had remained",
            )
            reckoning.say(closed, step)
        return
    if told.by_opening and StepName.WITHDRAWN in made:
        # The opening that had told of this loss is withdrawn, but this runway is still out.
        out = replace(told, by_opening=False)
        reckoning.say(out, _runway_out(reckoning, track, out, span))
        return
    reckoning.ledger.append(told)


def _runway_out(reckoning: _Reckoning, track: Track, told: Told, span: Span) -> Step:
    return _made(
        reckoning,
        track,
        told,
        StepName.RUNWAY_OUT,
        finding=_standing_finding(track, told.runway) or span.opening,
        end=_standing_end(track, told.runway) or span.end,
        runway=told.runway,
        since=span.opened_at,
        worst=span.worst,
        reports=reckoning.evidence.named((span.opened_by,)),
        reason="over its limit while another runway remains",
    )


def _standing_finding(track: Track, runway: str) -> Finding | None:
    return next((s.finding for s in track.standing if s.runway == runway), None)


def _standing_end(track: Track, runway: str) -> str:
    return next((s.end for s in track.standing if s.runway == runway), "")


def _made(
    reckoning: _Reckoning,
    track: Track,
    told: Told,
    name: StepName,
    *,
    finding: Finding | None,
    reports: tuple[ReportRef, ...],
    reason: str,
    level: Level | None = None,
    end: str = "",
    runway: str = "",
    since: datetime | None = None,
    worst: Finding | None = None,
    ended_at: datetime | None = None,
) -> Step:
    return Step(
        id=computed_id(told.episode, str(told.steps + 1)),
        episode=told.episode,
        name=name,
        track=track.key,
        at=reckoning.now,
        level=track.level if level is None else level,
        finding=finding,
        end=end,
        runway=runway,
        remaining=remaining_ends(track),
        since=since,
        worst=worst,
        reports=reports,
        ended_at=ended_at,
        reason=reason,
    )


def remaining_ends(track: Track) -> tuple[str, ...]:
    """The better ends of the runways that are not over, best first."""
    return tuple(s.end for s in track.standing if s.level is not Level.OVER)
