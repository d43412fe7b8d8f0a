"""Text from outside made harmless: what cannot be seen is shown, and length is bounded."""

from __future__ import annotations

from typing import Final
from unicodedata import category

REPORT_LIMIT: Final = 2_000  # characters of a report quoted (reliability, section 5)
REMARK_LIMIT: Final = 300

# Control, format (bidirectional marks, zero width), surrogate, private and unassigned
# characters, and the separators that break lines unasked.
_UNSEEN: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def visible(text: str, limit: int | None = None) -> str:
    r"""Text on one line: control and bidirectional characters shown by number, cut at `limit`.

    Examples
    --------
    >>> visible("XLKS\u202e 30028G41KT")
    'XLKS<U+202E> 30028G41KT'
    >>> visible("two\r\nlines")
    'two lines'
    """
    if text.isprintable() and (limit is None or len(text) <= limit):
        return text
    cut = text if limit is None or len(text) <= limit else text[:limit]
    on_one_line = " ".join(cut.replace("\t", " ").splitlines()) if _breaks(cut) else cut
    shown = "".join(
        f"<U+{ord(char):04X}>" if category(char) in _UNSEEN else char for char in on_one_line
    )
    if len(cut) < len(text):
        shown += f" … (cut here, {len(text) - len(cut)} more characters)"
    return shown


def _breaks(text: str) -> bool:
    return "\t" in text or len(text.splitlines()) > 1 or text != text.rstrip("\r\n")
