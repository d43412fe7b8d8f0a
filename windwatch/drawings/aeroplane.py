"""A plain aeroplane from above, from behind and from the side, its controls deflected.

A surface that is up is filled, one that is down is hatched, a neutral one is an outline; from
behind, up stands above the wing and down hangs below it. Left is left in both views.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship.control_table import AILERONS_NEUTRAL, Ailerons, Deflection
from windwatch.drawings.svg import (
    Markup,
    Point,
    box,
    circle,
    group,
    line,
    placed,
    polygon,
    polyline,
)
from windwatch.drawings.theme import Theme

Outline = tuple[tuple[float, float], ...]
_Place = Callable[[float, float], Point]

HALF_SPAN: Final = 92.0
NOSE: Final = 68.0
TAIL: Final = -84.0

# From above, (to the right, ahead), one half; the other mirrors it.
_FUSELAGE: Final[Outline] = (
    (0, 68), (6, 66), (10, 58), (11.5, 40), (11.5, 10), (8, -20), (4, -60), (2.5, -84),
)  # fmt: skip
_GLASS: Final[Outline] = ((0, 40), (8, 37), (9, 30), (0, 32))
_AILERON_HINGE: Final = 17.0
_AILERON_REACH: Final = (50.0, 88.0)
_ELEVATOR_HINGE: Final = -74.0
_ELEVATOR_REACH: Final = (4.0, 33.0)


def _mirrored(half: Outline) -> Outline:
    return half + tuple((-x, y) for x, y in reversed(half) if x)


# --- from above --------------------------------------------------------------------


def from_above(
    ailerons: Ailerons,
    elevator: Deflection,
    gear: Gear,
    wing: WingPosition,
    centre: Point,
    scale: float,
    theme: Theme,
) -> Markup:
    """The aeroplane from above, nose up; wings lie over or under the fuselage."""
    skin: dict[str, float | str] = {
        "fill": theme.body,
        "stroke": theme.ink,
        "stroke_width": 1.6 * scale,
    }

    def outline(points: Outline, **more: float | str) -> Markup:
        return polygon(placed(points, centre, 0, scale), stroke_linejoin="round", **more)

    wings = outline(
        _mirrored(((0, 36), (70, 36), (88, 33), (92, 27), (91, 8), (88, 5), (0, 3))), **skin
    )
    fuselage = outline(_mirrored(_FUSELAGE), **skin)
    glass = outline(_mirrored(_GLASS), fill=theme.thin)
    cabin = [fuselage, wings, glass]
    if wing is WingPosition.LOW:
        canopy = outline(_mirrored(((0, 36), (7, 33), (8.5, 20), (7, 4), (0, 0))), fill=theme.thin)
        cabin = [wings, fuselage, canopy]
    tail = outline(_mirrored(((0, -62), (26, -64), (33, -68), (33, -74), (0, -74))), **skin)
    surfaces = [
        surface_from_above(name, side, deflection, centre, scale, theme)
        for name, side, deflection in (
            ("left aileron", -1, ailerons.left),
            ("right aileron", 1, ailerons.right),
            ("elevator", -1, elevator),
            ("elevator", 1, elevator),
        )
    ]
    fin = outline(((-1.6, -58), (1.6, -58), (1.6, -86), (-1.6, -86)), fill=theme.ink)
    blade = placed(((-24, 70.5), (24, 70.5)), centre, 0, scale)
    return group(
        [
            *_wheels_from_above(gear, centre, scale, theme),
            *cabin,
            tail,
            *surfaces,
            fin,
            line(blade[0], blade[1], theme.ink, 2.6 * scale),
        ],
        data_view="above",
        data_gear=gear.value,
        data_wing=wing.value,
    )


def surface_from_above(
    name: str, side: int, deflection: Deflection, centre: Point, scale: float, theme: Theme
) -> Markup:
    """One surface aft of its hinge: raised it looms larger, lowered it draws back."""
    aileron = name != "elevator"
    inner, outer = _AILERON_REACH if aileron else _ELEVATOR_REACH
    hinge = _AILERON_HINGE if aileron else _ELEVATOR_HINGE
    flare, chord = {
        Deflection.UP: (2.5, 15.0),
        Deflection.NEUTRAL: (0.0, 12.5),
        Deflection.DOWN: (-2.5, 11.0),
    }[deflection]
    aft = hinge - chord
    inner_aft = inner - flare if aileron else inner
    corners = placed(
        (
            (side * inner, hinge),
            (side * outer, hinge),
            (side * (outer + flare), aft),
            (side * inner_aft, aft),
        ),
        centre,
        0,
        scale,
    )
    return group(
        [_filled(corners, deflection, scale, theme)],
        data_surface=name,
        data_deflection=deflection.value,
    )


def _filled(
    corners: tuple[Point, ...], deflection: Deflection, scale: float, theme: Theme
) -> Markup:
    """Filled when up, hatched when down, an outline when neutral."""
    fill = theme.ink if deflection is Deflection.UP else theme.paper
    parts = [
        polygon(
            corners,
            fill=fill,
            stroke=theme.ink,
            stroke_width=1.8 * scale,
            stroke_linejoin="round",
        )
    ]
    if deflection is Deflection.DOWN:
        first, second, third, fourth = corners
        steps = max(3, round(abs(second.x - first.x) / (4.5 * scale)))
        for step in range(1, steps):
            share = step / steps
            top = Point(
                first.x + (second.x - first.x) * share, first.y + (second.y - first.y) * share
            )
            foot = Point(
                fourth.x + (third.x - fourth.x) * share, fourth.y + (third.y - fourth.y) * share
            )
            parts.append(line(top, foot, theme.ink, 1.5 * scale))
    return group(parts)


def _wheels_from_above(gear: Gear, centre: Point, scale: float, theme: Theme) -> list[Markup]:
    """Main wheels behind the wing with a nosewheel, ahead of it with a tailwheel."""
    if gear is Gear.NOSEWHEEL:
        legs, wheels = -1.0, ((-21.0, -2.0), (21.0, -2.0))
        third = (0.0, 74.0)
    else:
        legs, wheels = 41.0, ((-21.0, 42.0), (21.0, 42.0))
        third = (0.0, -89.0)
    across = placed(((-21, legs), (21, legs)), centre, 0, scale)
    parts = [line(across[0], across[1], theme.ink, 2.2 * scale)]
    for x, y in (*wheels, third):
        half, long = (2.6, 6.5) if (x, y) != third else (2.0, 4.5)
        parts.append(
            polygon(
                placed(
                    (
                        (x - half, y + long),
                        (x + half, y + long),
                        (x + half, y - long),
                        (x - half, y - long),
                    ),
                    centre,
                    0,
                    scale,
                ),
                fill=theme.ink,
                data_part="wheel",
            )
        )
    return parts


# --- from behind -------------------------------------------------------------------


def from_behind(
    ailerons: Ailerons,
    elevator: Deflection,
    gear: Gear,
    wing: WingPosition,
    centre: Point,
    scale: float,
    theme: Theme,
) -> Markup:
    """The aeroplane as somebody walking behind it sees it: up stands above, down hangs below."""

    def at(x: float, up: float) -> Point:
        return Point(centre.x + x * scale, centre.y - up * scale)

    def outline(*points: tuple[float, float], **more: float | str) -> Markup:
        return polygon([at(x, up) for x, up in points], stroke_linejoin="round", **more)

    skin: dict[str, float | str] = {
        "fill": theme.body,
        "stroke": theme.ink,
        "stroke_width": 1.4 * scale,
    }
    root, tip = (10.0, 14.0) if wing is WingPosition.HIGH else (-9.0, -1.0)
    thick = 3.6

    def wing_at(x: float) -> float:
        return root + (tip - root) * abs(x) / HALF_SPAN

    wings = outline(
        (-HALF_SPAN, tip), (0, root), (HALF_SPAN, tip),
        (HALF_SPAN, tip + 2.2), (0, root + thick), (-HALF_SPAN, tip + 2.2),
        **skin,
    )  # fmt: skip
    parts = _wheels_from_behind(gear, at, scale, theme)
    if wing is WingPosition.HIGH:
        parts += [
            line(at(s * 9, -8), at(s * 44, wing_at(44)), theme.ink, 1.6 * scale) for s in (-1, 1)
        ]
    parts.append(wings)
    for name, side, deflection in (
        ("left aileron", -1, ailerons.left),
        ("right aileron", 1, ailerons.right),
    ):
        inner, outer = _AILERON_REACH
        parts.append(
            _surface_from_behind(
                name,
                (at(side * inner, wing_at(inner) + 1.4), at(side * outer, wing_at(outer) + 1.4)),
                deflection,
                13 * scale,
                scale,
                theme,
            )
        )
    parts.append(circle(at(0, 0), 11.5 * scale, **skin))
    parts.append(outline((-1.8, 0), (1.8, 0), (1.2, 33), (-1.2, 33), fill=theme.ink))
    tail = 1.0
    parts.append(line(at(-33, tail), at(33, tail), theme.ink, 2.4 * scale))
    for side in (-1, 1):
        reach = (at(side * 5, tail), at(side * 32, tail))
        parts.append(_surface_from_behind("elevator", reach, elevator, 10 * scale, scale, theme))
    return group(parts, data_view="behind")


def _surface_from_behind(
    name: str,
    hinge: tuple[Point, Point],
    deflection: Deflection,
    deep: float,
    scale: float,
    theme: Theme,
) -> Markup:
    one, other = hinge
    if deflection is Deflection.NEUTRAL:
        drawn = line(one, other, theme.ink, 3.4 * scale)
    else:
        rise = -deep if deflection is Deflection.UP else deep
        corners = (one, other, Point(other.x, other.y + rise), Point(one.x, one.y + rise))
        drawn = _filled(corners, deflection, scale, theme)
    return group([drawn], data_surface=name, data_deflection=deflection.value)


def _wheels_from_behind(gear: Gear, at: _Place, scale: float, theme: Theme) -> list[Markup]:
    """Mains on their legs; the third wheel small and far ahead, or close behind."""
    parts = []
    for side in (-1, 1):
        parts.append(line(at(side * 7, -8), at(side * 21, -24), theme.ink, 2.2 * scale))
        parts.append(
            box(at(side * 21 - 3, -17), 6 * scale, 13 * scale, rx=2 * scale, fill=theme.ink)
        )
    low, wide = (-30.0, 4.0) if gear is Gear.NOSEWHEEL else (-18.0, 6.0)
    parts.append(line(at(0, -8), at(0, low + 6), theme.ink, 1.8 * scale))
    parts.append(
        box(at(-wide / 2, low + 10), wide * scale, 10 * scale, rx=1.5 * scale, fill=theme.ink)
    )
    parts.append(line(at(-60, -30.5), at(60, -30.5), theme.thin, 1))
    return parts


# --- from the side -----------------------------------------------------------------


def from_the_side(
    elevator: Deflection,
    gear: Gear,
    wing: WingPosition,
    centre: Point,
    scale: float,
    theme: Theme,
) -> Markup:
    """The aeroplane from its left, nose to the left: how it stands, and its elevator."""
    # On its wheels a tailwheel aeroplane looks up.
    bearing = 270.0 if gear is Gear.NOSEWHEEL else 281.0

    def outline(points: Outline, **more: float | str) -> Markup:
        return polygon(placed(points, centre, bearing, scale), stroke_linejoin="round", **more)

    def wheel(up: float, ahead: float, radius: float) -> Markup:
        at = placed(((up, ahead),), centre, bearing, scale)[0]
        return circle(at, radius * scale, fill=theme.ink)

    def strut(*points: tuple[float, float]) -> Markup:
        return polyline(placed(points, centre, bearing, scale), theme.ink, 2.2 * scale)

    skin: dict[str, float | str] = {
        "fill": theme.body,
        "stroke": theme.ink,
        "stroke_width": 1.6 * scale,
    }
    body = outline(
        (
            (2, 70), (10, 64), (12, 40), (25, 26), (25, 0), (12, -22), (8, -84), (2, -84),
            (-12, -20), (-14, 40), (-8, 68),
        ),
        **skin,
    )  # fmt: skip
    glass = outline(((13, 36), (22, 24), (22, 6), (11, 4)), fill=theme.thin)
    fin = outline(((8, -58), (36, -78), (36, -90), (4, -86)), **skin)
    height = 26.0 if wing is WingPosition.HIGH else -12.0
    section = outline(
        ((height, 34), (height + 5, 28), (height + 3, 12), (height, -8), (height - 3, 24)),
        fill=theme.ink,
    )
    if gear is Gear.NOSEWHEEL:
        legs = [
            strut((-10, 4), (-27, 2)),
            wheel(-29, 2, 7),
            strut((-8, 56), (-27, 58)),
            wheel(-30, 58, 6),
        ]
    else:
        legs = [
            strut((-12, 34), (-28, 40)),
            wheel(-30, 40, 8),
            strut((2, -80), (-6, -86)),
            wheel(-8, -87, 4),
        ]
    hinge = (7.0, -80.0)
    droop = {Deflection.UP: 12.0, Deflection.NEUTRAL: 0.0, Deflection.DOWN: -12.0}[elevator]
    stabiliser = outline(((9, -60), (9, -80), (5, -80), (5, -60)), fill=theme.ink)
    surface = placed(
        (
            (hinge[0] + 2.5, hinge[1]),
            (hinge[0] + droop + 1, hinge[1] - 22),
            (hinge[0] + droop - 1, hinge[1] - 22),
            (hinge[0] - 2.5, hinge[1]),
        ),
        centre,
        bearing,
        scale,
    )
    shown = group(
        [
            polygon(surface, fill="none", stroke=theme.paper, stroke_width=5 * scale),
            polygon(surface, fill=theme.ink, stroke=theme.ink, stroke_width=2.4 * scale),
        ],
        data_surface="elevator",
        data_deflection=elevator.value,
    )
    blade = placed(((-20, 73), (22, 73)), centre, bearing, scale)
    return group(
        [
            *legs,
            fin,
            body,
            glass,
            section,
            stabiliser,
            shown,
            line(blade[0], blade[1], theme.ink, 2.4 * scale),
        ],
        data_view="side",
        data_gear=gear.value,
        data_wing=wing.value,
    )


def at_rest(gear: Gear, wing: WingPosition, centre: Point, scale: float, theme: Theme) -> Markup:
    """The aeroplane from above with all controls neutral."""
    return from_above(AILERONS_NEUTRAL, Deflection.NEUTRAL, gear, wing, centre, scale, theme)
