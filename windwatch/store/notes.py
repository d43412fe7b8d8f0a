"""Small notes that a watch leaves for the one after it."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from sqlalchemy import Connection, delete, select

from windwatch.store.access import Access, insert_or
from windwatch.store.tables import META

WATCHED_UNTIL: Final = "watched until"
# From when on a store that replaced another one can be built upon.
REPLACED_AT: Final = "replaced at"


def watched_until(access: Access) -> datetime | None:
    """When a watch last turned; None: never.

    Raises
    ------
    StoreError
        If the store cannot be read.
    """
    return _moment(access, WATCHED_UNTIL)


def replaced_at(access: Access) -> datetime | None:
    """When people were told that this store replaced another; None: never, or it is over.

    Raises
    ------
    StoreError
        If the store cannot be read.
    """
    return _moment(access, REPLACED_AT)


def _moment(access: Access, key: str) -> datetime | None:
    query = select(META.c.value).where(META.c.key == key)
    with access.reading() as connection:
        found = connection.execute(query).scalar()
    try:
        moment = None if found is None else datetime.fromisoformat(found)
    except ValueError:
        return None
    return moment if moment is None or moment.tzinfo else None


def note_watched(access: Access, now: datetime) -> None:
    """Note that a watch has turned; that it can be written is worth knowing by itself.

    Raises
    ------
    StoreError
        If the store cannot be written.
    """
    with access.writing() as connection:
        keep_moment(connection, WATCHED_UNTIL, now)


def keep_moment(connection: Connection, key: str, moment: datetime) -> None:
    """Keep a note, in the place of an older one."""
    insert = insert_or(connection, META)
    insert = insert.on_conflict_do_update(
        index_elements=["key"], set_={"value": insert.excluded.value}
    )
    connection.execute(insert, [{"key": key, "value": moment.isoformat()}])


def forget_replaced(access: Access) -> None:
    """Enough has come since the store was replaced: nothing is held any more.

    Raises
    ------
    StoreError
        If the store cannot be written.
    """
    with access.writing() as connection:
        connection.execute(delete(META).where(META.c.key == REPLACED_AT))
