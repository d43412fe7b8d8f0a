"""Wind components against published questions and values.

Copied from the worked examples kept beside the project; each row names its source and whether it
was seen in print, remembered or derived. Values are the publication's, tolerances too.
"""

import pytest

from tests.published.worked import Example, published, those
from windwatch.airmanship.components import round_half_up_tenth, wind_on_runway
from windwatch.airmanship.rules_of_thumb import (
    approach_speed_in_gusts,
    best_end,
    clock_code_crosswind,
    demonstrated_crosswind_at_least,
    largest_wind_for_crosswind,
    largest_wind_for_tailwind,
    least_wind_for_headwind,
)
from windwatch.airmanship.variation import heading_of_designator
from windwatch.wind import CALM, DegreesTrue, Knots, Sector, Steady, Wind

SOURCE_1 = (
    "FAA private pilot knowledge-test question bank, crosswind component chart (FAA-"
    "CT-8080-2 series, Fig. 36/37); same item in EASA PPL(A) question bank, Flight "
    "Performance & Planning, Fig. PPL FPP-13e q115/q136"
)
SOURCE_2 = "EASA PPL(A) question bank, Flight Performance & Planning, Fig. PPL FPP-13e q113"
SOURCE_3 = "EASA PPL(A) question bank, Flight Performance & Planning, Fig. PPL FPP-13e q137"
SOURCE_4 = "ATPL General Navigation question bank (India/EASA style), wind-component set q29"
SOURCE_5 = (
    "FAA commercial pilot airplane knowledge-test question bank, wind component chart (Fig. 31)"
)
SOURCE_6 = "AOPA ePilot Flight Training vol 4 issue 9 (2004), training tip"
SOURCE_7 = "EASA ATPL Operational Procedures question (best runway for wind 040/20; answer RWY 06)"
SOURCE_8 = (
    "FAA private pilot knowledge-test question bank, crosswind component chart (FAA-"
    "CT-8080-2 series, Fig. 36/37); EASA PPL(A) question bank, Flight Performance & "
    "Planning, Fig. PPL FPP-13e q112"
)
SOURCE_9 = (
    "FAA private pilot knowledge-test question bank, crosswind component chart (FAA-"
    "CT-8080-2 series, Fig. 36/37)"
)
SOURCE_10 = (
    "ATPL General Navigation question bank (India/EASA style), wind-component set q52"
    " (runway QDM 063, wind 100 magnetic)"
)
SOURCE_11 = "EASA ATPL Performance q8 / CAP 698 Fig 4.1 (wind 090M, runway 210M)"
SOURCE_12 = "EASA ATPL General Navigation q19"
SOURCE_13 = (
    "EASA PPL(A) question bank, Flight Performance & Planning, Fig. PPL FPP-13e q114;"
    " FAA variant (10/14/24) also answers 14"
)
SOURCE_14 = "Airplane Flying Handbook, turbulent-air approach and landing"
SOURCE_15 = "UK flying-school tip describing the clock code"
SOURCE_16 = (
    "Trigonometry; gust handled as in PANS-OPS/Order 8400.9 wording (components include gusts)"
)
SOURCE_17 = "Calm coding rule (FMH-1 / WMO 306)"
SOURCE_18 = "AIM wind-group example + sector scan"

EXAMPLES = (
    Example(
        "comp-r18-220-30",
        {
            "runway_heading_deg": 180,
            "wind_from_deg": 220,
            "wind_speed_kt": 30,
            "reference": "magnetic",
        },
        {"headwind_kt": 23, "crosswind_kt": 19, "from": "right"},
        0.5,
        SOURCE_1,
        "seen",
    ),
    Example(
        "comp-r22-280-15",
        {
            "runway_heading_deg": 220,
            "wind_from_deg": 280,
            "wind_speed_kt": 15,
            "reference": "magnetic",
        },
        {"headwind_kt": 7.5, "crosswind_kt": 13, "from": "right"},
        0.5,
        SOURCE_2,
        "seen",
    ),
    Example(
        "comp-r33-030-10",
        {
            "runway_heading_deg": 330,
            "wind_from_deg": 30,
            "wind_speed_kt": 10,
            "reference": "magnetic",
        },
        {"headwind_kt": 5, "crosswind_kt": 8, "from": "right"},
        0.7,
        SOURCE_3,
        "seen",
    ),
    Example(
        "comp-r30-240-35",
        {
            "runway_heading_deg": 300,
            "wind_from_deg": 240,
            "wind_speed_kt": 35,
            "reference": "magnetic",
        },
        {"crosswind_kt": 30, "from": "left"},
        0.5,
        SOURCE_4,
        "seen",
    ),
    Example(
        "comp-r13-180-25",
        {
            "runway_heading_deg": 130,
            "wind_from_deg": 180,
            "wind_speed_kt": 25,
            "reference": "magnetic",
        },
        {"crosswind_kt": 19, "from": "right"},
        0.5,
        SOURCE_5,
        "question seen; key from memory (exact 19.15)",
    ),
    Example(
        "comp-r22-140-20",
        {
            "runway_heading_deg": 220,
            "wind_from_deg": 140,
            "wind_speed_kt": 20,
            "reference": "magnetic",
        },
        {"crosswind_kt": 20, "from": "left"},
        0.5,
        SOURCE_5,
        "seen",
    ),
    Example(
        "comp-r33-290-15",
        {
            "runway_heading_deg": 330,
            "wind_from_deg": 290,
            "wind_speed_kt": 15,
            "reference": "magnetic",
        },
        {"headwind_kt": 12, "crosswind_kt": 10, "from": "left"},
        0.6,
        SOURCE_6,
        "seen",
    ),
    Example(
        "comp-040-20-rwy06",
        {
            "runway_heading_deg": 60,
            "wind_from_deg": 40,
            "wind_speed_kt": 20,
            "reference": "magnetic",
        },
        {"headwind_kt": 19, "crosswind_kt": 7, "from": "left"},
        0.7,
        SOURCE_7,
        "seen",
    ),
    Example(
        "comp-040-20-rwy08",
        {
            "runway_heading_deg": 80,
            "wind_from_deg": 40,
            "wind_speed_kt": 20,
            "reference": "magnetic",
        },
        {"headwind_kt": 15, "crosswind_kt": 13, "from": "left"},
        0.7,
        SOURCE_7,
        "seen",
    ),
    Example(
        "comp-max-45-25",
        {"angle_off_runway_deg": 45, "crosswind_limit_kt": 25, "ask": "max_wind_kt"},
        {"max_wind_kt": 35},
        0.5,
        SOURCE_8,
        "seen",
    ),
    Example(
        "comp-max-30-12",
        {"angle_off_runway_deg": 30, "crosswind_limit_kt": 12, "ask": "max_wind_kt"},
        {"max_wind_kt": 24},
        0.5,
        SOURCE_9,
        "memory",
    ),
    Example(
        "comp-max-37-20",
        {"angle_off_runway_deg": 37, "crosswind_limit_kt": 20, "ask": "max_wind_kt"},
        {"max_wind_kt": 33},
        0.5,
        SOURCE_10,
        "seen",
    ),
    Example(
        "comp-max-120-26",
        {"angle_off_runway_deg": 120, "crosswind_limit_kt": 26, "ask": "max_wind_kt"},
        {"max_wind_kt": 30},
        0.5,
        SOURCE_11,
        "seen",
    ),
    Example(
        "comp-minmax-60",
        {"angle_off_runway_deg": 60, "headwind_min_kt": 10, "crosswind_limit_kt": 35},
        {"min_wind_kt": 20, "max_wind_kt": 40},
        0.5,
        SOURCE_12,
        "seen",
    ),
    Example(
        "comp-choose-south20",
        {
            "wind_from_deg": 180,
            "wind_speed_kt": 20,
            "runways": ["06", "14", "24", "32"],
            "crosswind_limit_kt": 13,
        },
        {"runway": "14"},
        0,
        SOURCE_13,
        "seen",
    ),
    Example(
        "comp-vso-exceed",
        {
            "runway_heading_deg": 300,
            "vso_kt": 60,
            "limit_rule": "0.2*VS0",
            "winds": [[260, 20], [275, 25], [315, 35]],
        },
        {"limit_kt": 12, "exceeding": [[260, 20]]},
        0.1,
        SOURCE_5,
        "seen (key and limit); other two winds from memory",
    ),
    Example(
        "comp-gust-approach-70-15",
        {"normal_approach_kt": 70, "gust_factor_kt": 15, "rule": "normal + gust_factor/2"},
        {"approach_kt": 77},
        0.6,
        SOURCE_14,
        "seen",
    ),
    Example(
        "comp-clock-20-30",
        {"angle_off_runway_deg": 20, "wind_speed_kt": 30, "rule": "clock: min(angle,60)/60"},
        {"crosswind_estimate_kt": 10},
        0.1,
        SOURCE_15,
        "seen",
    ),
    Example(
        "comp-gust-r20-24015g25",
        {
            "runway_heading_deg": 200,
            "wind_from_deg": 240,
            "wind_speed_kt": 15,
            "gust_kt": 25,
            "reference": "magnetic",
        },
        {"headwind_kt": 11.49, "crosswind_kt": 9.64, "gust_crosswind_kt": 16.07},
        0.05,
        SOURCE_16,
        "derived",
    ),
    Example(
        "comp-calm",
        {"metar_wind": "00000KT", "runway_heading_deg": 270},
        {"headwind_kt": 0, "crosswind_kt": 0},
        0,
        SOURCE_17,
        "derived",
    ),
    Example(
        "comp-sector-32012g22-280v350",
        {
            "metar_wind": "32012G22KT 280V350",
            "runway_heading_deg": 320,
            "use": "mean speed",
            "reference": "treat as same reference",
        },
        {"mean_crosswind_kt": 0, "worst_sector_crosswind_kt": 7.71, "worst_sector_tailwind_kt": 0},
        0.05,
        SOURCE_18,
        "derived",
    ),
)

BY_ID = {example.id: example for example in EXAMPLES}


def test_every_worked_example_of_this_kind_is_copied_as_it_stands(reference):
    assert [tuple(example) for example in EXAMPLES] == published(reference, "components")


def test_every_copied_example_is_asked_by_a_test_below():
    assert set(BY_ID) == ASKED


RESOLVED = ("comp-r", "comp-040", "comp-gust-r20")
LARGEST = ("comp-max", "comp-minmax")
SINGLE = (
    "comp-choose-south20",
    "comp-vso-exceed",
    "comp-gust-approach-70-15",
    "comp-clock-20-30",
    "comp-calm",
    "comp-sector-32012g22-280v350",
)
ASKED = {name for name in BY_ID if name.startswith((*RESOLVED, *LARGEST, *SINGLE))}


def resolved(inputs):
    """The wind of a question on its runway; both in one reference, so either serves as true."""
    gust = inputs.get("gust_kt")
    wind = Wind(
        Steady(DegreesTrue(inputs["wind_from_deg"])),
        Knots(inputs["wind_speed_kt"]),
        None if gust is None else Knots(gust),
    )
    return wind_on_runway(wind, DegreesTrue(inputs["runway_heading_deg"]))


@pytest.mark.parametrize("example", those(EXAMPLES, *RESOLVED))
def test_components_agree_with_the_published_figures(example):
    found = resolved(example.inputs)
    for key, figure in example.expected.items():
        match key:
            case "headwind_kt":
                assert found.mean.headwind == pytest.approx(figure, abs=example.tolerance)
            case "crosswind_kt":
                assert abs(found.mean.crosswind) == pytest.approx(figure, abs=example.tolerance)
            case "gust_crosswind_kt":
                assert abs(found.gust.crosswind) == pytest.approx(figure, abs=example.tolerance)
                assert found.worst_crosswind == abs(found.gust.crosswind)
            case "from":
                assert (found.mean.crosswind > 0) is (figure == "right")
            case _:
                pytest.fail(f"nothing asks {key}")


@pytest.mark.parametrize("example", those(EXAMPLES, *LARGEST))
def test_the_largest_wind_for_a_crosswind_limit_agrees(example):
    given = example.inputs
    found = largest_wind_for_crosswind(
        Knots(given["crosswind_limit_kt"]), given["angle_off_runway_deg"]
    )
    assert found == pytest.approx(example.expected["max_wind_kt"], abs=example.tolerance)


def test_the_least_wind_for_a_headwind_agrees():
    example = BY_ID["comp-minmax-60"]
    found = least_wind_for_headwind(
        Knots(example.inputs["headwind_min_kt"]), example.inputs["angle_off_runway_deg"]
    )
    assert found == pytest.approx(example.expected["min_wind_kt"], abs=example.tolerance)


def test_the_tailwind_that_comes_with_the_largest_wind_is_half_of_it():
    # Note of comp-max-120-26: a 15 kt tailwind accompanies the 30 kt.
    assert largest_wind_for_tailwind(Knots(15), 120) == pytest.approx(30)


def test_the_best_end_has_the_headwind_not_only_the_crosswind():
    example = BY_ID["comp-choose-south20"]
    names = example.inputs["runways"]
    headings = [DegreesTrue(heading_of_designator(name)) for name in names]
    place = best_end(
        DegreesTrue(example.inputs["wind_from_deg"]),
        Knots(example.inputs["wind_speed_kt"]),
        headings,
        Knots(example.inputs["crosswind_limit_kt"]),
    )
    assert names[place] == example.expected["runway"]


def test_only_one_wind_exceeds_a_fifth_of_the_stall_speed():
    example = BY_ID["comp-vso-exceed"]
    limit = demonstrated_crosswind_at_least(Knots(example.inputs["vso_kt"]))
    assert limit == pytest.approx(example.expected["limit_kt"], abs=example.tolerance)
    exceeding = [
        [wind_from, speed]
        for wind_from, speed in example.inputs["winds"]
        if resolved(
            {
                "wind_from_deg": wind_from,
                "wind_speed_kt": speed,
                "runway_heading_deg": example.inputs["runway_heading_deg"],
            }
        ).worst_crosswind
        > limit
    ]
    assert exceeding == example.expected["exceeding"]


def test_half_the_gust_factor_is_added_on_approach():
    example = BY_ID["comp-gust-approach-70-15"]
    found = approach_speed_in_gusts(
        Knots(example.inputs["normal_approach_kt"]), Knots(example.inputs["gust_factor_kt"])
    )
    assert found == pytest.approx(example.expected["approach_kt"], abs=example.tolerance)


def test_the_clock_code_estimates_the_crosswind():
    example = BY_ID["comp-clock-20-30"]
    found = clock_code_crosswind(
        Knots(example.inputs["wind_speed_kt"]), example.inputs["angle_off_runway_deg"]
    )
    expected = example.expected["crosswind_estimate_kt"]
    assert found == pytest.approx(expected, abs=example.tolerance)


def test_calm_has_no_components():
    example = BY_ID["comp-calm"]
    heading = DegreesTrue(example.inputs["runway_heading_deg"])
    found = wind_on_runway(Wind(CALM, Knots(0.0)), heading)
    assert found.mean.headwind == example.expected["headwind_kt"]
    assert found.mean.crosswind == example.expected["crosswind_kt"]


def test_a_sector_holds_a_crosswind_that_the_mean_direction_hides():
    example = BY_ID["comp-sector-32012g22-280v350"]
    wind = Wind(
        Steady(DegreesTrue(320)),
        Knots(12),
        Knots(22),
        Sector(DegreesTrue(280), DegreesTrue(350)),
    )
    found = wind_on_runway(wind, DegreesTrue(example.inputs["runway_heading_deg"]))
    expected = example.expected
    assert found.mean.crosswind == pytest.approx(expected["mean_crosswind_kt"], abs=1e-9)
    assert found.worst_mean_crosswind == pytest.approx(
        expected["worst_sector_crosswind_kt"], abs=example.tolerance
    )
    assert found.worst_mean_tailwind == expected["worst_sector_tailwind_kt"]


@pytest.mark.parametrize(
    ("angle", "share"),
    [(15, 1 / 4), (30, 1 / 2), (45, 3 / 4), (60, 1), (75, 1), (90, 1), (120, 1), (150, 1 / 2)],
)
def test_the_clock_code_follows_the_flying_school_note(angle, share):
    # UK flying-school note: 15 minutes a quarter, 30 half, 45 three quarters, 60 or more all.
    assert clock_code_crosswind(Knots(20), angle) == pytest.approx(20 * share)
    assert clock_code_crosswind(Knots(20), -angle) == pytest.approx(20 * share)


def test_sixty_degrees_off_the_nose_is_still_a_headwind_of_half_the_speed():
    # Airmanship reference 1.1: at least one published explanation calls it a tailwind.
    found = resolved({"wind_from_deg": 60, "wind_speed_kt": 20, "runway_heading_deg": 360})
    assert found.mean.headwind == pytest.approx(10)


def test_a_crosswind_of_12_86_is_within_13():
    # FAA and EASA banks key runway 14; rounding 12.86 to 13 and asking for less would refuse it.
    found = resolved({"wind_from_deg": 180, "wind_speed_kt": 20, "runway_heading_deg": 140})
    assert not round_half_up_tenth(found.worst_crosswind) > 13


def test_no_wind_along_the_runway_exceeds_a_crosswind_limit():
    assert largest_wind_for_crosswind(Knots(10), 180) == float("inf")
    assert largest_wind_for_tailwind(Knots(10), 45) == float("inf")
    assert least_wind_for_headwind(Knots(10), 135) == float("inf")


def test_no_end_is_best_where_all_are_over_the_limit():
    assert best_end(DegreesTrue(180), Knots(20), [DegreesTrue(90)], Knots(13)) is None
