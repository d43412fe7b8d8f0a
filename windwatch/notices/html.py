"""A page as HTML for mail programs: tables, inlined styles, nothing loaded from elsewhere."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final, NamedTuple

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup, escape

from windwatch.assessment.values import Mark
from windwatch.notices import words
from windwatch.notices.bounded import within
from windwatch.notices.page import Page


class Ink(NamedTuple):
    """Colours of one level, on paper and at night."""

    light: str
    dark: str


# Our own visual language; contrast on both grounds is at least 4.5 to 1 (tested).
PAPER: Final = Ink("#FAF8F3", "#10171E")
INK: Final = Ink("#1B2430", "#E8E4DA")
QUIET: Final = Ink("#4A5460", "#A9B0B7")
LEVEL: Final = {
    Mark.WITHIN: Ink("#1F766E", "#5CC4B8"),
    Mark.NEAR: Ink("#8F5B05", "#E3A94A"),
    Mark.OVER: Ink("#B83A16", "#FF8A5C"),
    Mark.UNKNOWN: Ink("#5E5873", "#B3ACC9"),
}

# A number and its unit, and a registration, stay on one line.
_WITH_UNIT: Final = re.compile(r"(?<=\d) (?=(?:kt|ft|NM|min|h|lb|local)\b|%)")
# Underlined and of the text's own colour, which is readable on both grounds.
_LINK: Final = Markup('<a href="{}" style="color:inherit;font-weight:700;">{}</a>')
# Where the footer will stand; a page holds no control characters of its own.
_FOOTER: Final = "\x00"
_REGISTRATION: Final = re.compile(r"\b[A-Z0-9]{1,7}-[A-Z0-9]{1,7}\b")


def as_html(page: Page) -> str:
    """One document of at most 360 px of needed width; every text is escaped."""
    return "".join(html_parts(page))


def html_parts(page: Page) -> tuple[str, str, str]:
    """The same in parts; the first and the last are one object for all who hear the same."""
    above, below = _around_footer(page._replace(footer=(), link=""))
    lines = [str(escape(line)) for line in page.footer]
    if page.link:
        lines.append(str(_LINK.format(page.link, words.TAKE_NOTE)))
    return above, "<br>".join(lines), below


@lru_cache(maxsize=32)
def _around_footer(page: Page) -> tuple[str, str]:
    """What stands before the footer and after it; kept, because only that names the contact."""
    pieces = _template().generate(
        page=page, footer=_FOOTER, paper=PAPER, ink=INK, quiet=QUIET, level=LEVEL
    )
    html = within(pieces)
    above, _, below = html.rpartition(_FOOTER)
    return above, below


@lru_cache(maxsize=1)
def _template() -> Template:
    environment = Environment(
        loader=PackageLoader("windwatch.notices"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["together"] = together
    return environment.get_template("notice.html")


def together(text: str) -> Markup:
    """Text, escaped, in which what belongs together is not parted at the end of a line."""
    escaped = _WITH_UNIT.sub("&nbsp;", str(escape(text)))
    return Markup(_REGISTRATION.sub(_unbroken, escaped))  # noqa: S704 - escaped; the rest is ours


def _unbroken(found: re.Match[str]) -> str:
    return f'<span style="white-space:nowrap;">{found[0]}</span>'
