"""The wind group, in every form that can be told apart.

What contradicts itself is kept where it can be judged on the safe side, and never read
silently: a figure that may be wrong makes the reading *doubtful*, which may open an alert and
must not close one.
"""

from __future__ import annotations

import re
from typing import Final, NamedTuple

from windwatch.reports import grammar
from windwatch.wind import (
    CALM,
    KNOTS_PER_KMH,
    KNOTS_PER_MPS,
    MISSING,
    VARIABLE,
    Calm,
    DegreesTrue,
    Direction,
    Knots,
    Sector,
    Steady,
    Wind,
)

KNOTS_PER_UNIT: Final = {"KT": 1.0, "MPS": KNOTS_PER_MPS, "KMH": KNOTS_PER_KMH}
# ddd as coded: tens of degrees by the rule, but single degrees are sent and kept. 000 has no
# place here: it belongs to calm alone (15.5.4), and north is 360 (15.5.1).
DIRECTIONS: Final[dict[str, Direction]] = {
    "VRB": VARIABLE,
    "///": MISSING,
    **{f"{degrees:03}": Steady(DegreesTrue(float(degrees))) for degrees in range(1, 361)},
}
# ff as coded to knots, for each unit: a look-up is a tenth of the time of a conversion.
FIGURES: Final = (
    *(f"{figure:02}" for figure in range(100)),
    *(f"{figure:03}" for figure in range(1000)),
)
SPEEDS: Final = {
    unit: {figure: Knots(int(figure) * knots) for figure in FIGURES}
    for unit, knots in KNOTS_PER_UNIT.items()
}
EDGES: Final = {f"{degrees:03}": DegreesTrue(float(degrees)) for degrees in range(361)}
# States whose reports are in knots by national practice, by the first letter of the station.
_KNOTS_BY_PRACTICE: Final = frozenset("KP")
_MISSPELT_KNOTS: Final = frozenset({"KTS", "KTKT"})
# A small speed in three figures is merely padded, 007. A large one, 087, may be 08 and 07.
_HARDLY_PADDED_KT: Final = 50
_PADDED: Final = "three figures where two would do"


class GroupReading(NamedTuple):
    """What a wind group says.

    Attributes
    ----------
    wind : Wind or None
        None where nothing usable is reported.
    problem : str
        What is wrong with the group, in words; empty where nothing is.
    doubtful : bool
        A figure, the direction or the unit is not certain.
    estimated : bool
        E before the wind.
    unit_apart : bool
        The unit is the next word.
    glued : str
        A next group that was glued to this one.
    """

    wind: Wind | None
    problem: str = ""
    doubtful: bool = False
    estimated: bool = False
    unit_apart: bool = False
    glued: str = ""

    def flagged(self, problem: str, *, doubtful: bool = False) -> GroupReading:
        """Return the same reading with one more problem, said first."""
        said = f"{problem}; {self.problem}" if self.problem else problem
        return self._replace(problem=said, doubtful=self.doubtful or doubtful)


def read_wind_group(text: str) -> Wind:
    """Read a wind as a person types it, in report form.

    Parameters
    ----------
    text : str
        Wind group, and its sector where there is one: ``22030G40KT 190V250``, ``VRB04KT``,
        ``00000KT``, ``14008MPS``, ``180P99KT``.

    Returns
    -------
    Wind
        Directions in degrees true, speeds in knots, unrounded.

    Raises
    ------
    ValueError
        If the text is no wind group, or contradicts itself.

    Examples
    --------
    >>> read_wind_group("22030G40KT 190V250").sector
    Sector(from_true=190.0, to_true=250.0)
    """
    word, *others = text.upper().rstrip("= ").split() or [""]
    found = grammar.WIND_GROUP.fullmatch(word)
    if found is None or len(others) > 1 or found["estimated"] or found["slash"]:
        raise ValueError(_typed_fault(text, "is not a wind group"))
    if found["unit"] not in SPEEDS:
        raise ValueError(_typed_fault(text, "has no unit (KT, MPS or KMH)"))
    reading = _read_figures(found, found["unit"])
    if reading.wind is None:
        raise ValueError(_typed_fault(text, f"is of no use: {reading.problem}"))
    if reading.problem not in {"", _PADDED}:
        raise ValueError(_typed_fault(text, f"contradicts itself: {reading.problem}"))
    if not others:
        return reading.wind
    sector, problem = read_sector(others[0])
    if sector is None:
        raise ValueError(_typed_fault(text, f"cannot be read: {problem}"))
    return reading.wind._replace(sector=sector)


def _typed_fault(text: str, problem: str) -> str:
    return (
        f"wind {text!r} {problem}; write direction, speed, gust and unit in one word, "
        "then the sector if there is one, for example 22030G40KT 190V250"
    )


def read_sector(group: str) -> tuple[Sector | None, str]:
    """Sector of a ``dddVddd`` group, clockwise from the first to the second; or what is wrong."""
    found = grammar.SECTOR_GROUP.fullmatch(group)
    if found is None:
        return None, f"{group} is no sector (dddVddd)"
    first, second = EDGES.get(found[1]), EDGES.get(found[2])
    if first is None or second is None:
        return None, f"sector {group}: a direction over 360"
    return Sector(first, second), ""


def sector_fits(sector: Sector, direction: Direction) -> bool:
    """Whether a sector has two ends, and holds the mean direction where there is one."""
    first, second = sector
    width = (second - first) % 360
    if width == 0:
        return False
    return not isinstance(direction, Steady) or (direction.wind_from - first) % 360 <= width


def with_sector(wind: Wind, group: str) -> tuple[Wind, str]:
    """Give a wind the sector that stands behind it.

    Parameters
    ----------
    wind : Wind
        Without a sector.
    group : str
        ``dddVddd``, or what stands in its place.

    Returns
    -------
    tuple of Wind and str
        A sector that contradicts itself or its wind is kept, for on the safe side it counts as
        well; and what is wrong.
    """
    sector, problem = read_sector(group)
    if sector is None:
        return wind, problem
    if (sector.to_true - sector.from_true) % 360 == 0:
        problem = f"sector {group}: its ends are one, read as the whole circle"
    elif not sector_fits(sector, wind.direction):
        problem = f"sector {group}: does not hold the mean direction, both count"
    return wind._replace(sector=sector), problem


def read_odd_group(word: str, following: str, station: str) -> GroupReading | None:
    """Read the word in the wind's place with patience.

    Parameters
    ----------
    word : str
        First word after the header.
    following : str
        The word after it: a unit may stand there, ``07004 KT``.
    station : str
        Who reports; its first letter tells the national unit.

    Returns
    -------
    GroupReading or None
        None where the word was not meant as a wind.
    """
    reading = _read_spelling(word, following, station)
    if reading is None and (mended := word.replace("O", "0")) != word:
        reading = _read_spelling(mended, following, station)
        if reading is not None:
            reading = reading.flagged(f"the letter O read as a figure: {mended}", doubtful=True)
    if reading is not None:
        named = f"wind {word}: {reading.problem}" if reading.problem else ""
        return reading._replace(problem=named)
    if grammar.MEANT_AS_WIND.fullmatch(word):
        return GroupReading(None, f"wind {word}: cannot be read", doubtful=True)
    return None


def _read_spelling(word: str, following: str, station: str) -> GroupReading | None:
    """Try the forms of the wind group in turn."""
    if grammar.MISSING_WIND.fullmatch(word):
        return GroupReading(None, "not reported")
    if found := grammar.WIND_GROUP.fullmatch(word):
        return _read_with_unit(found, following, station)
    if found := grammar.FOUR_FIGURES.fullmatch(word):
        return _read_four_figures(found)
    if grammar.CALM_IN_WORDS.fullmatch(word):
        return GroupReading(Wind(CALM, Knots(0.0)), "calm in words", doubtful=True)
    if glued := grammar.WIND_GLUED_TO_NEXT.fullmatch(word):
        whole = grammar.WIND_GROUP.fullmatch(glued[1])
        if whole is not None:
            reading = _read_figures(whole, whole["unit"]).flagged("the next group is glued to it")
            return reading._replace(glued=glued[2])
    return None


def _read_with_unit(found: re.Match[str], following: str, station: str) -> GroupReading | None:
    """Settle the unit, then read the figures."""
    unit = found["unit"] or found["early_unit"]
    if unit in SPEEDS:
        reading = _read_figures(found, unit)
        if found["slash"]:
            reading = reading.flagged("a stray slash", doubtful=True)
        if found["estimated"]:
            reading = reading.flagged("estimated")._replace(estimated=True)
        if found["early_unit"]:
            reading = reading.flagged("the unit stands before the gust")
        return reading
    if unit in _MISSPELT_KNOTS:
        return _read_figures(found, "KT").flagged("unit misspelt")
    if unit:
        return _read_figures(found, "KT").flagged("unit misspelt, read as knots", doubtful=True)
    if following in SPEEDS:
        reading = _read_figures(found, following).flagged("a space before the unit")
        return reading._replace(unit_apart=True)
    return _read_without_unit(found, station)


def _read_without_unit(found: re.Match[str], station: str) -> GroupReading | None:
    """Read figures that no unit follows: in knots, which is the least they can mean."""
    reading = _read_figures(found, "KT")
    if found["direction"] not in DIRECTIONS and reading.wind != Wind(CALM, Knots(0.0)):
        return None
    if reading.wind is None:
        return reading
    if station[:1] in _KNOTS_BY_PRACTICE:
        return reading.flagged("no unit, read as knots", doubtful=True)
    wind = reading.wind
    if not isinstance(wind.direction, Calm):
        # Metres per second would be nearly twice as much; km/h are out of use.
        wind = wind._replace(speed_at_least=True, gust_at_least=wind.gust is not None)
    return reading._replace(wind=wind).flagged("no unit, at least this in knots", doubtful=True)


def _read_four_figures(found: re.Match[str]) -> GroupReading:
    """Read a group that lost a figure as people would: tens of degrees, then the speed."""
    tens, speed, gust, unit = found.groups()
    whole = f"{tens}0{speed}{'G' + gust if gust else ''}{unit}"
    again = grammar.WIND_GROUP.fullmatch(whole)
    if again is None or (f"{tens}0" not in DIRECTIONS and tens != "00"):
        return GroupReading(None, "a figure is missing, cannot be read", doubtful=True)
    problem = f"a figure is missing, read as {whole}"
    return _read_figures(again, unit).flagged(problem, doubtful=True)


def _contradiction(found: re.Match[str]) -> str:
    """What the figures of a group contradict; empty where nothing."""
    direction, speed = found["direction"], found["speed"]
    gust = found["gust"] if found["gust"] != "//" else None
    if direction == "000" and (speed == "//" or int(speed) > 0):
        return "direction 000 belongs to calm alone, and north is 360"
    if direction == "000" and gust is not None and int(gust) > 0:
        return "calm with a gust"
    if direction not in DIRECTIONS and direction != "000":
        return "direction over 360"
    if speed != "//" and gust is not None and int(gust) <= int(speed):
        return "gust not above the mean"
    return ""


def _read_figures(found: re.Match[str], unit: str) -> GroupReading:
    """Read the figures of a group whose unit is settled.

    A direction that cannot be is missing, not calm: the speed then counts from anywhere. A
    mean speed that is missing beside a gust is at least nothing.
    """
    direction, speed, gust = found["direction"], found["speed"], found["gust"]
    speeds = SPEEDS[unit]
    peak = speeds.get(gust)
    mean = speeds.get(speed)
    if mean is None and peak is None:
        if direction == "///":
            return GroupReading(None, "not reported")
        return GroupReading(None, "the speed is not reported", doubtful=True)
    problem = _contradiction(found)
    wind_from: Direction = DIRECTIONS.get(direction, MISSING)
    if direction == "000" and not problem:
        wind_from, peak = CALM, None
    if mean is None:
        reading = GroupReading(None, problem or "the mean speed is not reported", doubtful=True)
    elif not problem and len(speed) == 3 and speed[0] == "0":
        reading = GroupReading(None, _PADDED)
        if mean >= _HARDLY_PADDED_KT:
            reading = GroupReading(None, "two speeds may have run together", doubtful=True)
    else:
        reading = GroupReading(None, problem, doubtful=bool(problem))
    wind = Wind(
        wind_from,
        Knots(0.0) if mean is None else mean,
        peak,
        None,
        mean is None or bool(found["lower_bound"]),
        bool(found["gust_bound"]),
    )
    return reading._replace(wind=wind)
