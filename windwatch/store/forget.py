"""Forgetting a person: everything that was said to a contact, and by them."""

from __future__ import annotations

import json
import re
from typing import Any, Final

from sqlalchemy import Column, Connection, Table, delete, func, select, update

from windwatch.store.tables import (
    ACKNOWLEDGEMENTS,
    AIRFIELD_STATES,
    ATTEMPTS,
    CHANNELS_OFF,
    DELIVERIES,
    EVENTS,
    NOTICE_PICTURES,
    NOTICE_STEPS,
    NOTICES,
    PICTURES,
    SETTINGS_SEEN,
)
from windwatch.store.tidy import unnamed

FORGOTTEN: Final = "(forgotten)"
TABLES: Final = tuple(
    table.name
    for table in (
        ACKNOWLEDGEMENTS,
        AIRFIELD_STATES,
        ATTEMPTS,
        CHANNELS_OFF,
        DELIVERIES,
        EVENTS,
        NOTICE_PICTURES,
        NOTICE_STEPS,
        NOTICES,
        PICTURES,
        SETTINGS_SEEN,
    )
)
# Where the values that are kept as JSON name people. Only there: an aircraft may bear the same
# name as its owner, and what is remembered of the aircraft must stay.
PEOPLE: Final = frozenset(
    {"acknowledged_by", "by", "contact", "contacts", "first_notices", "known_contacts", "told"}
)
_JSON: Final[tuple[tuple[Table, str, Column[Any]], ...]] = (
    (EVENTS, "number", EVENTS.c.detail),
    (SETTINGS_SEEN, "number", SETTINGS_SEEN.c.detail),
    (AIRFIELD_STATES, "airfield", AIRFIELD_STATES.c.state),
)


def forget(connection: Connection, contact: str) -> int:
    """Take out everything about a contact; return how many notices went."""
    if connection.dialect.name == "sqlite":
        # What is deleted is overwritten too.
        connection.exec_driver_sql("PRAGMA secure_delete = ON")
    theirs = select(DELIVERIES.c.id).where(DELIVERIES.c.contact == contact)
    connection.execute(delete(ATTEMPTS).where(ATTEMPTS.c.delivery.in_(theirs)))
    connection.execute(delete(DELIVERIES).where(DELIVERIES.c.contact == contact))
    connection.execute(delete(NOTICE_STEPS).where(NOTICE_STEPS.c.contact == contact))
    notices = select(NOTICES.c.id).where(NOTICES.c.contact == contact)
    connection.execute(delete(NOTICE_PICTURES).where(NOTICE_PICTURES.c.notice.in_(notices)))
    # What was drawn for them alone; what others were sent too stays.
    connection.execute(delete(PICTURES).where(unnamed()))
    gone = connection.execute(
        delete(NOTICES).where(NOTICES.c.contact == contact).returning(NOTICES.c.id)
    ).all()
    connection.execute(delete(CHANNELS_OFF).where(CHANNELS_OFF.c.contact == contact))
    _rename_acknowledgements(connection, contact)
    for table, key, column in _JSON:
        _blank(connection, table, key, column, contact)
    _blank_words_of_others(connection, contact)
    return len(gone)


def _rename_acknowledgements(connection: Connection, contact: str) -> None:
    table = ACKNOWLEDGEMENTS
    # Two of them at one moment would be the same row once the name is gone.
    again = (
        select(func.min(table.c.number))
        .where(table.c.by.in_((contact, FORGOTTEN)))
        .group_by(table.c.episode, table.c.at)
    )
    connection.execute(delete(table).where(table.c.by == contact, table.c.number.not_in(again)))
    connection.execute(update(table).where(table.c.by == contact).values(by=FORGOTTEN, note=""))


def _blank(
    connection: Connection, table: Table, key: str, column: Column[Any], contact: str
) -> None:
    """Replace the name where a JSON text names people."""
    number = table.c[key]
    query = select(number, column).where(column.contains(_in_json(contact), autoescape=True))
    for row in connection.execute(query).all():
        text = json.dumps(
            without(json.loads(row[1]), contact), ensure_ascii=False, separators=(",", ":")
        )
        connection.execute(update(table).where(number == row[0]).values({column.name: text}))


def _in_json(name: str) -> str:
    return json.dumps(name, ensure_ascii=False)[1:-1]


def without(value: Any, contact: str, *, people: bool = False) -> Any:
    """Replace a contact's name in a JSON value, where it names people."""
    if isinstance(value, dict):
        return {
            key: without(part, contact, people=people or key in PEOPLE)
            for key, part in value.items()
        }
    if isinstance(value, list):
        return [without(part, contact, people=people) for part in value]
    return FORGOTTEN if people and value == contact else value


def _blank_words_of_others(connection: Connection, contact: str) -> None:
    """Others were told that this contact took note; what is still on its way stays as it is."""
    on_its_way = select(DELIVERIES.c.notice).where(DELIVERIES.c.open_rank.is_not(None))
    name = _in_json(contact)
    query = select(NOTICES.c.number, NOTICES.c.content).where(
        NOTICES.c.content.contains(name, autoescape=True), NOTICES.c.id.not_in(on_its_way)
    )
    word = re.compile(rf"(?<!\w){re.escape(name)}(?!\w)")
    for row in connection.execute(query).all():
        text = word.sub(FORGOTTEN, row.content)
        connection.execute(
            update(NOTICES).where(NOTICES.c.number == row.number).values(content=text)
        )
