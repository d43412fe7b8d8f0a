"""The field from above: which runway may be used, in the wind that blows across it.

North is up. Runways lie in their true directions and relative lengths, through one point, since
only directions are known; the painted number of an end is read by somebody landing on it.
"""

from __future__ import annotations

from math import hypot, radians, sin
from typing import Final, NamedTuple

from windwatch.assessment.values import Mark
from windwatch.drawings.arrow import sector_wedge, wind_on_the_field
from windwatch.drawings.boxes import Box, Strip, Wanted, beside
from windwatch.drawings.field_facts import (
    Field,
    FieldEnd,
    FieldLeg,
    FieldRunway,
    leg_in_words,
    runway_in_words,
)
from windwatch.drawings.field_runways import (
    RUNWAY_WIDTH,
    Laid,
    laid_out,
    painted_numbers,
    runway_surface,
)
from windwatch.drawings.levels import colour_of, level_shape
from windwatch.drawings.svg import (
    NOTHING,
    Drawing,
    Markup,
    Point,
    circle,
    document,
    group,
    label,
    line,
    paragraph,
    placed,
    polygon,
    polyline,
    shortened,
    towards,
    width_of,
    wrapped,
)
from windwatch.drawings.theme import Theme
from windwatch.drawings.wind_words import sector_line, wind_line, wind_sentence
from windwatch.drawings.windsock import LONG, windsock
from windwatch.wind import Steady, Wind

WIDTH: Final = 400.0
SMALL: Final = 14.0
LARGE: Final = 20.0
RING: Final = 112.0  # the compass ring
NORTH: Final = 25.0  # from the ring to the tip of its arrow: beyond the chevrons of an end there
APPROACH: Final = 20.0  # room before an end for its chevrons
LABEL_HEIGHT: Final = 46.0
FIELD_HEIGHT: Final = 330.0
SOCK_AT: Final = (0.6, 0.75, 0.9, 1.05)  # shares of the ring
LEADER_FROM: Final = 34.0
ARROW_ROOM: Final = 86.0


def field_drawing(field: Field, theme: Theme, unit: str = "kt") -> Drawing:
    """The field from above.

    Parameters
    ----------
    field : Field
        Runways, wind and taxi legs, already judged.
    theme : Theme
    unit : str
        Of the wind's figures: ``kt``, ``km/h``, ``m/s``, ``mph``.
    """
    head, top = _header(field, theme, unit)
    centre = Point(WIDTH / 2, top + FIELD_HEIGHT / 2 + 4)
    laid = laid_out(field.runways, centre)
    feet, bottom = _legs(field.legs, top + FIELD_HEIGHT + 4, theme)
    told = _told(laid, field.wind, centre, top)
    mast = _mast(laid, field.wind, centre, told)
    parts = [
        *head,
        _compass(centre, theme),
        sector_wedge(field.wind, centre, RING, theme),
        *(runway_surface(one, theme) for one in laid),
        wind_on_the_field(field.wind, centre, ARROW_ROOM, theme),
        *(painted_numbers(one, theme) for one in laid),
        *([] if mast is None else [windsock(field.wind, mast, theme)]),
        *(_leader(one, theme) for one in told),
        *(_end_label(one.laid, one.end, one.where, theme) for one in told),
        *feet,
    ]
    return document("field", WIDTH, bottom, _title(field), _text(field, unit), parts)


def _title(field: Field) -> str:
    whom = f" for {field.for_whom}" if field.for_whom else ""
    return f"{field.name} from above{whom}"


def _text(field: Field, unit: str) -> str:
    sentences = [wind_sentence(field.wind, unit)]
    if field.as_of:
        sentences.append(field.as_of[0].upper() + field.as_of[1:])
    sentences += [runway_in_words(runway) for runway in field.runways]
    sentences += [leg_in_words(leg) for leg in field.legs]
    return ". ".join(sentences) + "."


# --- the head ----------------------------------------------------------------------


def _header(field: Field, theme: Theme, unit: str) -> tuple[list[Markup], float]:
    """Who and which wind; and where the field begins."""
    room = WIDTH - 24
    whom = shortened(f"for {field.for_whom}" if field.for_whom else "", SMALL, room, bold=True)
    beside = f" · {whom}" if whom else ""
    # Whom it is judged for is never cut: who reads it may be somebody else.
    left = room - width_of(beside, SMALL, bold=True)
    first = shortened(field.name, SMALL, left) if left > SMALL * 3 else ""
    wind = wind_line(field.wind, unit)
    said = wrapped(wind[0].upper() + wind[1:], LARGE, room, 2, bold=True)
    parts = [
        label(first, Point(12, 22), SMALL, theme.quiet),
        label(
            beside if first else whom,
            Point(12 + width_of(first, SMALL), 22),
            SMALL,
            theme.ink,
            bold=True,
            data_part="for whom",
        ),
        paragraph(said, Point(12, 50), LARGE, theme.wind, bold=True),
    ]
    y = 50 + (len(said) - 1) * LARGE * 1.3
    below = " · ".join(part for part in (sector_line(field.wind), field.as_of) if part)
    if below:
        for one in wrapped(below, SMALL, room, 2):
            y += 22
            parts.append(label(one, Point(12, y), SMALL, theme.quiet))
    return parts, y + 4


def _compass(centre: Point, theme: Theme) -> Markup:
    """A hairline ring with north on it."""
    parts = [circle(centre, RING, fill="none", stroke=theme.hair, stroke_width=1)]
    for bearing in range(0, 360, 30):
        inner, outer = towards(centre, bearing, RING - 4), towards(centre, bearing, RING + 4)
        parts.append(line(inner, outer, theme.thin, 1))
    tip = towards(centre, 0, RING + NORTH)
    parts.append(
        polygon(
            placed(((0, 0), (6, -15), (0, -11), (-6, -15)), tip, 0),
            fill=theme.ink,
            data_part="north",
        )
    )
    parts.append(label("N", Point(tip.x, tip.y - 4), SMALL, theme.ink, "middle", bold=True))
    return group(parts)


# --- what the ends say -------------------------------------------------------------


class _Told(NamedTuple):
    """An end with something to say, and where it is said."""

    laid: Laid
    end: FieldEnd
    where: Box


def _told(laid: list[Laid], wind: Wind | None, centre: Point, top: float) -> list[_Told]:
    """Level shape, figure and reason beyond each end, none upon another."""
    ends = [
        (one, end)
        for one in laid
        for end in one.runway.ends
        if end.mark is not None or one.runway.closed
    ]
    # Labels are wide: those at the sides have the least choice and come first.
    ends.sort(key=lambda pair: -abs(sin(radians(pair[1].heading_true))))
    wanted = [
        Wanted(
            towards(one.middle, end.heading_true, -one.half - APPROACH),
            end.heading_true + 180,
            max(_first_line_width(end, one.runway), _second_line_width(end, one.runway)),
            LABEL_HEIGHT,
        )
        for one, end in ends
    ]
    strips = [
        Strip(
            towards(one.middle, one.bearing_deg, one.half + APPROACH - 4),
            towards(one.middle, one.bearing_deg, 4 - one.half - APPROACH),
            RUNWAY_WIDTH / 2,
        )
        for one in laid
    ]
    if wind is not None and isinstance(wind.direction, Steady):
        flies = wind.direction.wind_from
        reach = [towards(centre, flies + turn, ARROW_ROOM * 0.8) for turn in (0, 180)]
        strips.append(Strip(reach[0], reach[1], 16))
    north = Box(centre.x, centre.y - RING - NORTH, 18, 32)
    middle = Box(centre.x, centre.y, 56, 56)
    paper = Box(WIDTH / 2, top + FIELD_HEIGHT / 2 + 3, WIDTH - 4, FIELD_HEIGHT - 6)
    places = beside(wanted, strips, [north, middle], paper)
    return [_Told(one, end, where) for (one, end), where in zip(ends, places, strict=True)]


def _lines_of(end: FieldEnd, runway: FieldRunway) -> tuple[str, str]:
    """The large line, and the small one after the end's name."""
    if runway.closed or end.mark is None:
        return "closed", ""
    reason = f", {end.reason}" if end.reason else ""
    return end.figure or end.mark.value, f"{end.mark.value}{reason}"


def _first_line_width(end: FieldEnd, runway: FieldRunway) -> float:
    return 30 + width_of(_lines_of(end, runway)[0], LARGE, bold=True)


def _second_line_width(end: FieldEnd, runway: FieldRunway) -> float:
    return width_of(f"{end.name} {_lines_of(end, runway)[1]}", SMALL)


def _end_label(one: Laid, end: FieldEnd, where: Box, theme: Theme) -> Markup:
    first, second = _lines_of(end, one.runway)
    closed = one.runway.closed or end.mark is None
    mark = Mark.UNKNOWN if end.mark is None else end.mark
    colour = theme.quiet if closed else colour_of(mark, theme)
    y = where.y - 10
    # What is not judged has no shape, and so its word stands in the middle.
    left = where.x - width_of(first, LARGE, bold=True) / 2 - (0 if closed else 15)
    parts = []
    if not closed:
        if mark in {Mark.WITHIN, Mark.NEAR}:
            parts.append(_approach(one, end, colour))
        parts.append(level_shape(mark, Point(left + 12, y), 24, theme))
        left += 30
    halo = theme.paper
    parts.append(label(first, Point(left, y + 8), LARGE, colour, bold=True, halo=halo))
    foot = Point(where.x, where.y + 19)
    parts.append(label(second, foot, SMALL, theme.ink, "middle", halo=halo, lead=end.name))
    return group(parts, data_end=end.name)


def _approach(one: Laid, end: FieldEnd, colour: str) -> Markup:
    """Two chevrons before an end that may be used, in the direction of landing."""
    parts = []
    for before in (9, 17):
        tip = towards(one.middle, end.heading_true, -one.half - before + 6)
        chevron = placed(((-8, -6), (0, 0), (8, -6)), tip, end.heading_true)
        parts.append(polyline(chevron, colour, 2.6))
    return group(parts, data_part="approach")


def _mast(laid: list[Laid], wind: Wind | None, centre: Point, told: list[_Told]) -> Point | None:
    """Where the windsock stands: as near to the middle as it has room for all that it flies over.

    None where there is no wind with a direction, or no room: the arrow says it all.
    """
    if wind is None or not isinstance(wind.direction, Steady):
        return None
    flies = wind.direction.wind_from + 180
    strips = [
        Strip(
            towards(one.middle, one.bearing_deg, one.half + APPROACH),
            towards(one.middle, one.bearing_deg, -one.half - APPROACH),
            RUNWAY_WIDTH / 2,
        )
        for one in laid
    ]
    tail, tip = (towards(centre, flies, ahead * ARROW_ROOM) for ahead in (-0.8, 0.8))
    strips.append(Strip(tail, tip, 20))
    for out in SOCK_AT:
        for bearing in range(40, 400, 10):
            mast = towards(centre, bearing, RING * out)
            middle = towards(mast, flies, LONG / 2)
            around = Box(middle.x, middle.y, LONG * 0.9, LONG * 0.9)
            if not any(strip.under(around) for strip in strips) and not any(
                around.touches(one.where) for one in told
            ):
                return mast
    return None


def _leader(told: _Told, theme: Theme) -> Markup:
    """A line from a label to its end, where it could not stand beside it."""
    start = towards(told.laid.middle, told.end.heading_true, -told.laid.half - 2)
    box = told.where
    near = Point(
        min(max(start.x, box.x - box.width / 2), box.x + box.width / 2),
        min(max(start.y, box.y - box.height / 2), box.y + box.height / 2),
    )
    if hypot(near.x - start.x, near.y - start.y) < LEADER_FROM:
        return NOTHING
    return line(start, near, theme.thin, 1, data_part="leader")


# --- taxi legs ---------------------------------------------------------------------

_COLUMNS: Final = 2
_LEG_HEIGHT: Final = 64.0


def _legs(legs: tuple[FieldLeg, ...], top: float, theme: Theme) -> tuple[list[Markup], float]:
    """Each leg as a thin arrow in its true direction with its name, and where they end."""
    if not legs:
        return [], top + 6
    parts = [line(Point(12, top + 2), Point(WIDTH - 12, top + 2), theme.hair, 1)]
    parts.append(label("Taxi legs", Point(12, top + 22), SMALL, theme.quiet))
    across = (WIDTH - 24) / _COLUMNS
    for place, leg in enumerate(legs):
        row, column = divmod(place, _COLUMNS)
        middle = Point(12 + column * across + 22, top + 56 + row * _LEG_HEIGHT)
        parts.append(_leg(leg, middle, across - 52, theme))
    rows = -(-len(legs) // _COLUMNS)
    return parts, top + 30 + rows * _LEG_HEIGHT


def _leg(leg: FieldLeg, middle: Point, room: float, theme: Theme) -> Markup:
    tail, tip = (towards(middle, leg.heading_true, ahead) for ahead in (-20, 20))
    head = placed(((0, 0), (5, -10), (-5, -10)), tip, leg.heading_true)
    names = wrapped(leg.name, SMALL, room, 2)
    y = middle.y + 5 - (len(names) - 1) * SMALL * 0.65
    return group(
        [
            circle(tail, 2.5, fill=theme.ink),
            line(tail, tip, theme.ink, 1.6),
            polygon(head, fill=theme.ink, data_part="leg"),
            paragraph(names, Point(middle.x + 28, y), SMALL, theme.ink),
        ],
        data_leg=leg.name,
    )
