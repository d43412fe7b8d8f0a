"""Published figures for ropes and anchors."""

from __future__ import annotations

from enum import Enum
from math import cos, radians
from typing import Final

# FAA AC 20-35C, Tiedown Sense (12 July 1983): holding power of one anchor; ropes likewise.
ANCHOR_LBF_SINGLE_ENGINE: Final = 3000
# Reported by the EAA, not read in the circular itself.
ANCHOR_LBF_MULTI_ENGINE: Final = 4000
ROPE_LBF: Final = 3000
# AC 20-35C: about one inch of movement, neither loose nor tight.
SLACK_INCHES: Final = 1
# Reported secondarily.
ROPE_ANGLE_DEG: Final = 45.0


class Rope(Enum):
    """What a rope is made of."""

    MANILA = "manila"
    NYLON = "nylon"
    POLYPROPYLENE = "polypropylene"


# AC 20-35C and EASA PPL bank, operational procedures q55: it shrinks when wet.
NEEDS_SLACK_FOR_SHRINKING: Final = frozenset({Rope.MANILA})

# A rope maker's table: smallest tensile strength when new, pounds, by diameter in inches. Its
# working loads are only a tenth to a twelfth of these.
TENSILE_LBF: Final = {
    Rope.MANILA: {
        "1/4": 540, "5/16": 900, "3/8": 1220, "7/16": 1580, "1/2": 2380, "9/16": 3100, "5/8": 3960,
    },
    Rope.NYLON: {
        "1/4": 1490, "5/16": 2300, "3/8": 3340, "7/16": 4500, "1/2": 5750, "9/16": 7200,
        "5/8": 9350,
    },
    Rope.POLYPROPYLENE: {
        "1/4": 1130, "5/16": 1710, "3/8": 2440, "7/16": 3160, "1/2": 3780, "9/16": 4600,
        "5/8": 5600,
    },
}  # fmt: skip


def is_strong_enough(rope: Rope, diameter_in: str, required_lbf: float = ROPE_LBF) -> bool:
    """Whether a new rope of this diameter holds what the circular asks for.

    Raises
    ------
    ValueError
        If the table has no such diameter.
    """
    try:
        return TENSILE_LBF[rope][diameter_in] >= required_lbf
    except KeyError:
        known = ", ".join(TENSILE_LBF[rope])
        raise ValueError(f"no {diameter_in} in {rope.value} rope; there are {known} in") from None


def rope_tension(uplift_lbf: float, angle_deg: float = ROPE_ANGLE_DEG) -> float:
    """Tension of one rope that holds an uplift, at an angle from the vertical, in pounds.

    At 45° it is 41 % more than the uplift.
    """
    return uplift_lbf / cos(radians(angle_deg))
