"""One step's outcome into the store: report, episodes, notices and deliveries, all or nothing."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import Any

from pydantic import TypeAdapter, ValidationError

from windwatch.episodes.entries import Judged, Status
from windwatch.episodes.ledger import Told
from windwatch.episodes.state import AirfieldState
from windwatch.episodes.values import Step, computed_id
from windwatch.errors import StoreError
from windwatch.fleet import Fleet
from windwatch.notices.bounded import GUARD
from windwatch.notices.values import Content, Notice, Situation
from windwatch.pipeline import Acknowledged, Event, Outcome, ReportsCame
from windwatch.reports.raw import RawReport
from windwatch.store.books import Books
from windwatch.store.store import Store

log = logging.getLogger(__name__)

Compose = Callable[[Notice, Situation, Fleet], Content]
ChannelsOf = Callable[[Notice], Mapping[str, datetime | None]]

_STATE: TypeAdapter[AirfieldState] = TypeAdapter(AirfieldState)


def load_states(store: Store) -> dict[str, AirfieldState]:
    """What the store remembers of each airfield.

    A state that cannot be read is left out and reported: that airfield begins anew, from the
    reports that the feed still has; nothing is cleared on the strength of it.
    """
    found = {}
    for airfield, text in store.load_airfield_states().items():
        try:
            found[airfield] = _STATE.validate_json(text)
        except ValidationError as error:
            log.error(  # noqa: TRY400 - the traceback would print the whole state
                "state_unreadable",
                extra={"airfield": airfield, "faults": error.error_count()},
            )
    return found


def words_for(
    notice: Notice, situation: Situation, fleet: Fleet, compose: Compose, plain: Compose
) -> Content:
    """A notice in words; where they fail or take too long, the bare facts go out (promise 20)."""
    try:
        return GUARD.words(partial(compose, notice, situation, fleet))
    except Exception:
        # Whatever fails in words, pictures or templates must not hold up a warning.
        log.exception("words_failed", extra={"notice": notice.id})
        return plain(notice, situation, fleet)


def noting_dead_letters(
    store: Store, notices: tuple[tuple[Notice, Situation], ...]
) -> tuple[tuple[Notice, Situation], ...]:
    """The notices, each saying by which channels earlier ones did not reach its contact."""
    if not notices:
        return notices
    try:
        lost = store.unreached_channels()
    except StoreError:
        # Whoever asks next will hear of the store; the warning must not wait for it.
        return notices
    return tuple(
        (replace(notice, undelivered_by=lost.get(notice.contact, ())), situation)
        for notice, situation in notices
    )


@dataclass(frozen=True, slots=True)
class Change:
    """What one event came to at one airfield.

    Attributes
    ----------
    before : AirfieldState
        State before the step, to see which episodes moved.
    composed : tuple of (Notice, Content)
        The notices in words.
    """

    event: Event
    before: AirfieldState
    outcome: Outcome
    now: datetime
    composed: tuple[tuple[Notice, Content], ...] = ()


def keep(store: Store, changes: Sequence[Change], channels_of: ChannelsOf) -> None:
    """Write changes in one transaction.

    Parameters
    ----------
    channels_of : callable
        By which channels a notice goes, and from when on; None: at once.

    Raises
    ------
    StoreError
        If they cannot be written; then nothing of them is.
    """
    if not changes:
        return
    with store.transaction() as books:
        for change in changes:
            _write(books, change, channels_of)


def _write(books: Books, change: Change, channels_of: ChannelsOf) -> None:
    event, outcome = change.event, change.outcome
    state = outcome.books.state
    raws = event.reports if isinstance(event, ReportsCame) else ()
    for raw, judged in zip(raws, outcome.judged, strict=False):
        if judged.status is not Status.DUPLICATE:
            books.save_report(**_report_row(raw, judged))
    if _changes_something(event, outcome):
        books.save_event(_kind(event), change.now, _detail(event, outcome))
    books.save_steps(outcome.steps)
    last_steps = {step.episode: step for step in outcome.steps}
    moved = _moved(change.before, state, last_steps)
    books.save_episodes([_episode_row(told, last_steps.get(told.episode)) for told in moved])
    if state is not change.before:
        text = _STATE.dump_json(state).decode()
        books.save_airfield_state(state.airfield, text, change.now)
    for notice, content in change.composed:
        books.enqueue(notice, content, channels_of(notice))


def _changes_something(event: Event, outcome: Outcome) -> bool:
    """Whether a replay of the events would need this one."""
    accepted = any(judged.entry is not None for judged in outcome.judged)
    return isinstance(event, Acknowledged) or accepted or bool(outcome.steps)


def _kind(event: Event) -> str:
    match event:
        case ReportsCame():
            return "report"
        case Acknowledged():
            return "acknowledge"
        case _:
            return "tick"


def _detail(event: Event, outcome: Outcome) -> dict[str, Any]:
    detail: dict[str, Any] = {"airfield": outcome.books.state.airfield}
    if isinstance(event, Acknowledged):
        detail |= {"episodes": list(event.episodes), "by": event.by}
    if outcome.judged:
        detail["reports"] = [
            {"id": j.entry.id if j.entry else report_id(j), "status": j.status.value}
            for j in outcome.judged
        ]
    return detail


def report_id(judged: Judged) -> str:
    """Id of a report that was not accepted: computed from its text."""
    return computed_id("report", judged.report.station, judged.report.raw)


def _report_row(raw: RawReport, judged: Judged) -> dict[str, Any]:
    report = judged.report
    return {
        "id": report_id(judged) if judged.entry is None else judged.entry.id,
        "station": report.station,
        "kind": report.kind,
        "observed_at": report.observed_at,
        "received_at": raw.received_at,
        "raw": report.raw,
        "source": raw.source,
        "status": judged.status.value,
        "reason": "; ".join(part for part in (judged.reason, *report.problems) if part),
    }


def _moved(
    before: AirfieldState, after: AirfieldState, last_steps: Mapping[str, Step]
) -> list[Told]:
    """Episodes of which a row would say something new.

    A runway that was lost together with the last one has none of its own before something
    happens to it by itself: *none left* says it.
    """
    known = {told.episode: told for told in before.ledger}
    return [
        told
        for told in after.ledger
        if told.episode in last_steps or _standing(told) != _standing(known.get(told.episode, told))
    ]


def _standing(told: Told) -> tuple[bool, datetime | None, bool]:
    return told.open, told.closed_at, told.withdrawn


def _episode_row(told: Told, step: Step | None) -> dict[str, Any]:
    closing = ""
    if not told.open:
        closing = "withdrawn" if told.withdrawn else "back"
        if step is not None:
            closing = step.name.value
    return {
        "id": told.episode,
        "track": told.track,
        "opened_at": told.opened_at,
        "opened_by": told.opened_by,
        "closed_at": told.closed_at,
        "closing": closing,
        "worst": None if step is None else step.worst,
        "last_step": "" if step is None else step.name.value,
    }
