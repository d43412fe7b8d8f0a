"""What could not be written: kept in memory, and written first of all once the store is back.

What is not stored is not true (`Watch.books`). But people are warned all the same, and to go on
warning them, what they were told must be remembered.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from windwatch.episodes.books import Books
from windwatch.episodes.values import StepName
from windwatch.errors import StoreError, StoreTrouble
from windwatch.record import Change

# An airfield's changes that are kept; of more than that the oldest are lost to the record.
MOST: Final = 2000
# Troubles of a store that another run of the program would not find mended: F41.
LASTING: Final[frozenset[StoreTrouble]] = frozenset(
    {"read-only", "gone", "damaged", "newer", "other"}
)
# Nothing ends while the store cannot be written.
ENDING: Final = frozenset({StepName.BACK, StepName.RUNWAY_BACK, StepName.ENDED})


class Unwritten:
    """Changes that wait for the store, by airfield, in their order.

    Attributes
    ----------
    since : datetime or None
        When the store was first found wanting; None: all is written.
    error : StoreError or None
        What it said last.
    """

    def __init__(self) -> None:
        self._changes: dict[str, list[Change]] = {}
        self.since: datetime | None = None
        self.error: StoreError | None = None
        self.lost = 0

    def __bool__(self) -> bool:
        return self.since is not None

    def books(self, airfield: str) -> Books | None:
        """The books of an airfield as they would be."""
        changes = self._changes.get(airfield)
        return changes[-1].outcome.books if changes else None

    def changes(self) -> list[Change]:
        """Everything that waits, each airfield's in order."""
        return [change for changes in self._changes.values() for change in changes]

    def add(self, change: Change) -> None:
        """Keep a change that could not be written."""
        changes = self._changes.setdefault(change.outcome.books.state.airfield, [])
        changes.append(change)
        if len(changes) > MOST:
            del changes[0]
            self.lost += 1

    def failed(self, error: StoreError, now: datetime) -> None:
        """Note that the store cannot be written."""
        self.since = now if self.since is None else self.since
        self.error = error

    def written(self) -> None:
        """All of it is in the store now."""
        self._changes.clear()
        self.since = self.error = None
        self.lost = 0


def ends_something(change: Change) -> bool:
    """Whether a change tells the end of anything."""
    return any(step.name in ENDING for step in change.outcome.steps)


class StoreFailing:
    """Since when the store fails, whether or not anything waits to be written.

    Attributes
    ----------
    problem : str
        What it said last; '' where it works.
    """

    def __init__(self) -> None:
        self.problem = ""
        self._since: datetime | None = None
        self._lasting = False

    def failed(self, kind: StoreTrouble, problem: str, now: datetime) -> None:
        """Note that it fails."""
        self._since = now if self._since is None else self._since
        self._lasting = kind in LASTING
        self.problem = problem

    def works(self) -> None:
        """It works again."""
        self._since, self.problem = None, ""

    def gave_up(self, now: datetime, patience: timedelta) -> str:
        """Why it is of no use to go on; '' as long as it is."""
        if self._since is None or not self._lasting or now - self._since < patience:
            return ""
        return self.problem
