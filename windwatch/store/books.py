"""What one transaction can write: a report, what it moved, and what must be said of it."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from functools import cache
from typing import Any, Final

from sqlalchemy import Connection, bindparam, delete, func, select, update

from windwatch.assessment.values import Finding
from windwatch.episodes.values import Step, TrackKey
from windwatch.notices.outbox import DeliveryState, delivery_id
from windwatch.notices.values import Content, Notice, Picture
from windwatch.store.access import add_new, insert_new, insert_or_change
from windwatch.store.codec import to_json
from windwatch.store.damage import told
from windwatch.store.notes import REPLACED_AT, keep_moment
from windwatch.store.tables import (
    ACKNOWLEDGEMENTS,
    AIRFIELD_STATES,
    DELIVERIES,
    EPISODES,
    EVENTS,
    NOTICE_PICTURES,
    NOTICE_STEPS,
    NOTICES,
    PICTURES,
    REPORTS,
    SETTINGS_SEEN,
    STEPS,
)

URGENT_RANK: Final = 0
OTHER_RANK: Final = 1
# What may change in an episode.
_CHANGING: Final = ("closed_at", "closing", "worst", "last_step")
_COUNT_TOLD: Final = select(func.count()).where(NOTICE_STEPS.c.notice == bindparam("id"))


class Books:
    """The books, open in one transaction; nothing is written unless all of it is."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._dialect = connection.dialect.name
        # A step stands in the table of steps and in each contact's notice: written out once.
        self._written: dict[int, tuple[Step, str]] = {}
        # Ids of the pictures that are kept already.
        self._pictures: set[str] = set()

    def save_report(
        self,
        *,
        id: str,  # noqa: A002 - it is the report's id, and named at every call
        station: str,
        kind: str,
        observed_at: datetime | None,
        received_at: datetime,
        raw: str,
        source: str,
        status: str = "accepted",
        reason: str = "",
    ) -> None:
        """Keep a report; the first keeping of an id counts."""
        row = {
            "id": id,
            "station": station,
            "kind": kind,
            "observed_at": observed_at,
            "received_at": received_at,
            "raw": raw,
            "source": source,
            "status": status,
            "reason": reason,
        }
        add_new(self._connection, REPORTS, [row])

    def mark_report(self, report: str, status: str, reason: str) -> None:
        """Change what became of a report: superseded by a correction, say."""
        self._connection.execute(
            update(REPORTS).where(REPORTS.c.id == report).values(status=status, reason=reason)
        )

    def save_event(self, kind: str, at: datetime, detail: Mapping[str, Any]) -> None:
        """Keep what was judged, in order: ``report``, ``tick``, ``acknowledge`` ..."""
        text = json.dumps(detail, ensure_ascii=False, separators=(",", ":"))
        row = {"kind": kind, "at": at, "detail": text}
        self._connection.execute(EVENTS.insert(), [row])

    def save_airfield_state(self, airfield: str, state: str, at: datetime) -> None:
        """Keep how an airfield stands, as JSON text."""
        insert = insert_or_change(
            self._dialect, AIRFIELD_STATES, "airfield", ("state", "updated_at")
        )
        row = {"airfield": airfield, "state": state, "updated_at": at}
        self._connection.execute(insert, [row])

    def save_steps(self, steps: Sequence[Step]) -> None:
        """Keep steps; one that is kept already stays as it is."""
        add_new(
            self._connection,
            STEPS,
            [
                {
                    "id": step.id,
                    "episode": step.episode,
                    "name": step.name.value,
                    "track_kind": step.track.kind.value,
                    "airfield": step.track.airfield,
                    "aircraft": step.track.aircraft,
                    "pilot_limits": step.track.pilot_limits,
                    "quantity": step.track.quantity,
                    "at": step.at,
                    "step": self._text_of(step),
                }
                for step in steps
            ],
        )

    def save_episode(
        self,
        *,
        id: str,  # noqa: A002 - it is the episode's id, and named at every call
        track: TrackKey,
        opened_at: datetime,
        opened_by: str,
        closed_at: datetime | None = None,
        closing: str = "",
        worst: Finding | None = None,
        last_step: str = "",
    ) -> None:
        """Keep an episode, or what has changed in it; its opening never changes.

        Parameters
        ----------
        opened_by : str
            Id of the opening report.
        closed_at : datetime or None
            None while it is open, also again after a withdrawn ending.
        """
        self.save_episodes(
            [
                {
                    "id": id,
                    "track": track,
                    "opened_at": opened_at,
                    "opened_by": opened_by,
                    "closed_at": closed_at,
                    "closing": closing,
                    "worst": worst,
                    "last_step": last_step,
                }
            ]
        )

    def save_episodes(self, episodes: Sequence[Mapping[str, Any]]) -> None:
        """Keep several episodes with one statement, each with all that `save_episode` takes."""
        if not episodes:
            return
        insert = insert_or_change(self._dialect, EPISODES, "id", _CHANGING)
        self._connection.execute(insert, [_episode_row(**episode) for episode in episodes])

    def enqueue(
        self,
        notice: Notice,
        content: Content,
        channels: Sequence[str] | Mapping[str, datetime | None],
    ) -> bool:
        """Keep a notice and one delivery for each channel; a second time changes nothing.

        Where every step of the notice has been told to the contact by another notice, nothing
        is kept, unless it is meant to replace others.

        Parameters
        ----------
        channels : sequence of str, or mapping of str to datetime or None
            With a time: it waits until then, as a fall-back for those before it.

        Returns
        -------
        bool
            Whether the notice was new.
        """
        new = self._add_notice(notice, content)
        if new is None:
            return False
        if new:
            self._add_pictures(notice, content.pictures)
        add_new(
            self._connection,
            DELIVERIES,
            [
                _delivery_row(notice, channel, due_at)
                for channel, due_at in (
                    channels if isinstance(channels, Mapping) else dict.fromkeys(channels)
                ).items()
            ],
        )
        return new

    def _add_notice(self, notice: Notice, content: Content) -> bool | None:
        """Keep a notice: True, new; False, there already; None, it says nothing new."""
        row = {
            "id": notice.id,
            "contact": notice.contact,
            "airfield": notice.airfield,
            "at": notice.at,
            "kind": notice.kind,
            "urgent": notice.urgent,
            "valid_until": notice.valid_until,
            "notice": self._notice_text(notice),
            "content": to_json(_without_pictures(content), Content),
        }
        added = self._connection.execute(_insert_notice(self._dialect), row).first()
        if added is None:
            return False
        if not notice.steps:
            return True
        add_new(
            self._connection,
            NOTICE_STEPS,
            [
                {"contact": notice.contact, "step": step.id, "notice": notice.id}
                for step in notice.steps
            ],
        )
        if notice.replaces:
            return True
        told = self._connection.execute(_COUNT_TOLD, {"id": notice.id}).scalar_one()
        if told:
            return True
        self._connection.execute(delete(NOTICES).where(NOTICES.c.id == notice.id))
        return None

    def _add_pictures(self, notice: Notice, pictures: Sequence[Picture]) -> None:
        """Name the pictures of a notice; each is kept once."""
        if not pictures:
            return
        unkept = [picture for picture in pictures if picture.id not in self._pictures]
        rows = [{"id": each.id, "picture": to_json(each, Picture)} for each in unkept]
        if rows:
            add_new(self._connection, PICTURES, rows)
            self._pictures.update(picture.id for picture in unkept)
        add_new(
            self._connection,
            NOTICE_PICTURES,
            [
                {"notice": notice.id, "place": place, "picture": picture.id}
                for place, picture in enumerate(pictures)
            ],
        )

    def _notice_text(self, notice: Notice) -> str:
        """A notice as `to_json` writes it, put together from the texts of its steps."""
        steps = ",".join([self._text_of(step) for step in notice.steps])
        bare = to_json(replace(notice, steps=()), Notice)
        # Quotes inside of a text are escaped: this can only be the field itself.
        return bare.replace('"steps":[]', f'"steps":[{steps}]', 1)

    def _text_of(self, step: Step) -> str:
        # By identity, which is sure as long as the step is kept: to compare all of it is slower.
        known = self._written.get(id(step))
        if known is None:
            known = self._written[id(step)] = (step, to_json(step, Step))
        return known[1]

    def acknowledge(self, episode: str, by: str, at: datetime, note: str = "") -> None:
        """Keep that somebody took note of an episode."""
        row = {"episode": episode, "by": by, "at": at, "note": note}
        add_new(self._connection, ACKNOWLEDGEMENTS, [row])

    def save_settings(self, fingerprint: str, at: datetime, detail: Mapping[str, Any]) -> None:
        """Keep which configuration is in force from now on (no secret belongs into `detail`)."""
        text = json.dumps(detail, ensure_ascii=False, separators=(",", ":"))
        row = {"fingerprint": fingerprint, "at": at, "detail": text}
        self._connection.execute(SETTINGS_SEEN.insert(), [row])

    def repair_told(self, at: datetime) -> None:
        """Remember that people have been told what `Store.repaired` says.

        Parameters
        ----------
        at : datetime
            When, aware, UTC: only what is observed from then on can end anything, also after
            a restart.
        """
        told(self._connection)
        keep_moment(self._connection, REPLACED_AT, at)


def _without_pictures(content: Content) -> Content:
    """What is kept with the notice itself."""
    return replace(content, pictures=()) if content.pictures else content


@cache
def _insert_notice(dialect: str) -> Any:
    return insert_new(dialect, NOTICES).returning(NOTICES.c.id)


def _episode_row(
    *, track: TrackKey, worst: Finding | None, **others: datetime | str | None
) -> dict[str, Any]:
    return {
        **others,
        "track": str(track),
        "airfield": track.airfield,
        "worst": "" if worst is None else to_json(worst, Finding),
    }


def _delivery_row(notice: Notice, channel: str, due_at: datetime | None) -> dict[str, Any]:
    return {
        "id": delivery_id(notice.id, channel),
        "notice": notice.id,
        "contact": notice.contact,
        "channel": channel,
        "airfield": notice.airfield,
        "urgent": notice.urgent,
        "created_at": notice.at,
        "valid_until": notice.valid_until,
        "state": DeliveryState.QUEUED.value,
        "open_rank": URGENT_RANK if notice.urgent else OTHER_RANK,
        "due_at": due_at,
        "attempt": 0,
        "tries": 0,
        "lease_until": None,
        "accepted_at": None,
        "last_answer": "",
        "plain": False,
        "fall_back": due_at is not None,
        "unreached": False,
        "replaced_by": "",
    }
