"""Weather, cloud, temperature and pressure: what stands between the wind and the remarks.

As in the header, the part as it should be is taken by one expression, and anything else word
by word, with the same groups.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from windwatch.reports import grammar
from windwatch.reports.values import Weather

HPA_PER_INCH: Final = 33.86389  # conventional inch of mercury
# Whole degrees as coded, 15.11: M05 is five below.
CELSIUS: Final = {
    **{f"{degrees:02}": float(degrees) for degrees in range(100)},
    **{f"M{degrees:02}": -float(degrees) for degrees in range(100)},
}
# As coded, 15.12: whole hectopascals, or hundredths of an inch of mercury.
HPA_PER_FIGURE: Final = {"Q": 1.0, "A": HPA_PER_INCH / 100}

# Two-letter codes of code table 4678 that set a flag.
_RAIN: Final = frozenset({"DZ", "RA"})
_SNOW: Final = frozenset({"SN", "SG", "GS"})
_ICE: Final = frozenset({"FZ", "PL", "GR", "GS"})

FAIR: Final = Weather(reported=True)
UNKNOWN: Final = Weather(reported=False)

_plain_body = grammar.PLAIN_BODY.match
_groups = grammar.BODY_GROUP.finditer
_made = tuple.__new__  # see `windwatch.reports.header`


class Body(NamedTuple):
    """What the observed part says after the wind.

    Attributes
    ----------
    weather : Weather
        Without what the remarks add.
    temperature_c, dew_point_c, pressure_hpa : float or None
        None where not reported, or not possible.
    problems : tuple of str
        What is not possible.
    undecoded : tuple of str
        Words that no group claims.
    """

    weather: Weather
    temperature_c: float | None
    dew_point_c: float | None
    pressure_hpa: float | None
    problems: tuple[str, ...] = ()
    undecoded: tuple[str, ...] = ()


def read_body(text: str) -> Body:
    """Read the groups after the wind, each from its space on, as far as the first trend."""
    found = _plain_body(text)
    if found is None:
        return _read_word_by_word(text)
    coded, cloud, air, dew, unit, figures = found.groups()
    temperature, dew_point, pressure, problems = _measured(air, dew, unit, figures)
    weather = FAIR if text else UNKNOWN
    if coded or "CB" in cloud:
        weather = _weather(coded.split(), cumulonimbus="CB" in cloud)
    return _made(Body, (weather, temperature, dew_point, pressure, problems, ()))


def _measured(
    air: str | None, dew: str | None, unit: str | None, figures: str | None
) -> tuple[float | None, float | None, float | None, tuple[str, ...]]:
    """Temperature, dew point and pressure from their figures; what cannot be is a problem."""
    problems: tuple[str, ...] = ()
    temperature = dew_point = pressure = None
    if air is not None:
        temperature = CELSIUS.get(air)
        dew_point = CELSIUS.get(dew) if dew else None
        if temperature is not None and not -95 <= temperature <= 60:
            problems = (f"temperature {air}: outside -95 to 60 °C",)
            temperature = dew_point = None
    if unit is not None and figures is not None:
        pressure = float(figures) * HPA_PER_FIGURE[unit]
        if not 850 <= pressure <= 1100:  # the lowest and highest ever measured lie inside
            problems = (*problems, f"pressure {unit}{figures}: outside 850 to 1100 hPa")
            pressure = None
    return temperature, dew_point, pressure, problems


def _read_word_by_word(text: str) -> Body:
    """Ask each group in turn for each word."""
    coded: list[str] = []
    undecoded: list[str] = []
    cumulonimbus = weather_missing = False
    air = dew = unit = figures = None
    for found in _groups(text):
        kind, group = found.lastgroup, found[0]
        if kind == "cloud":
            cumulonimbus = cumulonimbus or "CB" in group
        elif kind == "weather":
            coded.append(group[1:])
        elif kind == "temperature" and air is None:
            air, _, dew = group[1:].partition("/")
        elif kind == "pressure" and unit is None:
            unit, figures = group[1], group[2:] if group[2] != "/" else None
        elif kind == "weather_missing":
            weather_missing = True
        elif kind == "unclaimed":
            undecoded.append(group[1:])
            # Glued or misspelt, but said: FEW018CBSCT080, EW015CB, CB(NE-S).
            cumulonimbus = cumulonimbus or "CB" in group
        elif kind == "trend":
            break
    if coded or cumulonimbus:
        weather = _weather(coded, cumulonimbus=cumulonimbus)
    else:
        weather = UNKNOWN if weather_missing else FAIR
    return Body(weather, *_measured(air, dew, unit, figures), tuple(undecoded))


def _weather(coded: list[str], *, cumulonimbus: bool) -> Weather:
    """Gather the present weather; what is in the vicinity does not fall on the field."""
    here: set[str] = set()
    thunder_in_vicinity = False
    for group in coded:
        at_the_field, _, in_vicinity = group.lstrip("+-").partition("VC")
        thunder_in_vicinity = thunder_in_vicinity or "TS" in in_vicinity
        here.update(at_the_field[at : at + 2] for at in range(0, len(at_the_field), 2))
    return _made(
        Weather,
        (
            True,
            "TS" in here,
            "SQ" in here,
            "FC" in here,
            thunder_in_vicinity,
            cumulonimbus,
            None,
            not here.isdisjoint(_RAIN),
            not here.isdisjoint(_SNOW),
            not here.isdisjoint(_ICE),
            tuple(coded),
        ),
    )
