"""Airfields, aircraft, pilot limits and contacts: plain frozen values.

They do not know where they came from; `windwatch.settings` makes them from a file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import time, timedelta
from enum import Enum
from types import MappingProxyType
from typing import Final

from windwatch.airframe import Gear, WingPosition
from windwatch.hours import Absence, DutyHours, QuietHours
from windwatch.rules import USUAL, Rules
from windwatch.wind import KNOTS, DegreesTrue, Heading, Knots


class Of(Enum):
    """Which figure a limit applies to."""

    GUST = "gust"
    MEAN = "mean"


# Quantities of a runway (an aircraft, a pilot standard and a runway end) ...
CROSSWIND: Final = "crosswind"
TAILWIND: Final = "tailwind"
WIND: Final = "wind"
GUST_SPREAD: Final = "gust_spread"
RUNWAY_QUANTITIES: Final = (CROSSWIND, TAILWIND, WIND, GUST_SPREAD)
# ... and of an aircraft on the ground. A school may name further ground quantities.
TAXI: Final = "taxi"
TIE_DOWN: Final = "tie_down"
SHELTER: Final = "shelter"
GROUND_QUANTITIES: Final = (TAXI, TIE_DOWN, SHELTER)
PARKED_QUANTITIES: Final = (TIE_DOWN, SHELTER)


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit on one quantity, and whose it is.

    Attributes
    ----------
    quantity : str
        One of `RUNWAY_QUANTITIES`, `GROUND_QUANTITIES`, or a name of the school's own.
    value : Knots
        `over` is greater than this. [kt]
    whose : str
        In words: ``X-LARK``, ``student solo``, ``runway 10/28``.
    of : Of
        Whether the gust figure (default) or the mean figure is meant.
    near_at : float
        Share of the limit beyond which the level is `near`.
    confirm_reports : int
        How many consecutive reports must be over before it opens.
    """

    quantity: str
    value: Knots
    whose: str
    of: Of = Of.GUST
    near_at: float = USUAL.near_at
    confirm_reports: int = 1


@dataclass(frozen=True, slots=True)
class RunwayNote:
    """Local knowledge that applies to a sector and a speed."""

    text: str
    sector_true: tuple[DegreesTrue, DegreesTrue] | None = None
    over: Knots = Knots(0.0)


@dataclass(frozen=True, slots=True)
class RunwayEnd:
    """One end of a runway, named as painted, with the heading of somebody landing on it."""

    name: str
    heading: Heading


@dataclass(frozen=True, slots=True)
class Runway:
    """A runway and its ends (one end only where it is one-way).

    Attributes
    ----------
    name : str
        ``10/28``; the name of the one end where it is one-way.
    ends : tuple of RunwayEnd
        The ends that may be used.
    uses : tuple of str
        Names of the aircraft and pilot standards that may use it; empty: all.
    limits : tuple of Limit
        The runway's own limits.
    """

    name: str
    ends: tuple[RunwayEnd, ...]
    uses: tuple[str, ...] = ()
    limits: tuple[Limit, ...] = ()
    notes: tuple[RunwayNote, ...] = ()


@dataclass(frozen=True, slots=True)
class TaxiLeg:
    """A stretch of taxiing with one heading."""

    name: str
    heading: Heading


@dataclass(frozen=True, slots=True)
class Station:
    """Who reports.

    Attributes
    ----------
    distance_nm, bearing_true, elevation_ft
        Where it stands, seen from the airfield; None: not known.
    """

    id: str
    distance_nm: float | None = None
    bearing_true: DegreesTrue | None = None
    elevation_ft: float | None = None


@dataclass(frozen=True, slots=True)
class OperatingHours:
    """Local hours of every day, past midnight where `closes` is not after `opens`."""

    opens: time
    closes: time


@dataclass(frozen=True, slots=True)
class Airfield:
    """An airfield that is watched.

    Attributes
    ----------
    reports_every : timedelta
        Expected interval of the main station's routine reports.
    stale_after : timedelta
        Age of the newest observation at which nothing is known any more.
    no_data_after : timedelta
        Age at which that is told where no episode is open.
    operating_hours : OperatingHours or None
        Hours of flying: runway steps are told only within them; None: always.
    reports_between : OperatingHours or None
        Hours in which the main station reports; None: around the clock.
    """

    id: str
    name: str
    station: Station
    latitude: float
    longitude: float
    elevation_ft: float
    time_zone: str
    runways: tuple[Runway, ...]
    fall_back_stations: tuple[Station, ...] = ()
    forecast_station: str | None = None
    taxi_legs: tuple[TaxiLeg, ...] = ()
    operating_hours: OperatingHours | None = None
    reports_every: timedelta = timedelta(minutes=60)
    stale_after: timedelta = timedelta(minutes=75)
    no_data_after: timedelta = timedelta(minutes=90)
    variation_deg: float | None = None
    reports_between: OperatingHours | None = None


@dataclass(frozen=True, slots=True)
class Aircraft:
    """An aircraft, where it is based, and what it takes.

    Attributes
    ----------
    stall_speed : Knots or None
        Clean, calibrated, at the highest mass. [KCAS]
    demonstrated_crosswind : Knots or None
        The largest crosswind shown at certification: not a limitation, never used as one.
    flown_by : tuple of str
        Names of the pilot standards that fly it.
    """

    name: str
    gear: Gear
    wing: WingPosition
    based_at: str
    limits: tuple[Limit, ...]
    flown_by: tuple[str, ...] = ()
    description: str = ""
    stall_speed: Knots | None = None
    demonstrated_crosswind: Knots | None = None


@dataclass(frozen=True, slots=True)
class PilotLimits:
    """A named standard of pilot and what it may fly in."""

    name: str
    limits: tuple[Limit, ...]


class RunwaySteps(Enum):
    """Which runway steps a contact hears."""

    EACH = "each"
    BEST = "best"
    LAST = "last"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class TellAbout:
    """What a contact wants to hear; an empty tuple means all.

    Attributes
    ----------
    levels : tuple of str or None
        Of ``near``, ``over``, ``unknown``. None: over and unknown for all, near for ground
        and thunder only.
    """

    airfields: tuple[str, ...] = ()
    aircraft: tuple[str, ...] = ()
    pilot_limits: tuple[str, ...] = ()
    runways: RunwaySteps = RunwaySteps.BEST
    ground: bool = True
    thunder: bool = True
    levels: tuple[str, ...] | None = None
    easing: bool = False


@dataclass(frozen=True, slots=True)
class Contact:
    """Somebody to tell.

    Attributes
    ----------
    channels : tuple of str
        Channel kinds in order of preference: ``email``, ``webhook``, ``push``, ``folder``.
        The addresses are known to `windwatch.settings` and `windwatch.delivery` only.
    operator : bool
        Hears about windwatch itself.
    fall_back : bool
        The channels are tried in turn, not all at once.
    then_tell : str
        The contact who is told where this one takes no note; '' where none is.
    time_zone : str
        Of the hours below; '' means that of the airfield.
    quiet_hours : QuietHours or None
        Hours in which what can wait does.
    full_silence : bool
        In the quiet hours everything waits.
    duty : tuple of DutyHours
        Outside them everything waits; empty: always on duty.
    absent : tuple of Absence
        Days on which everything waits.
    units : str
        In which speeds are told: ``kt``, ``m/s``, ``km/h``, ``mph``. Limits are judged in knots.
    """

    name: str
    channels: tuple[str, ...]
    tell_about: TellAbout = field(default_factory=TellAbout)
    operator: bool = False
    fall_back: bool = False
    then_tell: str = ""
    time_zone: str = ""
    quiet_hours: QuietHours | None = None
    full_silence: bool = False
    duty: tuple[DutyHours, ...] = ()
    absent: tuple[Absence, ...] = ()
    units: str = KNOTS


@dataclass(frozen=True, slots=True)
class Fleet:
    """Everything that is watched, by which figures of judgement, and everybody who is told."""

    airfields: tuple[Airfield, ...]
    aircraft: tuple[Aircraft, ...]
    pilot_limits: Mapping[str, PilotLimits] = field(default_factory=lambda: MappingProxyType({}))
    contacts: tuple[Contact, ...] = ()
    rules: Rules = USUAL

    def airfield(self, airfield_id: str) -> Airfield:
        """Return the airfield of that identifier.

        Raises
        ------
        KeyError
            If it is not configured.
        """
        for airfield in self.airfields:
            if airfield.id == airfield_id:
                return airfield
        raise KeyError(airfield_id)

    def based_at(self, airfield_id: str) -> tuple[Aircraft, ...]:
        """Return the aircraft based at an airfield, in configured order."""
        return tuple(craft for craft in self.aircraft if craft.based_at == airfield_id)

    def unit_of(self, contact: str) -> str:
        """Return the unit in which a contact is told speeds; knots for one not configured."""
        return next((each.units for each in self.contacts if each.name == contact), KNOTS)

    def stations(self) -> tuple[str, ...]:
        """Return every station to ask for, each once, main stations first."""
        main = [airfield.station.id for airfield in self.airfields]
        others = [s.id for airfield in self.airfields for s in airfield.fall_back_stations]
        return tuple(dict.fromkeys(main + others))
