"""What the field drawing needs to know: plain frozen values, and how findings become them."""

from __future__ import annotations

from typing import NamedTuple

from windwatch.airmanship.conversions import beside_limits
from windwatch.assessment.values import (
    MARK_OF_LEVEL,
    EndFinding,
    Finding,
    Level,
    Mark,
    RunwayFinding,
)
from windwatch.drawings.wind_words import degrees
from windwatch.fleet import CROSSWIND, GUST_SPREAD, TAILWIND, WIND, Of
from windwatch.wind import DegreesTrue, Wind

_QUANTITY = {
    CROSSWIND: "crosswind",
    TAILWIND: "tailwind",
    WIND: "total wind",
    GUST_SPREAD: "gust spread",
}


class FieldEnd(NamedTuple):
    """One end of a runway, as somebody landing on it sees it.

    Attributes
    ----------
    name : str
        As painted.
    heading_true : DegreesTrue
        Flown on landing. [°T]
    mark : Mark or None
        None: not judged, and nothing is shown beside it.
    figure : str
        The figure that decides, with its unit: ``17 > 7 kt``, ``5 of 7 kt``.
    reason : str
        What it is: ``crosswind``.
    approximate : bool
        The heading is known from the painted number alone.
    """

    name: str
    heading_true: DegreesTrue
    mark: Mark | None = None
    figure: str = ""
    reason: str = ""
    approximate: bool = False


class FieldRunway(NamedTuple):
    """A runway from above.

    Attributes
    ----------
    ends : tuple of FieldEnd
        Two; one where it is one-way.
    length_ft : float or None
        None: not known, drawn as long as the longest. [ft]
    closed : bool
        Drawn with a cross, whatever its ends say.
    """

    ends: tuple[FieldEnd, ...]
    length_ft: float | None = None
    closed: bool = False

    @property
    def name(self) -> str:
        """``10/28``."""
        return "/".join(end.name for end in self.ends)


class FieldLeg(NamedTuple):
    """A stretch of taxiing."""

    name: str
    heading_true: DegreesTrue


class Field(NamedTuple):
    """An airfield and its wind, judged for somebody.

    Attributes
    ----------
    name : str
        Identifier, or identifier and name.
    wind : Wind or None
        None: not reported.
    for_whom : str
        Aircraft and pilot standard, or empty.
    as_of : str
        When the wind was observed, in words, or empty.
    """

    name: str
    wind: Wind | None
    runways: tuple[FieldRunway, ...]
    legs: tuple[FieldLeg, ...] = ()
    for_whom: str = ""
    as_of: str = ""


def end_of(found: EndFinding, unit: str = "kt", *, known: bool = True) -> FieldEnd:
    """A judged end as it is drawn; `known` False: the wind is stale, the level unknown."""
    mark = MARK_OF_LEVEL[found.level] if known else Mark.UNKNOWN
    deciding = found.deciding if known else None
    return FieldEnd(
        found.end,
        found.heading_true,
        mark,
        "" if deciding is None else against(deciding, unit),
        "" if deciding is None else quantity_of(deciding),
        found.approximate,
    )


def runway_of(
    found: RunwayFinding, length_ft: float | None = None, unit: str = "kt", *, known: bool = True
) -> FieldRunway:
    """A judged runway as it is drawn."""
    return FieldRunway(tuple(end_of(end, unit, known=known) for end in found.ends), length_ft)


def against(found: Finding, unit: str = "kt") -> str:
    """Figure against limit, so that the sign cannot contradict the level: ``17 > 7 kt``."""
    sign = ">" if found.level is Level.OVER else "of"
    least = "at least " if found.at_least else ""
    figure, limit = beside_limits(found.figure, (found.limit.value,), unit)
    return f"{least}{figure} {sign} {limit} {unit}"


def quantity_of(found: Finding) -> str:
    """The quantity in words, with *mean* where the limit is on the mean."""
    name = _QUANTITY.get(found.quantity, found.quantity.replace("_", " "))
    return f"mean {name}" if found.limit.of is Of.MEAN else name


# --- in words --------------------------------------------------------------------


def end_in_words(end: FieldEnd) -> str:
    """``28 over: crosswind 17 > 7 kt``."""
    if end.mark is None:
        said = f"{end.name} not judged"
    else:
        why = " ".join(part for part in (end.reason, end.figure) if part)
        said = f"{end.name} {end.mark.value}" + (f": {why}" if why else "")
    heading = f"heading {degrees(end.heading_true)}° true"
    return f"{said} ({'approximate ' if end.approximate else ''}{heading})"


def runway_in_words(runway: FieldRunway) -> str:
    """Both ends in words, or that it is closed."""
    length = "" if runway.length_ft is None else f", {runway.length_ft:.0f} ft"
    if runway.closed:
        return f"Runway {runway.name}{length}: closed"
    return f"Runway {runway.name}{length}: {'; '.join(end_in_words(e) for e in runway.ends)}"


def leg_in_words(leg: FieldLeg) -> str:
    """``Taxi leg apron to hold 28, heading 180° true``."""
    return f"Taxi leg {leg.name}, heading {degrees(leg.heading_true)}° true"
