"""The levels as shapes: they tell apart in black and white and without colours."""

from __future__ import annotations

from typing import Final

from windwatch.assessment.values import Mark
from windwatch.drawings.svg import (
    Drawing,
    Markup,
    Point,
    box,
    circle,
    document,
    figure,
    group,
    label,
    path,
    polygon,
    width_of,
)
from windwatch.drawings.theme import Theme

SHAPE_IN_WORDS: Final = {
    Mark.WITHIN: "open ring",
    Mark.NEAR: "half-filled ring",
    Mark.OVER: "filled block with two stripes",
    Mark.UNKNOWN: "ring of dashes with a question mark",
}
TEXT_SIZE: Final = 14.0


def colour_of(mark: Mark, theme: Theme) -> str:
    """The level's colour."""
    return {
        Mark.WITHIN: theme.within,
        Mark.NEAR: theme.near,
        Mark.OVER: theme.over,
        Mark.UNKNOWN: theme.unknown,
    }[mark]


def level_shape(mark: Mark, centre: Point, size: float, theme: Theme) -> Markup:
    """The shape of a level, as wide and high as `size`."""
    colour = colour_of(mark, theme)
    weight = size * 0.13
    radius = (size - weight) / 2
    match mark:
        case Mark.WITHIN:
            parts = [_ring(centre, radius, colour, weight, theme)]
        case Mark.NEAR:
            parts = [_ring(centre, radius, colour, weight, theme), _half(centre, radius, colour)]
        case Mark.OVER:
            parts = _striped_block(centre, size, colour, theme)
        case Mark.UNKNOWN:
            parts = question_ring(centre, size, colour, theme)
    return group(parts, data_level=mark.value)


def _ring(centre: Point, radius: float, colour: str, weight: float, theme: Theme) -> Markup:
    return circle(centre, radius, fill=theme.paper, stroke=colour, stroke_width=weight)


def _half(centre: Point, radius: float, colour: str) -> Markup:
    """Filled from below, as a vessel fills."""
    r = figure(radius)
    return path(
        f"M{figure(centre.x - radius)} {figure(centre.y)}"
        f"A{r} {r} 0 0 0 {figure(centre.x + radius)} {figure(centre.y)}Z",
        fill=colour,
    )


def _striped_block(centre: Point, size: float, colour: str, theme: Theme) -> list[Markup]:
    half = size * 0.47
    parts = [
        box(
            Point(centre.x - half, centre.y - half),
            2 * half,
            2 * half,
            rx=size * 0.1,
            fill=colour,
        )
    ]
    for middle in (-0.17, 0.17):
        left, right = centre.x + size * (middle - 0.05), centre.x + size * (middle + 0.05)
        # A windsock's stripes lean with its cone.
        parts.append(
            polygon(
                (
                    Point(left + size * 0.06, centre.y - half),
                    Point(right + size * 0.06, centre.y - half),
                    Point(right - size * 0.06, centre.y + half),
                    Point(left - size * 0.06, centre.y + half),
                ),
                fill=theme.paper,
            )
        )
    return parts


def question_ring(centre: Point, size: float, colour: str, theme: Theme) -> list[Markup]:
    """Dashes round a question mark, which is drawn and needs no font."""
    weight = size * 0.11
    radius = (size - weight) / 2
    dash = 2 * 3.14159265 * radius / 16
    s = size / 24
    x, y = centre
    return [
        circle(
            centre,
            radius,
            fill=theme.paper,
            stroke=colour,
            stroke_width=weight,
            stroke_dasharray=f"{figure(dash * 1.15)} {figure(dash * 0.85)}",
        ),
        path(
            f"M{figure(x - 3.6 * s)} {figure(y - 2.8 * s)}"
            f"c0 {figure(-4.6 * s)} {figure(7.2 * s)} {figure(-4.6 * s)} {figure(7.2 * s)} 0"
            f"c0 {figure(2.6 * s)} {figure(-3.6 * s)} {figure(2.4 * s)}"
            f" {figure(-3.6 * s)} {figure(5.2 * s)}",
            fill="none",
            stroke=colour,
            stroke_width=2.3 * s,
        ),
        circle(Point(x, y + 6.2 * s), 1.5 * s, fill=colour),
    ]


def level_drawing(mark: Mark, theme: Theme, size: float = 24) -> Drawing:
    """One level's shape alone, for a table or a line of text; its word belongs beside it."""
    return document(
        "level",
        size,
        size,
        mark.value,
        f"Level {mark.value}: {SHAPE_IN_WORDS[mark]}",
        [level_shape(mark, Point(size / 2, size / 2), size, theme)],
    )


def levels_legend(theme: Theme) -> Drawing:
    """All four shapes with their words."""
    parts = []
    x = 4.0
    for mark in Mark:
        parts.append(level_shape(mark, Point(x + 11, 16), 22, theme))
        parts.append(label(mark.value, Point(x + 28, 21), TEXT_SIZE, theme.ink))
        x += 28 + width_of(mark.value, TEXT_SIZE) + 20
    said = "; ".join(f"{mark.value}: {SHAPE_IN_WORDS[mark]}" for mark in Mark)
    return document("legend", x, 32, "Levels and their shapes", said, parts)
