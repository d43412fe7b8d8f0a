"""Parked aeroplanes against published advice and figures.

Copied from the worked examples kept beside the project; each row names its source and whether it
was seen in print, remembered or derived. Values are the publication's, tolerances too.
"""

import pytest

from tests.published.worked import Example, published, those
from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship import ropes
from windwatch.airmanship.tie_down import tie_down_reminders
from windwatch.airmanship.wing_lift import (
    dynamic_pressure_psf,
    ground_gust_design_speed,
    ground_gust_design_speed_fps,
    lift_share,
)
from windwatch.wind import DegreesTrue, Knots, Steady, Wind

SOURCE_1 = "FAA AC 20-35C Tiedown Sense"
SOURCE_2 = "EASA PPL operational-procedures bank q55"
SOURCE_3 = (
    "Rope maker minimum-tensile table (manila/nylon/polypropylene) against the AC "
    "20-35C 3,000 lb figure"
)
SOURCE_4 = "L = half rho V^2 S CL with W = half rho Vs^2 S CLmax (PHAK aerodynamics)"
SOURCE_5 = "14 CFR 23.415(a)(2) legacy: 14.6*sqrt(W/S)+14.6 fps, need not exceed 88 fps"
SOURCE_6 = "14 CFR 25.415 constant (0.0034 V^2, V in knots, 65 kt)"

EXAMPLES = (
    Example(
        "td-anchor-single",
        {"ask": "minimum anchor holding power", "engines": 1},
        {"lbf": 3000},
        0,
        SOURCE_1,
        "seen",
    ),
    Example("td-rope-min", {"ask": "minimum rope strength"}, {"lbf": 3000}, 0, SOURCE_1, "seen"),
    Example(
        "td-slack",
        {"ask": "allowance for movement"},
        {"inches": 1, "reason": "manila shrinks when wet"},
        0,
        SOURCE_1,
        "seen",
    ),
    Example(
        "td-slack-which",
        {"ask": "rope type needing slack"},
        {"rope": "manila"},
        0,
        SOURCE_2,
        "seen",
    ),
    Example(
        "td-rope-manila-1_2",
        {"rope": "manila", "diameter_in": "1/2", "new_min_tensile_lbf": 2380, "required_lbf": 3000},
        {"adequate": False},
        0,
        SOURCE_3,
        "seen",
    ),
    Example(
        "td-rope-nylon-3_8",
        {"rope": "nylon", "diameter_in": "3/8", "new_min_tensile_lbf": 3340, "required_lbf": 3000},
        {"adequate": True},
        0,
        SOURCE_3,
        "seen",
    ),
    Example(
        "td-rope-polypropylene-3_8",
        {
            "rope": "polypropylene",
            "diameter_in": "3/8",
            "new_min_tensile_lbf": 2440,
            "required_lbf": 3000,
        },
        {"adequate": False},
        0,
        SOURCE_3,
        "seen",
    ),
    Example(
        "td-lift-half",
        {
            "wind_kt": 24,
            "vs_at_max_weight_kt": 48,
            "cl_ratio": 1.0,
            "weight_fraction_of_max": 1.0,
            "air": "sea-level standard",
        },
        {"lift_fraction_of_weight": 0.25},
        0.002,
        SOURCE_4,
        "derived",
    ),
    Example(
        "td-lift-35-48-035",
        {
            "wind_kt": 35,
            "vs_at_max_weight_kt": 48,
            "cl_ratio": 0.35,
            "weight_fraction_of_max": 1.0,
            "air": "sea-level standard",
        },
        {"lift_fraction_of_weight": 0.186},
        0.002,
        SOURCE_4,
        "derived",
    ),
    Example(
        "td-23415-16",
        {"wing_loading_psf": 16, "ask": "ground-gust control-surface design speed"},
        {"fps": 73.0, "kt": 43.3},
        0.1,
        SOURCE_5,
        "seen",
    ),
    Example(
        "td-q65",
        {"wind_kt": 65, "ask": "dynamic pressure from 0.0034 V^2"},
        {"psf": 14.4},
        0.1,
        SOURCE_6,
        "seen",
    ),
    Example(
        "td-tailwheel-upwind",
        {"gear": "tailwheel", "parked": "nose into wind", "ask": "elevator lock position"},
        {"elevator": "up"},
        0,
        SOURCE_1,
        "memory (sentence seen only in part)",
    ),
    Example(
        "td-ailerons",
        {"ask": "ailerons and rudder when secured"},
        {"position": "neutral, locked"},
        0,
        SOURCE_1,
        "seen",
    ),
    Example(
        "td-never-strut", {"ask": "tie to lift strut?"}, {"allowed": False}, 0, SOURCE_1, "seen"
    ),
)

BY_ID = {example.id: example for example in EXAMPLES}


def test_every_worked_example_of_this_kind_is_copied_as_it_stands(reference):
    assert [tuple(example) for example in EXAMPLES] == published(reference, "tiedown")


def test_every_copied_example_is_asked_by_a_test_below():
    assert set(BY_ID) == ASKED


ROPE_ROWS = ("td-rope-manila", "td-rope-nylon", "td-rope-polypropylene")
LIFT_ROWS = ("td-lift",)
ASKED = {name for name in BY_ID if name.startswith((*ROPE_ROWS, *LIFT_ROWS))} | {
    "td-anchor-single",
    "td-rope-min",
    "td-slack",
    "td-slack-which",
    "td-23415-16",
    "td-q65",
    "td-tailwheel-upwind",
    "td-ailerons",
    "td-never-strut",
}


def texts(gear=Gear.NOSEWHEEL, wing=WingPosition.HIGH):
    wind = Wind(Steady(DegreesTrue(300)), Knots(20), Knots(30))
    return " ".join(reminder.text for reminder in tie_down_reminders(gear, wing, wind))


def test_an_anchor_holds_what_the_circular_asks():
    pounds = BY_ID["td-anchor-single"].expected["lbf"]
    assert pounds == ropes.ANCHOR_LBF_SINGLE_ENGINE
    assert f"Anchors that hold about {pounds:,} lb" in texts()


def test_a_rope_holds_what_the_circular_asks():
    pounds = BY_ID["td-rope-min"].expected["lbf"]
    assert pounds == ropes.ROPE_LBF
    assert f"Ropes of at least {pounds:,} lb" in texts()


def test_about_an_inch_is_left_for_movement():
    example = BY_ID["td-slack"]
    assert example.expected["inches"] == ropes.SLACK_INCHES
    assert f"about {example.expected['inches']} inch" in texts()
    assert "manila, which shrinks when wet" in texts()


def test_manila_is_the_rope_that_needs_slack():
    expected = ropes.Rope(BY_ID["td-slack-which"].expected["rope"])
    assert {expected} == ropes.NEEDS_SLACK_FOR_SHRINKING


@pytest.mark.parametrize("example", those(EXAMPLES, *ROPE_ROWS))
def test_a_rope_is_judged_against_the_circular(example):
    given = example.inputs
    rope = ropes.Rope(given["rope"])
    assert ropes.TENSILE_LBF[rope][given["diameter_in"]] == given["new_min_tensile_lbf"]
    found = ropes.is_strong_enough(rope, given["diameter_in"], given["required_lbf"])
    assert found is example.expected["adequate"]


@pytest.mark.parametrize("example", those(EXAMPLES, *LIFT_ROWS))
def test_the_wing_carries_the_computed_share_of_the_weight(example):
    given = example.inputs
    found = lift_share(
        Knots(given["wind_kt"]),
        Knots(given["vs_at_max_weight_kt"]),
        given["cl_ratio"],
        weight_fraction=given["weight_fraction_of_max"],
    )
    expected = example.expected["lift_fraction_of_weight"]
    assert found == pytest.approx(expected, abs=example.tolerance)


def test_the_ground_gust_of_the_legacy_rule():
    example = BY_ID["td-23415-16"]
    loading = example.inputs["wing_loading_psf"]
    assert ground_gust_design_speed_fps(loading) == pytest.approx(
        example.expected["fps"], abs=example.tolerance
    )
    assert ground_gust_design_speed(loading) == pytest.approx(
        example.expected["kt"], abs=example.tolerance
    )


def test_the_ground_gust_need_not_exceed_88_feet_per_second():
    # 14 CFR 23.415(a)(2), before amendment 23-64: 88 ft/s, 52 kt.
    assert ground_gust_design_speed_fps(40) == 88
    assert ground_gust_design_speed(40) == pytest.approx(52, abs=0.5)


def test_the_dynamic_pressure_of_the_rule():
    example = BY_ID["td-q65"]
    found = dynamic_pressure_psf(Knots(example.inputs["wind_kt"]))
    assert found == pytest.approx(example.expected["psf"], abs=example.tolerance)


def test_a_tailwheel_elevator_is_locked_up_with_the_nose_into_the_wind():
    position = BY_ID["td-tailwheel-upwind"].expected["elevator"]
    assert f"Nose into the wind: lock the elevator {position}." in texts(Gear.TAILWHEEL)
    assert "lock the elevator up" not in texts(Gear.NOSEWHEEL)


def test_ailerons_and_rudder_are_locked_neutral():
    assert BY_ID["td-ailerons"].expected["position"] == "neutral, locked"
    assert "Lock ailerons and rudder neutral" in texts()


def test_nothing_is_tied_to_a_lift_strut():
    assert BY_ID["td-never-strut"].expected["allowed"] is False
    assert "never to a lift strut" in texts(wing=WingPosition.HIGH)


def test_a_rope_at_45_degrees_carries_41_percent_more_than_the_uplift():
    # Airmanship reference 3.3, derived: 1 / cos 45°.
    assert ropes.rope_tension(1000) == pytest.approx(1414, abs=1)
