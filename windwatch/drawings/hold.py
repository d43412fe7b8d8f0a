"""How the yoke, control column or stick is held, as somebody in the seat sees it."""

from __future__ import annotations

from enum import Enum
from typing import Final, assert_never

from windwatch.airframe import Gear
from windwatch.airmanship.control_table import Pitch, Roll, Yoke
from windwatch.airmanship.control_words import yoke_in_words
from windwatch.drawings.svg import (
    Markup,
    Point,
    arc,
    box,
    circle,
    group,
    line,
    path,
    placed,
    polygon,
    towards,
)
from windwatch.drawings.theme import Theme


class Column(Enum):
    """What the pilot holds."""

    YOKE = "yoke"
    STICK = "stick"


_TURN: Final = {Roll.LEFT: -38.0, Roll.CENTRE: 0.0, Roll.RIGHT: 38.0}
_ASIDE: Final = {Roll.LEFT: -1, Roll.CENTRE: 0, Roll.RIGHT: 1}
_AHEAD: Final = {Pitch.BACK: -1, Pitch.NEUTRAL: 0, Pitch.FORWARD: 1}


def usual_column(gear: Gear) -> Column:
    """What most aeroplanes of that gear have; the caller may know better."""
    return Column.STICK if gear is Gear.TAILWHEEL else Column.YOKE


def held_in_words(column: Column, yoke: Yoke) -> str:
    """What is held and how: ``yoke: turn left, forward``; ``stick: back, left``.

    Examples
    --------
    >>> held_in_words(Column.STICK, Yoke(Roll.LEFT, Pitch.BACK))
    'stick: back, left'
    >>> held_in_words(Column.YOKE, Yoke(Roll.LEFT, Pitch.NEUTRAL))
    'yoke: turn left, pitch neutral'
    """
    if column is Column.YOKE or yoke == (Roll.CENTRE, Pitch.NEUTRAL):
        return f"{column.value}: {yoke_in_words(yoke)}"
    aside = "centred" if yoke.roll is Roll.CENTRE else yoke.roll.value
    if yoke.pitch is Pitch.NEUTRAL:
        return f"{column.value}: {aside}, pitch neutral"
    return f"{column.value}: {yoke.pitch.value}, {aside}"


def held(column: Column, yoke: Yoke, centre: Point, scale: float, theme: Theme) -> Markup:
    """The yoke turned, with an arrow forward or back; or the stick moved in its square."""
    match column:
        case Column.YOKE:
            parts = _yoke(yoke, centre, scale, theme)
        case Column.STICK:
            parts = _stick(yoke, centre, scale, theme)
        case _:
            assert_never(column)
    return group(
        parts, data_hold=column.value, data_roll=yoke.roll.value, data_pitch=yoke.pitch.value
    )


def _yoke(yoke: Yoke, centre: Point, scale: float, theme: Theme) -> list[Markup]:
    turn = _TURN[yoke.roll]
    radius = 20 * scale
    parts = [
        path(
            arc(centre, radius, turn + 62, turn - 62),
            fill="none",
            stroke=theme.ink,
            stroke_width=5.5 * scale,
            stroke_linecap="round",
        )
    ]
    spokes = placed(((-20, 0), (20, 0)), centre, turn, scale)
    parts.append(line(spokes[0], spokes[1], theme.ink, 4.5 * scale))
    parts.append(circle(centre, 6 * scale, fill=theme.ink))
    if yoke.roll is not Roll.CENTRE:
        # The way it is turned, over the open top of the wheel.
        sign = _ASIDE[yoke.roll]
        first, last = sorted((0, sign * 42))
        outside = 29 * scale
        parts.append(
            path(
                arc(centre, outside, first, last), fill="none", stroke=theme.wind, stroke_width=2.6
            )
        )
        tip = towards(centre, sign * 42, outside)
        parts.append(polygon(placed(((0, 8), (5, -2), (-5, -2)), tip, sign * 132), fill=theme.wind))
    parts += _fore_and_aft(yoke.pitch, Point(centre.x + 40 * scale, centre.y), scale, theme)
    return parts


def _fore_and_aft(pitch: Pitch, centre: Point, scale: float, theme: Theme) -> list[Markup]:
    """A rail with a knob: forward is up, as the nose is."""
    ahead = _AHEAD[pitch]
    knob = Point(centre.x, centre.y - ahead * 15 * scale)
    top, foot = (Point(centre.x, centre.y + end * 24 * scale) for end in (-1, 1))
    parts = [line(top, foot, theme.thin, 2 * scale, stroke_linecap="round")]
    parts.append(
        line(
            Point(centre.x - 6 * scale, centre.y),
            Point(centre.x + 6 * scale, centre.y),
            theme.thin,
            2 * scale,
        )
    )
    if ahead == 0:
        shown = circle(knob, 7 * scale, fill=theme.ink, data_part="pitch")
    else:
        shape = placed(((0, 11), (9, -5), (-9, -5)), knob, 0 if ahead > 0 else 180, scale)
        shown = polygon(shape, fill=theme.ink, data_part="pitch")
    return [*parts, shown]


def _stick(yoke: Yoke, centre: Point, scale: float, theme: Theme) -> list[Markup]:
    half = 26 * scale
    grip = Point(
        centre.x + _ASIDE[yoke.roll] * 15 * scale, centre.y - _AHEAD[yoke.pitch] * 15 * scale
    )
    return [
        box(
            Point(centre.x - half, centre.y - half),
            2 * half,
            2 * half,
            rx=5 * scale,
            fill=theme.paper,
            stroke=theme.ink,
            stroke_width=1.6 * scale,
        ),
        line(Point(centre.x - half, centre.y), Point(centre.x + half, centre.y), theme.hair, 1),
        line(Point(centre.x, centre.y - half), Point(centre.x, centre.y + half), theme.hair, 1),
        circle(centre, 3.5 * scale, fill=theme.paper, stroke=theme.thin, stroke_width=1.4 * scale),
        line(centre, grip, theme.ink, 4 * scale, stroke_linecap="round"),
        circle(grip, 8 * scale, fill=theme.ink, data_part="grip"),
    ]
