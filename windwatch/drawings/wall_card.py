"""The wall card: eight winds around the aeroplane, each where it comes from."""

from __future__ import annotations

from typing import Final

from windwatch.airmanship.cautions import CAUTION
from windwatch.airmanship.control_table import ControlPositions
from windwatch.airmanship.control_words import wind_in_words, yoke_in_words
from windwatch.drawings.aeroplane import at_rest, from_behind
from windwatch.drawings.control_card import (
    BLANK,
    CRITICAL,
    CRITICAL_WHAT,
    Craft,
    critical_banner,
    in_sentences,
    seen_from_above,
    shown,
    speed_words,
)
from windwatch.drawings.hold import held
from windwatch.drawings.svg import (
    Drawing,
    Markup,
    Point,
    box,
    document,
    group,
    label,
    line,
    paragraph,
    wrapped,
)
from windwatch.drawings.theme import Theme

SMALL: Final = 14.0
LARGE: Final = 20.0
CELL: Final = 340.0
CELL_HEIGHT: Final = 440.0
TOP: Final = 62.0
WIDTH: Final = 3 * CELL
FOOT: Final = 64.0

# Cells of the answers of `card_of_eight`, clockwise from the nose: (column, row).
PLACES: Final = ((1, 0), (2, 0), (2, 1), (2, 2), (1, 2), (0, 2), (0, 1), (0, 0))


def wall_card(
    eight: tuple[ControlPositions, ...],
    craft: Craft,
    theme: Theme,
    unit: str = "kt",
    *,
    answers: bool = True,
) -> Drawing:
    """Eight winds, every 45° clockwise from the nose, each in the place that it comes from.

    Parameters
    ----------
    eight : tuple of ControlPositions
        As `card_of_eight` gives them.
    craft : Craft
    theme : Theme
    unit : str
        Of the wind's speed.
    answers : bool
        False: with blanks, for a class.

    Raises
    ------
    ValueError
        If they are not eight.
    """
    if len(eight) != len(PLACES):
        raise ValueError(f"a wall card shows {len(PLACES)} winds, not {len(eight)}")
    height = TOP + 3 * CELL_HEIGHT + FOOT
    title = (
        f"Controls while taxiing: {craft.words}, wind {speed_words(eight[0].relative_wind, unit)}"
    )
    parts = [
        label(title, Point(16, 38), LARGE, theme.ink, bold=True),
        label("The flight manual decides", Point(WIDTH - 16, 38), SMALL, theme.quiet, "end"),
    ]
    for (column, row), positions in zip(PLACES, eight, strict=True):
        corner = Point(column * CELL, TOP + row * CELL_HEIGHT)
        parts.append(_cell(positions, craft, corner, theme, answers=answers))
    parts.append(_middle(eight, craft, Point(CELL, TOP + CELL_HEIGHT), theme))
    for place in range(4):
        y = TOP + place * CELL_HEIGHT
        parts.append(line(Point(12, y), Point(WIDTH - 12, y), theme.hair, 1))
    for place in (1, 2):
        x = place * CELL
        parts.append(line(Point(x, TOP), Point(x, height - FOOT), theme.hair, 1))
    caution = wrapped(CAUTION, SMALL, WIDTH - 32)
    parts.append(paragraph(caution, Point(16, height - FOOT + 26), SMALL, theme.ink))
    said = " ".join(in_sentences(one, unit, answers=answers) for one in eight)
    return document("wall", WIDTH, height, title, f"{said} {CAUTION}", parts)


def _cell(
    positions: ControlPositions,
    craft: Craft,
    corner: Point,
    theme: Theme,
    *,
    answers: bool,
) -> Markup:
    """One wind: its name, how the yoke is held, the aeroplane from above and from behind."""
    x, y = corner
    blowing = wind_in_words(positions.relative_wind)
    said = yoke_in_words(positions.yoke) if answers else BLANK * 3
    parts = [
        label(
            blowing[0].upper() + blowing[1:],
            Point(x + 14, y + 26),
            SMALL,
            theme.wind,
            bold=True,
        ),
        label(said[0].upper() + said[1:], Point(x + 14, y + 54), LARGE, theme.ink, bold=True),
    ]
    if answers and positions.most_critical:
        parts.append(critical_banner(Point(x + 14, y + 66), CELL - 28, theme))
    middle = Point(x + CELL / 2, y + 236 + _shift(positions))
    parts.append(seen_from_above(positions, craft, middle, 0.86, theme, LARGE, answers=answers))
    if answers:
        ailerons, elevator = shown(positions, answers=True)
        foot = y + CELL_HEIGHT - 38
        parts.append(
            from_behind(
                ailerons, elevator, craft.gear, craft.wing, Point(x + 100, foot), 0.72, theme
            )
        )
        parts.append(held(craft.holds, positions.yoke, Point(x + 260, foot), 0.9, theme))
    return group(parts)


def _shift(positions: ControlPositions) -> float:
    """The aeroplane gives way to its wind: down for one from ahead, up for one from behind."""
    angle = positions.relative_wind.angle_deg
    if angle is None:
        return 0
    if angle <= 60 or angle >= 300:
        return 10.0
    return -26.0 if 120 < angle < 240 else -44.0


def _middle(
    eight: tuple[ControlPositions, ...], craft: Craft, corner: Point, theme: Theme
) -> Markup:
    """In the middle: which aeroplane, how the drawings are read."""
    x, y = corner
    middle = Point(x + CELL / 2, y + 150)
    parts = [
        box(
            Point(x + 8, y + 8),
            CELL - 16,
            CELL_HEIGHT - 16,
            fill="none",
            stroke=theme.ink,
            stroke_width=2,
        ),
        label("Nose up. Each wind stands", Point(middle.x, y + 40), SMALL, theme.ink, "middle"),
        label("where it comes from.", Point(middle.x, y + 60), SMALL, theme.ink, "middle"),
        at_rest(craft.gear, craft.wing, Point(middle.x, middle.y + 10), 0.85, theme),
        label(craft.words, Point(middle.x, y + 264), LARGE, theme.ink, "middle", bold=True),
    ]
    legend = (
        "Filled and above: UP. Hatched and below: DOWN.",
        "Yoke, control column or stick as seen from the seat, forward is up.",
    )
    at = y + 294.0
    for said in legend:
        lines = wrapped(said, SMALL, CELL - 40)
        parts.append(paragraph(lines, Point(x + 20, at), SMALL, theme.ink))
        at += len(lines) * SMALL * 1.3 + 6
    if any(one.most_critical for one in eight):
        lines = wrapped(f"{CRITICAL}: {CRITICAL_WHAT}", SMALL, CELL - 40, bold=True)
        parts.append(paragraph(lines, Point(x + 20, at), SMALL, theme.ink, bold=True))
    return group(parts)
