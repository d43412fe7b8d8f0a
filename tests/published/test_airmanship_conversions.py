"""Speeds in other units, and the Beaufort scale, against published values.

Copied from the worked examples kept beside the project; each row names its source and whether it
was seen in print, remembered or derived. Values are the publication's, tolerances too.
"""

import pytest

from tests.published.worked import Example, published, those
from windwatch.airmanship.conversions import BEAUFORT, beaufort, from_knots, to_knots
from windwatch.wind import Knots

SOURCE_1 = "International nautical mile 1852 m (exact)"
SOURCE_2 = "3600/1852"
SOURCE_3 = "ATPL General Navigation question bank"
SOURCE_4 = "FAA RDC crosswind threshold expressed in mph in an Alaska airport wind data set"
SOURCE_5 = "same data set"
SOURCE_6 = "NWS wind-advisory threshold converted"
SOURCE_7 = "NWS/WMO Beaufort table"
SOURCE_8 = "36/1.852"
SOURCE_9 = "12*1.943844"

EXAMPLES = (
    Example("conv-kt-kmh", {"value": 1, "from": "kt", "to": "km/h"}, 1.852, 0, SOURCE_1, "memory"),
    Example(
        "conv-mps-kt", {"value": 1, "from": "m/s", "to": "kt"}, 1.943844, 1e-06, SOURCE_2, "memory"
    ),
    Example("conv-70mps", {"value": 70, "from": "m/s", "to": "kt"}, 136, 0.5, SOURCE_3, "seen"),
    Example(
        "conv-105kt-mph", {"value": 10.5, "from": "kt", "to": "mph"}, 12.08, 0.01, SOURCE_4, "seen"
    ),
    Example(
        "conv-16kt-mph", {"value": 16, "from": "kt", "to": "mph"}, 18.41, 0.01, SOURCE_5, "seen"
    ),
    Example(
        "conv-nws-31mph",
        {"value": 31, "from": "mph", "to": "kt"},
        26.94,
        0.01,
        SOURCE_6,
        "seen (mph)",
    ),
    Example("conv-bft-16", {"value": 16, "from": "kt", "to": "Beaufort"}, 4, 0, SOURCE_7, "seen"),
    Example("conv-bft-17", {"value": 17, "from": "kt", "to": "Beaufort"}, 5, 0, SOURCE_7, "seen"),
    Example(
        "conv-kmh-36", {"value": 36, "from": "km/h", "to": "kt"}, 19.44, 0.01, SOURCE_8, "derived"
    ),
    Example(
        "conv-12mps", {"value": 12, "from": "m/s", "to": "kt"}, 23.33, 0.01, SOURCE_9, "derived"
    ),
)


def test_every_worked_example_of_this_kind_is_copied_as_it_stands(reference):
    assert [tuple(example) for example in EXAMPLES] == published(reference, "conversion")


@pytest.mark.parametrize("example", those(EXAMPLES, "conv-"))
def test_speeds_convert_as_published(example):
    given = example.inputs
    speed = to_knots(given["value"], given["from"])
    to = given["to"]
    found = beaufort(speed).number if to == "Beaufort" else from_knots(speed, to)
    # A tolerance of 0 is an exact definition.
    if example.tolerance == 0:
        assert found == example.expected
    else:
        assert found == pytest.approx(example.expected, abs=example.tolerance)


# US National Weather Service table (AFMAN 15-111, Table 7.2): number, knots from and to.
NWS = [
    (0, 0, 0),
    (1, 1, 3),
    (2, 4, 6),
    (3, 7, 10),
    (4, 11, 16),
    (5, 17, 21),
    (6, 22, 27),
    (7, 28, 33),
    (8, 34, 40),
    (9, 41, 47),
    (10, 48, 55),
    (11, 56, 63),
    (12, 64, 150),
]


@pytest.mark.parametrize(("number", "lowest", "highest"), NWS)
def test_the_beaufort_scale_is_the_weather_service_table(number, lowest, highest):
    assert beaufort(Knots(lowest)).number == beaufort(Knots(highest)).number == number
    assert BEAUFORT[number].number == number


def test_beaufort_counts_whole_knots_rounded_half_up():
    assert beaufort(Knots(16.4)).number == 4
    assert beaufort(Knots(16.5)).number == 5
    assert beaufort(Knots(63.6)).number == 12


def test_an_unknown_unit_is_named():
    with pytest.raises(ValueError, match="'furlongs' is none of kt, km/h, m/s, mph"):
        to_knots(1, "furlongs")


def test_a_negative_wind_has_no_beaufort_number():
    with pytest.raises(ValueError, match="0 kt or more"):
        beaufort(Knots(-1))
