"""The pictures of notices: kept once, named by every notice that shows them."""

from __future__ import annotations

import logging
from collections.abc import Collection
from functools import lru_cache
from typing import Final

from sqlalchemy import Connection, select

from windwatch.errors import StoreError
from windwatch.notices.values import Picture
from windwatch.store.codec import from_json
from windwatch.store.tables import NOTICE_PICTURES, PICTURES

LOG: Final = logging.getLogger("windwatch.store")


def pictures_of(connection: Connection, notices: Collection[str]) -> dict[str, tuple[Picture, ...]]:
    """The pictures of some notices by id, the most needed first; what has none is left out.

    A picture that cannot be read back is left out: the words are complete without it.
    """
    names, picture = NOTICE_PICTURES.c, PICTURES.c
    query = (
        select(names.notice, picture.id, picture.picture)
        .join(PICTURES, picture.id == names.picture)
        .where(names.notice.in_(list(notices)))
        .order_by(names.notice, names.place)
    )
    found: dict[str, tuple[Picture, ...]] = {}
    for row in connection.execute(query):
        try:
            read = _picture(row.picture)
        except StoreError:
            LOG.error("picture_unreadable", extra={"picture": row.id})  # noqa: TRY400 - the text
            continue
        found[row.notice] = (*found.get(row.notice, ()), read)
    return found


@lru_cache(maxsize=64)
def _picture(text: str) -> Picture:
    """Read once, and one object for all who are sent it."""
    return from_json(text, Picture)
