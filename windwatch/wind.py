"""The wind and its parts: the words that every room of windwatch uses.

Directions are where the wind comes *from*. Degrees true and degrees magnetic are
different types on purpose: the one conversion lives in `windwatch.airmanship`.
Calm, variable and not reported are three facts and never one ``None``.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Final, NamedTuple, NewType

Knots = NewType("Knots", float)
DegreesTrue = NewType("DegreesTrue", float)
DegreesMagnetic = NewType("DegreesMagnetic", float)

# Exact: the knot is one international nautical mile, 1852 m, an hour (BIPM, The International
# System of Units, 8th edition, table 8), and the mile is 1609.344 m (NIST SP 811, appendix B.8).
KNOTS_PER_KMH: Final = 1 / 1.852
KNOTS_PER_MPS: Final = 3600 / 1852
KNOTS_PER_MPH: Final = 1609.344 / 1852
# The unit of limits and of reports, and of whoever asked for no other.
KNOTS: Final = "kt"
# Units of speed that people may read and instruments may give: how many of them are one knot.
PER_KNOT: Final = MappingProxyType(
    {KNOTS: 1.0, "km/h": 1.852, "m/s": 1852 / 3600, "mph": 1852 / 1609.344}
)


class Calm(NamedTuple):
    """No wind worth a direction: coded 00000."""


class Steady(NamedTuple):
    """A mean direction was reported.

    Attributes
    ----------
    wind_from : DegreesTrue
        Where the wind comes from, 1 to 360; north is 360. [°T]
    """

    wind_from: DegreesTrue


class Variable(NamedTuple):
    """The direction varies too much to have a mean: coded VRB. It may blow from anywhere."""


class Missing(NamedTuple):
    """A speed was reported without a direction: coded ``///``. Nobody knows from where."""


Direction = Calm | Steady | Variable | Missing

CALM: Final = Calm()
VARIABLE: Final = Variable()
MISSING: Final = Missing()


class Sector(NamedTuple):
    """The reported variable directions, clockwise from the first to the second, degrees true."""

    from_true: DegreesTrue
    to_true: DegreesTrue


class Wind(NamedTuple):
    """A wind at the surface, as reported or supposed.

    A wind that was not reported is ``None`` where a `Wind` could stand; it is never calm.

    Attributes
    ----------
    direction : Direction
        Calm, steady, variable or missing.
    speed : Knots
        Mean speed, unrounded where the report used another unit. [kt]
    gust : Knots or None
        Peak speed; None where no gust was reported, which does not mean no gusts. [kt]
    sector : Sector or None
        Reported variable directions.
    speed_at_least, gust_at_least : bool
        The figure is a lower bound (``P99KT``, ``ABV``).
    """

    direction: Direction
    speed: Knots
    gust: Knots | None = None
    sector: Sector | None = None
    speed_at_least: bool = False
    gust_at_least: bool = False

    @property
    def strongest(self) -> Knots:
        """The gust where one is reported, else the mean speed, in knots."""
        return self.speed if self.gust is None or self.gust < self.speed else self.gust

    @property
    def spread(self) -> Knots:
        """Gust minus mean, 0 where no gust was reported, in knots."""
        return Knots(0.0 if self.gust is None else max(0.0, self.gust - self.speed))


class PeakWind(NamedTuple):
    """The strongest wind since the last routine report (``PK WND``).

    Attributes
    ----------
    wind_from : DegreesTrue
        [°T]
    speed : Knots
        [kt]
    at : datetime
        When it blew, UTC.
    """

    wind_from: DegreesTrue
    speed: Knots
    at: datetime
    at_least: bool = False


# --- headings --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class HeadingTrue:
    """A heading in degrees true: surveyed, unless it is said to be approximate."""

    heading_true: DegreesTrue
    approximate: bool = False


@dataclass(frozen=True, slots=True)
class HeadingMagnetic:
    """A magnetic heading; it becomes true with the variation of the place and date."""

    heading_magnetic: DegreesMagnetic
    approximate: bool = False


@dataclass(frozen=True, slots=True)
class HeadingFromDesignator:
    """A heading known only from the painted number: number × 10, magnetic, approximate."""

    heading_magnetic: DegreesMagnetic


Heading = HeadingTrue | HeadingMagnetic | HeadingFromDesignator
