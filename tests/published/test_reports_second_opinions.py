"""General-purpose decoders as second opinions on samples of the recorded reports.

`metar` 2.0.2, metar-taf-parser-mivek 1.13 and avwx-engine 1.9 are test dependencies only. Where
one of them differs, the report must be one that the collection of tricky winds knows it for: a
form that is not in the code, or a wind that is not the observed one.
"""

import re
import warnings
from datetime import UTC, datetime

import pytest

from windwatch.reports.decode import read_wind
from windwatch.wind import Calm, Steady, Variable

NOW = datetime(2024, 8, 31, 23, 59, tzinfo=UTC)
NOTHING = (None, False, None, None, None)


def ours(text):
    wind = read_wind(text, NOW).wind
    if wind is None:
        return NOTHING
    direction = None
    if isinstance(wind.direction, Steady | Calm):
        direction = 0.0 if isinstance(wind.direction, Calm) else wind.direction.wind_from
    return (
        direction,
        isinstance(wind.direction, Variable),
        round(wind.speed, 1),
        None if wind.gust is None else round(wind.gust, 1),
        None if wind.sector is None else tuple(wind.sector),
    )


def metar_library(text):
    from metar.Metar import Metar  # noqa: PLC0415  # a second opinion warns as it is imported

    found = Metar(text, strict=False)
    if found.wind_speed is None:
        return NOTHING
    sector = None
    if found.wind_dir_from is not None:
        sector = (found.wind_dir_from.value(), found.wind_dir_to.value())
    return (
        None if found.wind_dir is None else found.wind_dir.value(),
        found.wind_dir is None,
        round(found.wind_speed.value("KT"), 1),
        None if found.wind_gust is None else round(found.wind_gust.value("KT"), 1),
        sector,
    )


def mivek(text):
    from metar_taf_parser.parser.parser import MetarParser  # noqa: PLC0415

    found = MetarParser().parse(text).wind
    if found is None:
        return NOTHING
    knots = {"KT": 1.0, "MPS": 3600 / 1852, "KM/H": 1 / 1.852}[found.unit]
    sector = None
    if found.min_variation is not None:
        sector = (found.min_variation, found.max_variation)
    return (
        found.degrees,
        found.degrees is None,
        round(found.speed * knots, 1),
        None if found.gust is None else round(found.gust * knots, 1),
        sector,
    )


def avwx(text):
    from avwx import Metar  # noqa: PLC0415

    found = Metar.from_report(text)
    if found is None or found.data is None or found.data.wind_speed is None:
        return NOTHING
    values = found.data
    knots = {"kt": 1.0, "m/s": 3600 / 1852, "km/h": 1 / 1.852}[found.units.wind_speed]
    direction = values.wind_direction
    variable = [bound.value for bound in values.wind_variable_direction]
    return (
        None if direction is None or direction.value is None else float(direction.value),
        direction is not None and direction.repr == "VRB",
        round(values.wind_speed.value * knots, 1),
        None if values.wind_gust is None else round(values.wind_gust.value * knots, 1),
        tuple(map(float, variable)) or None,
    )


# The traps that the samples hold, by the case of the collection: their group, and the rule.
TRAPS = re.compile(
    r" 000(?:0[1-9]|[1-9]\d)KT| 00000G\d\dKT"  # 21, 26: 000 belongs to calm alone, 15.5.1
    r"| E\d{5}KT"  # 32: estimated, FMH-1 (older)
    r"| \d{4}(?:G\d\d)?KT"  # 6, 28, 29: a figure is missing, 15.5.1
    r"| ///\d\dKT"  # 37: the speed counts without its direction, 15.4
    r"| \d{5}KT[B-Z]"  # the next group is glued to the wind
    r"| BLU \d{5}KT"  # 48: a trend behind the colour state is not observed
    r"| CC[A-Z] "  # 42: lettered correction, Canada
    r"| ////SM "  # 36: solidi of the visibility taken for a missing wind
)


@pytest.mark.parametrize(
    ("decoder", "count", "most_different", "most_raised"),
    [
        pytest.param(metar_library, 9000, 12, 0, id="metar"),
        pytest.param(mivek, 2500, 6, 2, id="metar-taf-parser-mivek"),
        pytest.param(avwx, 2000, 3, 0, id="avwx"),
    ],
)
def test_a_second_opinion_differs_only_in_known_traps(
    reference, decoder, count, most_different, most_raised
):
    lines = [
        line
        for line in (reference / "reports" / "metar.txt").read_text(encoding="utf-8").splitlines()
        if line and not line.startswith("#")
    ]
    different, raised = [], []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # they warn about themselves
        for line in lines[:: len(lines) // count][:count]:
            text = line.removeprefix("METAR ").removeprefix("SPECI ").rstrip("=")
            try:
                theirs = decoder(text)
            except Exception as gave_up:  # noqa: BLE001  # whatever a foreign decoder raises
                raised.append((text, gave_up))
                continue
            if theirs != ours(text):
                different.append((text, theirs, ours(text)))
    assert [case for case in different if not TRAPS.search(case[0])] == []
    assert len(different) <= most_different
    assert len(raised) <= most_raised
