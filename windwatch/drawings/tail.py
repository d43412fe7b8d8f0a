"""What one kind of aeroplane holds otherwise than another: its tail from above, and the hand."""

from __future__ import annotations

from typing import Final

from windwatch.airframe import Gear
from windwatch.airmanship.control_table import ControlPositions, Deflection
from windwatch.drawings.aeroplane import surface_from_above
from windwatch.drawings.control_card import ELEVATOR, GEAR, Craft, pointer
from windwatch.drawings.hold import held, held_in_words
from windwatch.drawings.svg import (
    Drawing,
    Markup,
    Point,
    box,
    document,
    group,
    label,
    placed,
    polygon,
)
from windwatch.drawings.theme import Theme

SMALL: Final = 14.0
LARGE: Final = 20.0
HIGH: Final = 62.0
WIDTH: Final = 296.0
HAND_WIDTH: Final = 84.0
# Of the drawing of the whole aeroplane, whose tail is shown, its middle.
_TAIL_AT: Final = 68.0
_LEFT: Final = 38.0


def hand(positions: ControlPositions, craft: Craft, theme: Theme) -> Drawing:
    """The yoke or stick alone, as it is held."""
    said = held_in_words(craft.holds, positions.yoke)
    drawn = held(craft.holds, positions.yoke, Point(34, HIGH / 2), 0.95, theme)
    return document("hand", HAND_WIDTH, HIGH, f"{GEAR[craft.gear]}: {said}", said, [drawn])


def tail_and_hand(positions: ControlPositions, craft: Craft, theme: Theme) -> Drawing:
    """The tail from above, its elevator deflected and named, beside the yoke or stick."""
    elevator = positions.elevator
    said = held_in_words(craft.holds, positions.yoke)
    parts = [
        tail(elevator, craft.gear, Point(_LEFT, HIGH / 2), 1.0, theme),
        *_word(elevator, Point(_LEFT + 42, HIGH / 2), theme),
        held(craft.holds, positions.yoke, Point(WIDTH - 52, HIGH / 2), 0.95, theme),
    ]
    title = f"{GEAR[craft.gear]}: elevator {elevator.value}, {said}"
    text = f"{ELEVATOR.capitalize()} {elevator.value}. {said.capitalize()}."
    return document("tail", WIDTH, HIGH, title, text, parts)


def tail(elevator: Deflection, gear: Gear, at: Point, scale: float, theme: Theme) -> Markup:
    """The tail of an aeroplane from above, nose up, about a point."""
    centre = Point(at.x, at.y - _TAIL_AT * scale)
    skin: dict[str, float | str] = {
        "fill": theme.body,
        "stroke": theme.ink,
        "stroke_width": 1.6 * scale,
        "stroke_linejoin": "round",
    }
    cone = ((-6.4, -38), (6.4, -38), (4, -60), (2.5, -84), (-2.5, -84), (-4, -60))
    fixed = ((-26, -64), (26, -64), (33, -68), (33, -74), (-33, -74), (-33, -68))
    fin = ((-1.6, -58), (1.6, -58), (1.6, -86), (-1.6, -86))
    wheel = []
    if gear is Gear.TAILWHEEL:
        corner = Point(centre.x - 2.6 * scale, centre.y + 86 * scale)
        wheel.append(box(corner, 5.2 * scale, 9 * scale, rx=2, fill=theme.ink, data_part="wheel"))
    return group(
        [
            *wheel,
            polygon(placed(cone, centre, 0, scale), **skin),
            polygon(placed(fixed, centre, 0, scale), **skin),
            *(
                surface_from_above(ELEVATOR, side, elevator, centre, scale, theme)
                for side in (-1, 1)
            ),
            polygon(placed(fin, centre, 0, scale), fill=theme.ink),
        ],
        data_view="tail",
        data_gear=gear.value,
    )


def _word(elevator: Deflection, left: Point, theme: Theme) -> list[Markup]:
    """The word for the elevator, with its pointer up or down."""
    parts = [label(ELEVATOR, Point(left.x, left.y - 8), SMALL, theme.quiet)]
    x, y = left.x, left.y + 15
    if elevator is not Deflection.NEUTRAL:
        parts.append(pointer(elevator, Point(x + 8, y - LARGE * 0.36), LARGE * 0.62, theme))
        x += 20
    parts.append(label(elevator.name, Point(x, y), LARGE, theme.ink, bold=True))
    return [group(parts, data_name=ELEVATOR)]
