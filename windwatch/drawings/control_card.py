"""The control-position card: the wind on the aeroplane, each surface drawn and named.

Input is what `airmanship.control_positions` answers; this room decides nothing about it.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship.control_table import (
    AILERONS_NEUTRAL,
    Ailerons,
    ControlPositions,
    Deflection,
    Pitch,
    RelativeWind,
    Roll,
    Yoke,
)
from windwatch.airmanship.control_words import in_words, wind_in_words
from windwatch.airmanship.conversions import speed_figure
from windwatch.drawings.aeroplane import from_above, from_behind, from_the_side
from windwatch.drawings.boxes import Box
from windwatch.drawings.hold import Column, held, held_in_words, usual_column
from windwatch.drawings.relative_wind import blows, relative_wind, room_for
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
    placed,
    polygon,
    shortened,
    width_of,
    wrapped,
)
from windwatch.drawings.theme import Theme
from windwatch.drawings.wind_words import degrees
from windwatch.wind import DegreesTrue

WIDTH: Final = 380.0
SMALL: Final = 14.0
LARGE: Final = 24.0
MARGIN: Final = 14.0
ELEVATOR: Final = "elevator"
NEUTRAL_YOKE: Final = Yoke(Roll.CENTRE, Pitch.NEUTRAL)
GEAR: Final = {Gear.NOSEWHEEL: "nosewheel", Gear.TAILWHEEL: "tailwheel"}
WING: Final = {WingPosition.HIGH: "high wing", WingPosition.LOW: "low wing"}
CRITICAL: Final = "Most critical wind"
CRITICAL_WHAT: Final = "No sudden power, no sharp braking."
QUESTION: Final = "How are they held?"
BLANK: Final = "______"
UNKNOWN_SIDE: Final = "from any side"


class Craft(NamedTuple):
    """What stands in the wind.

    Attributes
    ----------
    column : Column or None
        None: what most aeroplanes of that gear have.
    """

    gear: Gear
    wing: WingPosition
    column: Column | None = None

    @property
    def holds(self) -> Column:
        """Yoke or stick."""
        return self.column or usual_column(self.gear)

    @property
    def words(self) -> str:
        """``nosewheel, high wing``."""
        return f"{GEAR[self.gear]}, {WING[self.wing]}"


def control_card(
    positions: ControlPositions,
    craft: Craft,
    theme: Theme,
    title: str = "",
    heading_true: DegreesTrue | None = None,
    unit: str = "kt",
    *,
    answers: bool = True,
) -> Drawing:
    """One heading in one wind.

    Parameters
    ----------
    positions : ControlPositions
        What `control_positions` answered.
    craft : Craft
        Gear, wing and what is held.
    title : str
        The taxi leg.
    heading_true : DegreesTrue or None
        Said beside the title. [°T]
    unit : str
        Of the wind's speed: ``kt``, ``km/h``, ``m/s``, ``mph``.
    answers : bool
        False: the same question with blanks to fill in, surfaces neutral and nothing named.
    """
    name = title or "Controls while taxiing"
    heading = "" if heading_true is None else f", heading {degrees(heading_true)}° true"
    first = name + heading
    blowing = _blowing(positions.relative_wind, unit, answers=answers)
    said = held_in_words(craft.holds, positions.yoke) if answers else QUESTION
    room = WIDTH - 2 * MARGIN
    large = wrapped(_upper(said), LARGE, room, 2, bold=True)
    parts = [
        label(
            shortened(name, SMALL, room - width_of(heading, SMALL)) + heading,
            Point(MARGIN, 24),
            SMALL,
            theme.quiet,
        ),
        paragraph(large, Point(MARGIN, 54), LARGE, theme.ink, bold=True),
    ]
    y = 54 + (len(large) - 1) * LARGE * 1.3 + 22
    lines = wrapped(_upper(blowing), SMALL, room, 2, bold=True)
    parts.append(paragraph(lines, Point(MARGIN, y), SMALL, theme.wind, bold=True))
    y += 19 * len(lines)
    if answers and positions.most_critical:
        parts.append(critical_banner(Point(MARGIN, y - 8), room, theme))
        y += 50
    ahead, behind = room_for(positions.relative_wind)
    middle = Point(WIDTH / 2, y + ahead)
    parts.append(seen_from_above(positions, craft, middle, 1.0, theme, answers=answers))
    y = middle.y + behind + 10
    parts.append(_other_views(positions, craft, y, theme, answers=answers))
    y += 106
    if answers:
        others, y = _alternatives(positions, craft, y, theme)
        parts += others
    return document(
        "controls",
        WIDTH,
        y,
        f"{first}: controls for {craft.words}" if answers else f"{first}: {craft.words}, question",
        in_sentences(positions, unit, answers=answers),
        parts,
    )


def in_sentences(positions: ControlPositions, unit: str = "kt", *, answers: bool = True) -> str:
    """What a card says, in words."""
    blowing = _blowing(positions.relative_wind, unit, answers=answers)
    sentences = [f"Aeroplane seen from above, nose up. Wind on it: {blowing}"]
    if not answers:
        return f"{sentences[0]}. {QUESTION}"
    sentences.append(_upper(in_words(positions)))
    if positions.most_critical:
        sentences.append(f"{CRITICAL}: {CRITICAL_WHAT.removesuffix('.')}")
    sentences += [_upper(or_else(other, unit)) for other in positions.alternatives]
    return ". ".join(sentences) + "."


def or_else(other: ControlPositions, unit: str = "kt") -> str:
    """An alternative: ``or, quartering tailwind from the left: turn right, forward: …``."""
    most = ", most critical" if other.most_critical else ""
    return f"or, {wind_words(other.relative_wind, unit)}{most}: {in_words(other)}"


def wind_words(wind: RelativeWind, unit: str = "kt") -> str:
    """The wind on the aeroplane with its speed: ``tailwind, 18 kt, gust 27 kt``."""
    said = wind_in_words(wind)
    return f"{said}, {speed_words(wind, unit)}" if blows(wind) else said


def _blowing(wind: RelativeWind, unit: str, *, answers: bool) -> str:
    """The wind of an answer; in a question, what to expect of an unknown side is not told."""
    if answers or wind.angle_deg is not None or not blows(wind):
        return wind_words(wind, unit)
    return f"{UNKNOWN_SIDE}, {speed_words(wind, unit)}"


def speed_words(wind: RelativeWind, unit: str = "kt") -> str:
    """``18 kt, gust 27 kt``."""
    said = f"{speed_figure(wind.speed, unit)} {unit}"
    return said if wind.gust is None else f"{said}, gust {speed_figure(wind.gust, unit)} {unit}"


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def critical_banner(corner: Point, width: float, theme: Theme) -> Markup:
    """A band with a windsock's stripes at its ends: no level, but nobody overlooks it."""
    high = 46.0
    parts = [box(corner, width, high, fill=theme.ink)]
    edges = [corner.x + 6, corner.x + 17, corner.x + width - 27, corner.x + width - 16]
    parts += [
        polygon(
            (
                Point(left + 5, corner.y),
                Point(left + 10, corner.y),
                Point(left + 5, corner.y + high),
                Point(left, corner.y + high),
            ),
            fill=theme.paper,
        )
        for left in edges
    ]
    middle = corner.x + width / 2
    parts += [
        label(
            said,
            Point(middle, corner.y + down),
            SMALL,
            theme.paper,
            "middle",
            bold=said is CRITICAL,
            data_on="ink",
        )
        for down, said in ((19, CRITICAL), (37, CRITICAL_WHAT))
    ]
    return group(parts, data_part="critical")


# --- from above, with the wind -----------------------------------------------------


def seen_from_above(
    positions: ControlPositions,
    craft: Craft,
    middle: Point,
    scale: float,
    theme: Theme,
    large: float = LARGE,
    *,
    answers: bool = True,
    elevator_name: str = ELEVATOR,
) -> Markup:
    """The aeroplane from above in its wind, surfaces named where answers are given.

    Parameters
    ----------
    elevator_name : str
        Beside it; where two kinds of aeroplane differ in it, it says whose it is.
    """
    ailerons, elevator = shown(positions, answers=answers)
    above = from_above(ailerons, elevator, craft.gear, craft.wing, middle, scale, theme)
    names = _names(positions, middle, scale, elevator_name)
    taken = [_name_box(name, large, answers=answers) for name in names]
    parts = [
        relative_wind(positions.relative_wind, middle, scale, taken, theme),
        above,
        *(_named(name, large, theme, answers=answers) for name in names),
    ]
    return group(parts)


def shown(positions: ControlPositions, *, answers: bool) -> tuple[Ailerons, Deflection]:
    """What is drawn: the answer, or all neutral."""
    if not answers:
        return AILERONS_NEUTRAL, Deflection.NEUTRAL
    return positions.ailerons, positions.elevator


class _Name(NamedTuple):
    """A surface, how it is deflected, and the middle of where that is said."""

    name: str
    deflection: Deflection
    at: Point


def _names(
    positions: ControlPositions, middle: Point, scale: float, elevator_name: str
) -> tuple[_Name, ...]:
    """Each surface, with the place of its name and of UP, DOWN or NEUTRAL."""
    left, right = positions.ailerons
    # Beside the tail, on the side that the wind does not come from.
    angle = positions.relative_wind.angle_deg
    tail = -1 if angle is not None and 0 < angle < 180 else 1
    # A long name keeps clear of the tail.
    aside = max(88 * scale, 36 * scale + width_of(elevator_name, SMALL) / 2)
    return tuple(
        _Name(name, deflection, Point(middle.x + across, middle.y + down * scale))
        for name, deflection, across, down in (
            ("left aileron", left, -88 * scale, 22),
            ("right aileron", right, 88 * scale, 22),
            (elevator_name, positions.elevator, tail * aside, 92),
        )
    )


def _name_box(name: _Name, large: float, *, answers: bool) -> Box:
    """What a name and its word cover."""
    word = name.deflection.name if answers else BLANK
    wide = max(width_of(name.name, SMALL), width_of(word, large, bold=True) + 24)
    top, foot = name.at.y - SMALL * 0.85, name.at.y + large
    return Box(name.at.x, (top + foot) / 2, wide, foot - top)


def _named(name: _Name, large: float, theme: Theme, *, answers: bool) -> Markup:
    deflection, at = name.deflection, name.at
    word = deflection.name if answers else BLANK
    parts = [label(name.name, at, SMALL, theme.quiet, "middle", halo=theme.paper)]
    width = width_of(word, large, bold=True)
    pointed = answers and deflection is not Deflection.NEUTRAL
    left = at.x - width / 2 - (11 if pointed else 0)
    y = at.y + large * 0.98
    if pointed:
        parts.append(pointer(deflection, Point(left + 8, y - large * 0.36), large * 0.62, theme))
        left += 22
    parts.append(label(word, Point(left, y), large, theme.ink, bold=True, halo=theme.paper))
    return group(parts, data_name=name.name)


def pointer(deflection: Deflection, centre: Point, size: float, theme: Theme) -> Markup:
    """A triangle up, filled, or down, hollow: as the surfaces are drawn."""
    up = deflection is Deflection.UP
    shape = placed(((0, 0.5), (0.55, -0.45), (-0.55, -0.45)), centre, 0 if up else 180, size)
    return polygon(
        shape,
        fill=theme.ink if up else theme.paper,
        stroke=theme.ink,
        stroke_width=2,
        stroke_linejoin="round",
    )


# --- the other views ---------------------------------------------------------------


def _other_views(
    positions: ControlPositions, craft: Craft, top: float, theme: Theme, *, answers: bool
) -> Markup:
    """From behind, from the side, and what is held."""
    ailerons, elevator = shown(positions, answers=answers)
    yoke = positions.yoke if answers else NEUTRAL_YOKE
    level = top + 40
    column = craft.holds
    parts = [
        line(Point(MARGIN, top - 4), Point(WIDTH - MARGIN, top - 4), theme.hair, 1),
        from_behind(ailerons, elevator, craft.gear, craft.wing, Point(92, level), 0.8, theme),
        from_the_side(elevator, craft.gear, craft.wing, Point(228, level), 0.55, theme),
        held(column, yoke, Point(318 if column is Column.YOKE else 334, level), 1.0, theme),
    ]
    parts += [
        label(word, Point(x, top + 92), SMALL, theme.quiet, "middle")
        for x, word in ((92, "from behind"), (228, "from the side"), (332, column.value))
    ]
    return group(parts)


def _alternatives(
    positions: ControlPositions, craft: Craft, top: float, theme: Theme
) -> tuple[list[Markup], float]:
    """Other positions that this wind may ask for, each drawn small and said; and where they end."""
    parts = []
    y = top + 4
    for other in positions.alternatives:
        held_so = held_in_words(craft.holds, other.yoke)
        words = f"Or {wind_in_words(other.relative_wind)}: {held_so}"
        if other.most_critical:
            words += " (most critical)"
        lines = wrapped(words, SMALL, WIDTH - 130 - MARGIN, 4)
        parts.append(line(Point(MARGIN, y - 4), Point(WIDTH - MARGIN, y - 4), theme.hair, 1))
        parts.append(
            from_behind(
                other.ailerons,
                other.elevator,
                craft.gear,
                craft.wing,
                Point(64, y + 26),
                0.52,
                theme,
            )
        )
        parts.append(paragraph(lines, Point(124, y + 20), SMALL, theme.ink))
        y += max(52.0, 16 + len(lines) * SMALL * 1.3)
    return parts, y
