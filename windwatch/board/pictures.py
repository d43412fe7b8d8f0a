"""The drawings as pages hold them: one drawing serves day, night and print.

The shapes of levels are drawn once a page and referred to, since a table has dozens; the word
always stands beside them, so they are hidden from screen readers.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from markupsafe import Markup

from windwatch.assessment.values import Mark
from windwatch.board.values import HoldCard, LegCard, SubjectField
from windwatch.drawings.control_card import ELEVATOR, GEAR, control_card, seen_from_above
from windwatch.drawings.field import field_drawing
from windwatch.drawings.levels import level_shape
from windwatch.drawings.relative_wind import room_for
from windwatch.drawings.strip import strip_drawing
from windwatch.drawings.strip_facts import Strip
from windwatch.drawings.svg import (
    Drawing,
    Point,
    box,
    circle,
    document,
    element,
    path,
    polygon,
)
from windwatch.drawings.svg import Markup as Drawn
from windwatch.drawings.tail import hand, tail_and_hand
from windwatch.drawings.theme import PAGE
from windwatch.wind import DegreesTrue

_SIZE: Final = 24.0
_MIDDLE: Final = Point(_SIZE / 2, _SIZE / 2)
# The aeroplane small, so that the words beside it are large.
_ABOVE_SCALE: Final = 0.8
_ABOVE_WIDTH: Final = 304.0
# What became of a notice: told apart by shape, beside their words.
FAILED: Final = "failed"
TAKEN: Final = "taken"
WAITING: Final = "waiting"


def level(mark: str) -> Markup:
    """The shape of a level; its word belongs beside it."""
    return _used(f"level-{mark}")


def sign(name: str) -> Markup:
    """The shape of what became of a notice; its word belongs beside it."""
    return _used(f"sign-{name}")


def _used(symbol: str) -> Markup:
    return Markup(
        '<svg class="shape" viewBox="0 0 24 24" width="24" height="24" aria-hidden="true" '
        'focusable="false"><use href="#{}"/></svg>'
    ).format(symbol)


@lru_cache(maxsize=1)
def sprite() -> Markup:
    """Every shape once, for `level` and `sign` to refer to."""
    shapes = {f"level-{mark.value}": [level_shape(mark, _MIDDLE, 23, PAGE)] for mark in Mark}
    shapes |= {f"sign-{name}": parts for name, parts in _signs().items()}
    symbols = [
        element("symbol", *parts, id=name, viewBox="0 0 24 24") for name, parts in shapes.items()
    ]
    inside = "".join(symbols)
    return Markup(  # noqa: S704 - drawn here, of constants alone
        f'<svg class="sprite" width="0" height="0" aria-hidden="true" focusable="false">{inside}'
        "</svg>"
    )


def _signs() -> dict[str, list[Drawn]]:
    """A letter: crossed out in a filled block, ticked, or with three dots."""
    outline: dict[str, float | str] = {
        "rx": 2,
        "fill": PAGE.paper,
        "stroke": PAGE.quiet,
        "stroke_width": 2,
    }
    corners = ((7, 1), (17, 1), (23, 7), (23, 17), (17, 23), (7, 23), (1, 17), (1, 7))
    return {
        FAILED: [
            polygon([Point(*corner) for corner in corners], fill=PAGE.over),
            path("M7 7L17 17M17 7L7 17", fill="none", stroke=PAGE.paper, stroke_width=3.2),
        ],
        TAKEN: [
            box(Point(2, 4.5), 20, 15, **outline),
            path("M6.5 12L10.5 16L17.5 8.5", fill="none", stroke=PAGE.ink, stroke_width=2.4),
        ],
        WAITING: [
            box(Point(2, 4.5), 20, 15, stroke_dasharray="3 2.4", **outline),
            *(circle(Point(x, 12), 1.7, fill=PAGE.ink) for x in (7, 12, 17)),
        ],
    }


def field(drawing: SubjectField, unit: str, legs: bool = True) -> Markup:
    """The field from above, for one subject; its taxi legs where they are not shown beside it."""
    shown = drawing.field if legs else drawing.field._replace(legs=())
    return _shown(field_drawing(shown, PAGE, unit))


def strip(values: Strip, width: float, unit: str) -> Markup:
    """The wind strip, for a column so many pixels wide."""
    return _shown(strip_drawing(values, PAGE, width, unit))


def card(hold: HoldCard, leg: LegCard, unit: str) -> Markup:
    """How the controls are held on one leg."""
    heading = DegreesTrue(leg.heading_true_deg)
    return _shown(control_card(hold.positions, hold.craft, PAGE, leg.name, heading, unit))


def above(hold: HoldCard, leg: LegCard, kinds_differ: bool = False) -> Markup:
    """The aeroplane from above alone, where what is held stands beside it in words.

    `kinds_differ` True: other kinds hold the elevator otherwise, so it is said whose this is.
    """
    ahead, behind = (room * _ABOVE_SCALE for room in room_for(hold.positions.relative_wind))
    wide = _ABOVE_WIDTH + (44 if kinds_differ else 0)
    middle = Point(wide / 2, ahead + 6)
    name = f"{ELEVATOR}, {GEAR[hold.craft.gear]}" if kinds_differ else ELEVATOR
    drawn = seen_from_above(
        hold.positions, hold.craft, middle, _ABOVE_SCALE, PAGE, elevator_name=name
    )
    title = f"{leg.name}: {hold.craft.words}"
    high = ahead + max(behind, 92 * _ABOVE_SCALE + 30) + 12
    return _shown(document("above", wide, high, title, hold.words, [drawn]))


def kind(hold: HoldCard, kinds_differ: bool) -> Markup:
    """The yoke or stick as one kind holds it; with its tail, where another's elevator differs."""
    drawing = tail_and_hand if kinds_differ else hand
    return _shown(drawing(hold.positions, hold.craft, PAGE))


def _shown(drawing: Drawing) -> Markup:
    return Markup(drawing.svg)  # noqa: S704 - `drawings.svg` escapes what people or feeds wrote
