"""The text of a report put in order, before anything is read in it."""

from __future__ import annotations

import re
from typing import Final

# Longer than any report ever issued; what comes after it is not read.
LONGEST_REPORT: Final = 2000
# Control characters, blanks of every kind, marks without a glyph, halves of characters.
_NO_TEXT: Final = re.compile(
    "[\x00-\x20\x7f-\xa0\xad\u1680\u2000-\u200f\u2028-\u202f\u205f-\u206f\u3000\ud800-\udfff\ufeff]+"
)
_END_MARKS: Final = re.compile(r"=[=\s]*")


def normalise(text: str) -> str:
    """Report text with single spaces, upper case, without control characters and end mark.

    Two texts that say the same, from whatever feed, come out the same.
    """
    if text.isascii() and text.isprintable():  # only plain spaces to put in order
        if "  " in text:
            text = " ".join(text.split())
        return text.upper().strip("= ")
    return " ".join(_NO_TEXT.sub(" ", text.upper()).split()).strip("= ")


def split_reports(text: str) -> list[str]:
    """Reports in `text`, each normalised, where several stand behind one another.

    The end mark ``=`` parts them. A text without an end mark is one report.
    """
    return [part for piece in _END_MARKS.split(text) if (part := normalise(piece))]


def first_report(text: str) -> tuple[str, tuple[str, ...]]:
    """First report in `text`, normalised, and what was left unread."""
    problems: tuple[str, ...] = ()
    if len(text) > LONGEST_REPORT:
        text = text[:LONGEST_REPORT]
        problems = (f"text longer than {LONGEST_REPORT} characters: the rest is not read",)
    raw = normalise(text)
    if "=" in raw:
        raw = normalise(raw.partition("=")[0])
        problems = (*problems, "more than one report in the text: only the first is read")
    return raw, problems
