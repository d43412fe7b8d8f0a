"""``windwatch taxi``: how the controls are held on a heading, or on all eight."""

from __future__ import annotations

from typing import Final

import click

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship import cautions, control_words
from windwatch.airmanship.control_positions import card_of_eight, control_positions
from windwatch.airmanship.control_table import EIGHTHS, ControlPositions
from windwatch.cli.show import (
    caution_line,
    examples,
    paragraph,
    print_json,
    table,
    with_exit_status,
)
from windwatch.cli.wind_option import Given, given, heading_options, wind_options
from windwatch.cli.wind_words import degrees, first_upper, wind_in_words
from windwatch.wind import Calm, DegreesTrue, Knots, Steady

GEARS: Final = {
    "nosewheel": Gear.NOSEWHEEL,
    "tricycle": Gear.NOSEWHEEL,
    "tailwheel": Gear.TAILWHEEL,
}
_POINTS: Final = (
    "north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west",
)  # fmt: skip
_WINDSOCK: Final = (
    "ahead", "right, ahead", "right", "right, behind", "behind", "left, behind", "left",
    "left, ahead",
)  # fmt: skip

# What stands before the figures in those notes.
_IN_THE_ROW: Final = tuple(
    note.partition("{")[0] for note in (control_words.NEAR_AN_EDGE, control_words.SECTOR_REACHES)
)
_UNDER_WAY: Final = "At "
_MAY_BECOME: Final = control_words.MAY_BECOME_CRITICAL.partition(",")[0]
_FIRST: Final = (
    control_words.MOST_CRITICAL.partition(":")[0],
    control_words.FOLLOW_THE_WINDSOCK,
)
_OR: Final = (
    'After "or": 10° of direction, the sector or own motion may ask for that; give a heading to '
    "see why."
)

# A heading where the row is for one (None: the windsock decides), and how the controls are held.
Row = tuple[DegreesTrue | None, ControlPositions]


@click.command(
    epilog=examples(
        "windwatch taxi --wind 24018KT --heading-true 180 --gear tailwheel",
        "windwatch taxi --wind 24018G30KT --gear nosewheel --wing low",
    )
)
@wind_options
@heading_options
@click.option(
    "--gear",
    type=click.Choice(list(GEARS)),
    required=True,
    help="Where the third wheel is; tricycle is nosewheel.",
)
@click.option(
    "--wing",
    type=click.Choice([wing.value for wing in WingPosition]),
    default=WingPosition.HIGH.value,
    show_default=True,
    help="Where the wing is; a high wing has the sterner warning.",
)
@click.option(
    "--taxi-speed",
    type=click.FloatRange(min=0),
    default=0.0,
    metavar="KT",
    help="Own speed over the ground: shows what the motion does to the wind.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of words.")
@with_exit_status
def taxi(
    wind: str | None,
    wind_magnetic: str | None,
    heading_true: float | None,
    heading_magnetic: float | None,
    variation: float | None,
    at: str | None,
    on: str | None,
    gear: str,
    wing: str,
    taxi_speed: float,
    as_json: bool,
) -> None:
    """How the yoke, control column or stick is held while taxiing in this wind.

    The answer is for the aeroplane standing still on a heading. Without a heading: the card for
    all eight directions.
    """
    asked = given(wind, wind_magnetic, heading_true, heading_magnetic, variation, at, on)
    airframe = GEARS[gear], WingPosition(wing)
    if asked.heading is not None:
        found = control_positions(asked.wind, asked.heading, *airframe, Knots(taxi_speed))
        if as_json:
            print_json(found.as_json())
        else:
            click.echo(_shown(asked, asked.heading, found, airframe))
        return
    rows = card_rows(asked, airframe, Knots(taxi_speed))
    if as_json:
        key = f"heading_{asked.reference}_deg"
        print_json({"card": [{key: heading, **found.as_json()} for heading, found in rows]})
    else:
        click.echo(_card(asked, rows, airframe))


def card_rows(
    asked: Given, airframe: tuple[Gear, WingPosition], taxi_speed: Knots
) -> tuple[Row, ...]:
    """The eight rows of the card.

    Eight headings where the wind has a direction or is calm; else the eight winds that a windsock
    may show, clockwise from the nose.
    """
    wind = asked.wind
    if isinstance(wind.direction, (Steady, Calm)):
        headings = [DegreesTrue(middle or 360.0) for middle, _, _ in EIGHTHS]
        return tuple(
            (heading, control_positions(wind, heading, *airframe, taxi_speed))
            for heading in headings
        )
    return tuple((None, found) for found in card_of_eight(wind.speed, wind.gust, *airframe))


# --- in words ------------------------------------------------------------------


def _shown(
    asked: Given,
    heading: DegreesTrue,
    found: ControlPositions,
    airframe: tuple[Gear, WingPosition],
) -> str:
    """One heading: what to do first, then the wind, then what may change it."""
    said = first_upper(wind_in_words(asked.wind, asked.reference))
    lines = [
        paragraph(f"{first_upper(control_words.in_words(found))}."),
        paragraph(
            f"{first_upper(control_words.wind_in_words(found.relative_wind))}. {said}; "
            f"heading {degrees(heading)} {asked.reference}; {_airframe(airframe)}."
        ),
        *(paragraph(f"or {_or(other)}", indent="  ", hang="     ") for other in found.alternatives),
        "",
        *(paragraph(note, indent="- ", hang="  ") for note in found.notes),
        *_end(asked),
    ]
    return "\n".join(lines)


def _or(other: ControlPositions) -> str:
    return f"{control_words.in_words(other)} ({control_words.wind_in_words(other.relative_wind)})"


def _card(asked: Given, rows: tuple[Row, ...], airframe: tuple[Gear, WingPosition]) -> str:
    by_windsock = rows[0][0] is None
    first = "windsock: wind from" if by_windsock else f"taxiing ({asked.reference})"
    said = first_upper(wind_in_words(asked.wind, asked.reference))
    cells = [
        (
            _name(number, heading),
            _wind_cell(found),
            "; or ".join(control_words.yoke_in_words(p.yoke) for p in (found, *found.alternatives)),
            _ailerons(found),
            found.elevator.value,
        )
        for number, (heading, found) in enumerate(rows)
    ]
    lines = [
        paragraph(f"Controls while taxiing. {said}; {_airframe(airframe)}."),
        "",
        table(
            cells,
            (first, "wind on the aeroplane", "yoke or stick", "ailerons L / R", "elevator"),
            (14, 21, 19, 9, 8),
        ),
        "",
        *(paragraph(note, indent="- ", hang="  ") for note in _card_notes(rows)),
        *_end(asked),
    ]
    return "\n".join(lines)


def _name(number: int, heading: DegreesTrue | None) -> str:
    return _WINDSOCK[number] if heading is None else f"{_POINTS[number]} {degrees(heading)}"


def _wind_cell(found: ControlPositions) -> str:
    said = control_words.wind_in_words(found.relative_wind)
    return f"{said}: most critical" if found.most_critical else said


def _ailerons(found: ControlPositions) -> str:
    left, right = found.ailerons
    return left.value if left is right else f"{left.value} / {right.value}"


def _card_notes(rows: tuple[Row, ...]) -> list[str]:
    """Notes under the card, each once; what own motion does is told with its row.

    What a sector or 10° of direction would change stands in the rows, after *or*.
    """
    notes: dict[str, None] = {}
    for number, (heading, found) in enumerate(rows):
        for note in found.notes:
            if note.startswith(_IN_THE_ROW):
                continue
            moving = note.startswith(_UNDER_WAY)
            notes[f"{first_upper(_name(number, heading))}: {note}" if moving else note] = None
    if any(found.alternatives for _, found in rows):
        notes[_OR] = None
    if rows[0][0] is None:
        notes[control_words.FOLLOW_THE_WINDSOCK] = None
    if any(found.most_critical for _, found in rows):
        return sorted(
            (note for note in notes if not note.startswith(_MAY_BECOME)),
            key=lambda note: not note.startswith(_FIRST),
        )
    return list(notes)


def _airframe(airframe: tuple[Gear, WingPosition]) -> str:
    gear, wing = airframe
    return f"{gear.value} aeroplane, {wing.value} wing"


def _end(asked: Given) -> list[str]:
    """Where figures come from, and the cautions."""
    return [
        *(paragraph(sentence) for sentence in asked.how),
        paragraph(cautions.PROP_WASH),
        caution_line(),
    ]
