"""What the table holds (as it was written) and what a look-up gives (checked).

`Row` and its parts repeat the table. `KnownAirfield` and its parts are the answer: headings
chosen and their basis named, doubts in words, the magnetic variation of the day.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import Enum
from types import MappingProxyType
from typing import Final

from windwatch.airmanship.variation import Variation
from windwatch.wind import DegreesTrue

# --- as the table has it ---------------------------------------------------------

IDENTIFIER_KINDS: Final = ("ident", "icao", "gps", "iata", "local")
# How the table abbreviates them, and the words of the open data.
KINDS: Final[Mapping[str, str]] = MappingProxyType(
    {"L": "large airport", "M": "medium airport", "S": "small airport", "W": "seaplane base"}
)


@dataclass(frozen=True, slots=True)
class RowEnd:
    """One end of a runway, as the open data have it; None where they do not say.

    Attributes
    ----------
    name : str
        As written, in capitals; '' where it is not named.
    latitude, longitude : float or None
        Of the threshold. [°]
    heading_true : float or None
        Stated heading of somebody landing on it. [°T]
    displaced_ft : int or None
        How far the threshold is displaced. [ft]
    """

    name: str
    latitude: float | None = None
    longitude: float | None = None
    elevation_ft: int | None = None
    heading_true: float | None = None
    displaced_ft: int | None = None


@dataclass(frozen=True, slots=True)
class RowRunway:
    """A runway, as the open data have it."""

    ends: tuple[RowEnd, RowEnd]
    length_ft: int | None = None
    width_ft: int | None = None
    surface: str = ""
    lighted: bool = False
    closed: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """An airfield, as the open data have it.

    Attributes
    ----------
    ident : str
        The data set's own key, unique in it.
    icao, gps, iata, local : str
        Other identifiers; '' where it has none.
    kind : str
        A key of `KINDS`.
    country, region : str
        ISO 3166-1 and 3166-2: ``GB``, ``GB-ENG``.
    """

    ident: str
    icao: str
    gps: str
    iata: str
    local: str
    kind: str
    country: str
    region: str
    latitude: float
    longitude: float
    elevation_ft: int | None
    name: str
    town: str
    runways: tuple[RowRunway, ...] = ()

    @property
    def identifiers(self) -> tuple[str, ...]:
        """Every identifier, in the order of `IDENTIFIER_KINDS`; '' where it has none."""
        return (self.ident, self.icao, self.gps, self.iata, self.local)


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a table comes from.

    Attributes
    ----------
    copied : date
        Date of the copy of the open data that it was made from.
    """

    source: str
    licence: str
    copied: date
    made: str
    airfields: int
    runways: int

    @property
    def words(self) -> str:
        """One sentence for people."""
        return (
            f"Source: {self.source}, {self.licence}, copy of {self.copied}; kept by volunteers "
            "and possibly behind the world: compare with a current chart."
        )


# --- as a look-up gives it -------------------------------------------------------


class Basis(Enum):
    """What a heading rests on, in the words that are shown."""

    THRESHOLDS = "from both thresholds"
    STATED = "as stated"
    NUMBER = "approximate: number and variation"
    NUMBER_TRUE = "approximate: number, which is in degrees true"
    COMPASS_POINT = "approximate: compass point of its name"
    NONE = "no heading known"

    @property
    def approximate(self) -> bool:
        """Whether only the name tells it."""
        return self in {Basis.NUMBER, Basis.NUMBER_TRUE, Basis.COMPASS_POINT}


@dataclass(frozen=True, slots=True)
class KnownEnd:
    """One end of a runway and its heading.

    Attributes
    ----------
    heading_true : DegreesTrue or None
        Of somebody landing on it, above 0 to 360; None where nothing tells it. [°T]
    basis : Basis
        What that heading rests on.
    """

    name: str
    heading_true: DegreesTrue | None
    basis: Basis
    latitude: float | None = None
    longitude: float | None = None
    elevation_ft: int | None = None
    displaced_ft: int | None = None


@dataclass(frozen=True, slots=True)
class KnownRunway:
    """A runway with its figures held against each other.

    Attributes
    ----------
    surface : str
        One plain word; `surface_as_written` is the original.
    doubts : tuple of str
        Which two figures disagree, a sentence each; empty: none do.
    supported : bool
        Doubtful or not, a second figure speaks for the heading that is shown.
    remarks : tuple of str
        What else must be known of it.
    """

    ends: tuple[KnownEnd, KnownEnd]
    length_ft: int | None
    width_ft: int | None
    surface: str
    surface_as_written: str
    lighted: bool
    closed: bool
    doubts: tuple[str, ...] = ()
    supported: bool = True
    remarks: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """``10/28``."""
        return "/".join(end.name or "not named" for end in self.ends)

    @property
    def doubtful(self) -> bool:
        """Whether two of its figures disagree."""
        return bool(self.doubts)


@dataclass(frozen=True, slots=True)
class Zone:
    """The time zone of a place, and how surely it is known.

    Attributes
    ----------
    name : str
        In the time zone database; '' where nothing tells it.
    sure : bool
        The whole country or region keeps it.
    """

    name: str
    sure: bool


@dataclass(frozen=True, slots=True)
class Nearby:
    """An airfield seen from a place.

    Attributes
    ----------
    distance_nm : float
        Great circle. [NM]
    bearing_true : DegreesTrue
        From the place to it. [°T]
    """

    row: Row
    distance_nm: float
    bearing_true: DegreesTrue


@dataclass(frozen=True, slots=True)
class KnownAirfield:
    """An airfield found by an identifier.

    Attributes
    ----------
    asked_for : str
        The identifier as typed, in capitals.
    asked_kind : str
        Which of `IDENTIFIER_KINDS` it is here.
    variation : Variation
        At its position, on the date of the look-up.
    station : str
        The identifier under which it would report; '' where it has none of that form.
    station_nearby : Nearby or None
        Where it has none: the nearest airfield that has.
    namesakes : tuple of Row
        Other airfields that the same identifier stands for.
    """

    row: Row
    asked_for: str
    asked_kind: str
    runways: tuple[KnownRunway, ...]
    variation: Variation
    time_zone: Zone
    station: str
    station_nearby: Nearby | None
    namesakes: tuple[Row, ...]
    provenance: Provenance

    @property
    def elevation_ft(self) -> int | None:
        """Its elevation, or the first that a threshold states; None where neither is there."""
        if self.row.elevation_ft is not None:
            return self.row.elevation_ft
        ends = (end for runway in self.row.runways for end in runway.ends)
        return next((end.elevation_ft for end in ends if end.elevation_ft is not None), None)
