"""A page as plain text that fits a phone, complete in itself."""

from __future__ import annotations

import re
from textwrap import wrap
from typing import Final

from windwatch.notices.page import Page, Row

WIDTH: Final = 60
# A number and its unit stay on one line; a page holds no control characters of its own.
_WITH_UNIT: Final = re.compile(r"(?<=\d) (?=(?:kt|ft|NM|min|h|lb|local)\b|%)")
_KEPT: Final = "\x00"


def as_text(page: Page) -> str:
    """The first line, then the sections; lines of at most 60 characters where words allow.

    The first line and the raw reports are never broken: the one must be one line wherever it is
    shown, the others are quoted as received.
    """
    lines = [page.first_line, page.place]
    for section in page.sections:
        lines += ["", section.title.upper()]
        for row in section.rows:
            lines += _row(row)
    lines += ["", *(part for line in page.footer for part in _wrapped(line, "", ""))]
    return "\n".join(lines) + "\n"


def _row(row: Row) -> list[str]:
    if row.verbatim:
        return [f"  {row.text}"]
    mark = f"[{row.mark.value}] " if row.mark else ""
    lines = _wrapped(f"{mark}{row.line}", "- ", "  ")
    for detail in row.details:
        lines += _wrapped(detail, "  ", "    ")
    return lines


def _wrapped(text: str, first: str, later: str) -> list[str]:
    lines = wrap(
        _WITH_UNIT.sub(_KEPT, text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_KEPT, " ") for line in lines] or [first.rstrip()]
