"""One drawing of each kind and of each state, in every theme."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from tests.drawings.reading import wind
from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship.control_positions import card_of_eight, control_positions
from windwatch.assessment.values import Mark
from windwatch.drawings.control_card import Craft, control_card
from windwatch.drawings.field import field_drawing
from windwatch.drawings.field_facts import Field, FieldEnd, FieldLeg, FieldRunway
from windwatch.drawings.glyphs import craft_glyph, wind_glyph
from windwatch.drawings.levels import level_drawing, levels_legend
from windwatch.drawings.strip import strip_drawing
from windwatch.drawings.strip_facts import (
    Strip,
    StripFlag,
    StripForecast,
    StripLimit,
    StripPoint,
)
from windwatch.drawings.svg import Drawing
from windwatch.drawings.tail import hand, tail_and_hand
from windwatch.drawings.theme import Theme
from windwatch.drawings.wall_card import wall_card
from windwatch.wind import CALM, MISSING, VARIABLE, DegreesTrue, Knots

NOW = datetime(2026, 9, 22, 19, 7, tzinfo=UTC)
WINDS = {
    "steady": wind(310, 18),
    "gusting": wind(310, 18, 27, (280, 340)),
    "north": wind(360, 60, 75, (330, 30)),
    "light": wind(45, 2),
    "variable": wind(VARIABLE, 6),
    "calm": wind(CALM, 0),
    "no direction": wind(MISSING, 12, 22),
    "none": None,
}
EAST_WEST = FieldRunway(
    (
        FieldEnd("10", DegreesTrue(91.4), Mark.OVER, "17 > 7 kt", "crosswind"),
        FieldEnd("28", DegreesTrue(271.4), Mark.NEAR, "6.4 of 7 kt", "crosswind"),
    ),
    3800,
)
OBLIQUE = FieldRunway(
    (
        FieldEnd("16", DegreesTrue(150), Mark.UNKNOWN),
        FieldEnd("34", DegreesTrue(330), Mark.WITHIN, "3 of 7 kt", "crosswind", approximate=True),
    ),
    1900,
)
CLOSED = FieldRunway(
    (FieldEnd("04", DegreesTrue(35)), FieldEnd("22", DegreesTrue(215))), closed=True
)
LEGS = (FieldLeg("apron to hold 28", DegreesTrue(178)), FieldLeg("hold 28", DegreesTrue(91)))
FIELD = Field(
    "XLKS",
    WINDS["gusting"],
    (EAST_WEST, OBLIQUE, CLOSED),
    LEGS,
    "X-LARK, student solo",
    "at 19:07Z",
)
CRAFTS = tuple(Craft(gear, wing) for gear in Gear for wing in WingPosition)


def strip() -> Strip:
    """Every state that a strip can show."""
    points = [
        StripPoint(NOW - timedelta(minutes=20 * place), list(WINDS.values())[place % 8])
        for place in range(20)
    ]
    points += [
        StripPoint(NOW - timedelta(hours=10, minutes=20 * p), wind(200, p)) for p in range(9)
    ]
    return Strip(
        "XLKS",
        NOW,
        tuple(reversed(points)),
        (StripLimit(Knots(15), "student solo"), StripLimit(Knots(17), "X-LARK taxi")),
        (
            *(StripFlag(NOW - timedelta(hours=2 + place), "28", m) for place, m in enumerate(Mark)),
            StripFlag(NOW - timedelta(hours=1), "operations desk"),
        ),
        (
            StripForecast(NOW - timedelta(hours=1), NOW + timedelta(hours=6), wind(300, 12, 22)),
            StripForecast(
                NOW + timedelta(hours=1),
                NOW + timedelta(hours=3),
                wind(320, 25, 40),
                temporary=True,
            ),
            StripForecast(NOW + timedelta(hours=6), NOW + timedelta(hours=7), None),
        ),
        ahead=timedelta(hours=9),
        zone=ZoneInfo("America/New_York"),
    )


def every_drawing(theme: Theme) -> Iterator[Drawing]:
    """All kinds, all states."""
    for blowing in WINDS.values():
        yield field_drawing(FIELD._replace(wind=blowing), theme)
        yield wind_glyph(blowing, theme)
    for craft in CRAFTS:
        yield craft_glyph(craft, theme)
        for blowing in WINDS.values():
            if blowing is not None:
                held = control_positions(blowing, DegreesTrue(178), craft.gear, craft.wing)
                yield control_card(held, craft, theme, "apron to hold 28", DegreesTrue(178))
        held = control_positions(wind(310, 18), DegreesTrue(178), craft.gear, craft.wing)
        yield control_card(held, craft, theme, answers=False)
        yield tail_and_hand(held, craft, theme)
        yield hand(held, craft, theme)
        eight = card_of_eight(Knots(15), Knots(22), craft.gear, craft.wing)
        yield wall_card(eight, craft, theme)
        yield wall_card(eight, craft, theme, answers=False)
    for mark in Mark:
        yield level_drawing(mark, theme)
    yield levels_legend(theme)
    yield strip_drawing(strip(), theme)
    yield strip_drawing(strip(), theme, 360, "km/h")
    yield strip_drawing(Strip("XBRN", NOW, ()), theme)
