"""Magnetic variation, and the only place where magnetic becomes true.

Variation is positive to the east: true = magnetic + variation.
"""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache
from typing import Any, Final, NamedTuple, assert_never

from windwatch.wind import (
    DegreesMagnetic,
    DegreesTrue,
    Heading,
    HeadingFromDesignator,
    HeadingMagnetic,
    HeadingTrue,
)

_KM_PER_FOOT: Final = 0.0003048

# Editions of the World Magnetic Model: first and last year of validity, and the packaged
# coefficients. Each edition serves five years; 2015 was replaced by its version 2 in 2018.
_EDITIONS: Final = (
    (2010.0, 2015.0, "WMM2010", "wmm/WMM_2010.COF"),
    (2015.0, 2020.0, "WMM2015v2", "wmm/WMM_2015v2.COF"),
    (2020.0, 2025.0, "WMM2020", "wmm/WMM_2020.COF"),
    (2025.0, 2030.0, "WMM2025", "wmm/WMM_2025.COF"),
)
FIRST_YEAR: Final = _EDITIONS[0][0]
LAST_YEAR: Final = _EDITIONS[-1][1]

# A painted number, and the letter that tells parallel runways (L, C, R) or a surface (grass,
# water, soft strip) apart.
_DESIGNATOR: Final = re.compile(r"(?P<number>\d{1,2})(?P<letter>[LCRGWSTU]?)")
_OTHER_SIDE: Final = {"L": "R", "R": "L"}


class Variation(NamedTuple):
    """Magnetic variation at a place and date.

    Attributes
    ----------
    variation_deg : float
        Positive to the east. [°]
    model : str
        Edition of the World Magnetic Model: ``WMM2025``.
    valid_until : date
        First day on which that edition is valid no longer.
    clamped : bool
        The date asked for lies outside every edition; the nearest valid date was taken.
    asked_for : float
        The date asked for, as a decimal year.
    unreliable : bool
        So near a magnetic pole that the model itself warns of it.
    """

    variation_deg: float
    model: str
    valid_until: date
    clamped: bool
    asked_for: float
    unreliable: bool

    @property
    def remark(self) -> str | None:
        """What must be said beside the figure, or None."""
        if self.clamped:
            taken = min(max(self.asked_for, FIRST_YEAR), LAST_YEAR)
            return (
                f"the World Magnetic Model here is valid from {FIRST_YEAR:.0f} to "
                f"{LAST_YEAR:.0f}; taken for the beginning of {taken:.0f}, the nearest date"
            )
        if self.unreliable:
            return "near a magnetic pole: a compass is unreliable here, and so is this figure"
        return None


class HeadingFound(NamedTuple):
    """A heading in degrees true, and whether it is only approximate."""

    heading_true: DegreesTrue
    approximate: bool


def variation(
    latitude: float, longitude: float, on: date | float, elevation_ft: float = 0.0
) -> Variation:
    """Magnetic variation by the World Magnetic Model.

    Parameters
    ----------
    latitude, longitude : float
        North and east positive; a longitude of 0 to 360 is understood too. [°]
    on : date or float
        Date, or decimal year such as 2026.5. Outside the years of the model the nearest valid
        date is taken, and `Variation.clamped` says so.
    elevation_ft : float
        Height above the sea; it hardly matters. [ft]

    Returns
    -------
    Variation
        Positive to the east. [°]

    Raises
    ------
    ValueError
        If the place is not on the globe.

    References
    ----------
    .. [1] NOAA/NCEI and British Geological Survey, The US/UK World Magnetic Model for
       2025-2030, technical report; valid 2025.0 to 2030.0.
    """
    if not -90 <= latitude <= 90:
        raise ValueError(f"latitude {latitude} is not between -90 and 90")
    if not -180 <= longitude <= 360:
        raise ValueError(f"longitude {longitude} is not between -180 and 180")
    year = decimal_year(on) if isinstance(on, date) else float(on)
    # An hour changes nothing, and equal days share one computation.
    return _variation(float(latitude), float(longitude), round(year, 4), float(elevation_ft))


@lru_cache(maxsize=4096)
def _variation(latitude: float, longitude: float, year: float, elevation_ft: float) -> Variation:
    valid_year = min(max(year, FIRST_YEAR), LAST_YEAR)
    # The newest edition that covers the date: at the seam of two, the later one.
    _, until, name, coefficients = next(
        edition for edition in reversed(_EDITIONS) if edition[0] <= valid_year <= edition[1]
    )
    result = _model(coefficients).calculate(
        glat=latitude,
        glon=longitude - 360 if longitude > 180 else longitude,
        alt=elevation_ft * _KM_PER_FOOT,
        time=valid_year,
    )
    return Variation(
        variation_deg=float(result.d),
        model=name,
        valid_until=date(int(until), 1, 1),
        clamped=valid_year != year,
        asked_for=year,
        unreliable=bool(result.in_blackout_zone or result.in_caution_zone),
    )


@lru_cache(maxsize=len(_EDITIONS))
def _model(coefficients: str) -> Any:  # pygeomag carries no types
    # Imported here: most commands need no variation, and all must start fast.
    from pygeomag import GeoMag  # noqa: PLC0415

    return GeoMag(coefficients_file=coefficients)


def decimal_year(on: date) -> float:
    """Date as a decimal year: 2 July 2026 is about 2026.5. The hour of a moment is left out."""
    begins, ends = date(on.year, 1, 1), date(on.year + 1, 1, 1)
    return on.year + (date(on.year, on.month, on.day) - begins).days / (ends - begins).days


# --- true and magnetic --------------------------------------------------------


def to_true(magnetic: DegreesMagnetic, variation_deg: float) -> DegreesTrue:
    """Degrees true of a magnetic direction; variation positive to the east; 0 < result <= 360."""
    return DegreesTrue(_round_the_circle(magnetic + variation_deg))


def to_magnetic(true: DegreesTrue, variation_deg: float) -> DegreesMagnetic:
    """Degrees magnetic of a true direction; variation positive to the east; 0 < result <= 360."""
    return DegreesMagnetic(_round_the_circle(true - variation_deg))


def true_heading(heading: Heading, variation_deg: float) -> HeadingFound:
    """Degrees true of a heading, however it was given.

    Parameters
    ----------
    heading : Heading
        Surveyed true, magnetic, or known only from the painted number.
    variation_deg : float
        Positive to the east; not used for a true heading. [°]

    Returns
    -------
    HeadingFound
        Approximate where only the painted number is known, or where it is said to be. [°T]
    """
    match heading:
        case HeadingTrue(heading_true, approximate):
            return HeadingFound(heading_true, approximate=approximate)
        case HeadingMagnetic(heading_magnetic, approximate):
            found = to_true(heading_magnetic, variation_deg)
            return HeadingFound(found, approximate=approximate)
        case HeadingFromDesignator(heading_magnetic):
            return HeadingFound(to_true(heading_magnetic, variation_deg), approximate=True)
        case _:
            assert_never(heading)


def _round_the_circle(degrees: float) -> float:
    """Degrees from just above 0 to 360, as directions are reported: north is 360."""
    return degrees % 360 or 360.0


# --- runway numbers -----------------------------------------------------------


def runway_designator(magnetic: DegreesMagnetic) -> str:
    """Two-digit runway number of a magnetic heading: its nearest tenth, halves upwards.

    Where a heading ends in 5 either number may be painted; north is 36.

    References
    ----------
    .. [1] FAA, Aeronautical Information Manual 4-3-6; AC 150/5340-1.
    """
    return f"{int((magnetic + 5) // 10) % 36 or 36:02d}"


def reciprocal(designator: str) -> str:
    """Name of the other end: 10 of 28, 36R of 18L; always two digits.

    Raises
    ------
    ValueError
        If `designator` is no runway number.
    """
    number, letter = _parts(designator)
    return f"{(number + 17) % 36 + 1:02d}{_OTHER_SIDE.get(letter, letter)}"


def heading_of_designator(designator: str) -> DegreesMagnetic:
    """Magnetic heading that a runway number stands for: 280 for 28L. It is approximate.

    Raises
    ------
    ValueError
        If `designator` is no runway number, or is numbered in degrees true (18T).
    """
    number, letter = _parts(designator)
    if letter == "T":
        raise ValueError(
            f"runway {designator} is numbered in degrees true; give its heading in degrees true"
        )
    return DegreesMagnetic(number * 10.0)


def _parts(designator: str) -> tuple[int, str]:
    found = _DESIGNATOR.fullmatch(designator.strip().upper())
    number = int(found["number"]) if found else 0
    if found is None or not 1 <= number <= 36:
        raise ValueError(
            f"{designator!r} is no runway number; write 1 to 36 as painted, for example 9 or 28L"
        )
    return number, found["letter"]
