"""How long a turn waits for a store that somebody else has locked: once, not at every airfield."""

from __future__ import annotations

from types import TracebackType
from typing import Final

from windwatch.errors import StoreError, StoreTrouble

# Troubles that are found only by waiting.
WAITED_FOR: Final[frozenset[StoreTrouble]] = frozenset({"busy", "unreachable"})


class Patience:
    """Entered for each use of the store; once it was waited for in vain, it fails at once.

    Attributes
    ----------
    lost : StoreError or None
        What it said, if it was waited for in vain in this turn.
    """

    def __init__(self) -> None:
        self.lost: StoreError | None = None

    def turn(self) -> None:
        """Another turn: it may be waited for again."""
        self.lost = None

    def __enter__(self) -> None:
        """Begin to use the store.

        Raises
        ------
        StoreError
            If it was waited for in this turn already.
        """
        if self.lost is not None:
            raise StoreError(str(self.lost), self.lost.kind)

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if isinstance(error, StoreError) and error.kind in WAITED_FOR:
            self.lost = error
