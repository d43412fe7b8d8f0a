"""What the wind acts on: the words for gear and wing."""

from __future__ import annotations

from enum import Enum


class Gear(Enum):
    """Where the third wheel is."""

    NOSEWHEEL = "nosewheel"
    TAILWHEEL = "tailwheel"


class WingPosition(Enum):
    """Where the wing is."""

    HIGH = "high"
    LOW = "low"
