"""Magnetic variation and runway numbers against published values.

Copied from the worked examples kept beside the project; each row names its source and whether it
was seen in print, remembered or derived. Values are the publication's, tolerances too.
"""

import pytest

from tests.published.worked import Example, published, those
from windwatch.airmanship.components import components
from windwatch.airmanship.variation import (
    heading_of_designator,
    reciprocal,
    runway_designator,
    to_magnetic,
    to_true,
    variation,
)
from windwatch.wind import DegreesMagnetic, DegreesTrue, Knots

SOURCE_1 = "NOAA/NCEI WMM2025 test values (100-row file shipped with the coefficients)"
SOURCE_2 = "WMM2025 technical report Table 6 test values"
SOURCE_3 = "Published controller-forum worked case (San Francisco area, about 15E at the time)"
SOURCE_4 = "Airport data for KIGQ (variation 02W, 1995)"
SOURCE_5 = "AIM 4-3-6 / AC 150/5340-1"
SOURCE_6 = "AIM 4-3-6"
SOURCE_7 = "Published exercise: opposite of runway 13"
SOURCE_8 = "Rule: magnetic = true - east variation, modulo 360"

EXAMPLES = (
    Example(
        "var-ncei-2025p0-28-89--121",
        {
            "model": "WMM2025",
            "decimal_year": 2025.0,
            "height_km": 28,
            "lat_deg": 89,
            "lon_deg": -121,
        },
        {"declination_deg_east_positive": -99.77},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2025p0-65-43-93",
        {"model": "WMM2025", "decimal_year": 2025.0, "height_km": 65, "lat_deg": 43, "lon_deg": 93},
        {"declination_deg_east_positive": 0.5},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2025p0-51--33-109",
        {
            "model": "WMM2025",
            "decimal_year": 2025.0,
            "height_km": 51,
            "lat_deg": -33,
            "lon_deg": 109,
        },
        {"declination_deg_east_positive": -5.49},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2025p0-18-0-21",
        {"model": "WMM2025", "decimal_year": 2025.0, "height_km": 18, "lat_deg": 0, "lon_deg": 21},
        {"declination_deg_east_positive": 1.29},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2025p5-44-33--118",
        {
            "model": "WMM2025",
            "decimal_year": 2025.5,
            "height_km": 44,
            "lat_deg": 33,
            "lon_deg": -118,
        },
        {"declination_deg_east_positive": 11.1},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2025p5-8--52--75",
        {
            "model": "WMM2025",
            "decimal_year": 2025.5,
            "height_km": 8,
            "lat_deg": -52,
            "lon_deg": -75,
        },
        {"declination_deg_east_positive": 14.91},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2026p0-69-23-63",
        {"model": "WMM2025", "decimal_year": 2026.0, "height_km": 69, "lat_deg": 23, "lon_deg": 63},
        {"declination_deg_east_positive": 1.17},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2026p0-34--19-43",
        {
            "model": "WMM2025",
            "decimal_year": 2026.0,
            "height_km": 34,
            "lat_deg": -19,
            "lon_deg": 43,
        },
        {"declination_deg_east_positive": -14.98},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2026p5-12-33--145",
        {
            "model": "WMM2025",
            "decimal_year": 2026.5,
            "height_km": 12,
            "lat_deg": 33,
            "lon_deg": -145,
        },
        {"declination_deg_east_positive": 11.96},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2026p5-19-29-66",
        {"model": "WMM2025", "decimal_year": 2026.5, "height_km": 19, "lat_deg": 29, "lon_deg": 66},
        {"declination_deg_east_positive": 2.24},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2027p5-8-62-53",
        {"model": "WMM2025", "decimal_year": 2027.5, "height_km": 8, "lat_deg": 62, "lon_deg": 53},
        {"declination_deg_east_positive": 19.39},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2027p5-0--13--59",
        {
            "model": "WMM2025",
            "decimal_year": 2027.5,
            "height_km": 0,
            "lat_deg": -13,
            "lon_deg": -59,
        },
        {"declination_deg_east_positive": -17.49},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2028p0-30--36--64",
        {
            "model": "WMM2025",
            "decimal_year": 2028.0,
            "height_km": 30,
            "lat_deg": -36,
            "lon_deg": -64,
        },
        {"declination_deg_east_positive": -4.65},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2028p5-28-54--120",
        {
            "model": "WMM2025",
            "decimal_year": 2028.5,
            "height_km": 28,
            "lat_deg": 54,
            "lon_deg": -120,
        },
        {"declination_deg_east_positive": 15.43},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2028p5-11-34-0",
        {"model": "WMM2025", "decimal_year": 2028.5, "height_km": 11, "lat_deg": 34, "lon_deg": 0},
        {"declination_deg_east_positive": 1.57},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-ncei-2029p5-66--21-32",
        {
            "model": "WMM2025",
            "decimal_year": 2029.5,
            "height_km": 66,
            "lat_deg": -21,
            "lon_deg": 32,
        },
        {"declination_deg_east_positive": -14.63},
        0.01,
        SOURCE_1,
        "seen (copy in an open geomagnetism library test suite)",
    ),
    Example(
        "var-t6-2025p0-0-80-0",
        {"model": "WMM2025", "decimal_year": 2025.0, "height_km": 0, "lat_deg": 80, "lon_deg": 0},
        {"declination_deg_east_positive": 1.28},
        0.01,
        SOURCE_2,
        "seen (values reproduced in a public source file; recomputed and agree)",
    ),
    Example(
        "var-t6-2025p0-0-0-120",
        {"model": "WMM2025", "decimal_year": 2025.0, "height_km": 0, "lat_deg": 0, "lon_deg": 120},
        {"declination_deg_east_positive": -0.16},
        0.01,
        SOURCE_2,
        "seen (values reproduced in a public source file; recomputed and agree)",
    ),
    Example(
        "var-t6-2025p0-0--80-240",
        {
            "model": "WMM2025",
            "decimal_year": 2025.0,
            "height_km": 0,
            "lat_deg": -80,
            "lon_deg": 240,
        },
        {"declination_deg_east_positive": 68.78},
        0.01,
        SOURCE_2,
        "seen (values reproduced in a public source file; recomputed and agree)",
    ),
    Example(
        "var-t6-2025p0-100-0-120",
        {
            "model": "WMM2025",
            "decimal_year": 2025.0,
            "height_km": 100,
            "lat_deg": 0,
            "lon_deg": 120,
        },
        {"declination_deg_east_positive": -0.15},
        0.01,
        SOURCE_2,
        "seen (values reproduced in a public source file; recomputed and agree)",
    ),
    Example(
        "var-t6-2027p5-0-0-120",
        {"model": "WMM2025", "decimal_year": 2027.5, "height_km": 0, "lat_deg": 0, "lon_deg": 120},
        {"declination_deg_east_positive": -0.24},
        0.01,
        SOURCE_2,
        "seen (values reproduced in a public source file; recomputed and agree)",
    ),
    Example(
        "var-t6-2027p5-0--80-240",
        {
            "model": "WMM2025",
            "decimal_year": 2027.5,
            "height_km": 0,
            "lat_deg": -80,
            "lon_deg": 240,
        },
        {"declination_deg_east_positive": 68.49},
        0.01,
        SOURCE_2,
        "seen (values reproduced in a public source file; recomputed and agree)",
    ),
    Example(
        "var-t6-2027p5-100-0-120",
        {
            "model": "WMM2025",
            "decimal_year": 2027.5,
            "height_km": 100,
            "lat_deg": 0,
            "lon_deg": 120,
        },
        {"declination_deg_east_positive": -0.23},
        0.01,
        SOURCE_2,
        "seen (values reproduced in a public source file; recomputed and agree)",
    ),
    Example(
        "var-sfo-290t",
        {"wind_true_deg": 290, "variation_deg_east": 15, "runway_designator": "28", "speed_kt": 10},
        {"wind_magnetic_deg": 275, "side_if_true_used": "right", "side_correct": "left"},
        0.5,
        SOURCE_3,
        "seen",
    ),
    Example(
        "var-kigq-rwy18",
        {"runway_true_deg": 180, "variation_deg_west": 2},
        {"runway_magnetic_deg": 182, "designator": "18"},
        0.5,
        SOURCE_4,
        "seen",
    ),
    Example(
        "var-desig-183", {"runway_magnetic_deg": 183}, {"designator": "18"}, 0, SOURCE_5, "seen"
    ),
    Example(
        "var-desig-185",
        {"runway_magnetic_deg": 185},
        {"designator_any_of": ["18", "19"]},
        0,
        SOURCE_6,
        "seen",
    ),
    Example("var-recip-13", {"designator": "13"}, {"reciprocal": "31"}, 0, SOURCE_7, "seen"),
    Example(
        "var-wrap",
        {"wind_true_deg": 5, "variation_deg_east": 12.29},
        {"wind_magnetic_deg": 352.71},
        0.01,
        SOURCE_8,
        "derived",
    ),
)

BY_ID = {example.id: example for example in EXAMPLES}


def test_every_worked_example_of_this_kind_is_copied_as_it_stands(reference):
    assert [tuple(example) for example in EXAMPLES] == published(reference, "variation")


def test_every_copied_example_is_asked_by_a_test_below():
    assert set(BY_ID) == ASKED


MODEL_ROWS = ("var-ncei", "var-t6")
ASKED = {name for name in BY_ID if name.startswith(MODEL_ROWS)} | {
    "var-sfo-290t",
    "var-kigq-rwy18",
    "var-desig-183",
    "var-desig-185",
    "var-recip-13",
    "var-wrap",
}
FEET_PER_KM = 1000 / 0.3048


@pytest.mark.parametrize("example", those(EXAMPLES, *MODEL_ROWS))
def test_variation_agrees_with_the_official_test_values(example):
    given = example.inputs
    found = variation(
        given["lat_deg"],
        given["lon_deg"],
        given["decimal_year"],
        given["height_km"] * FEET_PER_KM,
    )
    expected = example.expected["declination_deg_east_positive"]
    # Printed to 0.01; the model itself is to agree within what rounding hides.
    assert found.variation_deg == pytest.approx(expected, abs=0.0051)
    assert abs(found.variation_deg - expected) <= example.tolerance
    assert found.model == given["model"]
    assert not found.clamped


def test_all_23_official_rows_are_here():
    assert len(those(EXAMPLES, *MODEL_ROWS)) == 23


def side(crosswind):
    return "right" if crosswind > 0 else "left"


def test_forgetting_the_conversion_flips_the_side_of_the_crosswind():
    example = BY_ID["var-sfo-290t"]
    given, expected = example.inputs, example.expected
    true, speed = DegreesTrue(given["wind_true_deg"]), Knots(given["speed_kt"])
    magnetic = to_magnetic(true, given["variation_deg_east"])
    assert magnetic == pytest.approx(expected["wind_magnetic_deg"], abs=example.tolerance)
    painted = heading_of_designator(given["runway_designator"])
    runway_true = to_true(painted, given["variation_deg_east"])
    assert side(components(true, speed, runway_true).crosswind) == expected["side_correct"]
    mixed = components(true, speed, DegreesTrue(painted))
    assert side(mixed.crosswind) == expected["side_if_true_used"]


def test_a_westerly_variation_makes_the_magnetic_heading_larger():
    example = BY_ID["var-kigq-rwy18"]
    magnetic = to_magnetic(
        DegreesTrue(example.inputs["runway_true_deg"]), -example.inputs["variation_deg_west"]
    )
    expected = example.expected
    assert magnetic == pytest.approx(expected["runway_magnetic_deg"], abs=example.tolerance)
    assert runway_designator(magnetic) == expected["designator"]


def test_183_is_painted_18():
    example = BY_ID["var-desig-183"]
    magnetic = DegreesMagnetic(example.inputs["runway_magnetic_deg"])
    assert runway_designator(magnetic) == example.expected["designator"]


def test_185_is_painted_18_or_19():
    example = BY_ID["var-desig-185"]
    magnetic = DegreesMagnetic(example.inputs["runway_magnetic_deg"])
    assert runway_designator(magnetic) in example.expected["designator_any_of"]


def test_the_other_end_of_13_is_31():
    example = BY_ID["var-recip-13"]
    assert reciprocal(example.inputs["designator"]) == example.expected["reciprocal"]


def test_magnetic_wraps_through_north():
    example = BY_ID["var-wrap"]
    found = to_magnetic(
        DegreesTrue(example.inputs["wind_true_deg"]), example.inputs["variation_deg_east"]
    )
    expected = example.expected["wind_magnetic_deg"]
    assert found == pytest.approx(expected, abs=example.tolerance)
