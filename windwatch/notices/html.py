"""A page as HTML for mail programs: tables, inlined styles, nothing loaded from elsewhere."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final, NamedTuple

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup, escape

from windwatch.notices.page import Page
from windwatch.notices.words import Mark


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
_REGISTRATION: Final = re.compile(r"\b[A-Z0-9]{1,7}-[A-Z0-9]{1,7}\b")


def as_html(page: Page) -> str:
    """One document of at most 360 px of needed width; every text is escaped."""
    return _template().render(page=page, paper=PAPER, ink=INK, quiet=QUIET, level=LEVEL)


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
    return Markup(  # noqa: S704 - escaped above; what is added is ours
        _REGISTRATION.sub(r'<span style="white-space:nowrap;">\g<0></span>', escaped)
    )
