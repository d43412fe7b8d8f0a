"""One step's outcome into the store: report, episodes, notices and deliveries, all or nothing."""

from __future__ import annotations

import json
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
from windwatch.store.values import StoredSettings

log = logging.getLogger(__name__)

Compose = Callable[[Notice, Situation, Fleet], Content]
ChannelsOf = Callable[[Notice], Mapping[str, datetime | None]]

_STATE: TypeAdapter[AirfieldState] = TypeAdapter(AirfieldState)
_FLEET: TypeAdapter[Fleet] = TypeAdapter(Fleet)


@dataclass(frozen=True, slots=True)
class Configured:
    """A configuration that is in force from a time on.

    Attributes
    ----------
    fingerprint : str
        Of everything that judging and telling depend on; addresses and secrets are no part of it.
    detail : mapping
        The fleet, as JSON values.
    changed : tuple of str
        What is different from the one before, in words; empty: the program has started.
    """

    fingerprint: str
    detail: Mapping[str, Any]
    at: datetime
    changed: tuple[str, ...] = ()


def configured(fleet: Fleet, now: datetime, changed: tuple[str, ...] = ()) -> Configured:
    """A configuration as the store keeps it."""
    plain = replace(fleet, pilot_limits=dict(fleet.pilot_limits))
    detail = {"fleet": _FLEET.dump_python(plain, mode="json")}
    text = json.dumps(detail, sort_keys=True, separators=(",", ":"))
    return Configured(computed_id("configuration", text), detail, now, changed)


def fleet_of(kept: StoredSettings) -> Fleet:
    """The fleet of a configuration that was kept: what a replay of the events needs.

    Raises
    ------
    ValueError
        If an older windwatch kept it in another form.
    """
    return _FLEET.validate_python(kept.detail.get("fleet"))


def is_kept(store: Store, config: Configured) -> bool:
    """Whether the store knows already that this configuration is in force."""
    try:
        last = store.last_settings()
    except StoreError:
        return False
    return last is not None and last.fingerprint == config.fingerprint


def keep_configured(books: Books, config: Configured) -> None:
    """Write that a configuration is in force, before anything that was judged by it."""
    books.save_settings(config.fingerprint, config.at, config.detail)
    told = {"fingerprint": config.fingerprint, "changed": list(config.changed)}
    books.save_event("config", config.at, told)


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


def keep(
    store: Store,
    changes: Sequence[Change],
    channels_of: ChannelsOf,
    config: Configured | None = None,
) -> None:
    """Write changes in one transaction.

    Parameters
    ----------
    config : Configured or None
        The configuration by which they were judged, where the store does not know it yet.
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
        if config is not None:
            keep_configured(books, config)
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
    told = bool(outcome.steps or outcome.notices)
    gap = outcome.gap is not None
    return isinstance(event, Acknowledged) or accepted or told or gap


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
    if outcome.gap is not None:
        detail["not_watched_since"] = outcome.gap.since.isoformat()
        detail["not_watched_until"] = outcome.gap.until.isoformat()
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
