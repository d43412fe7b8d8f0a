"""Words of a teaching sheet that are not those of the control rules."""

from __future__ import annotations

from datetime import datetime, tzinfo
from typing import Final

from windwatch.airmanship import control_words
from windwatch.airmanship.cautions import CAUTION, PROP_WASH
from windwatch.airmanship.control_reasons import SOURCES_ARE_FOR
from windwatch.airmanship.control_table import ControlPositions
from windwatch.drawings.control_card import Craft
from windwatch.drawings.hold import Column
from windwatch.drawings.wind_words import degrees
from windwatch.notices.words import Times
from windwatch.teaching.values import Question

__all__ = ["CAUTION", "PROP_WASH", "SOURCES_ARE_FOR"]

TRUE: Final = "true"
TITLE: Final = "Controls while taxiing: questions"
ANSWERS: Final = "Answers and reasons"
FOR_THE_WALL: Final = "For the wall"
NAME: Final = "Name"
DATE: Final = "Date"
TASK: Final = (
    "The aeroplane stands still, nose up; the arrow is the wind. Write where each aileron and the "
    "elevator go (up, neutral, down), how you hold the controls, and why. Where more than one "
    "answer may be right, give each with its reason."
)
READ_SO: Final = (
    "Filled and above: UP. Hatched and below: DOWN. Yoke, control column or stick as seen from "
    "the seat, forward is up. The answers are for the aeroplane standing still; its own motion "
    "adds a wind from ahead."
)
EVERY_LEG: Final = "every taxi leg"
ANY_HEADING: Final = "any heading"
TAXIING: Final = "taxiing"
WHY: Final = "Why"
OR: Final = "Or"
BECAUSE: Final = "because"
BOOKS_DIFFER: Final = "Where published opinions differ"
MIND: Final = "To bear in mind"
SOURCES: Final = "Sources"
SHUFFLED: Final = "Shuffle: {seed}."
HOLD: Final = {Column.YOKE: "yoke or control column", Column.STICK: "stick"}

SUPPOSED: Final = "Supposed, not observed."
STRENGTH: Final = "Supposed strength {speed} kt: a moderate wind, in which every position matters."
OBSERVED: Final = "Observed by {station}, {at}. Another hour has another wind."
FALL_BACK: Final = "From the fall-back station {station}: {own} gives no fresh wind."
PAST_LIMIT: Final = "{whose} taxi limit: {figures}."
THUNDER: Final = "Thunder: {level} ({reasons})."
CLASSROOM: Final = "Do not taxi in this: for the classroom."
_OPINIONS: Final = frozenset(
    {
        control_words.SLIPSTREAM,
        control_words.EASE_FORWARD,
        control_words.ABEAM,
        control_words.ASTERN,
        control_words.HELD_BACK,
    }
)
_WHY_OTHERS: Final = tuple(
    note.partition("{")[0] for note in (control_words.NEAR_AN_EDGE, control_words.SECTOR_REACHES)
)
_ON_THE_CARD: Final = control_words.MOST_CRITICAL.partition("{")[0]


def from_the_nose(angle_deg: float) -> str:
    """Where a wind comes from, by the aeroplane alone."""
    return f"wind {angle_deg:.0f}° clockwise from the nose"


def craft_words(craft: Craft) -> str:
    """``nosewheel aeroplane, high wing``."""
    gear, _, wing = craft.words.partition(", ")
    return f"{gear} aeroplane, {wing}"


def label(question: Question) -> str:
    """What stands beside the names of the aircraft: gear, and the heading by the compass."""
    if question.heading_magnetic is None:
        return question.craft.gear.value
    about = "approximate heading, " if question.approximate else ""
    return f"{question.craft.gear.value}; {about}{degrees(question.heading_magnetic)}° magnetic"


def observed(station: str, moment: datetime, zone: tzinfo) -> str:
    """Whose wind, and when: with its date and year, since paper lies about."""
    local = moment.astimezone(zone)
    at = f"{local:%Y-%m-%d}, {Times(zone, moment).at(moment)}"
    return OBSERVED.format(station=station, at=at)


def own_notes(positions: ControlPositions) -> tuple[str, ...]:
    """Notes that belong to one answer; what its card and its alternatives say is there already."""
    return tuple(
        note
        for note in positions.notes
        if note not in _OPINIONS and not note.startswith((_ON_THE_CARD, *_WHY_OTHERS))
    )


def why_others(positions: ControlPositions) -> str:
    """Why there are alternatives, as the words before them; '' where there are none."""
    said = [
        before.removesuffix(": ")
        for before in _WHY_OTHERS
        if any(note.startswith(before) for note in positions.notes)
    ]
    return f"{', and '.join((said[0], *map(first_lower, said[1:])))}:" if said else ""


def opinions(positions: ControlPositions) -> tuple[str, ...]:
    """Notes on what publications hold differently: told once a sheet."""
    return tuple(note for note in positions.notes if note in _OPINIONS)


def numbered(numbers: list[int]) -> str:
    """``Question 3`` or ``Questions 1, 2, 5``."""
    listed = ", ".join(map(str, numbers))
    return f"Question {listed}" if len(numbers) == 1 else f"Questions {listed}"


def first_upper(text: str) -> str:
    """The first letter large, the rest untouched."""
    return text[:1].upper() + text[1:]


def first_lower(text: str) -> str:
    """The first letter small, the rest untouched."""
    return text[:1].lower() + text[1:]
