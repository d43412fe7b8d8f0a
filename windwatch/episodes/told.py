"""What has been said: the ledger's lines, and what they are held against."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import NamedTuple

from windwatch.assessment.values import Level
from windwatch.episodes.gauge import Span
from windwatch.episodes.track import Track
from windwatch.episodes.values import ReportRef, Step, StepName, TrackKey, TrackKind, computed_id
from windwatch.rules import Rules


class Told(NamedTuple):
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
    told_at : datetime or None
        When a contact was first told of it, or last passed on to.
    follows : str
        The report that opens it by now, where a correction took the one that opened it.
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
    told_at: datetime | None = None
    follows: str = ""


def is_standing(opened_at: datetime, rules: Rules, now: datetime) -> bool:
    """Whether what opened then, and is open still, is standing: nobody is reminded any more."""
    return now - opened_at >= rules.standing_after


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
    wind_fresh, weather_fresh : bool
        Whether the newest observation of the group is fresh: nothing old ends an episode.
    """

    refs: Mapping[str, ReportRef] = field(default_factory=dict)
    newest: ReportRef | None = None
    thunder: tuple[str, ...] = ()
    wind_fresh: bool = True
    weather_fresh: bool = True

    def fresh(self, track: Track) -> bool:
        """Whether what a track is judged by is fresh."""
        return self.weather_fresh if track.key.kind is TrackKind.THUNDER else self.wind_fresh

    def named(self, ids: Iterable[str]) -> tuple[ReportRef, ...]:
        """The reports of these ids that are still at hand."""
        return tuple(self.refs[i] for i in dict.fromkeys(ids) if i in self.refs)

    @property
    def latest(self) -> tuple[ReportRef, ...]:
        """The newest report, alone."""
        return () if self.newest is None else (self.newest,)


@dataclass
class Reckoning:
    """One pass over the tracks: the ledger being rewritten, and the steps found."""

    now: datetime
    evidence: Evidence
    rules: Rules
    steps: list[Step] = field(default_factory=list)
    ledger: list[Told] = field(default_factory=list)

    def say(self, told: Told, step: Step) -> None:
        """Note a step and what is told with it."""
        self.steps.append(step)
        worst = told.worst
        # *Easing* shows the worst only to those who ask for it: it is not what people know.
        shows = step.level is Level.OVER and step.name is not StepName.EASING
        if step.finding is not None and shows:
            shown = step.worst or step.finding
            worst = max(worst or 0.0, shown.figure, step.finding.figure)
        self.ledger.append(told._replace(steps=told.steps + 1, worst=worst))


def begin(track: Track, span: Span, runway: str = "", *, easing: bool = False) -> Told:
    """The line of a span that nobody was told of yet; its id is computed."""
    parts = (str(track.key), runway, span.level.word, span.opened_by)
    return Told(
        computed_id(*parts),
        track.key,
        span.level,
        runway,
        span.opened_by,
        span.opened_at,
        easing=easing,
    )


def matched(
    known: list[Told], spans: list[Span]
) -> tuple[list[tuple[Told, Span | None]], list[Span]]:
    """Each told episode with the span that it is about, and the spans that nobody was told of.

    The open ones choose first: they are what people believe now. Several spans that are one
    episode to people are put together, with the worst of all: that it closed and opened again
    while nobody watched must not hide how bad it was.
    """
    left = list(spans)
    pairs: list[tuple[Told, Span | None]] = []
    for row in sorted(known, key=lambda t: not t.open):
        others = _others(row, known)
        told, span = row, _match(row, left, others)
        if span is None:
            pairs.append((told, None))
            continue
        if span.opened_by != told.opened_by:
            told = told._replace(follows=span.opened_by)
        parts = [
            s
            for s in left
            if s is not span and s.opened_by not in others and _part_of(told, span, s)
        ]
        # Its own opening is no news either, where a peak had ended it before it began.
        own = told.opened_by
        left = [s for s in left if s is not span and s not in parts and s.opened_by != own]
        pairs.append((told, _as_one(span, parts)))
    return pairs, left


def _others(told: Told, known: list[Told]) -> set[str]:
    """The reports that open what other rows are about."""
    rows = [each for each in known if each.episode != told.episode]
    return {by for each in rows for by in (each.opened_by, each.follows)}


def _as_one(span: Span, parts: list[Span]) -> Span:
    """The span of an episode, since the first of its parts and with the worst of them."""
    for part in parts:
        span = span._replace(opened_at=min(span.opened_at, part.opened_at))
        if part.worst is not None and (span.worst is None or part.worst.share > span.worst.share):
            span = span._replace(worst=part.worst, worst_by=part.worst_by)
    return span


def _part_of(told: Told, span: Span, other: Span) -> bool:
    """Whether another span is part of the episode that people were told of.

    What closed and opened again before it could be told is one episode to people; what opened
    after its end is not. Nor is what a peak opened that came later than the end: the peak may be
    older, but people were told *back within limits*, and must hear that it was not the last.
    """
    if other.closed_at is not None and other.closed_at <= told.opened_at:
        return False
    if told.open:
        return span.open or not _follows(other, span)
    if told.closed_at is None or told.withdrawn or other.open:
        return False
    if span.closed_at is not None and _follows(other, span):
        return max(other.opened_at, span.closed_at) < told.closed_at
    return other.opened_at < told.closed_at


def _follows(other: Span, span: Span) -> bool:
    """Whether a span came after one that has closed: by their ends, for a peak may begin early."""
    if other.closed_at is None or span.closed_at is None:
        return other.closed_at is None and span.closed_at is not None
    return other.closed_at > span.closed_at


def _match(told: Told, spans: list[Span], others: set[str]) -> Span | None:
    """The span that a told episode is about.

    What still lasts; what it went on as, unseen by people; its opening report; or overlap, save
    with what another row is about.
    """
    lasting = [s for s in spans if told.open and s.open and _touch(told, s)]
    went_on = [s for s in spans if s.opened_by == told.follows]
    exact = [s for s in spans if s.opened_by == told.opened_by]
    touching = [s for s in spans if _touch(told, s) and s.opened_by not in others]
    return next(iter((*lasting, *went_on, *exact, *touching)), None)


def _touch(told: Told, span: Span) -> bool:
    """Whether a span shares time with what was told; what is open was told to last until now."""
    if told.open:
        return span.closed_at is None or span.closed_at > told.opened_at
    if told.closed_at is None or told.withdrawn:
        return False
    begins_before_end = span.opened_at < told.closed_at
    return begins_before_end and (span.closed_at is None or span.closed_at > told.opened_at)
