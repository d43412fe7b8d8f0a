"""A text that must never be seen."""

from __future__ import annotations

import hmac
from typing import Final, NoReturn

DOTS: Final = "••••••"


class Secret:
    """A password or a key; it shows dots wherever it is printed.

    Examples
    --------
    >>> Secret("open sesame")
    Secret(••••••)
    >>> f"{Secret('open sesame')}"
    '••••••'
    >>> Secret("open sesame").reveal()
    'open sesame'
    """

    __slots__ = ("_text",)

    def __init__(self, text: str) -> None:
        self._text = text

    def reveal(self) -> str:
        """Return the text itself, for the one call that needs it."""
        return self._text

    def __repr__(self) -> str:
        return f"Secret({DOTS})"

    def __str__(self) -> str:
        return DOTS

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Secret):
            return NotImplemented
        return hmac.compare_digest(self._text.encode(), other._text.encode())

    def __hash__(self) -> int:
        return hash((Secret, self._text))

    def __copy__(self) -> Secret:
        return self

    def __deepcopy__(self, memo: object) -> Secret:
        return self

    def __reduce__(self) -> NoReturn:
        # Pickling would write it down; nothing of ours may.
        raise TypeError("a secret cannot be pickled")
