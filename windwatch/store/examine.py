"""Looking through a whole store: is it sound, what is in it, how is it kept."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Final

from sqlalchemy import Connection, func, select, text
from sqlalchemy.exc import DatabaseError

from windwatch.store import lease
from windwatch.store.sqlite import safe_modes, wal_is_sound
from windwatch.store.tables import (
    ACKNOWLEDGEMENTS,
    ATTEMPTS,
    DELIVERIES,
    EPISODES,
    EVENTS,
    FORECASTS,
    NOTICES,
    REPORTS,
    STEPS,
)
from windwatch.store.upgrade import CURRENT, version_of
from windwatch.store.values import StoreCheck

COUNTED: Final = (
    REPORTS,
    EVENTS,
    EPISODES,
    STEPS,
    NOTICES,
    DELIVERIES,
    ATTEMPTS,
    ACKNOWLEDGEMENTS,
    FORECASTS,
)
_FINDINGS: Final = 20


def examine(connection: Connection, place: str, path: Path | None) -> StoreCheck:
    """Look through a store; what is damaged is listed.

    Parameters
    ----------
    path : Path or None
        Its file; None for a database server.
    """
    problems = () if path is None else _damage(connection)
    if problems:
        return damaged(place, problems, _size(connection))
    journal, why = _server(connection) if path is None else _file()
    return StoreCheck(
        place=place,
        version=version_of(connection, place) or "",
        newest=CURRENT,
        problems=problems,
        counts={
            table.name: connection.execute(select(func.count()).select_from(table)).scalar_one()
            for table in COUNTED
        },
        size_bytes=_size(connection),
        journal=journal,
        why=why,
        leader=lease.leader(connection),
    )


def damaged(place: str, problems: tuple[str, ...], size_bytes: int = 0) -> StoreCheck:
    """What is found of a store of which no more can be read."""
    return StoreCheck(place, "", CURRENT, problems, {}, size_bytes, "", "", None)


def _damage(connection: Connection) -> tuple[str, ...]:
    try:
        rows = connection.exec_driver_sql(f"PRAGMA integrity_check({_FINDINGS})").all()
        found = [str(row[0]) for row in rows]
        if found == ["ok"]:
            found = [
                f"{row[0]}: row {row[1]} belongs to no row of {row[2]}"
                for row in connection.exec_driver_sql("PRAGMA foreign_key_check").all()
            ]
    except DatabaseError as error:
        found = [str(error.orig)]
    return tuple(found[:_FINDINGS])


def _size(connection: Connection) -> int:
    if connection.dialect.name == "postgresql":
        return int(
            connection.execute(text("SELECT pg_database_size(current_database())")).scalar_one()
        )
    pages, size = (
        connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
        for name in ("page_count", "page_size")
    )
    return int(pages) * int(size)


def _file() -> tuple[str, str]:
    version = sqlite3.sqlite_version_info
    journal, synchronous = safe_modes(version)
    words = {"WAL": "write-ahead log", "DELETE": "rollback journal"}[journal]
    if wal_is_sound(version):
        why = "with WAL and NORMAL the last commits could be lost at a power cut, not with FULL"
    else:
        why = (
            "in this version several connections in WAL mode could lose a commit (mended in 3.51.3,"
            " 3.50.7 and 3.44.6); the rollback journal with EXTRA does not"
        )
    return (
        f"{words} ({journal}), synchronous {synchronous}, SQLite {sqlite3.sqlite_version}",
        why,
    )


def _server(connection: Connection) -> tuple[str, str]:
    version, commits, fsync = connection.execute(
        text(
            "SELECT current_setting('server_version'), current_setting('synchronous_commit'),"
            " current_setting('fsync')"
        )
    ).one()
    why = "a commit is on the server's disk before it counts"
    if fsync == "off":
        why = "fsync is off: the server may lose everything at a power cut; turn it on"
    return f"PostgreSQL {version}, synchronous_commit {commits}, fsync {fsync}", why
