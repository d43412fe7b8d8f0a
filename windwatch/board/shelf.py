"""Pages that have been made are kept for a few seconds: two hundred viewers ask at one change."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Hashable
from typing import Final, NamedTuple

# Ages on a page count on in the browser; without script they are so much too young at most.
KEPT_S: Final = 5.0
_MOST: Final = 48


class _Kept(NamedTuple):
    version: str
    until_s: float
    page: asyncio.Task[bytes]


class Shelf:
    """Keeps what was made of one version of everything.

    Parameters
    ----------
    monotonic : callable
        Seconds on a clock that never jumps.
    """

    def __init__(self, monotonic: Callable[[], float]) -> None:
        self._monotonic = monotonic
        self._kept: OrderedDict[Hashable, _Kept] = OrderedDict()

    async def get(self, key: Hashable, version: str, make: Callable[[], Awaitable[bytes]]) -> bytes:
        """A page from the shelf, or made now; of those who ask at once, one has it made."""
        kept = self._kept.get(key)
        if kept is None or kept.version != version or self._monotonic() >= kept.until_s:
            page = asyncio.ensure_future(make())
            kept = _Kept(version, self._monotonic() + KEPT_S, page)
            self._kept[key] = kept
            if len(self._kept) > _MOST:
                self._kept.popitem(last=False)
        try:
            # Whoever goes away must not take it from the others.
            return await asyncio.shield(kept.page)
        except BaseException:
            if kept.page.done() and self._kept.get(key) is kept:
                # A failure is not kept.
                del self._kept[key]
            raise
