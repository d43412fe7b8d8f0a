"""What differs between the databases that can keep the store."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Protocol

from sqlalchemy import ColumnElement, Connection, Engine

from windwatch.errors import StoreError


class Backend(Protocol):
    """One kind of database."""

    @property
    def reading(self) -> Mapping[str, Any]:
        """Execution options of a connection that only reads, and sees one moment."""
        ...

    def in_words(self, place: str, error: BaseException) -> StoreError:
        """Say what an error of the driver means and what to do."""
        ...

    def begun(self, connection: Connection) -> str:
        """Look at a transaction that has just begun to write, and name it.

        Raises
        ------
        StoreError
            If what it writes could not be found again: the file was taken away.
        """
        ...

    def committed(self, engine: Engine, transaction: str) -> bool:
        """Look up whether a transaction was committed whose commit got no answer.

        Raises
        ------
        StoreError
            If it cannot be known now.
        """
        ...

    def time_now(self, clock_says: datetime) -> ColumnElement[int]:
        """The time by which a lease is measured, in milliseconds since 1970."""
        ...
