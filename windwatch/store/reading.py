"""Reading the store: for the watch when it starts, and for people who look something up."""

from __future__ import annotations

import json
import logging
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any, Final

from sqlalchemy import Row, Select, select

from windwatch.assessment.values import Finding
from windwatch.episodes.values import Step
from windwatch.errors import StoreError
from windwatch.notices.outbox import Attempt, Delivery, DeliveryState
from windwatch.notices.values import Content, Notice, Picture
from windwatch.store.access import Access
from windwatch.store.codec import from_json
from windwatch.store.pictures import pictures_of
from windwatch.store.tables import (
    ACKNOWLEDGEMENTS,
    AIRFIELD_STATES,
    ATTEMPTS,
    DELIVERIES,
    EPISODES,
    EVENTS,
    NOTICE_STEPS,
    NOTICES,
    REPORTS,
    SETTINGS_SEEN,
    STEPS,
)
from windwatch.store.values import (
    Acknowledgement,
    Found,
    StoredEpisode,
    StoredEvent,
    StoredNotice,
    StoredReport,
    StoredSettings,
)

LOG: Final = logging.getLogger("windwatch.store")
# What SQLite takes as one list, with room to spare.
CHUNK: Final = 400


class Reader(Access):
    """What can be looked up."""

    def load_airfield_states(self) -> dict[str, str]:
        """How each airfield stood at the last commit, as JSON text."""
        table = AIRFIELD_STATES
        with self.reading() as connection:
            rows = connection.execute(select(table.c.airfield, table.c.state))
            return {row.airfield: row.state for row in rows}

    def report_known(self, report: str) -> bool:
        """Whether a report of this id is kept, whatever became of it."""
        with self.reading() as connection:
            found = connection.execute(select(REPORTS.c.number).where(REPORTS.c.id == report))
            return found.first() is not None

    def reports(self, ids: Collection[str]) -> tuple[StoredReport, ...]:
        """Reports by id, in the order in which they were kept."""
        return self._reports(select(REPORTS).where(REPORTS.c.id.in_(list(ids))))

    def reports_of(self, station: str, since: datetime) -> tuple[StoredReport, ...]:
        """Reports of a station observed since a time, in the order in which they were kept."""
        return self._reports(
            select(REPORTS).where(REPORTS.c.station == station, REPORTS.c.observed_at >= since)
        )

    def _reports(self, query: Select[Any]) -> tuple[StoredReport, ...]:
        with self.reading() as connection:
            rows = connection.execute(query.order_by(REPORTS.c.number))
            return tuple(StoredReport(**_without(row, "number")) for row in rows)

    def events(self, after: int = 0, limit: int | None = None) -> tuple[StoredEvent, ...]:
        """Everything judged, in order, from behind event number `after`."""
        query = select(EVENTS).where(EVENTS.c.number > after).order_by(EVENTS.c.number)
        with self.reading() as connection:
            rows = connection.execute(query.limit(limit))
            return tuple(
                StoredEvent(row.number, row.kind, row.at, json.loads(row.detail)) for row in rows
            )

    def episodes(
        self, *, open_only: bool = False, since: datetime | None = None
    ) -> tuple[StoredEpisode, ...]:
        """Episodes in the order of opening; `since`: opened or closed then, or open still."""
        query = select(EPISODES).order_by(EPISODES.c.opened_at, EPISODES.c.number)
        if open_only:
            query = query.where(EPISODES.c.closed_at.is_(None))
        if since is not None:
            query = query.where(EPISODES.c.closed_at.is_(None) | (EPISODES.c.closed_at >= since))
        with self.reading() as connection:
            return tuple(_episode(row) for row in connection.execute(query))

    def episode(self, episode: str) -> StoredEpisode | None:
        """One episode by id."""
        with self.reading() as connection:
            row = connection.execute(select(EPISODES).where(EPISODES.c.id == episode)).first()
            return None if row is None else _episode(row)

    def steps(self, episode: str) -> tuple[Step, ...]:
        """Steps of an episode, in order."""
        query = select(STEPS.c.step).where(STEPS.c.episode == episode).order_by(STEPS.c.number)
        with self.reading() as connection:
            return tuple(from_json(row.step, Step) for row in connection.execute(query))

    def steps_since(self, since: datetime, airfield: str | None = None) -> tuple[Step, ...]:
        """Steps at or after a time, in order, told or not."""
        query = select(STEPS.c.step).where(STEPS.c.at >= since).order_by(STEPS.c.number)
        if airfield is not None:
            query = query.where(STEPS.c.airfield == airfield)
        with self.reading() as connection:
            return tuple(from_json(row.step, Step) for row in connection.execute(query))

    def untold(self, contact: str, steps: Sequence[str]) -> tuple[str, ...]:
        """Those of some step ids that no notice has told this contact."""
        table = NOTICE_STEPS
        query = select(table.c.step).where(table.c.contact == contact, table.c.step.in_(steps))
        with self.reading() as connection:
            told = {row.step for row in connection.execute(query)}
        return tuple(step for step in steps if step not in told)

    def notices_about(self, contact: str, episodes: Collection[str]) -> tuple[str, ...]:
        """Ids of the notices to a contact about any of some episodes, first one first."""
        query = (
            select(NOTICES.c.id, NOTICES.c.number)
            .join(NOTICE_STEPS, NOTICE_STEPS.c.notice == NOTICES.c.id)
            .join(STEPS, STEPS.c.id == NOTICE_STEPS.c.step)
            .where(NOTICES.c.contact == contact, STEPS.c.episode.in_(list(episodes)))
            .distinct()
            .order_by(NOTICES.c.number)
        )
        with self.reading() as connection:
            return tuple(row.id for row in connection.execute(query))

    def notices(
        self,
        since: datetime | None = None,
        contact: str | None = None,
        limit: int | None = None,
    ) -> tuple[StoredNotice, ...]:
        """The latest notices, in the order in which they were kept."""
        query = select(NOTICES).order_by(NOTICES.c.number.desc()).limit(limit)
        if since is not None:
            query = query.where(NOTICES.c.at >= since)
        if contact is not None:
            query = query.where(NOTICES.c.contact == contact)
        return tuple(reversed(self._notices(query)))

    def notice(self, notice: str) -> StoredNotice | None:
        """One notice by id."""
        found = self._notices(select(NOTICES).where(NOTICES.c.id == notice))
        return found[0] if found else None

    def notices_of(self, episode: str) -> tuple[StoredNotice, ...]:
        """Every notice that told a step of an episode, in order."""
        told = (
            select(NOTICE_STEPS.c.notice)
            .join(STEPS, STEPS.c.id == NOTICE_STEPS.c.step)
            .where(STEPS.c.episode == episode)
        )
        query = select(NOTICES).where(NOTICES.c.id.in_(told)).order_by(NOTICES.c.number)
        return self._notices(query)

    def _notices(self, query: Select[Any]) -> tuple[StoredNotice, ...]:
        with self.reading() as connection:
            found = []
            rows = connection.execute(query).all()
            pictures: dict[str, tuple[Picture, ...]] = {}
            for start in range(0, len(rows), CHUNK):
                ids = [row.id for row in rows[start : start + CHUNK]]
                pictures |= pictures_of(connection, ids)
            for row in rows:
                notice, content = notice_of(row, pictures.get(row.id, ()))
                deliveries = connection.execute(
                    select(DELIVERIES)
                    .where(DELIVERIES.c.notice == notice.id)
                    .order_by(DELIVERIES.c.number)
                )
                found.append(
                    StoredNotice(
                        notice, content, tuple(delivery_of(d, notice, content) for d in deliveries)
                    )
                )
            return tuple(found)

    def attempts(self, delivery: str) -> tuple[Attempt, ...]:
        """Every try at a delivery, in order."""
        query = select(ATTEMPTS).where(ATTEMPTS.c.delivery == delivery)
        with self.reading() as connection:
            rows = connection.execute(query.order_by(ATTEMPTS.c.number))
            return tuple(Attempt(**row._asdict()) for row in rows)

    def acknowledgements(self, episode: str | None = None) -> tuple[Acknowledgement, ...]:
        """Who took note, of one episode or of all, in order."""
        query = select(ACKNOWLEDGEMENTS).order_by(ACKNOWLEDGEMENTS.c.number)
        if episode is not None:
            query = query.where(ACKNOWLEDGEMENTS.c.episode == episode)
        with self.reading() as connection:
            return tuple(
                Acknowledgement(**_without(row, "number")) for row in connection.execute(query)
            )

    def find(self, beginning: str) -> tuple[Found, ...]:
        """What has an id that begins so: notices, episodes, steps and reports."""
        tables = (("notice", NOTICES), ("episode", EPISODES), ("step", STEPS), ("report", REPORTS))
        with self.reading() as connection:
            return tuple(
                Found(kind, row.id)
                for kind, table in tables
                for row in connection.execute(
                    select(table.c.id)
                    .where(table.c.id.startswith(beginning, autoescape=True))
                    .order_by(table.c.number)
                    .limit(20)
                )
            )

    def last_settings(self) -> StoredSettings | None:
        """The configuration kept last."""
        query = select(SETTINGS_SEEN).order_by(SETTINGS_SEEN.c.number.desc()).limit(1)
        with self.reading() as connection:
            row = connection.execute(query).first()
        return None if row is None else _settings_of(row)

    def all_settings(self) -> tuple[StoredSettings, ...]:
        """The configurations that have been in force, oldest first: one for each ``config``."""
        query = select(SETTINGS_SEEN).order_by(SETTINGS_SEEN.c.number)
        with self.reading() as connection:
            return tuple(_settings_of(row) for row in connection.execute(query))


def _settings_of(row: Row[Any]) -> StoredSettings:
    return StoredSettings(row.fingerprint, row.at, json.loads(row.detail))


def notice_of(row: Row[Any], pictures: tuple[Picture, ...]) -> tuple[Notice, Content]:
    """Make a notice and its words from its row.

    What cannot be read back is named and the rest goes on: one bad row must hold up neither
    the deliveries behind it nor whoever looks something up.
    """
    try:
        notice = from_json(row.notice, Notice)
    except StoreError:
        LOG.error("notice_unreadable", extra={"notice": row.id})  # noqa: TRY400 - holds the text
        notice = Notice(
            row.id, row.contact, row.airfield, row.at, row.kind, (), row.urgent, row.valid_until
        )
    try:
        content = _with(from_json(row.content, Content), pictures)
    except StoreError:
        LOG.error("content_unreadable", extra={"notice": row.id})  # noqa: TRY400 - holds the text
        subject = f"{row.airfield} {row.kind} of {row.at:%Y-%m-%d %H:%MZ}: the text was damaged"
        text = f"{subject}. Look at the reports yourself, or run: windwatch explain {row.id}\n"
        content = Content(subject, text, "", {"id": row.id, "subject": subject})
    return notice, content


def _with(content: Content, pictures: tuple[Picture, ...]) -> Content:
    return replace(content, pictures=pictures) if pictures else content


def delivery_of(row: Row[Any], notice: Notice, content: Content) -> Delivery:
    """Make a delivery from its row."""
    return Delivery(
        id=row.id,
        notice=notice,
        content=content,
        channel=row.channel,
        created_at=row.created_at,
        state=DeliveryState(row.state),
        due_at=row.due_at,
        attempt=row.attempt,
        tries=row.tries,
        lease_until=row.lease_until,
        accepted_at=row.accepted_at,
        last_answer=row.last_answer,
        plain=row.plain,
        fall_back=row.fall_back,
        replaced_by=row.replaced_by,
    )


def _episode(row: Row[Any]) -> StoredEpisode:
    values = _without(row, "number")
    worst = values["worst"]
    return StoredEpisode(**values | {"worst": from_json(worst, Finding) if worst else None})


def _without(row: Row[Any], name: str) -> dict[str, Any]:
    return {key: value for key, value in row._asdict().items() if key != name}
