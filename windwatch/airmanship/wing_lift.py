"""How much of its weight the wing of a parked aeroplane carries, and what the air then weighs.

These figures never set a level: a quartering wind overturns an aeroplane far below 100 %.
"""

from __future__ import annotations

from math import sqrt
from typing import Final, NamedTuple

from windwatch.airframe import Gear
from windwatch.airmanship.conversions import speed_figure
from windwatch.wind import Knots

# Share of the largest lift coefficient that the parked wing shows to the wind. Engineering
# estimates from memory, no published source: nosewheel near level, tailwheel three-point.
LIFT_COEFFICIENT_SHARE: Final = {Gear.NOSEWHEEL: (0.2, 0.5), Gear.TAILWHEEL: (0.7, 1.0)}
# A parked aeroplane is usually lighter than at its largest weight. Our assumption, no source.
WEIGHT_FRACTION: Final = (0.7, 1.0)

STANDARD_PRESSURE_HPA: Final = 1013.25
STANDARD_TEMPERATURE_K: Final = 288.15
_ZERO_CELSIUS_K: Final = 273.15

OVERTURNS_EARLIER: Final = "A quartering wind overturns an aeroplane far below 100 %."


class LiftBand(NamedTuple):
    """Share of its weight that the wing carries, least and most, with what was assumed.

    Attributes
    ----------
    low, high : float
        1.0 is all of the weight. [1]
    assumptions : tuple of str
    """

    low: float
    high: float
    assumptions: tuple[str, ...]


def lift_share(
    gust: Knots,
    stall_speed: Knots,
    lift_coefficient_share: float,
    *,
    density_ratio: float = 1.0,
    weight_fraction: float = 1.0,
) -> float:
    """Share of the weight that the wing carries: ``(V/Vs)² × CL/CLmax × ρ/ρ0 × Wmax/W``.

    Parameters
    ----------
    gust : Knots
        Wind from ahead, with the gust. [kt]
    stall_speed : Knots
        Clean, calibrated, at the largest weight. [kt]
    lift_coefficient_share : float
        Lift coefficient as parked, over the largest one. [1]
    density_ratio : float
        Air density over the standard one at sea level. [1]
    weight_fraction : float
        Weight over the largest weight. [1]

    Returns
    -------
    float
        1.0 is all of the weight. [1]

    Raises
    ------
    ValueError
        If the stall speed or the weight fraction is not above 0, or the gust is below it.

    References
    ----------
    .. [1] FAA, Pilot's Handbook of Aeronautical Knowledge, lift equation (from memory), for
       the wind and for the stall: L = ½ρV²S·CL, W = ½ρVs²S·CLmax.

    Examples
    --------
    >>> lift_share(Knots(24), Knots(48), 1.0)
    0.25
    """
    if not (gust >= 0 and stall_speed > 0 and weight_fraction > 0):
        raise ValueError(
            f"gust {gust} kt, stall speed {stall_speed} kt, weight fraction {weight_fraction}: "
            "the gust must be 0 or more, the others above 0"
        )
    return (gust / stall_speed) ** 2 * lift_coefficient_share * density_ratio / weight_fraction


def wing_lift_share(
    gust: Knots,
    stall_speed: Knots,
    gear: Gear,
    *,
    density_ratio: float = 1.0,
    weight_fraction: tuple[float, float] = WEIGHT_FRACTION,
    unit: str = "kt",
) -> LiftBand:
    """Band of the weight share that the wing can carry in this gust, with its assumptions.

    Parameters
    ----------
    gust : Knots
        The gust where one is reported, else the mean speed. [kt]
    stall_speed : Knots
        Clean, calibrated, at the largest weight. [kt]
    gear : Gear
        A tailwheel aeroplane parks with its wing at a much larger angle.
    density_ratio : float
        See `air_density_ratio`. [1]
    weight_fraction : tuple of float
        Lightest and heaviest it may stand there, over the largest weight. [1]
    unit : str
        In which the assumptions are told: ``kt``, ``m/s``, ``km/h``, ``mph``.

    Returns
    -------
    LiftBand

    Raises
    ------
    ValueError
        As `lift_share`.
    """
    least, most = LIFT_COEFFICIENT_SHARE[gear]
    light, heavy = min(weight_fraction), max(weight_fraction)
    attitude = "three-point" if gear is Gear.TAILWHEEL else "nearly level"
    return LiftBand(
        lift_share(gust, stall_speed, least, density_ratio=density_ratio, weight_fraction=heavy),
        lift_share(gust, stall_speed, most, density_ratio=density_ratio, weight_fraction=light),
        (
            f"wind of {speed_figure(gust, unit)} {unit} from ahead",
            f"clean stall at {speed_figure(stall_speed, unit)} {unit} calibrated, largest weight",
            f"parked {attitude}: {_band(least, most)} of the largest lift (estimate)",
            f"weight {_band(light, heavy)} of the largest",
            f"air density {density_ratio:.2f} of the standard",
        ),
    )


def lift_in_words(band: LiftBand) -> str:
    """The band as one sentence, with the warning that belongs to it."""
    return (
        f"In this wind the wing can carry about {_band(band.low, band.high)} of the weight "
        f"({'; '.join(band.assumptions)}). {OVERTURNS_EARLIER}"
    )


def _band(low: float, high: float) -> str:
    return f"{low * 100:.0f} % to {high * 100:.0f} %"


def air_density_ratio(temperature_c: float, pressure_hpa: float) -> float:
    """Air density over the standard one at sea level, dry air.

    Parameters
    ----------
    temperature_c : float
        [°C]
    pressure_hpa : float
        At the field itself, not reduced to the sea: see `field_pressure`. [hPa]

    Returns
    -------
    float
        1.0 at 15 °C and 1013.25 hPa. [1]

    Raises
    ------
    ValueError
        If the temperature is not above absolute zero or the pressure not above 0.
    """
    kelvin = temperature_c + _ZERO_CELSIUS_K
    if not (kelvin > 0 and pressure_hpa > 0):
        raise ValueError(f"{temperature_c} °C at {pressure_hpa} hPa is no air")
    return pressure_hpa / STANDARD_PRESSURE_HPA * STANDARD_TEMPERATURE_K / kelvin


def field_pressure(qnh_hpa: float, elevation_ft: float) -> float:
    """Pressure at the field of an altimeter setting, in the standard atmosphere. [hPa, ft].

    References
    ----------
    .. [1] ICAO Doc 7488, Manual of the ICAO Standard Atmosphere (from memory): 6.5 K per km,
       exponent 5.2559.
    """
    exponent = 5.2559
    fall = 0.0065 * elevation_ft * 0.3048 / STANDARD_TEMPERATURE_K
    at_sea = pow(qnh_hpa / STANDARD_PRESSURE_HPA, 1 / exponent)
    return STANDARD_PRESSURE_HPA * float(pow(at_sea - fall, exponent))


def dynamic_pressure_psf(speed: Knots) -> float:
    """Dynamic pressure of a wind at sea level, by the rule's rounded constant, in lb/ft².

    References
    ----------
    .. [1] 14 CFR 25.415: 0.0034 V², V in knots.
    """
    return 0.0034 * speed**2


def ground_gust_design_speed_fps(wing_loading_psf: float) -> float:
    """Gust that control surfaces on the ground are designed for, in feet per second.

    References
    ----------
    .. [1] 14 CFR 23.415(a)(2), before amendment 23-64: 14.6 √(W/S) + 14.6, at most 88.
    """
    return min(14.6 * sqrt(wing_loading_psf) + 14.6, 88.0)


def ground_gust_design_speed(wing_loading_psf: float) -> Knots:
    """The same in knots."""
    return Knots(ground_gust_design_speed_fps(wing_loading_psf) * 0.3048 * 3600 / 1852)
