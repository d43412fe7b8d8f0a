"""A store that was replaced: what happened since is not in it, so it clears nothing (F43, F45)."""

from __future__ import annotations

from datetime import datetime

from windwatch.episodes.state import AirfieldState
from windwatch.errors import StoreError
from windwatch.rules import Rules
from windwatch.store.store import Store


class Replaced:
    """Holds every all-clear until two reports of after the replacement could give one.

    Parameters
    ----------
    store : Store
        As it was opened.
    now : datetime
        When it was, aware, UTC.
    """

    def __init__(self, store: Store, now: datetime) -> None:
        self._since: datetime | None = None
        try:
            self._since = now if store.repaired else None
        except StoreError:
            # Nothing can be cleared either in a store that cannot be read.
            return

    def holds(self, state: AirfieldState, rules: Rules) -> bool:
        """Whether nothing may be called back within limits at an airfield yet."""
        if self._since is None:
            return False
        new = [entry.observed_at for entry in state.entries if entry.observed_at >= self._since]
        return not new or max(new) - min(new) < rules.low_apart
