"""Which version a store has, and bringing it to this one."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from sqlalchemy import Connection, inspect, text

from windwatch.errors import StoreError

VERSIONS: Final = ("0001", "0002", "0003", "0004")
CURRENT: Final = VERSIONS[-1]
# Any number that nobody else in the database uses for an advisory lock: "windwatch" in letters
# of a telephone.
_ADVISORY: Final = 946_392_824


def upgrade(connection: Connection, place: str) -> str | None:
    """Bring the tables to this version, within the transaction that is open.

    Parameters
    ----------
    connection : Connection
        In a transaction of its own: a step that fails midway leaves nothing behind.
    place : str
        The file or database, for messages.

    Returns
    -------
    str or None
        The version before; None: the store is new.

    Raises
    ------
    StoreError
        If the store was written by a later windwatch, or is somebody else's database.
    """
    if connection.dialect.name == "postgresql":
        # One at a time: whoever comes second waits, and finds everything done.
        connection.execute(text("SET LOCAL lock_timeout = '60s'"))
        connection.execute(
            text("SELECT pg_advisory_xact_lock(CAST(:key AS bigint))"), {"key": _ADVISORY}
        )
    found = version_of(connection, place)
    if found == CURRENT:
        return found
    if found is not None and found not in VERSIONS:
        raise StoreError(
            f"{place} was written by a later windwatch (store version {found}; this one knows up"
            f" to {CURRENT}): use that version, or restore the backup from before the upgrade",
            "newer",
        )
    _run_steps(connection)
    return found


def version_of(connection: Connection, place: str) -> str | None:
    """Version of the store; None for an empty database."""
    names = inspect(connection).get_table_names()
    if "alembic_version" in names:
        found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
        return None if found is None else str(found)
    if names:
        raise StoreError(
            f"{place} is a database of another program (tables {', '.join(sorted(names)[:5])});"
            " give the store a file or database of its own"
        )
    return None


def _run_steps(connection: Connection) -> None:
    # Imported here: it takes a fifth of a second, and most starts need no upgrade.
    from alembic import command  # noqa: PLC0415
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
