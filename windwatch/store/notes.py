"""Small notes that a watch leaves for the one after it."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from sqlalchemy import select

from windwatch.store.access import Access, insert_or
from windwatch.store.tables import META

WATCHED_UNTIL: Final = "watched until"


def watched_until(access: Access) -> datetime | None:
    """When a watch last turned; None: never.

    Raises
    ------
    StoreError
        If the store cannot be read.
    """
    query = select(META.c.value).where(META.c.key == WATCHED_UNTIL)
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
        insert = insert_or(connection, META)
        insert = insert.on_conflict_do_update(
            index_elements=["key"], set_={"value": insert.excluded.value}
        )
        connection.execute(insert, [{"key": WATCHED_UNTIL, "value": now.isoformat()}])
