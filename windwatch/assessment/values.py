"""What limits and wind come to: findings."""

from __future__ import annotations

from datetime import datetime
from enum import IntEnum, StrEnum
from typing import Final, NamedTuple

from windwatch.fleet import Limit
from windwatch.wind import DegreesTrue, Knots, Wind


class Level(IntEnum):
    """How a figure stands to its limit; a greater level is worse.

    `unknown` is not among them: it is said of our knowledge, beside the last known level.
    """

    WITHIN = 0
    NEAR = 1
    OVER = 2

    @property
    def word(self) -> str:
        """The word people read."""
        return self.name.lower()


class Mark(StrEnum):
    """A level as people read it; `unknown` is one of them here."""

    WITHIN = "within"
    NEAR = "near"
    OVER = "over"
    UNKNOWN = "unknown"


MARK_OF_LEVEL: Final = {Level.WITHIN: Mark.WITHIN, Level.NEAR: Mark.NEAR, Level.OVER: Mark.OVER}


class Cause(IntEnum):
    """What, beside the nominal wind, made a figure what it is."""

    NOMINAL = 0
    SECTOR = 1
    VARIABLE = 2
    NO_DIRECTION = 3
    PEAK = 4


class Finding(NamedTuple):
    """One quantity of one subject against one limit.

    Attributes
    ----------
    quantity : str
        As in `windwatch.fleet`.
    figure : Knots
        The worst that the report allows, half up to 0.1. [kt]
    limit : Limit
        The effective limit and whose it is.
    level : Level
    nominal : Knots or None
        The same figure for the reported mean direction; None where there is none. [kt]
    cause : Cause
    at_least : bool
        The figure is a lower bound.
    low : bool
        At or below the limit less its deadband: may count towards *back within limits*.
    near_low : bool
        At or below the near threshold less its deadband: ends *near*.
    """

    quantity: str
    figure: Knots
    limit: Limit
    level: Level
    nominal: Knots | None
    cause: Cause
    at_least: bool
    low: bool
    near_low: bool

    @property
    def share(self) -> float:
        """Figure over limit."""
        return self.figure / self.limit.value


class EndFinding(NamedTuple):
    """One runway end for one aircraft and pilot standard.

    Attributes
    ----------
    headwind, crosswind : Knots or None
        Nominal, of the gust where there is one; crosswind positive from the right; None
        without a direction. [kt]
    deciding : Finding or None
        The one nearest to or furthest over its limit; None where no limit applies.
    """

    end: str
    heading_true: DegreesTrue
    approximate: bool
    headwind: Knots | None
    crosswind: Knots | None
    level: Level
    findings: tuple[Finding, ...]
    deciding: Finding | None


class RunwayFinding(NamedTuple):
    """A runway is as good as its better end."""

    runway: str
    best: EndFinding
    ends: tuple[EndFinding, ...]
    notes: tuple[str, ...] = ()


class RunwaysFinding(NamedTuple):
    """All runways that an aircraft and pilot standard may use, best first."""

    aircraft: str
    pilot_limits: str
    runways: tuple[RunwayFinding, ...]

    @property
    def level(self) -> Level:
        """The level at the airfield: the best runway's; over where none is open."""
        return min((r.best.level for r in self.runways), default=Level.OVER)


class GroundFinding(NamedTuple):
    """An aircraft on the ground against one ground quantity, for one wind or peak."""

    aircraft: str
    finding: Finding


class ThunderFinding(NamedTuple):
    """Thunder, squall or funnel cloud at the field is over; in the vicinity, or Cb, near."""

    level: Level
    reasons: tuple[str, ...]


class Assessment(NamedTuple):
    """What one report means for every subject at one airfield.

    Attributes
    ----------
    wind : Wind or None
        None: not reported; then `runways` and `ground` are empty and the level is unknown.
    direction_known : bool
        False where a speed came without a direction: opens as variable, clears nothing.
    peak_ground : tuple of GroundFinding
        The reported peak against the ground limits, at its own time.
    """

    airfield: str
    station: str
    observed_at: datetime
    wind: Wind | None
    direction_known: bool
    runways: tuple[RunwaysFinding, ...]
    ground: tuple[GroundFinding, ...]
    peak_at: datetime | None
    peak_ground: tuple[GroundFinding, ...]
    thunder: ThunderFinding | None
    weather_notes: tuple[str, ...] = ()
