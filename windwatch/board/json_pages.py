"""The pages in JSON, each with its address: the table that documents and makes them."""

from __future__ import annotations

from typing import Any, Final, NamedTuple

from windwatch.board.json_forecast import FORECAST
from windwatch.board.json_parts import (
    ACKNOWLEDGEMENT,
    BANNER,
    EPISODE,
    EVIDENCE,
    FINDING,
    LEG,
    LEVEL,
    NOTICE,
    PARKED,
    STATION,
    STEP,
    STRIP,
    SUBJECT,
    THUNDER,
    TO_DO,
    WATCH,
    WIND,
)
from windwatch.board.json_shapes import (
    FLAG,
    NUMBER,
    TEXT,
    TIME,
    WHOLE,
    Key,
    Shape,
    many,
    optional,
    shaped,
)
from windwatch.board.page_values import (
    AboutPage,
    EpisodePage,
    FieldPage,
    NoticePage,
    NoticesPage,
    OverviewPage,
    RampCardPage,
)

# What every answer begins with.
FRAME: Final = (
    Key("at", TIME, "When it was made.", "frame.now"),
    Key("version", TEXT, "Changes whenever anything here may have.", "frame.version"),
    Key("watch", shaped(WATCH), "The watch that feeds the board.", "frame.watch"),
    Key("banners", many(shaped(BANNER)), "The gravest first.", "frame.banners"),
    Key(
        "caution",
        TEXT,
        "Stands under all advice.",
        lambda page: " ".join(page.frame.caution),
    ),
)
_WIND_NOW: Final = (
    Key("wind_known", FLAG, "False: every level is unknown, and `wind` is the last known one."),
    Key("wind", WIND, "Null: none was ever known.", "wind.wind"),
    Key("observed_at", optional(TIME), "When that wind was observed.", "observed"),
)
CARD: Final = Shape(
    "AirfieldCard",
    "One airfield among the others.",
    (
        Key("airfield", TEXT, "Its identifier.", "id"),
        Key("name", TEXT, "Its name."),
        Key("what_to_do", shaped(TO_DO), "With the worst level at the field.", "todo"),
        *_WIND_NOW,
        Key("station", TEXT, "Who reported it."),
        Key("open_episodes", WHOLE, "How many are open."),
        Key("failed_notices", WHOLE, "How many of 24 hours reached nobody."),
    ),
)
OVERVIEW: Final = Shape(
    "Overview", "All airfields.", (*FRAME, Key("airfields", many(shaped(CARD)), "Each.", "cards"))
)
FIELD: Final = Shape(
    "Airfield",
    "The board of one airfield.",
    (
        *FRAME,
        Key("airfield", TEXT, "Its identifier.", "id"),
        Key("name", TEXT, "Its name."),
        *_WIND_NOW,
        Key("station", TEXT, "Who reported it.", "station_in_use"),
        Key("next_report_due_at", optional(TIME), "Of the main station.", "due"),
        Key("overdue", FLAG, "It has not come."),
        Key("what_to_do", shaped(TO_DO), "Now.", "todo"),
        Key("thunder", optional(shaped(THUNDER)), "Null: none, and that is known."),
        Key("subjects", many(shaped(SUBJECT)), "Aircraft and pilot standards × runways."),
        Key("taxi_legs", many(shaped(LEG)), "Controls on each.", "legs"),
        Key("taxi_note", TEXT, "Why no controls are named, say.", "legs_note"),
        Key("taxi_stopped", many(TEXT), "Aircraft that must not taxi now."),
        Key("parked", many(shaped(PARKED)), "Aircraft on the ground."),
        Key("wind_strip", shaped(STRIP), "The last 24 hours.", "strip"),
        Key("forecast", optional(shaped(FORECAST)), "Null: no forecast_station is configured."),
        Key("episodes", many(shaped(EPISODE)), "Open ones, the worst first."),
        Key("notices", many(shaped(NOTICE)), "Of 24 hours, newest first, at most 20."),
        Key("stations", many(shaped(STATION)), "Main station and fall-backs."),
        Key("why", many(TEXT), "Wind, station and times in sentences."),
        Key("evidence", many(shaped(EVIDENCE)), "The raw reports behind it."),
    ),
)
LIMIT: Final = Shape(
    "Limit",
    "One limit in force.",
    (
        Key("applies_to", TEXT, "In flight with which standard, or on the ground."),
        Key("quantity", TEXT, "As configured."),
        Key("limit_kt", NUMBER, "[kt]"),
        Key("whose", TEXT, "Whose limit it is."),
    ),
)
RAMP_CARD: Final = Shape(
    "RampCard",
    "Today's card for one aircraft.",
    (
        *FRAME,
        Key("airfield", TEXT, "Its identifier.", "id"),
        Key("aircraft", TEXT, "Its name."),
        Key("description", TEXT, "As configured."),
        Key("types", TEXT, "Gear and wing."),
        *_WIND_NOW,
        Key("station", TEXT, "Who reported it.", "station_in_use"),
        Key("what_to_do", shaped(TO_DO), "For this aircraft.", "todo"),
        Key("subjects", many(shaped(SUBJECT)), "Its pilot standards × runways."),
        Key("limits", many(shaped(LIMIT)), "In force."),
        Key("demonstrated", TEXT, "Largest crosswind shown at certification: no limitation."),
        Key("taxi_legs", many(shaped(LEG)), "Controls on each.", "legs"),
        Key("taxi_note", TEXT, "Why no controls are named, say.", "legs_note"),
        Key("taxi_stopped", many(TEXT), "Aircraft that must not taxi now."),
        Key("parked", shaped(PARKED), "On the ground."),
    ),
)
EPISODE_PAGE: Final = Shape(
    "EpisodeAnswer",
    "One episode with its steps and notices.",
    (
        *FRAME,
        Key("episode", shaped(EPISODE), "It."),
        Key("worst", optional(shaped(FINDING)), "Its worst figure."),
        Key("steps", many(shaped(STEP)), "In order."),
        Key("notices", many(shaped(NOTICE)), "That told of it, newest first."),
        Key("acknowledgements", many(shaped(ACKNOWLEDGEMENT)), "In order."),
        Key("can_acknowledge", FLAG, "It is open."),
    ),
)
NOTICES_PAGE: Final = Shape(
    "Notices",
    "What was sent, and what failed.",
    (
        *FRAME,
        Key("since", TIME, "How far back."),
        Key("notices", many(shaped(NOTICE)), "Newest first."),
        Key("more", FLAG, "There are older ones in that time."),
        Key("dead", WHOLE, "Of those listed, how many reached nobody."),
    ),
)
NOTICE_PAGE: Final = Shape(
    "NoticeAnswer",
    "One notice with every try at it.",
    (
        *FRAME,
        Key("notice", shaped(NOTICE), "It."),
        Key("valid_until", TIME, "Never sent as current after this."),
        Key("text", TEXT, "As it was sent; it holds text from outside."),
        Key("late_because", TEXT, "Where it replaces others."),
        Key("steps", many(shaped(STEP)), "What it told."),
        Key("episodes", many(shaped(EPISODE)), "What it is about, as it stands now."),
    ),
)
MEANING: Final = Shape(
    "Level",
    "A level, its shape and its meaning.",
    (
        Key("level", LEVEL, "The word.", "stand.mark"),
        Key("shape", TEXT, "In words."),
        Key("meaning", TEXT, "In words."),
    ),
)
ABOUT: Final = Shape(
    "About",
    "Words, shapes, rules and versions.",
    (
        *FRAME,
        Key("levels", many(shaped(MEANING)), "Each."),
        Key("rules", many(TEXT), "The figures of judgement in force."),
        Key("windwatch", TEXT, "Its version.", lambda page: dict(page.versions)["windwatch"]),
    ),
)


class Address(NamedTuple):
    """An address below ``/api``, what it takes, and what it gives."""

    path: str
    name: str
    shape: Shape
    parameters: tuple[tuple[str, str], ...] = ()


_FIELD_ID: Final = ("id", "Identifier of an airfield.")
ADDRESSES: Final = (
    Address("/api", "overview", OVERVIEW),
    Address("/api/field/{id}", "airfield", FIELD, (_FIELD_ID,)),
    Address("/api/field/{id}/kiosk", "kiosk", FIELD, (_FIELD_ID,)),
    Address(
        "/api/field/{id}/card/{aircraft}",
        "ramp_card",
        RAMP_CARD,
        (_FIELD_ID, ("aircraft", "Name of an aircraft based there.")),
    ),
    Address("/api/episodes/{id}", "episode", EPISODE_PAGE, (("id", "Id of an episode."),)),
    Address("/api/notices", "notices", NOTICES_PAGE),
    Address("/api/notice/{id}", "notice", NOTICE_PAGE, (("id", "Id of a notice."),)),
    Address("/api/about", "about", ABOUT),
)
SHAPE_OF: Final[dict[type[Any], Shape]] = {
    OverviewPage: OVERVIEW,
    FieldPage: FIELD,
    RampCardPage: RAMP_CARD,
    EpisodePage: EPISODE_PAGE,
    NoticesPage: NOTICES_PAGE,
    NoticePage: NOTICE_PAGE,
    AboutPage: ABOUT,
}
