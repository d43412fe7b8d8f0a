"""Why the controls are held as they are: a sentence for each part, with where it comes from.

A class is told what is published and what is not: positions that a handbook or a question bank
gives name it; the explanations are those that training texts share, told from memory.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship.control_table import ControlPositions, Deflection, Quarter, quarter_of

_AILERONS: Final = "Ailerons"
_ELEVATOR_PART: Final = "Elevator"
COMMON: Final = "common practice, no source"
HANDBOOK: Final = "FAA, Airplane Flying Handbook, FAA-H-8083-3C, ch. 2 (text at Fig. 2-15)"
TAILWHEEL_CHAPTER: Final = (
    "FAA, Airplane Flying Handbook, FAA-H-8083-3C, ch. 2 and the chapter on tailwheel airplanes"
)
AREAS_AB: Final = "FAA private pilot question bank, Fig. 9, keyed answers for areas A and B"
AREA_C: Final = "FAA private pilot question bank, Fig. 9, keyed answer for area C"
KEYED_CRITICAL: Final = (
    f"FAA private pilot question bank, keyed for a nosewheel high wing; for other types {COMMON}"
)
EASA_TAILWHEEL: Final = (
    "EASA PPL question bank, operational procedures: tailwheel in a strong tailwind, elevator down"
)
SOURCES_ARE_FOR: Final = (
    "Sources are for the positions; why they help is told from memory, as training texts tell it."
)


class Reason(NamedTuple):
    """Why one control is held as it is.

    Attributes
    ----------
    part : str
        What it is about: ``Ailerons``.
    text : str
        One sentence, or two.
    source : str
        Of the position: publication and chapter, or ``common practice, no source``.
    """

    part: str
    text: str
    source: str


AILERONS: Final = {
    Quarter.HEADWIND: Reason(
        _AILERONS,
        "Straight from ahead the wind meets both wings alike, so neither needs holding down.",
        COMMON,
    ),
    Quarter.QUARTERING_HEADWIND: Reason(
        _AILERONS,
        "A wind from ahead and one side would lift the wing on its side. That aileron up takes "
        "lift from it; the other one, down, adds lift on the far side, so the wings stay level.",
        AREAS_AB,
    ),
    Quarter.CROSSWIND: Reason(
        _AILERONS,
        "The wing on the wind's side is the one that would be lifted: its aileron is up, as in a "
        "quartering headwind.",
        COMMON,
    ),
    Quarter.QUARTERING_TAILWIND: Reason(
        _AILERONS,
        "This wind comes over the trailing edge. On the lowered aileron it strikes the top and "
        "presses its wing down; a raised one would catch it from below and lift the wing.",
        AREA_C,
    ),
    Quarter.TAILWIND: Reason(
        _AILERONS,
        "Straight from behind the wind meets both wings alike, so neither needs holding down.",
        COMMON,
    ),
}

_ELEVATOR_AHEAD: Final = {
    Gear.NOSEWHEEL: Reason(
        _ELEVATOR_PART,
        "Neutral: up would take weight off the nosewheel, which steers, and down would press "
        "hard on it.",
        HANDBOOK,
    ),
    Gear.TAILWHEEL: Reason(
        _ELEVATOR_PART,
        "Up: the wind from ahead and the slipstream press the tail down, so that the tailwheel "
        "keeps its grip and steers.",
        TAILWHEEL_CHAPTER,
    ),
}
_ELEVATOR_ABEAM: Final = {
    gear: ahead._replace(text=f"{ahead.text} Square across as in a headwind.", source=COMMON)
    for gear, ahead in _ELEVATOR_AHEAD.items()
}
_ELEVATOR_BEHIND: Final = (
    "Down: the wind from behind strikes its top and presses the tail down; raised, it would be "
    "caught from below and the tail lifted."
)
_ELEVATOR: Final = {
    Quarter.HEADWIND: _ELEVATOR_AHEAD,
    Quarter.QUARTERING_HEADWIND: _ELEVATOR_AHEAD,
    Quarter.CROSSWIND: _ELEVATOR_ABEAM,
    Quarter.QUARTERING_TAILWIND: {
        gear: Reason(_ELEVATOR_PART, _ELEVATOR_BEHIND, AREA_C) for gear in Gear
    },
    Quarter.TAILWIND: {
        Gear.NOSEWHEEL: Reason(_ELEVATOR_PART, _ELEVATOR_BEHIND, COMMON),
        Gear.TAILWHEEL: Reason(_ELEVATOR_PART, _ELEVATOR_BEHIND, EASA_TAILWHEEL),
    },
}

_CRITICAL: Final = {
    Gear.NOSEWHEEL: (
        "It can lift the wing on its side and the tail at once and tip the aeroplane over the "
        "nosewheel and the opposite main wheel. Sharp braking pitches it the same way; power "
        "lifts the tail."
    ),
    Gear.TAILWHEEL: (
        "It can lift the wing on its side and the tail at once, and pushes the tail round, so "
        "that the nose swings into the wind. Sharp braking tips the aeroplane on its nose; power "
        "lifts the tail."
    ),
}
_HIGH_WING: Final = " A high wing gives it the longer lever."
CRITICAL: Final = {
    (gear, wing): Reason(
        "Most critical",
        said + (_HIGH_WING if wing is WingPosition.HIGH else ""),
        KEYED_CRITICAL,
    )
    for gear, said in _CRITICAL.items()
    for wing in WingPosition
}
FROM_ANYWHERE: Final = Reason(
    "Direction unknown",
    "Until the windsock shows the side, hold for the worst of it: forward, as from behind, and "
    "centred, since an aileron on the wrong side would help the wind.",
    COMMON,
)
IN_CALM: Final = Reason(
    "Calm",
    "As soon as the aeroplane moves, its own motion is a wind from ahead.",
    COMMON,
)


def reasons(positions: ControlPositions, gear: Gear, wing: WingPosition) -> tuple[Reason, ...]:
    """Why the controls are held so, in the order of doing.

    Parameters
    ----------
    positions : ControlPositions
        An answer, or one of its alternatives.
    gear, wing
        Of the aeroplane that it was given for.

    Returns
    -------
    tuple of Reason
        One for each part that has its own.
    """
    angle = positions.relative_wind.angle_deg
    if angle is None:
        if positions.elevator is not Deflection.DOWN:
            return (IN_CALM, _ELEVATOR[Quarter.HEADWIND][gear])
        found = (FROM_ANYWHERE, _ELEVATOR[Quarter.QUARTERING_TAILWIND][gear])
    else:
        # A light wind has a side and a quarter like any other.
        quarter, _ = quarter_of(angle)
        found = (AILERONS[quarter], _ELEVATOR[quarter][gear])
    return (*found, CRITICAL[gear, wing]) if positions.most_critical else found
