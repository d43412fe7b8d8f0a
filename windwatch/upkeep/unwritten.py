"""What could not be written: kept in memory, and written first of all once the store is back.

What is not stored is not true (`Watch.books`). But people are warned all the same, and to go on
warning them, what they were told must be remembered.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Final, NamedTuple

from windwatch.episodes.books import Books
from windwatch.episodes.values import StepName
from windwatch.errors import StoreError, StoreTrouble
from windwatch.record import Change
from windwatch.store.store import Store

# Kind of the event that says that something is missing in the record.
NOT_RECORDED: Final = "not recorded"
# An airfield's changes that are kept; of more than that the oldest are lost to the record.
MOST: Final = 2000
# Troubles of a store that another run of the program would not find mended: F41.
LASTING: Final[frozenset[StoreTrouble]] = frozenset(
    {"read-only", "gone", "damaged", "newer", "other"}
)
# Nothing ends while the store cannot be written.
ENDING: Final = frozenset({StepName.BACK, StepName.RUNWAY_BACK, StepName.ENDED})


class Written(NamedTuple):
    """What became of the changes that waited.

    Attributes
    ----------
    changes : tuple of Change
        They are in the store now, in their order.
    set_aside : tuple of (Change, Exception)
        The store works, and does not take these: lost to the record, which says so.
    error : StoreError or None
        Why the others wait on.
    """

    changes: tuple[Change, ...] = ()
    set_aside: tuple[tuple[Change, Exception], ...] = ()
    error: StoreError | None = None


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

    def write(
        self,
        write: Callable[[Sequence[Change]], object],
        testify: Callable[[Change, Exception], object],
    ) -> Written:
        """Write all that waits; one that cannot be written holds up none of the others.

        Parameters
        ----------
        write : callable
            Writes changes, all of them or none.
        testify : callable
            Writes down that one is missing, which shows that the store itself works.
        """
        waiting = self.changes()
        try:
            write(waiting)
        except StoreError as error:
            return Written(error=error)
        except Exception:  # noqa: BLE001 - of one of them, perhaps: it is told with that one
            return self._write_singly(waiting, write, testify)
        return Written(tuple(waiting))

    def _write_singly(
        self,
        waiting: Sequence[Change],
        write: Callable[[Sequence[Change]], object],
        testify: Callable[[Change, Exception], object],
    ) -> Written:
        written: list[Change] = []
        aside: list[tuple[Change, Exception]] = []
        error: StoreError | None = None
        for change in waiting:
            try:
                write([change])
                written.append(change)
            except StoreError as failed:
                error = failed
            except Exception as failed:  # noqa: BLE001 - whatever it is, the others go on
                error = _why_it_fails(testify, change, failed)
                if error is None:
                    aside.append((change, failed))
            if error is not None:
                break
            self._no_more_of(change)
        return Written(tuple(written), tuple(aside), error)

    def _no_more_of(self, change: Change) -> None:
        airfield = change.outcome.books.state.airfield
        rest = [each for each in self._changes[airfield] if each is not change]
        self._changes[airfield] = rest

    def failed(self, error: StoreError, now: datetime) -> None:
        """Note that the store cannot be written."""
        self.since = now if self.since is None else self.since
        self.error = error

    def written(self) -> None:
        """All of it is in the store now."""
        self._changes.clear()
        self.since = self.error = None
        self.lost = 0


def note_missing(store: Store, now: datetime, change: Change, error: Exception) -> None:
    """Write down that a change is missing in the record.

    Raises
    ------
    StoreError
        If that cannot be written either.
    """
    detail = {
        "airfield": change.outcome.books.state.airfield,
        "at": change.now.isoformat(),
        "error": type(error).__name__,
    }
    with store.transaction() as books:
        books.save_event(NOT_RECORDED, now, detail)


def _why_it_fails(
    testify: Callable[[Change, Exception], object], change: Change, failed: Exception
) -> StoreError | None:
    """Why nothing can be written; None: it can, and only this change cannot."""
    try:
        testify(change, failed)
    except StoreError as error:
        return error
    except Exception as error:  # noqa: BLE001 - a driver that fails, in whatever way
        return StoreError(f"the store failed: {type(error).__name__}")
    return None


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
