"""Elements of SVG as text, escaped, and the geometry that all drawings share.

Only presentation attributes: no style attribute, stylesheet, script, id or reference, so that a
strict content-security policy shows the drawings and two of them never clash on one page.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from math import cos, radians, sin
from typing import Final, NamedTuple, NewType

# Text that is markup already. What people or feeds wrote becomes it through `words` alone.
Markup = NewType("Markup", str)
NOTHING: Final = Markup("")

FONTS: Final = "system-ui, 'Segoe UI', 'Helvetica Neue', Arial, 'DejaVu Sans', sans-serif"

# What XML 1.0 does not allow, what turns a line's reading direction round, and soft breaks.
_NO_LETTER: Final = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069"
    "\ud800-\udfff\ufffe\uffff]"
)
_BLANKS: Final = re.compile(r"\s+")


class Point(NamedTuple):
    """A place on the paper: to the right and down, in units of the drawing."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture and the words that say the same.

    Attributes
    ----------
    svg : str
        One ``<svg>`` element, complete in itself.
    title : str
        What the picture is, in one line.
    text : str
        What it says, in sentences; with the title the text alternative.
    width, height : float
        Of the view box; text is 14 units and more, so show it at least this wide.
    """

    svg: str
    title: str
    text: str
    width: float
    height: float

    @property
    def alternative(self) -> str:
        """Title and text after each other, for ``alt``."""
        return f"{self.title}. {self.text}"


def clean(text: str) -> str:
    """Text on one line, without what XML refuses or what would turn it round."""
    return _BLANKS.sub(" ", _NO_LETTER.sub("\ufffd", text)).strip()


def words(text: str) -> Markup:
    """Text as markup."""
    return Markup(escape(clean(text), quote=True))


def figure(value: float) -> str:
    """A coordinate to a hundredth."""
    return f"{round(value, 2) + 0.0:g}" if abs(value) < 100_000 else f"{value:.0f}"


def element(name: str, *children: Markup, **attributes: float | str | None) -> Markup:
    """One element; attribute names with ``_`` for ``-``; what is None is left out."""
    told = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{_attribute(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    if not children:
        return Markup(f"<{name}{told}/>")
    return Markup(f"<{name}{told}>{''.join(children)}</{name}>")


def _attribute(value: float | str) -> str:
    return words(value) if isinstance(value, str) else figure(value)


def group(children: Iterable[Markup], **attributes: float | str | None) -> Markup:
    """Elements that belong together; nothing where there are none."""
    inside = "".join(children)
    return element("g", Markup(inside), **attributes) if inside else NOTHING


def document(
    kind: str, width: float, height: float, title: str, text: str, children: Iterable[Markup]
) -> Drawing:
    """The finished drawing, named for screen readers.

    Parameters
    ----------
    kind : str
        Becomes the class ``drawing drawing-KIND``.
    width, height : float
        View box; the drawing scales to whatever holds it.
    title, text : str
        The text alternative.
    children : iterable of Markup
        From back to front.
    """
    title, text = clean(title), clean(text)
    svg = element(
        "svg",
        element("title", words(title)),
        element("desc", words(text)),
        *children,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {figure(width)} {figure(height)}",
        width=width,
        height=height,
        role="img",
        class_=f"drawing drawing-{kind}",
        font_family=FONTS,
    )
    return Drawing(str(svg), title, text, width, height)


# --- shapes ----------------------------------------------------------------------


def line(start: Point, end: Point, stroke: str, width: float = 1, **more: float | str) -> Markup:
    """A straight line."""
    return element(
        "line",
        x1=start.x,
        y1=start.y,
        x2=end.x,
        y2=end.y,
        stroke=stroke,
        stroke_width=width,
        **more,
    )


def circle(centre: Point, radius: float, **more: float | str) -> Markup:
    """A circle."""
    return element("circle", cx=centre.x, cy=centre.y, r=radius, **more)


def box(corner: Point, width: float, height: float, **more: float | str) -> Markup:
    """A rectangle, from its upper left corner."""
    return element("rect", x=corner.x, y=corner.y, width=width, height=height, **more)


def polygon(points: Sequence[Point], **more: float | str) -> Markup:
    """A closed outline."""
    return element("polygon", points=_listed(points), **more)


def polyline(points: Sequence[Point], stroke: str, width: float, **more: float | str) -> Markup:
    """An open line through points."""
    return element(
        "polyline",
        points=_listed(points),
        fill="none",
        stroke=stroke,
        stroke_width=width,
        **more,
    )


def path(d: str, **more: float | str) -> Markup:
    """Any outline, in the words of a path."""
    return element("path", d=d, **more)


def label(
    text: str,
    at: Point,
    size: float,
    fill: str,
    anchor: str = "start",
    *,
    bold: bool = False,
    halo: str | None = None,
    lead: str = "",
    **more: float | str,
) -> Markup:
    """A line of text on its baseline.

    `halo` is the colour of the paper where lines may run below it; `lead` goes before the text
    in bold.
    """
    first = [element("tspan", words(lead), font_weight="700")] if lead else []
    return element(
        "text",
        *first,
        Markup((" " if lead and text else "") + words(text)),
        stroke=halo,
        stroke_width=None if halo is None else 4,
        stroke_linejoin=None if halo is None else "round",
        paint_order=None if halo is None else "stroke",
        x=at.x,
        y=at.y,
        font_size=size,
        fill=fill,
        text_anchor=None if anchor == "start" else anchor,
        font_weight="700" if bold else None,
        **more,
    )


def _listed(points: Sequence[Point]) -> str:
    return " ".join(f"{figure(x)},{figure(y)}" for x, y in points)


# --- geometry --------------------------------------------------------------------


def towards(start: Point, bearing_deg: float, distance: float) -> Point:
    """The point at a bearing clockwise from the top of the paper."""
    turn = radians(bearing_deg)
    return Point(start.x + distance * sin(turn), start.y - distance * cos(turn))


def placed(
    outline: Iterable[tuple[float, float]], centre: Point, bearing_deg: float, scale: float = 1
) -> tuple[Point, ...]:
    """An outline drawn as (to the right, ahead), turned to a bearing and put in its place."""
    return tuple(
        towards(towards(centre, bearing_deg, ahead * scale), bearing_deg + 90, to_the_right * scale)
        for to_the_right, ahead in outline
    )


def wedge(centre: Point, radius: float, first_deg: float, second_deg: float) -> str:
    """Path of a slice, clockwise from the first bearing to the second; equal ones: the round."""
    width = (second_deg - first_deg) % 360
    start = towards(centre, first_deg, radius)
    r = figure(radius)
    if width == 0:
        far = towards(centre, first_deg + 180, radius)
        return (
            f"M{figure(start.x)} {figure(start.y)}A{r} {r} 0 1 1 {figure(far.x)} {figure(far.y)}"
            f"A{r} {r} 0 1 1 {figure(start.x)} {figure(start.y)}Z"
        )
    end = towards(centre, second_deg, radius)
    return (
        f"M{figure(centre.x)} {figure(centre.y)}L{figure(start.x)} {figure(start.y)}"
        f"A{r} {r} 0 {int(width > 180)} 1 {figure(end.x)} {figure(end.y)}Z"
    )


def arc(centre: Point, radius: float, first_deg: float, second_deg: float) -> str:
    """Path of an open arc, clockwise."""
    start, end = towards(centre, first_deg, radius), towards(centre, second_deg, radius)
    large = int((second_deg - first_deg) % 360 > 180)
    r = figure(radius)
    return (
        f"M{figure(start.x)} {figure(start.y)}A{r} {r} 0 {large} 1 {figure(end.x)} {figure(end.y)}"
    )


def hatching(
    corner: Point, width: float, height: float, stroke: str, step: float = 6, weight: float = 1.2
) -> Markup:
    """Slanting lines inside a rectangle, ended by computation: a pattern would need an id."""
    lines = []
    offset = step / 2
    while offset < width + height:
        # On the line x + y = offset, between the rectangle's edges.
        low, high = max(0.0, offset - height), min(width, offset)
        if high - low > 0.5:
            lines.append(
                f"M{figure(corner.x + low)} {figure(corner.y + offset - low)}"
                f"L{figure(corner.x + high)} {figure(corner.y + offset - high)}"
            )
        offset += step
    if not lines:
        return NOTHING
    return path("".join(lines), fill="none", stroke=stroke, stroke_width=weight)


# --- text that must fit ----------------------------------------------------------

# Widths in ems of a wide sans serif, so that a narrower one fits as well.
_NARROW: Final = frozenset("iljtfr.,:;|!'()[] ")
_WIDE: Final = frozenset("mwMW@%—")


def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """About how wide a text is, rather more than less; nobody knows the reader's font."""
    ems = sum(
        0.38 if c in _NARROW else 0.95 if c in _WIDE else 0.68 if c.isupper() else 0.62
        for c in text
    )
    return ems * size * (1.08 if bold else 1.0)


def shortened(text: str, size: float, room: float, *, bold: bool = False) -> str:
    """The text, or as much of it as fits, with ``…``."""
    text = clean(text)
    if width_of(text, size, bold=bold) <= room:
        return text
    while text and width_of(text + "…", size, bold=bold) > room:
        text = text[:-1]
    return text.rstrip() + "…"


def wrapped(
    text: str, size: float, room: float, most: int = 99, *, bold: bool = False
) -> list[str]:
    """The text in lines that fit; what is beyond the last line ends in ``…``."""
    lines: list[str] = []
    rest = clean(text).split(" ")
    while rest:
        taken = [rest.pop(0)]
        while rest and width_of(" ".join([*taken, rest[0]]), size, bold=bold) <= room:
            taken.append(rest.pop(0))
        if len(lines) + 1 == most and rest:
            taken += rest
            rest = []
        lines.append(shortened(" ".join(taken), size, room, bold=bold))
    return [one for one in lines if one]


def paragraph(
    lines: Sequence[str],
    at: Point,
    size: float,
    fill: str,
    anchor: str = "start",
    *,
    bold: bool = False,
) -> Markup:
    """Lines below each other, the first on the baseline given."""
    return Markup(
        "".join(
            label(one, Point(at.x, at.y + place * size * 1.3), size, fill, anchor, bold=bold)
            for place, one in enumerate(lines)
        )
    )
