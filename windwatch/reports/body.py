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
# The lowest and highest ever measured lie inside. [hPa], [°C]
POSSIBLE_HPA: Final = (850, 1100)
POSSIBLE_AIR_C: Final = (-95, 60)


def _possible(figure: float, bounds: tuple[float, float]) -> bool:
    return bounds[0] <= figure <= bounds[1]


# Every figure that is possible, as coded, and none where the group is not there: a look-up is a
# tenth of the time of a conversion.
AIR_C: Final[dict[str | None, float | None]] = {None: None}
AIR_C.update((coded, air) for coded, air in CELSIUS.items() if _possible(air, POSSIBLE_AIR_C))
DEW_C: Final[dict[str | None, float | None]] = {None: None, "": None}
DEW_C.update(CELSIUS.items())
HPA: Final[dict[str | None, float | None]] = {None: None}
HPA.update(
    (f"{unit}{figure:04}", figure * hpa)
    for unit, hpa in HPA_PER_FIGURE.items()
    for figure in range(850, 3300)
    if _possible(figure * hpa, POSSIBLE_HPA)
)

# Two-letter codes of code table 4678 that set a flag.
_RAIN: Final = frozenset({"DZ", "RA"})
_SNOW: Final = frozenset({"SN", "SG", "GS"})
_ICE: Final = frozenset({"FZ", "PL", "GR", "GS"})
_LIFTS: Final = frozenset({"BL", "DR", "PO", "DS", "SS"})  # the wind lifts dust, sand or snow

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
    wind_shear : tuple of str
        Runways named in WS groups, or ``ALL``.
    trend : str
        The trend, from the space before its first word on; empty where there is none.
    """

    weather: Weather
    temperature_c: float | None
    dew_point_c: float | None
    pressure_hpa: float | None
    problems: tuple[str, ...] = ()
    undecoded: tuple[str, ...] = ()
    wind_shear: tuple[str, ...] = ()
    trend: str = ""


def read_body(text: str) -> Body:
    """Read the groups after the wind, each from its space on, as far as the first trend."""
    found = _plain_body(text)
    if found is None:
        return _read_word_by_word(text)
    coded, cloud, air, dew, pressure, trend = found.groups()
    try:
        measured = AIR_C[air], DEW_C[dew], HPA[pressure]
    except KeyError:
        return _read_word_by_word(text)
    weather = FAIR if text else UNKNOWN
    cumulonimbus = "CB" in cloud
    if coded or cumulonimbus:
        often = None if cumulonimbus else _OFTEN.get(coded)
        weather = often or _weather_coded(coded.split(), cumulonimbus=cumulonimbus)
    return _made(Body, (weather, *measured, (), (), (), trend))


def _measured(
    air: str | None, dew: str | None, unit: str | None, figures: str | None
) -> tuple[float | None, float | None, float | None, tuple[str, ...]]:
    """Temperature, dew point and pressure from their figures; what cannot be is a problem."""
    problems: tuple[str, ...] = ()
    temperature = dew_point = pressure = None
    if air is not None:
        temperature = CELSIUS.get(air)
        dew_point = CELSIUS.get(dew) if dew else None
        if temperature is not None and not _possible(temperature, POSSIBLE_AIR_C):
            problems = (f"temperature {air}: outside -95 to 60 °C",)
            temperature = dew_point = None
    if unit is not None and figures is not None:
        pressure = float(figures) * HPA_PER_FIGURE[unit]
        if not _possible(pressure, POSSIBLE_HPA):
            problems = (*problems, f"pressure {unit}{figures}: outside 850 to 1100 hPa")
            pressure = None
    return temperature, dew_point, pressure, problems


def _read_word_by_word(text: str) -> Body:
    """Ask each group in turn for each word."""
    words: dict[str, list[str]] = {}
    trend = ""
    for found in _groups(text):
        kind = found.lastgroup or ""
        if kind == "trend":
            trend = text[found.start() :]
            break
        words.setdefault(kind, []).append(found[0][1:])
    undecoded = tuple(words.get("unclaimed", ()))
    # Glued or misspelt, but said: FEW018CBSCT080, EW015CB, CB(NE-S).
    cumulonimbus = any("CB" in word for word in (*words.get("cloud", ()), *undecoded))
    coded = [*words.get("weather", ()), *words.get("weather_missing", ())]
    weather = FAIR
    if coded or cumulonimbus:
        weather = _weather_coded(coded, cumulonimbus=cumulonimbus)
    air, _, dew = words["temperature"][0].partition("/") if "temperature" in words else (None,) * 3
    pressure = words["pressure"][0] if "pressure" in words else "//"
    unit, figures = (None, None) if pressure[1] == "/" else (pressure[0], pressure[1:])
    return Body(
        weather,
        *_measured(air, dew, unit, figures),
        undecoded,
        tuple(_shear_runway(word) for word in words.get("shear", ())),
        trend,
    )


def _shear_runway(group: str) -> str:
    """The runway of a WS group: WS R23, WS TKOF RWY 06; ALL of WS ALL RWY."""
    runway = grammar.RUNWAY_OF_PLACE.search(group)
    return "ALL" if runway is None else runway[1]


def _weather_coded(coded: list[str], *, cumulonimbus: bool) -> Weather:
    """The weather of its groups; solidi alone, where it is missing, leave it unknown."""
    groups = [group for group in coded if group != "//"]
    if not groups and not cumulonimbus:
        return UNKNOWN
    return _weather(groups, cumulonimbus=cumulonimbus)


def _weather(coded: list[str], *, cumulonimbus: bool) -> Weather:
    """Gather the present weather; what is in the vicinity does not fall on the field."""
    here: set[str] = set()
    nearby: set[str] = set()
    for group in coded:
        at_the_field, _, in_vicinity = group.lstrip("+-").partition("VC")
        here.update(at_the_field[at : at + 2] for at in range(0, len(at_the_field), 2))
        if in_vicinity:
            nearby.update(in_vicinity[at : at + 2] for at in range(0, len(in_vicinity), 2))
    return _made(
        Weather,
        (
            True,
            "TS" in here,
            "SQ" in here,
            "FC" in here,
            "TS" in nearby,
            cumulonimbus,
            None,
            not here.isdisjoint(_RAIN),
            not here.isdisjoint(_SNOW),
            not here.isdisjoint(_ICE),
            tuple(coded),
            not here.isdisjoint(_LIFTS),
            "FC" in nearby,
            not nearby.isdisjoint(_LIFTS),
        ),
    )


# The groups that make up most of what is reported, each read once and for all.
_OFTEN: Final = {
    f" {group}{mist}": _weather([group, *mist.split()], cumulonimbus=False)
    for group in (
        *("BR", "HZ", "FG", "FU", "DU", "BCFG", "MIFG", "SQ", "VCTS", "VCSH", "TS", "BLDU", "BLSN"),
        *(
            f"{strength}{kind}"
            for strength in ("-", "", "+")
            for kind in ("RA", "SHRA", "TSRA", "DZ", "SN", "SHSN", "RASN", "FZRA")
        ),
    )
    for mist in ("", " BR")
}
