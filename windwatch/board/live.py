"""Live views: one look at the store for everybody who looks on, and a word to each at a change.

What is sent is only that something has changed (server-sent events, name ``changed``); the page
then fetches itself. So nothing queues up for a viewer who is slow: the newest version is all
that matters, and is said once.
"""

from __future__ import annotations

import asyncio
import logging
import math
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Final

from windwatch.board.limits import MOST_LIVE

log = logging.getLogger(__name__)

LOOK_EVERY_S: Final = 0.7
# Two hundred who ask in one instant would wait for one another.
SPREAD_S: Final = 0.6
PAUSE_S: Final = 0.02
HEARTBEAT_S: Final = 15.0
# Then the browser asks anew, and whoever may look no longer is not let in.
LASTS_S: Final = 1_800.0
RETRY_MS: Final = 2_000


class Live:
    """Says when something has changed.

    Parameters
    ----------
    look : callable
        Gives the version of all pages, from the store; it may take a while.
    monotonic : callable
        Seconds on a clock that never jumps.
    every_s : float
        Between two looks, while anybody looks on. [s]
    heartbeat_s : float
        After so long without a change a comment is sent, so that what is between does not cut
        the connection. [s]
    most : int
        Viewers at once.
    """

    def __init__(
        self,
        look: Callable[[], Awaitable[str]],
        monotonic: Callable[[], float],
        *,
        every_s: float = LOOK_EVERY_S,
        heartbeat_s: float = HEARTBEAT_S,
        most: int = MOST_LIVE,
    ) -> None:
        self._look = look
        self._monotonic = monotonic
        self._every_s = every_s
        self._heartbeat_s = heartbeat_s
        self._most = most
        self._viewers: set[asyncio.Event] = set()
        self._watcher: asyncio.Task[None] | None = None
        self._looking: asyncio.Task[str] | None = None
        # Kept only so that it is not lost while it is under way.
        self._telling: asyncio.Task[None] | None = None
        self._version = ""
        self._looked_at_s = float("-inf")
        self._closing = False

    @property
    def viewers(self) -> int:
        """How many look on."""
        return len(self._viewers)

    @property
    def is_full(self) -> bool:
        """Whether nobody else can look on."""
        return self._closing or len(self._viewers) >= self._most

    async def version(self) -> str:
        """The version of all pages, at most one look old; however many ask, one looks.

        Raises
        ------
        StoreError
            If the store cannot be read, and never could be.
        """
        if self._monotonic() - self._looked_at_s < self._every_s:
            return self._version
        if self._looking is None or self._looking.done():
            self._looking = asyncio.ensure_future(self._look_once())
        return await asyncio.shield(self._looking)

    async def _look_once(self) -> str:
        found = await self._look()
        self._looked_at_s = self._monotonic()
        if found != self._version:
            self._version = found
            self._telling = asyncio.ensure_future(self._tell())
        return found

    async def _tell(self) -> None:
        """Tell everybody, not all in the same instant: each then asks for a page."""
        viewers = list(self._viewers)
        at_once = max(1, math.ceil(len(viewers) * PAUSE_S / SPREAD_S))
        for first in range(0, len(viewers), at_once):
            for viewer in viewers[first : first + at_once]:
                viewer.set()
            await asyncio.sleep(PAUSE_S)

    async def stream(self) -> AsyncIterator[bytes]:
        """What one viewer is sent.

        Whoever asks for more than are allowed (`is_full`) is sent nothing.
        """
        if self.is_full:
            return
        changed = asyncio.Event()
        self._viewers.add(changed)
        self._start()
        ends_s = self._monotonic() + LASTS_S
        said = None
        try:
            yield f"retry: {RETRY_MS}\n\n".encode()
            while not self._closing and self._monotonic() < ends_s:
                if self._version and said != self._version:
                    said = self._version
                    yield f"event: changed\nid: {said}\ndata: {said}\n\n".encode()
                try:
                    async with asyncio.timeout(self._heartbeat_s):
                        await changed.wait()
                except TimeoutError:
                    # A comment alone would not reach the page, which must know that it still hears.
                    yield b": nothing has changed\nevent: alive\ndata: still\n\n"
                changed.clear()
        finally:
            self._viewers.discard(changed)

    def close(self) -> None:
        """End every stream; for the thread of the loop."""
        self._closing = True
        for viewer in self._viewers:
            viewer.set()
        if self._watcher is not None:
            self._watcher.cancel()

    def _start(self) -> None:
        if self._watcher is None or self._watcher.done():
            self._watcher = asyncio.ensure_future(self._look_on())

    async def _look_on(self) -> None:
        """Look again and again, as long as somebody looks on."""
        while self._viewers and not self._closing:
            try:
                await self.version()
            except Exception:
                # Whatever fails in one look, the next one is tried.
                log.exception("board_look_failed")
            await asyncio.sleep(self._every_s)
