"""A page as plain text that fits a phone, complete in itself."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from windwatch.notices import words
from windwatch.notices.page import Page, Row

WIDTH: Final = 60
# In place of a space that stays on its line; a page holds no control characters of its own.
_KEPT: Final = "\x00"


def as_text(page: Page) -> str:
    """The first line, then the sections; lines of at most 60 characters where words allow.

    The first line and the raw reports are never broken: the one must be one line wherever it is
    shown, the others are quoted as received.
    """
    footer = ["", *(part for line in page.footer for part in _wrapped(line, "", ""))]
    if page.link:
        footer += _wrapped(f"{words.TAKE_NOTE}: {page.link}", "", "")
    return "\n".join((_above_footer(page._replace(footer=(), link="")), *footer)) + "\n"


@lru_cache(maxsize=32)
def _above_footer(page: Page) -> str:
    """All but the footer; kept, because only that names the contact."""
    lines = [page.first_line, page.place]
    for section in page.sections:
        lines += ["", section.title.upper()]
        for row in section.rows:
            lines += _row(row)
    return "\n".join(lines)


def _row(row: Row) -> list[str]:
    if row.verbatim:
        return [f"  {row.text}"]
    mark = f"[{row.mark.value}] " if row.mark else ""
    lines = _wrapped(f"{mark}{row.line}", "- ", "  ")
    for detail in row.details:
        lines += _wrapped(detail, "  ", "    ")
    return lines


def _wrapped(text: str, first: str, later: str) -> list[str]:
    """Break between words; a longer word has a line of its own."""
    rest = first + words.BEFORE_UNIT.sub(_KEPT, text.rstrip(" "))
    begin = len(rest) - len(rest[len(first) :].lstrip(" "))
    lines = []
    while len(rest) > WIDTH:
        # A place to break at lies behind the line's first word.
        earliest = rest.find(" ", begin)
        place = max(rest.rfind(" ", begin, WIDTH + 1), earliest)
        if place < 0:
            break
        lines.append(rest[:place].rstrip(" "))
        rest = later + rest[place:].lstrip(" ")
        begin = len(later)
    lines.append(rest.rstrip(" "))
    return [line.replace(_KEPT, " ") for line in lines]
