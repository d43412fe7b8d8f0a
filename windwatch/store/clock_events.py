"""What the events say of the clock."""

from __future__ import annotations

import json
from typing import Final

from sqlalchemy import select

from windwatch.store.access import Access
from windwatch.store.tables import EVENTS

# Kind of the event that says that the clock is in doubt, or no longer.
CLOCK_EVENT: Final = "clock"


def clock_was_doubted(access: Access) -> bool:
    """Whether the newest event about the clock says that it is in doubt.

    Raises
    ------
    StoreError
        If the store cannot be read.
    """
    newest = (
        select(EVENTS.c.detail)
        .where(EVENTS.c.kind == CLOCK_EVENT)
        .order_by(EVENTS.c.number.desc())
        .limit(1)
    )
    with access.reading() as connection:
        found = connection.execute(newest).scalar()
    return found is not None and bool(json.loads(found).get("in_doubt"))
