"""Hints to whoever keeps the configuration: in the log, each at most once a day."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

log = logging.getLogger(__name__)

AGAIN_AFTER: Final = timedelta(days=1)


class HintLog:
    """Remembers which hints were written, and when."""

    def __init__(self) -> None:
        self._written: dict[str, datetime] = {}

    def note(self, hints: Iterable[str], now: datetime) -> None:
        """Write the hints that are new, or a day old."""
        self._written = {h: at for h, at in self._written.items() if now - at < AGAIN_AFTER}
        for hint in hints:
            if hint and hint not in self._written:
                self._written[hint] = now
                log.warning("station_reports_otherwise", extra={"hint": hint})
