"""The forecast beside the wind strip in JSON: shown, not yet judged."""

from __future__ import annotations

from typing import Final

from windwatch.board.json_parts import WIND
from windwatch.board.json_shapes import (
    FLAG,
    TEXT,
    TIME,
    WHOLE,
    Key,
    Shape,
    many,
    one_of,
    optional,
    shaped,
)

FORECAST_WIND: Final = Shape(
    "ForecastWind",
    "One forecast wind over one time.",
    (
        Key("from_at", TIME, "Begins.", "begins"),
        Key("to_at", TIME, "Ends.", "ends"),
        Key(
            "change",
            one_of("prevailing", "becoming", "temporary"),
            "What becomes or is temporary comes on top of what prevails.",
        ),
        Key("probability_percent", optional(WHOLE), "Null: the forecast does not say. [%]"),
        Key("wind", WIND, "Null: none of its own."),
    ),
)
FORECAST: Final = Shape(
    "Forecast",
    "The newest forecast of the airfield's forecast_station: shown, not yet judged.",
    (
        Key("station", TEXT, "For where."),
        Key(
            "standing",
            one_of("holds", "ended", "cancelled", "not made", "unreadable", "none"),
            "Only one that holds has winds.",
        ),
        Key("judged", FLAG, "No limit is compared with it: always false.", lambda _: False),
        Key("headline", TEXT, "In words."),
        Key("issued_at", optional(TIME), "By its text.", "issued"),
        Key("valid_from", optional(TIME), "By its text."),
        Key("valid_until", optional(TIME), "By its text."),
        Key("winds", many(shaped(FORECAST_WIND)), "From now on, in the order of beginning."),
        Key("notes", many(TEXT), "What must be known beside it."),
        Key("raw", TEXT, "As it came."),
    ),
)
