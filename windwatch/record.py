"""One step's outcome into the store: report, episodes, notices and deliveries, all or nothing."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime
from typing import Any

from pydantic import TypeAdapter, ValidationError

from windwatch.episodes.entries import Judged, Status
from windwatch.episodes.ledger import Told
from windwatch.episodes.state import AirfieldState
from windwatch.episodes.values import Step, computed_id
from windwatch.fleet import Fleet
from windwatch.notices.values import Content, Notice, Situation
from windwatch.pipeline import Acknowledged, Event, Outcome, ReportsCame
from windwatch.reports.raw import RawReport
from windwatch.store.store import Store

log = logging.getLogger(__name__)

Compose = Callable[[Notice, Situation, Fleet], Content]

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
    """A notice in words; where they fail, the bare facts go out (promise 20)."""
    try:
        return compose(notice, situation, fleet)
    except Exception:
        # Whatever fails in words, pictures or templates must not hold up a warning.
        log.exception("words_failed", extra={"notice": notice.id})
        return plain(notice, situation, fleet)


def keep(
    store: Store,
    event: Event,
    before: AirfieldState,
    outcome: Outcome,
    now: datetime,
    composed: tuple[tuple[Notice, Content], ...],
    channels_of: Callable[[str], tuple[str, ...]],
) -> None:
    """Write one step's outcome in one transaction.

    Parameters
    ----------
    before : AirfieldState
        State before the step, to see which episodes moved.
    composed : tuple of (Notice, Content)
        The notices in words.
    channels_of : callable
        Names of a contact's channels.

    Raises
    ------
    StoreError
        If it cannot be written; then nothing of it is.
    """
    state = outcome.books.state
    raws = event.reports if isinstance(event, ReportsCame) else ()
    with store.transaction() as books:
        for raw, judged in zip(raws, outcome.judged, strict=False):
            if judged.status is not Status.DUPLICATE:
                books.save_report(**_report_row(raw, judged))
        if outcome.steps or any(j.entry is not None for j in outcome.judged):
            books.save_event(_kind(event), now, _detail(event, outcome))
        books.save_steps(outcome.steps)
        last_steps = {step.episode: step for step in outcome.steps}
        for told in _moved(before, state):
            books.save_episode(**_episode_row(told, last_steps.get(told.episode)))
        if state is not before:
            text = _STATE.dump_json(state).decode()
            books.save_airfield_state(state.airfield, text, now)
        for notice, content in composed:
            books.enqueue(notice, content, channels_of(notice.contact))


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


def _moved(before: AirfieldState, after: AirfieldState) -> list[Told]:
    known = set(before.ledger)
    return [told for told in after.ledger if told not in known]


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
