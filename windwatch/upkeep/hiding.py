"""Secrets and addresses, hidden wherever a text from outside might quote one."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

DOTS: Final = "••••••"
# Shorter ones would blot out words that hide nothing.
LEAST: Final = 6


class Hider:
    """Writes dots in the place of what must not be read.

    Parameters
    ----------
    texts : iterable of str
        Secrets and addresses.

    Examples
    --------
    >>> Hider(["open sesame"])("he said: open sesame")
    'he said: ••••••'
    """

    def __init__(self, texts: Iterable[str] = ()) -> None:
        # The longest first, so that none is hidden only in part.
        longest_first = sorted({t for t in texts if len(t) >= LEAST}, key=len, reverse=True)
        pattern = "|".join(re.escape(text) for text in longest_first)
        self._pattern = re.compile(pattern) if pattern else None

    def __call__(self, text: str) -> str:
        """Return a text in which nothing of it is left."""
        return text if self._pattern is None else self._pattern.sub(DOTS, text)

    def __repr__(self) -> str:
        return "Hider()"
