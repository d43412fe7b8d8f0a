"""A page as HTML for mail programs: tables, inlined styles, nothing loaded from elsewhere."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup, escape

from windwatch.assessment.values import Mark
from windwatch.notices import words
from windwatch.notices.bounded import within
from windwatch.notices.page import Page


class Shown(NamedTuple):
    """A picture as HTML shows it.

    Attributes
    ----------
    src : str
        Where the mail program finds it, of our own making: ``cid:…``.
    alt : str
        All that it says, in words.
    place : str
        `FIELD_HERE` or `CONTROLS_HERE`.
    width, height : float
        As it is drawn; shown no wider.
    """

    src: str
    alt: str
    caption: str
    place: str
    width: float
    height: float


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

# Underlined and of the text's own colour, which is readable on both grounds.
_LINK: Final = Markup('<a href="{}" style="color:inherit;font-weight:700;">{}</a>')
# Where pictures may stand, each a row of a table; what people or feeds wrote is escaped.
FIELD_HERE: Final = Markup("<!--field-->")
CONTROLS_HERE: Final = Markup("<!--controls-->")
# As wide as a telephone has room for where a mail program knows nothing of the style.
_PICTURE: Final = Markup(
    '<tr><td style="padding:6px 0 10px 0;">{caption}'
    '<img src="{src}" alt="{alt}" width="{width}" height="{height}" border="0" '
    'style="display:block;width:100%;max-width:{most}px;height:auto;box-sizing:border-box;'
    "border:1px solid #CFCECB;border-radius:6px;background:{paper};color:{ink};font-size:14px;"
    'line-height:1.45;"></td></tr>\n'
)
_CAPTION: Final = Markup('<div style="padding:0 0 4px 0;">{}</div>')
_PICTURE_WIDTH: Final = 336
# Where the footer will stand; a page holds no control characters of its own.
_FOOTER: Final = "\x00"
# Stays on one line, as a number and its unit do.
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


def with_pictures(html: str, pictures: Sequence[Shown]) -> str:
    """The HTML of a notice with pictures in their places; without any it has no gap."""
    for place in (FIELD_HERE, CONTROLS_HERE):
        rows = "".join(_row(each) for each in pictures if each.place == place)
        html = html.replace(f"{place}\n", rows, 1)
    return html


def _row(shown: Shown) -> Markup:
    return _PICTURE.format(
        caption=_CAPTION.format(together(shown.caption)) if shown.caption else "",
        src=shown.src,
        alt=shown.alt,
        width=_PICTURE_WIDTH,
        height=round(_PICTURE_WIDTH * shown.height / shown.width),
        most=round(shown.width),
        paper=PAPER.light,
        ink=INK.light,
    )


@lru_cache(maxsize=32)
def _around_footer(page: Page) -> tuple[str, str]:
    """What stands before the footer and after it; kept, because only that names the contact."""
    pieces = _template().generate(
        page=page,
        footer=_FOOTER,
        field_here=FIELD_HERE,
        controls_here=CONTROLS_HERE,
        paper=PAPER,
        ink=INK,
        quiet=QUIET,
        level=LEVEL,
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
    escaped = words.BEFORE_UNIT.sub("&nbsp;", str(escape(text)))
    return Markup(_REGISTRATION.sub(_unbroken, escaped))  # noqa: S704 - escaped; the rest is ours


def _unbroken(found: re.Match[str]) -> str:
    return f'<span style="white-space:nowrap;">{found[0]}</span>'
