"""Episodes, steps, notices, deliveries and raw reports, as they are shown."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from windwatch.assessment.values import Level, Mark
from windwatch.board.event_values import (
    AcknowledgementShown,
    AttemptShown,
    DeliveryShown,
    EpisodeCard,
    EvidenceShown,
    NoticeCard,
    StepLine,
)
from windwatch.board.now import FieldNow, stand, when
from windwatch.board.snapshot import NoticeRead
from windwatch.board.values import Stand
from windwatch.board.view_stations import track_in_words
from windwatch.episodes.told import Told
from windwatch.episodes.values import ReportRef, Step, StepName, TrackKind
from windwatch.notices import words
from windwatch.notices.clean import REMARK_LIMIT, REPORT_LIMIT, visible
from windwatch.notices.figures import track_words
from windwatch.notices.lines import step_line
from windwatch.notices.outbox import OPEN_STATES, Attempt, Delivery, DeliveryState
from windwatch.notices.scene import mark_of, step_rank
from windwatch.notices.still_open import open_rows
from windwatch.notices.values import OpenTrack
from windwatch.notices.why import report_tags
from windwatch.notices.words import Times
from windwatch.store.values import Acknowledgement, StoredEpisode

SHORT: Final = 8
FAILED: Final = frozenset({DeliveryState.REFUSED, DeliveryState.EXPIRED, DeliveryState.DEAD})
SAID_LATER: Final = "a later notice said it"
OTHER_FIELD: Final = "its airfield is not watched any more"


# --- episodes ----------------------------------------------------------------------


def open_cards(here: FieldNow) -> tuple[EpisodeCard, ...]:
    """The open episodes of a field, the worst first."""
    scene = here.scene(())
    return tuple(open_card(here, track) for track in scene.open_tracks)


def open_card(here: FieldNow, track: OpenTrack) -> EpisodeCard:
    """One open episode, in the words in which a notice lists it."""
    scene = replace(here.scene(()), open_tracks=(track,))
    row = open_rows(scene)[0]
    unknown = row.mark is Mark.UNKNOWN
    note = words.not_yet(track.step.finding) if track.easing and not unknown else ""
    noted = here.read.noted.get(track.episode)
    return EpisodeCard(
        id=track.episode,
        short=track.episode[:SHORT],
        airfield=here.airfield.id,
        subject=visible(track_words(track.track)),
        stand=Stand(Mark.UNKNOWN, Mark.OVER) if unknown else Stand(Mark.OVER, None, note),
        text=visible(row.text),
        opened=here.when(track.since),
        easing=track.easing,
        standing=track.standing,
        acknowledged=None if noted is None else acknowledgement(noted, here.times),
    )


def stored_card(
    stored: StoredEpisode, times: Times, here: FieldNow | None, first: StepName | None = None
) -> EpisodeCard:
    """An episode as the store has it: closed, of one runway, near, or of a field no longer here.

    Parameters
    ----------
    first : StepName or None
        Its first step, where it was read: an episode that is only near begins with it.
    """
    still_open = stored.closed_at is None
    for track in () if here is None else here.situation.open_tracks:
        if here is not None and still_open and track.episode == stored.id:
            return open_card(here, track)
    told = None if here is None else _told(here, stored.id)
    level = _level(stored, told, first)
    runway = "" if told is None or not told.runway else f" on {told.runway}"
    worst = ""
    if stored.worst is not None:
        worst = f", worst {words.quantity_of(stored.worst)} {words.against(stored.worst)}"
    opened = times.at(stored.opened_at)
    if stored.closed_at is not None:
        text = f"{level.word} from {opened} to {times.at(stored.closed_at)}{worst}"
    else:
        text = f"{level.word} since {opened}{worst}"
        if here is None:
            text = f"{OTHER_FIELD}; {text}"
        elif not here.known:
            text = f"not known now; {text}"
    return EpisodeCard(
        id=stored.id,
        short=stored.id[:SHORT],
        airfield=stored.airfield,
        subject=visible(f"{track_in_words(stored.track)}{runway}"),
        stand=_present(stored, here) if not still_open else _still(here, level),
        text=visible(text),
        opened=when(stored.opened_at, times),
        closed=None if stored.closed_at is None else when(stored.closed_at, times),
        closing=closing_in_words(stored),
    )


def _told(here: FieldNow, episode: str) -> Told | None:
    return next((told for told in here.read.state.ledger if told.episode == episode), None)


def _level(stored: StoredEpisode, told: Told | None, first: StepName | None) -> Level:
    if told is not None:
        return told.level
    near = StepName.NEAR in (stored.last_step, first)
    return Level.NEAR if near else Level.OVER


def _still(here: FieldNow | None, level: Level) -> Stand:
    return stand(level, known=False) if here is None else here.stand(level)


def _present(stored: StoredEpisode, here: FieldNow | None) -> Stand:
    """How the subject of an episode that has ended stands now: it may be over once more."""
    for key, track in () if here is None else here.tracks.items():
        if here is not None and str(key) == stored.track:
            known = here.weather_known if key.kind is TrackKind.THUNDER else here.known
            return stand(track.level, known=known)
    return Stand(Mark.UNKNOWN)


def closing_in_words(stored: StoredEpisode) -> str:
    """How an episode ended; '' while it is open."""
    if stored.closed_at is None:
        return ""
    try:
        return words.STEP[StepName(stored.closing)]
    except ValueError:
        return visible(stored.closing)


def acknowledgement(noted: Acknowledgement, times: Times) -> AcknowledgementShown:
    """Who took note."""
    return AcknowledgementShown(
        visible(noted.by, REMARK_LIMIT), when(noted.at, times), visible(noted.note, REMARK_LIMIT)
    )


def step_lines(steps: Iterable[Step], times: Times) -> tuple[StepLine, ...]:
    """Steps with their rule and reports."""
    return tuple(
        StepLine(
            id=step.id,
            at=when(step.at, times),
            name=step.name.value,
            mark=mark_of(step),
            text=step_line(step),
            rule=visible(step.reason),
            reports=evidence(step.reports, times),
        )
        for step in steps
    )


# --- reports -------------------------------------------------------------------------


def evidence(reports: Iterable[ReportRef], times: Times) -> tuple[EvidenceShown, ...]:
    """Raw reports, each once."""
    return tuple(_evidence(each, times) for each in {each.id: each for each in reports}.values())


def _evidence(report: ReportRef, times: Times) -> EvidenceShown:
    tags = report_tags(report)
    observed, received = when(report.observed_at, times), when(report.received_at, times)
    return EvidenceShown(
        id=report.id,
        station=visible(report.station),
        kind=report.kind,
        observed=observed,
        received=received,
        words=visible(
            f"{report.kind} of {report.station}, observed {observed.words}, received "
            f"{received.words}{tags}"
        ),
        raw=visible(report.raw, REPORT_LIMIT),
    )


# --- notices -------------------------------------------------------------------------


def notice_card(read: NoticeRead, times: Times) -> NoticeCard:
    """One notice and what became of it."""
    notice = read.notice
    leading = sorted((step for step in notice.steps if not step.past), key=step_rank)
    deliveries = tuple(delivery(each, times) for each in read.deliveries)
    reached = any(each.state is DeliveryState.ACCEPTED for each in read.deliveries)
    lost = any(each.state in FAILED and not each.replaced_by for each in read.deliveries)
    under_way = any(each.under_way for each in deliveries)
    return NoticeCard(
        id=notice.id,
        short=notice.id[:SHORT],
        at=when(notice.at, times),
        contact=visible(notice.contact),
        airfield=notice.airfield,
        kind=notice.kind,
        subject=visible(read.subject),
        mark=_mark(leading[0]) if leading else None,
        urgent=notice.urgent,
        deliveries=deliveries,
        failed=lost and not reached and not under_way,
    )


def _mark(step: Step) -> Mark | None:
    """The level of a step; that data are back is none."""
    return None if step.track.kind is TrackKind.DATA and step.name is not StepName.NO_DATA else (
        mark_of(step)
    )  # fmt: skip


def delivery(made: Delivery, times: Times, attempts: tuple[Attempt, ...] = ()) -> DeliveryShown:
    """One notice by one channel."""
    return DeliveryShown(
        channel=made.channel,
        state=made.state.value,
        words=_state_in_words(made, times),
        failed=made.state in FAILED,
        under_way=made.state in OPEN_STATES,
        tries=made.attempt,
        answer=visible(made.last_answer, REMARK_LIMIT),
        attempts=tuple(
            AttemptShown(
                each.number,
                when(each.started_at, times),
                each.outcome,
                visible(each.answer, REMARK_LIMIT),
            )
            for each in attempts
        ),
    )


def _state_in_words(made: Delivery, times: Times) -> str:
    tries = f"{made.attempt} {'try' if made.attempt == 1 else 'tries'}"
    later = f"; {SAID_LATER}" if made.replaced_by else ""
    due = "" if made.due_at is None else f", next try {times.at(made.due_at)}"
    match made.state:
        case DeliveryState.QUEUED:
            return "waits for the first channel to fail" if made.fall_back else "waits to be sent"
        case DeliveryState.SENDING:
            return "being sent"
        case DeliveryState.WAITING:
            return f"not taken yet, {tries}{due}"
        case DeliveryState.ACCEPTED:
            return "taken by the next hop"
        case DeliveryState.REFUSED:
            return f"not delivered: refused after {tries}{later}"
        case DeliveryState.EXPIRED:
            return f"not delivered in time, {tries}{later}"
        case DeliveryState.DEAD:
            return f"not delivered: given up after {tries}{later}"
        case DeliveryState.SUPERSEDED:
            return "replaced by a newer notice"
        case DeliveryState.WITHDRAWN:
            return "withdrawn before it was sent"
