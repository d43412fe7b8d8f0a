"""Who leads: one row that says under which number, and the statements on it.

Every take-over counts the number up. Whoever writes looks, within the same transaction, whether
its number is still the newest; the row is locked against a take-over until that transaction ends,
so that a watcher that slept through its own lease can change nothing when it wakes.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, null, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite

from windwatch.store.tables import LEASE, MILLISECOND
from windwatch.store.values import Leader

# Since 1970, computed by the database.
Milliseconds = ColumnElement[int]

WATCH: Final = "watch"
_THE_WATCH: Final = LEASE.c.name == WATCH


def leads(connection: Connection, number: int) -> bool:
    """Whether a number is still the newest; no other can be taken before the transaction ends."""
    query = select(LEASE.c.number).where(_THE_WATCH).with_for_update(read=True)
    found: int | None = connection.execute(query).scalar()
    return found == number


def leader(connection: Connection) -> Leader | None:
    """Who led last, whether or not the lease has run out; None: nobody has yet."""
    row = connection.execute(select(LEASE).where(_THE_WATCH)).first()
    return None if row is None else Leader(row.owner, row.number, row.since, row.until)


def take(
    connection: Connection, owner: str, time_now: Milliseconds, ttl: timedelta | None
) -> int | None:
    """Take the lead, in one statement.

    Parameters
    ----------
    time_now : Milliseconds
        By the clock that all watchers share.
    ttl : timedelta or None
        How long the lease runs unless renewed; None where a lock of the system decides who
        leads: then whoever asks has it, and only the number is counted up.

    Returns
    -------
    int or None
        The number; None while another's lease runs.
    """
    make: Any = postgresql.insert if connection.dialect.name == "postgresql" else sqlite.insert
    insert = make(LEASE).values(
        name=WATCH,
        owner=owner,
        number=1,
        since=time_now,
        until=null() if ttl is None else time_now + ttl // MILLISECOND,
    )
    free = or_(LEASE.c.until.is_(None), LEASE.c.until <= time_now)
    statement = insert.on_conflict_do_update(
        index_elements=["name"],
        set_={
            "owner": insert.excluded.owner,
            "number": LEASE.c.number + 1,
            "since": insert.excluded.since,
            "until": insert.excluded.until,
        },
        where=None if ttl is None else free,
    ).returning(LEASE.c.number)
    number: int | None = connection.execute(statement).scalar()
    return number


def renew(connection: Connection, number: int, time_now: Milliseconds, ttl: timedelta) -> bool:
    """Lead on, also after the lease ran out, if nobody else has taken it; say whether."""
    statement = (
        update(LEASE)
        .where(_THE_WATCH, LEASE.c.number == number)
        .values(until=time_now + ttl // MILLISECOND)
        .returning(LEASE.c.number)
    )
    return connection.execute(statement).scalar() is not None


def runs(connection: Connection, number: int, time_now: Milliseconds | None) -> bool:
    """Whether a number is the newest and its lease has not run out (None: it never does)."""
    query = select(LEASE.c.number).where(_THE_WATCH, LEASE.c.number == number)
    if time_now is not None:
        query = query.where(LEASE.c.until > time_now)
    return connection.execute(query).scalar() is not None


def give_up(connection: Connection, number: int) -> None:
    """Let another watcher take the lead at once."""
    connection.execute(update(LEASE).where(_THE_WATCH, LEASE.c.number == number).values(until=None))
