"""Taxi control positions against published questions and values.

Copied from the worked examples kept beside the project; each row names its source and whether it
was seen in print, remembered or derived. Values are the publication's, tolerances too.
"""

import pytest

from tests.published.worked import Example, published, those
from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship.control_positions import card_of_eight, control_positions
from windwatch.airmanship.control_table import Deflection, Pitch, Quarter, Roll
from windwatch.wind import DegreesTrue, Knots, Steady, Wind

SOURCE_1 = "FAA private pilot question bank, Fig. 9 area A"
SOURCE_2 = "FAA private pilot question bank, Fig. 9 area B"
SOURCE_3 = "FAA private pilot question bank, Fig. 9 area C"
SOURCE_4 = "FAA private pilot question bank, Fig. 9 area C mirrored (area D)"
SOURCE_5 = "AFH-3C ch.2 (elevator neutral, nosewheel, headwind); ailerons common practice"
SOURCE_6 = "AFH-3C ch.2 (elevator full aft, tailwheel, headwind); ailerons common practice"
SOURCE_7 = "FAA private pilot question bank"
SOURCE_8 = "Vector sum of wind and own motion"
SOURCE_9 = "Rotation of Fig. 9 area A across north"

EXAMPLES = (
    Example(
        "taxi-tri-315",
        {"gear": "tricycle", "relative_wind_from_deg": 315},
        {
            "upwind_side": "left",
            "upwind_aileron": "up",
            "elevator": "neutral",
            "yoke_lateral": "toward_wind",
            "yoke_fore_aft": "neutral",
        },
        0,
        SOURCE_1,
        "seen",
    ),
    Example(
        "taxi-tw-045",
        {"gear": "tailwheel", "relative_wind_from_deg": 45},
        {
            "upwind_side": "right",
            "upwind_aileron": "up",
            "elevator": "up",
            "yoke_lateral": "toward_wind",
            "yoke_fore_aft": "aft",
        },
        0,
        SOURCE_2,
        "seen",
    ),
    Example(
        "taxi-tw-225",
        {"gear": "tailwheel", "relative_wind_from_deg": 225},
        {
            "upwind_side": "left",
            "upwind_aileron": "down",
            "elevator": "down",
            "yoke_lateral": "away_from_wind",
            "yoke_fore_aft": "forward",
        },
        0,
        SOURCE_3,
        "seen",
    ),
    Example(
        "taxi-tri-225",
        {"gear": "tricycle", "relative_wind_from_deg": 225},
        {
            "upwind_side": "left",
            "upwind_aileron": "down",
            "elevator": "down",
            "yoke_lateral": "away_from_wind",
            "yoke_fore_aft": "forward",
        },
        0,
        SOURCE_3,
        "seen",
    ),
    Example(
        "taxi-tri-135",
        {"gear": "tricycle", "relative_wind_from_deg": 135},
        {
            "upwind_side": "right",
            "upwind_aileron": "down",
            "elevator": "down",
            "yoke_lateral": "away_from_wind",
            "yoke_fore_aft": "forward",
        },
        0,
        SOURCE_4,
        "mirror of seen key",
    ),
    Example(
        "taxi-tri-000",
        {"gear": "tricycle", "relative_wind_from_deg": 0},
        {
            "upwind_side": "none",
            "upwind_aileron": "neutral",
            "elevator": "neutral",
            "yoke_lateral": "centre",
            "yoke_fore_aft": "neutral",
        },
        0,
        SOURCE_5,
        "seen (elevator)",
    ),
    Example(
        "taxi-tw-000",
        {"gear": "tailwheel", "relative_wind_from_deg": 0},
        {
            "upwind_side": "none",
            "upwind_aileron": "neutral",
            "elevator": "up",
            "yoke_lateral": "centre",
            "yoke_fore_aft": "aft",
        },
        0,
        SOURCE_6,
        "seen (elevator)",
    ),
    Example(
        "taxi-critical",
        {
            "question": "most critical wind, nosewheel high-wing",
            "choices": ["quartering headwind", "direct crosswind", "quartering tailwind"],
        },
        {"answer": "quartering tailwind"},
        0,
        SOURCE_7,
        "seen",
    ),
    Example(
        "taxi-strong-qhw",
        {"question": "aileron, strong quartering headwind, side of wind"},
        {"upwind_aileron": "up"},
        0,
        SOURCE_7,
        "seen",
    ),
    Example(
        "taxi-app-135-10-10",
        {
            "aircraft_heading_deg": 0,
            "wind_from_deg": 135,
            "wind_speed_kt": 10,
            "taxi_speed_kt": 10,
            "gear": "tricycle",
            "ask": "apparent wind",
        },
        {"apparent_from_deg_relative": 67.5, "apparent_speed_kt": 7.65, "quadrant": "ahead"},
        {"apparent_from_deg_relative": 0.2, "apparent_speed_kt": 0.05},
        SOURCE_8,
        "derived",
    ),
    Example(
        "taxi-app-135-20-10",
        {
            "aircraft_heading_deg": 0,
            "wind_from_deg": 135,
            "wind_speed_kt": 20,
            "taxi_speed_kt": 10,
            "gear": "tricycle",
            "ask": "apparent wind",
        },
        {"apparent_from_deg_relative": 106.3, "apparent_speed_kt": 14.74, "quadrant": "behind"},
        {"apparent_from_deg_relative": 0.2, "apparent_speed_kt": 0.05},
        SOURCE_8,
        "derived",
    ),
    Example(
        "taxi-hdg-350-w035-tri",
        {
            "gear": "tricycle",
            "relative_wind_from_deg": 45,
            "aircraft_heading_deg": 350,
            "wind_from_deg": 35,
        },
        {
            "upwind_side": "right",
            "upwind_aileron": "up",
            "elevator": "neutral",
            "yoke_lateral": "toward_wind",
            "yoke_fore_aft": "neutral",
        },
        0,
        SOURCE_9,
        "derived",
    ),
)

BY_ID = {example.id: example for example in EXAMPLES}


def test_every_worked_example_of_this_kind_is_copied_as_it_stands(reference):
    assert [tuple(example) for example in EXAMPLES] == published(reference, "taxi")


def test_every_copied_example_is_asked_by_a_test_below():
    assert set(BY_ID) == ASKED


HELD = ("taxi-tri-", "taxi-tw-", "taxi-hdg-")
ASKED = {name for name in BY_ID if name.startswith((*HELD, "taxi-app-"))} | {
    "taxi-critical",
    "taxi-strong-qhw",
}
GEARS = {"tricycle": Gear.NOSEWHEEL, "tailwheel": Gear.TAILWHEEL}
PITCHES = {"aft": Pitch.BACK, "neutral": Pitch.NEUTRAL, "forward": Pitch.FORWARD}
SIDES = {"left": Roll.LEFT, "right": Roll.RIGHT, "none": None}
OPPOSITE = {Roll.LEFT: Roll.RIGHT, Roll.RIGHT: Roll.LEFT}


def positions(relative, gear, wing=WingPosition.HIGH, speed=18, taxi_speed=0):
    wind = Wind(Steady(DegreesTrue(relative or 360)), Knots(speed))
    return control_positions(wind, DegreesTrue(360), gear, wing, Knots(taxi_speed))


@pytest.mark.parametrize("wing", WingPosition)
@pytest.mark.parametrize("example", those(EXAMPLES, *HELD))
def test_controls_are_held_as_the_publication_says(example, wing):
    given, expected = example.inputs, example.expected
    gear = GEARS[given["gear"]]
    found = positions(given["relative_wind_from_deg"], gear, wing)
    if "aircraft_heading_deg" in given:
        wind = Wind(Steady(DegreesTrue(given["wind_from_deg"])), Knots(18))
        found = control_positions(wind, DegreesTrue(given["aircraft_heading_deg"]), gear, wing)
        assert found.relative_wind.angle_deg == given["relative_wind_from_deg"]
    upwind = SIDES[expected["upwind_side"]]
    left, right = found.ailerons
    aileron = Deflection(expected["upwind_aileron"])
    if upwind is None:
        assert left is right is aileron is Deflection.NEUTRAL
    else:
        assert (left if upwind is Roll.LEFT else right) is aileron
        assert {left, right} == {Deflection.UP, Deflection.DOWN}
    assert found.elevator is Deflection(expected["elevator"])
    match expected["yoke_lateral"]:
        case "toward_wind":
            assert found.yoke.roll is upwind
        case "away_from_wind":
            assert found.yoke.roll is OPPOSITE[upwind]
        case "centre":
            assert found.yoke.roll is Roll.CENTRE
    assert found.yoke.pitch is PITCHES[expected["yoke_fore_aft"]]


def test_the_most_critical_wind_is_the_quartering_tailwind():
    example = BY_ID["taxi-critical"]
    card = card_of_eight(Knots(18), None, Gear.NOSEWHEEL, WingPosition.HIGH)
    critical = {held.relative_wind.quarter.value for held in card if held.most_critical}
    assert critical == {example.expected["answer"]}


@pytest.mark.parametrize("gear", Gear)
def test_in_a_strong_quartering_headwind_the_upwind_aileron_is_up(gear):
    expected = BY_ID["taxi-strong-qhw"].expected["upwind_aileron"]
    assert positions(45, gear, speed=30).ailerons.right.value == expected
    assert positions(315, gear, speed=30).ailerons.left.value == expected


@pytest.mark.parametrize("example", those(EXAMPLES, "taxi-app-"))
def test_own_motion_adds_to_the_wind_from_ahead(example):
    given, expected, within = example.inputs, example.expected, example.tolerance
    gear = GEARS[given["gear"]]
    found = positions(
        given["wind_from_deg"],
        gear,
        speed=given["wind_speed_kt"],
        taxi_speed=given["taxi_speed_kt"],
    )
    assert found.moving.angle_deg == pytest.approx(
        expected["apparent_from_deg_relative"], abs=within["apparent_from_deg_relative"]
    )
    assert found.moving.speed == pytest.approx(
        expected["apparent_speed_kt"], abs=within["apparent_speed_kt"]
    )
    ahead = found.moving.angle_deg < 90 or found.moving.angle_deg > 270
    assert ahead is (expected["quadrant"] == "ahead")
    # The answer stays the one for the aeroplane standing still.
    assert found.relative_wind.quarter is Quarter.QUARTERING_TAILWIND


# Full table of the airmanship reference, section 2.2: relative wind, gear, left and right
# aileron, elevator, how the yoke is turned and held. Basis beside each row.
TABLE = [
    (
        0,
        "nosewheel",
        "neutral",
        "neutral",
        "neutral",
        "centre",
        "neutral",
        "AFH-3C; common practice",
    ),
    (45, "nosewheel", "down", "up", "neutral", "right", "neutral", "Fig. 9 area A mirrored"),
    (90, "nosewheel", "down", "up", "neutral", "right", "neutral", "common practice"),
    (135, "nosewheel", "up", "down", "down", "left", "forward", "Fig. 9 area C mirrored"),
    (180, "nosewheel", "neutral", "neutral", "down", "centre", "forward", "common practice"),
    (225, "nosewheel", "down", "up", "down", "right", "forward", "Fig. 9 area C"),
    (270, "nosewheel", "up", "down", "neutral", "left", "neutral", "common practice"),
    (315, "nosewheel", "up", "down", "neutral", "left", "neutral", "Fig. 9 area A"),
    (0, "tailwheel", "neutral", "neutral", "up", "centre", "back", "AFH-3C; common practice"),
    (45, "tailwheel", "down", "up", "up", "right", "back", "Fig. 9 area B"),
    (90, "tailwheel", "down", "up", "up", "right", "back", "common practice"),
    (135, "tailwheel", "up", "down", "down", "left", "forward", "Fig. 9 area C mirrored"),
    (180, "tailwheel", "neutral", "neutral", "down", "centre", "forward", "EASA PPL bank"),
    (225, "tailwheel", "down", "up", "down", "right", "forward", "Fig. 9 area C"),
    (270, "tailwheel", "up", "down", "up", "left", "back", "common practice"),
    (315, "tailwheel", "up", "down", "up", "left", "back", "Fig. 9 area B mirrored"),
]


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[1]} {row[0]} ({row[-1]})")
def test_the_card_of_eight_is_the_full_table(row):
    angle, gear, left, right, elevator, roll, pitch, _ = row
    card = card_of_eight(Knots(18), Knots(25), Gear(gear), WingPosition.LOW)
    held = card[angle // 45].as_json()
    assert held["relative_wind"]["angle_deg"] == angle
    assert held["ailerons"] == {"left": left, "right": right}
    assert held["elevator"] == elevator
    assert held["yoke"] == {"roll": roll, "pitch": pitch}
