"""The parts of pages in JSON: names, units and meaning of every key.

Speeds are in knots, directions and headings in degrees, times in ISO 8601 and UTC. Keys are
only ever added.
"""

from __future__ import annotations

from typing import Any, Final

from windwatch.airmanship.control_table import Deflection, Pitch, Quarter, Roll
from windwatch.assessment.values import Mark
from windwatch.board.json_shapes import (
    FLAG,
    NUMBER,
    TEXT,
    TIME,
    WHOLE,
    Key,
    Shape,
    many,
    one_of,
    optional,
    ready,
    shaped,
)
from windwatch.board.values import Stand
from windwatch.reports.as_json import wind_as_json

LEVEL: Final = one_of(*(mark.value for mark in Mark))
_NULL: Final = {"type": "null"}
_NUMBER: Final = {"type": "number"}


def _last_known(stand: Stand) -> Mark | None:
    if stand.last_known is None and stand.mark is not Mark.UNKNOWN:
        return stand.mark
    return stand.last_known


def level_keys(path: str = "stand") -> tuple[Key, ...]:
    """How something stands: the same three keys everywhere."""

    def at(value: Any) -> Stand:
        found: Stand = getattr(value, path)
        return found

    return (
        Key("level", LEVEL, "`unknown` while the wind is not known.", lambda v: at(v).mark),
        Key(
            "last_known_level",
            optional(LEVEL),
            "The same while it is known; what it was last while it is not; null: never known.",
            lambda v: _last_known(at(v)),
        ),
        Key("level_note", TEXT, "That it is not yet back, say.", lambda v: at(v).note),
    )  # fmt: skip


def _object(properties: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


# A wind as `windwatch decode` gives it.
_WIND_SCHEMA: Final = _object(
    {
        "direction_true_deg": {"anyOf": [_NUMBER, _NULL]},
        "variable": {"type": "boolean"},
        "speed_kt": _NUMBER,
        "gust_kt": {"anyOf": [_NUMBER, _NULL]},
        "sector": {
            "anyOf": [{"type": "array", "items": _NUMBER, "minItems": 2, "maxItems": 2}, _NULL]
        },
        "speed_at_least": {"type": "boolean"},
        "gust_at_least": {"type": "boolean"},
        "calm": {"type": "boolean"},
    }
)
WIND: Final = ready({"anyOf": [_WIND_SCHEMA, _NULL]}, wind_as_json)
_RELATIVE: Final = _object(
    {
        "angle_deg": {"anyOf": [_NUMBER, _NULL]},
        "speed_kt": _NUMBER,
        "gust_kt": {"anyOf": [_NUMBER, _NULL]},
        "quarter": {"type": "string", "enum": [quarter.value for quarter in Quarter]},
    }
)
_DEFLECTION: Final = {"type": "string", "enum": [each.value for each in Deflection]}
# Control positions as `windwatch taxi` gives them.
POSITIONS: Final = ready(
    _object(
        {
            "relative_wind": _RELATIVE,
            "ailerons": _object({"left": _DEFLECTION, "right": _DEFLECTION}),
            "elevator": _DEFLECTION,
            "yoke": _object(
                {
                    "roll": {"type": "string", "enum": [each.value for each in Roll]},
                    "pitch": {"type": "string", "enum": [each.value for each in Pitch]},
                }
            ),
            "most_critical": {"type": "boolean"},
            "alternatives": {"type": "array", "items": {"type": "object"}},
            "notes": {"type": "array", "items": {"type": "string"}},
            "relative_wind_moving": {"anyOf": [_RELATIVE, _NULL]},
        }
    ),
    lambda positions: positions.as_json(),
)

BANNER: Final = Shape(
    "Banner",
    "What nobody may miss.",
    (
        Key("kind", TEXT, "`watch`, `stale`, `store`, `clock`, `feed`, `delivery` ..."),
        Key("headline", TEXT, "What it is."),
        Key("text", TEXT, "What it means and what to do."),
        Key("since", optional(TIME), "Since when."),
        Key("grave", FLAG, "Levels are not known because of it, or people are not told."),
    ),
)
WATCH: Final = Shape(
    "Watch",
    "The watch that feeds the board.",
    (
        Key("runs", FLAG, "False: every level is unknown."),
        Key("state", TEXT, "In words.", "words"),
        Key("last_cycle_at", optional(TIME), "Its last complete cycle.", "last_turn"),
    ),
)
FINDING: Final = Shape(
    "Finding",
    "One quantity against its limit.",
    (
        Key("quantity", TEXT, "`crosswind`, `tailwind`, `wind`, `gust_spread`, `tie_down` ..."),
        Key("name", TEXT, "The same in words."),
        Key("figure_kt", NUMBER, "The worst that the report allows. [kt]"),
        Key("limit_kt", NUMBER, "The limit in force. [kt]"),
        Key("margin_kt", NUMBER, "Limit minus figure; negative when over. [kt]"),
        Key("whose", TEXT, "Whose limit it is."),
        Key("at_least", FLAG, "The figure is a lower bound."),
        *level_keys(),
        Key("remarks", many(TEXT), "What made the figure what it is."),
    ),
)
END: Final = Shape(
    "RunwayEnd",
    "One end of a runway, for one aircraft and pilot standard.",
    (
        Key("runway", TEXT, "The runway, `10/28`."),
        Key("end", TEXT, "The end as painted, `28`."),
        Key("heading_true_deg", NUMBER, "Flown on landing. [degrees true]"),
        Key("approximate", FLAG, "The heading is known from the painted number only."),
        Key("best", FLAG, "The better end of its runway."),
        *level_keys(),
        Key("headwind_kt", optional(NUMBER), "Nominal; negative for a tailwind. [kt]"),
        Key("crosswind_kt", optional(NUMBER), "Nominal; positive from the right. [kt]"),
        Key("deciding", optional(shaped(FINDING)), "Nearest to or furthest over its limit."),
        Key("others", many(shaped(FINDING)), "The other limits of this end."),
    ),
)
SUBJECT: Final = Shape(
    "Subject",
    "One aircraft and pilot standard on every runway that they may use.",
    (
        Key("key", TEXT, "What the address parameter `for` takes."),
        Key("aircraft", TEXT, "Its name."),
        Key("pilot_limits", TEXT, "The standard; `anybody` where none is named."),
        *level_keys(),
        Key("remaining", many(TEXT), "Ends that remain not over, best first; none while unknown."),
        Key("remains", TEXT, "The same in words."),
        Key("ends", many(shaped(END)), "Best runway first, better end first."),
        Key("notes", many(TEXT), "Local knowledge that applies to this wind."),
    ),
)
HOLD: Final = Shape(
    "Hold",
    "How some aircraft hold their controls on a taxi leg.",
    (
        Key("aircraft", many(TEXT), "For these."),
        Key("types", TEXT, "Gear and wing, in words."),
        Key("positions", POSITIONS, "As `windwatch taxi --json`."),
        Key("words", TEXT, "In one line."),
    ),
)
LEG: Final = Shape(
    "TaxiLeg",
    "One taxi leg in the present wind.",
    (
        Key("name", TEXT, "As configured."),
        Key("heading_true_deg", NUMBER, "[degrees true]"),
        Key("heading_magnetic_deg", NUMBER, "[degrees magnetic]"),
        Key("approximate", FLAG, "The heading is known from a painted number only."),
        Key("holds", many(shaped(HOLD)), "Empty while the wind is not known."),
    ),
)
LIFT: Final = Shape(
    "Lift",
    "Share of its weight that a parked wing can carry; 1.0 is all of it.",
    (
        Key("least", NUMBER, "[1]", lambda share: share[0]),
        Key("most", NUMBER, "[1]", lambda share: share[1]),
    ),
)
PARKED: Final = Shape(
    "Parked",
    "One aircraft on the ground.",
    (
        Key("aircraft", TEXT, "Its name."),
        *level_keys(),
        Key("findings", many(shaped(FINDING)), "Every ground quantity.", "figures"),
        Key("lift_share", optional(shaped(LIFT)), "Null while it is not known."),
        Key("lift", TEXT, "The same in words, with what was assumed."),
        Key("reminders", many(TEXT), "In the order of doing; none where nothing threatens."),
    ),
)
ACKNOWLEDGEMENT: Final = Shape(
    "Acknowledgement",
    "Somebody took note.",
    (
        Key("by", TEXT, "Name or role."),
        Key("at", TIME, "When."),
        Key("note", TEXT, "A word about it."),
    ),
)
EPISODE: Final = Shape(
    "Episode",
    "One subject past its limit, from beginning to end.",
    (
        Key("id", TEXT, "As `windwatch explain` takes it."),
        Key("airfield", TEXT, "Where."),
        Key("subject", TEXT, "What it is about."),
        *level_keys(),
        Key("text", TEXT, "As a notice lists it."),
        Key("opened_at", TIME, "Observation time of the opening report.", "opened"),
        Key("closed_at", optional(TIME), "Null while it is open.", "closed"),
        Key("closing", TEXT, "How it ended."),
        Key("easing", FLAG, "Below the limit, not yet back within limits."),
        Key("standing", FLAG, "Open so long that nobody is reminded any more."),
        Key("acknowledged", optional(shaped(ACKNOWLEDGEMENT)), "Who stops its reminders now."),
    ),
)
EVIDENCE: Final = Shape(
    "Report",
    "A raw report.",
    (
        Key("id", TEXT, "Identity of the report."),
        Key("station", TEXT, "Who reports."),
        Key("kind", TEXT, "`METAR` or `SPECI`."),
        Key("observed_at", TIME, "By the station.", "observed"),
        Key("received_at", TIME, "By us.", "received"),
        Key("words", TEXT, "Where it comes from."),
        Key("raw", TEXT, "Text from outside: never to be taken for markup."),
    ),
)
STEP: Final = Shape(
    "Step",
    "One change in an episode.",
    (
        Key("id", TEXT, "Its id."),
        Key("at", TIME, "When it was found."),
        Key("step", TEXT, "`opened`, `worsened`, `back` ...", "name"),
        Key("level", LEVEL, "After the step.", "mark"),
        Key("text", TEXT, "In one line."),
        Key("rule", TEXT, "The rule that made it."),
        Key("reports", many(shaped(EVIDENCE)), "The reports that caused it."),
    ),
)
ATTEMPT: Final = Shape(
    "Attempt",
    "One try at a delivery.",
    (
        Key("number", WHOLE, "Counted from 1."),
        Key("at", TIME, "When it began."),
        Key("outcome", TEXT, "`accepted`, `failed`, `put off`, `uncertain`, `under way`."),
        Key("answer", TEXT, "What the other side said."),
    ),
)
DELIVERY: Final = Shape(
    "Delivery",
    "One notice by one channel.",
    (
        Key("channel", TEXT, "`email`, `webhook`, `push`, `folder`."),
        Key("state", TEXT, "As the store has it."),
        Key("words", TEXT, "The same for people."),
        Key("failed", FLAG, "It ended without arriving."),
        Key("under_way", FLAG, "It has not ended."),
        Key("tries", WHOLE, "How many attempts were made."),
        Key("answer", TEXT, "What the other side said last."),
        Key("attempts", many(shaped(ATTEMPT)), "Only with the notice itself."),
    ),
)
NOTICE: Final = Shape(
    "Notice",
    "One notice to one contact.",
    (
        Key("id", TEXT, "As `windwatch explain` takes it."),
        Key("at", TIME, "When it was made."),
        Key("contact", TEXT, "To whom."),
        Key("airfield", TEXT, "About which airfield; empty: about windwatch itself, or a test."),
        Key("kind", TEXT, "`alert`, `update`, `cancel`, `state now`, `test`."),
        Key("subject", TEXT, "Its first line."),
        Key("level", optional(LEVEL), "Of its leading step.", "mark"),
        Key("urgent", FLAG, "It goes by the urgent schedule."),
        Key("failed", FLAG, "It reached nobody, and is tried no more."),
        Key("deliveries", many(shaped(DELIVERY)), "By each channel."),
    ),
)
STATION: Final = Shape(
    "Station",
    "One station beside the others.",
    (
        Key("station", TEXT, "Its identifier.", "id"),
        Key("role", TEXT, "`main station`, `fall-back 1`."),
        Key("in_use", FLAG, "Levels are judged by it now."),
        Key("known", FLAG, "Its wind is fresh."),
        Key("observed_at", optional(TIME), "Its newest report with a wind.", "observed"),
        Key("age_min", optional(WHOLE), "Age of that. [min]"),
        Key("next_report_due_at", optional(TIME), "For the main station.", "due"),
        Key("overdue", FLAG, "It has not come."),
        Key("wind", WIND, "Null: none.", lambda v: None if v.wind is None else v.wind.wind),
        Key("trend", TEXT, "The last three hours in words."),
        Key("where", TEXT, "Distance, bearing and height against the field."),
        Key("raw", TEXT, "Its newest report."),
    ),
)
THUNDER: Final = Shape(
    "Thunder",
    "Thunder, squall and funnel cloud at the field.",
    (*level_keys(), Key("reasons", many(TEXT), "What the report says.")),
)
TO_DO: Final = Shape(
    "WhatToDo",
    "What to do now, in the words of a notice.",
    (
        *level_keys(),
        Key("headline", TEXT, "The leading fact."),
        Key("sentences", many(TEXT), "In the order of doing."),
        Key("runways", many(TEXT), "Which runway remains for whom, the worst first."),
        Key("outs", many(TEXT), "Who lost a runway while another remains, and every end out."),
    ),
)
POINT: Final = Shape(
    "WindPoint",
    "One observation of the wind strip.",
    (Key("at", TIME, "Observed."), Key("wind", WIND, "Null: the report gave none.")),
)
STRIP_LIMIT: Final = Shape(
    "StripLimit",
    "A limit on the wind's speed.",
    (Key("limit_kt", NUMBER, "[kt]", "value"), Key("label", TEXT, "Whose, and of what.")),
)
STRIP_EVENT: Final = Shape(
    "StripEvent",
    "A crossing of a limit, or a notice (level null).",
    (
        Key("at", TIME, "When."),
        Key("text", TEXT, "What."),
        Key("level", optional(LEVEL), "After the crossing.", "mark"),
    ),
)
STRIP: Final = Shape(
    "WindStrip",
    "The wind of the last 24 hours.",
    (
        Key("station", TEXT, "Whose wind.", "name"),
        Key("points", many(shaped(POINT)), "Oldest first."),
        Key("limits", many(shaped(STRIP_LIMIT)), "Lowest first."),
        Key("events", many(shaped(STRIP_EVENT)), "Crossings, then notices.", "flags"),
    ),
)
