"""Edges, alternatives and notes of the control positions; the table is in tests/published."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship import control_words as words
from windwatch.airmanship.control_positions import card_of_eight, control_positions
from windwatch.airmanship.control_table import (
    Ailerons,
    Deflection,
    Pitch,
    Quarter,
    Roll,
    Yoke,
    quarter_of,
)
from windwatch.wind import (
    CALM,
    MISSING,
    VARIABLE,
    DegreesTrue,
    Knots,
    Sector,
    Steady,
    Wind,
)

NORTH = DegreesTrue(360)
MIRRORED = {Roll.LEFT: Roll.RIGHT, Roll.RIGHT: Roll.LEFT, Roll.CENTRE: Roll.CENTRE}


def steady(wind_from, speed=18, gust=None, sector=None):
    return Wind(
        Steady(DegreesTrue(wind_from)),
        Knots(speed),
        None if gust is None else Knots(gust),
        None if sector is None else Sector(*map(DegreesTrue, sector)),
    )


def held(
    wind_from,
    gear=Gear.NOSEWHEEL,
    wing=WingPosition.HIGH,
    taxi_speed=0,
    **wind,
):
    return control_positions(steady(wind_from, **wind), NORTH, gear, wing, Knots(taxi_speed))


def hold(positions):
    return positions.ailerons, positions.elevator, positions.yoke


def quarters(positions):
    return [other.relative_wind.quarter for other in positions.alternatives]


# --- laws ---------------------------------------------------------------------

gears, wings = st.sampled_from(Gear), st.sampled_from(WingPosition)
angles, taxi_speeds = st.integers(1, 360), st.integers(0, 25)
speeds = st.integers(1, 50)
perhaps_sectors = st.none() | st.tuples(angles, angles)


def mirror(wind):
    sector = wind.sector and Sector(
        DegreesTrue(360 - wind.sector.to_true), DegreesTrue(360 - wind.sector.from_true)
    )
    return wind._replace(
        direction=Steady(DegreesTrue(360 - wind.direction.wind_from)), sector=sector
    )


def mirrored_hold(positions):
    left, right = positions.ailerons
    roll, pitch = positions.yoke
    return Ailerons(right, left), positions.elevator, Yoke(MIRRORED[roll], pitch)


def swapped(note):
    return note.replace("left", "?").replace("right", "left").replace("?", "right")


@given(angles, speeds, perhaps_sectors, gears, wings, taxi_speeds)
def test_a_mirrored_wind_gives_mirrored_positions(angle, speed, sector, gear, wing, taxi_speed):
    wind = steady(angle, speed, sector=sector)
    one = control_positions(wind, NORTH, gear, wing, Knots(taxi_speed))
    other = control_positions(mirror(wind), NORTH, gear, wing, Knots(taxi_speed))
    assert mirrored_hold(one) == hold(other)
    assert one.most_critical is other.most_critical
    assert {mirrored_hold(each) for each in one.alternatives} == {
        hold(each) for each in other.alternatives
    }
    if sector is None:
        assert [swapped(note) for note in one.notes] == list(other.notes)


@given(angles, st.integers(0, 359), speeds, perhaps_sectors, gears, wings)
def test_turning_wind_and_aeroplane_together_changes_nothing(angle, by, speed, sector, gear, wing):
    wind = steady(angle, speed, sector=sector)
    turned = wind._replace(
        direction=Steady(DegreesTrue((angle + by) % 360)),
        sector=sector and Sector(*(DegreesTrue((end + by) % 360) for end in sector)),
    )
    assert control_positions(wind, NORTH, gear, wing) == control_positions(
        turned, DegreesTrue(by), gear, wing
    )


@given(angles, speeds, perhaps_sectors, gears, wings, taxi_speeds)
def test_aileron_elevator_and_yoke_always_agree(angle, speed, sector, gear, wing, taxi_speed):
    found = control_positions(
        steady(angle, speed, sector=sector), NORTH, gear, wing, Knots(taxi_speed)
    )
    for positions in (found, *found.alternatives):
        left, right = positions.ailerons
        assert (left is Deflection.UP) is (positions.yoke.roll is Roll.LEFT)
        assert (right is Deflection.UP) is (positions.yoke.roll is Roll.RIGHT)
        assert (left is Deflection.DOWN) is (right is Deflection.UP)
        assert (positions.elevator is Deflection.UP) is (positions.yoke.pitch is Pitch.BACK)
        assert (positions.elevator is Deflection.DOWN) is (positions.yoke.pitch is Pitch.FORWARD)
    assert hold(found) not in [hold(other) for other in found.alternatives]


@given(angles, speeds, gears, wings, taxi_speeds)
def test_taxi_speed_never_changes_the_answer(angle, speed, gear, wing, taxi_speed):
    standing = control_positions(steady(angle, speed), NORTH, gear, wing)
    taxiing = control_positions(steady(angle, speed), NORTH, gear, wing, Knots(taxi_speed))
    assert hold(taxiing) == hold(standing)
    assert taxiing.relative_wind == standing.relative_wind


# --- edges ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("angle", "quarter", "side"),
    [
        (345, Quarter.HEADWIND, None),
        (15, Quarter.HEADWIND, None),
        (15.1, Quarter.QUARTERING_HEADWIND, Roll.RIGHT),
        (74.9, Quarter.QUARTERING_HEADWIND, Roll.RIGHT),
        (75, Quarter.CROSSWIND, Roll.RIGHT),
        (105, Quarter.CROSSWIND, Roll.RIGHT),
        (105.1, Quarter.QUARTERING_TAILWIND, Roll.RIGHT),
        (164.9, Quarter.QUARTERING_TAILWIND, Roll.RIGHT),
        (165, Quarter.TAILWIND, None),
        (195, Quarter.TAILWIND, None),
        (195.1, Quarter.QUARTERING_TAILWIND, Roll.LEFT),
        (254.9, Quarter.QUARTERING_TAILWIND, Roll.LEFT),
        (255, Quarter.CROSSWIND, Roll.LEFT),
        (285, Quarter.CROSSWIND, Roll.LEFT),
        (285.1, Quarter.QUARTERING_HEADWIND, Roll.LEFT),
        (344.9, Quarter.QUARTERING_HEADWIND, Roll.LEFT),
    ],
)
def test_within_15_degrees_of_nose_tail_and_wingtip_is_straight_or_square(angle, quarter, side):
    assert quarter_of(angle) == (quarter, side)


@pytest.mark.parametrize(("angle", "aileron"), [(100, "right"), (260, "left")])
def test_square_across_is_held_as_a_headwind(angle, aileron):
    found = held(angle, Gear.TAILWHEEL)
    assert getattr(found.ailerons, aileron) is Deflection.UP
    assert found.elevator is Deflection.UP


# --- alternatives ---------------------------------------------------------------


@pytest.mark.parametrize("angle", [360, 5, 45, 65, 80, 90, 120, 135, 150, 180, 185, 225, 310])
def test_a_wind_well_inside_its_quarter_has_no_alternative(angle):
    assert held(angle).alternatives == ()


@pytest.mark.parametrize(
    ("angle", "other"),
    [
        (10, Quarter.QUARTERING_HEADWIND),
        (20, Quarter.HEADWIND),
        (100, Quarter.QUARTERING_TAILWIND),
        (110, Quarter.CROSSWIND),
        (160, Quarter.TAILWIND),
        (170, Quarter.QUARTERING_TAILWIND),
        (340, Quarter.HEADWIND),
    ],
)
def test_ten_degrees_over_an_edge_lists_the_other_position(angle, other):
    found = held(angle)
    assert quarters(found) == [other]
    assert any("10° of direction would change the answer" in note for note in found.notes)


def test_an_edge_that_changes_no_control_is_not_an_alternative():
    assert held(70).alternatives == ()  # quartering headwind or square across: held alike


def test_a_sector_lists_every_other_position_it_reaches_the_most_critical_first():
    found = held(45, sector=(350, 140))
    assert quarters(found) == [Quarter.QUARTERING_TAILWIND, Quarter.HEADWIND]
    assert found.alternatives[0].most_critical
    assert any("The reported sector also holds" in note for note in found.notes)
    assert words.MAY_BECOME_CRITICAL.format(wing=words.ABOVE_ALL) in found.notes


def test_a_sector_on_both_sides_of_the_tail_shows_both_sides():
    found = held(180, sector=(140, 220))
    assert {other.yoke.roll for other in found.alternatives} == {Roll.LEFT, Roll.RIGHT}


def test_a_sector_through_north_is_one_arc():
    found = held(360, sector=(330, 20))
    assert {other.yoke.roll for other in found.alternatives} == {Roll.LEFT, Roll.RIGHT}
    assert all(q is Quarter.QUARTERING_HEADWIND for q in quarters(found))


def test_alternatives_have_no_alternatives_of_their_own():
    for other in held(45, sector=(350, 200), taxi_speed=10).alternatives:
        assert other.alternatives == ()


# --- the most critical ------------------------------------------------------------


@pytest.mark.parametrize("gear", Gear)
@pytest.mark.parametrize("wing", WingPosition)
@pytest.mark.parametrize("angle", [135, 225])
def test_a_quartering_tailwind_is_flagged_for_every_type(gear, wing, angle):
    found = held(angle, gear, wing)
    assert found.most_critical
    assert found.notes[0].startswith("Quartering tailwind: the most critical wind")
    assert "No sudden power, no sharp braking." in found.notes[0]
    assert ("high wing above all" in found.notes[0]) is (wing is WingPosition.HIGH)


@pytest.mark.parametrize("angle", [360, 45, 90, 180, 270, 315])
def test_no_other_wind_is_flagged(angle):
    assert not held(angle, Gear.TAILWHEEL).most_critical


# --- direction unknown, calm, light -------------------------------------------------


@pytest.mark.parametrize("direction", [VARIABLE, MISSING])
@pytest.mark.parametrize("gear", Gear)
def test_an_unknown_direction_expects_a_quartering_tailwind_from_either_side(direction, gear):
    found = control_positions(Wind(direction, Knots(12)), NORTH, gear, WingPosition.HIGH)
    assert found.notes[0] == (
        "Direction unknown: follow the windsock, expect a quartering tailwind."
    )
    assert found.relative_wind == (None, 12, None, Quarter.QUARTERING_TAILWIND)
    assert found.most_critical
    assert found.elevator is Deflection.DOWN
    right, left = found.alternatives
    assert (right.relative_wind.angle_deg, left.relative_wind.angle_deg) == (135, 225)
    assert (right.yoke.roll, left.yoke.roll) == (Roll.LEFT, Roll.RIGHT)


def test_calm_is_held_as_a_headwind():
    calm = Wind(CALM, Knots(0))
    nosewheel = control_positions(calm, NORTH, Gear.NOSEWHEEL, WingPosition.HIGH)
    tailwheel = control_positions(calm, NORTH, Gear.TAILWHEEL, WingPosition.HIGH)
    assert nosewheel.relative_wind == (None, 0, None, Quarter.LIGHT)
    assert words.in_words(nosewheel) == "hold neutral: ailerons neutral, elevator neutral"
    assert words.in_words(tailwheel) == "centred, back: ailerons neutral, elevator up"


def test_taxiing_in_calm_makes_a_headwind():
    calm = Wind(CALM, Knots(0))
    found = control_positions(calm, NORTH, Gear.NOSEWHEEL, WingPosition.HIGH, Knots(10))
    assert found.moving == (0, 10, None, Quarter.HEADWIND)


def test_a_gust_out_of_a_calm_comes_from_anywhere():
    found = control_positions(
        Wind(CALM, Knots(0), Knots(15)), NORTH, Gear.NOSEWHEEL, WingPosition.HIGH
    )
    assert len(found.alternatives) == 2


@pytest.mark.parametrize(
    ("gear", "speed", "gust", "quarter"),
    [
        (Gear.NOSEWHEEL, 5, None, Quarter.LIGHT),
        (Gear.NOSEWHEEL, 6, None, Quarter.QUARTERING_TAILWIND),
        (Gear.NOSEWHEEL, 4, 9, Quarter.QUARTERING_TAILWIND),
        (Gear.TAILWHEEL, 3, None, Quarter.QUARTERING_TAILWIND),
    ],
)
def test_a_light_wind_is_one_whose_gust_is_up_to_5_kt_on_a_nosewheel(gear, speed, gust, quarter):
    found = held(135, gear, speed=speed, gust=gust)
    assert found.relative_wind.quarter is quarter
    assert found.most_critical is (quarter is not Quarter.LIGHT)
    assert (words.LIGHT_NOTE in found.notes) is (quarter is Quarter.LIGHT)


def test_the_controls_are_held_in_a_light_wind_too():
    assert hold(held(135, speed=4)) == hold(held(135, speed=18))


# --- own motion -------------------------------------------------------------------


def test_a_slow_tailwind_becomes_a_headwind_while_moving_and_both_are_shown():
    found = held(180, speed=6, taxi_speed=10)
    assert found.relative_wind.quarter is Quarter.TAILWIND
    assert quarters(found) == [Quarter.HEADWIND]
    assert (
        "At 10 kt of taxi speed the air meets the aeroplane at 4 kt as a headwind; "
        "when braking it is a tailwind again."
    ) in found.notes


def test_the_gust_may_stay_behind_where_the_mean_wind_is_overtaken():
    found = held(180, speed=6, gust=16, taxi_speed=10)
    told = [note for note in found.notes if "taxi speed" in note]
    assert len(told) == 1
    assert "in a gust" not in told[0]


def test_a_gust_from_ahead_of_the_wingtip_is_told_beside_the_mean():
    found = held(135, speed=10, gust=15, taxi_speed=10)
    told = [note for note in found.notes if "taxi speed" in note]
    assert "as a quartering headwind from the right" in told[0]
    assert "in a gust the air meets the aeroplane at 10.6 kt as a crosswind" in told[1]


def test_taxiing_with_the_wind_leaves_no_airflow():
    found = held(180, speed=10, taxi_speed=10)
    assert found.moving.angle_deg is None
    assert "moves with the wind; when braking it is a tailwind again" in " ".join(found.notes)


def test_standing_still_says_nothing_of_motion():
    found = held(180, speed=6)
    assert found.moving is None
    assert not any("taxi speed" in note for note in found.notes)


# --- notes where opinions differ ------------------------------------------------------


@pytest.mark.parametrize(
    ("angle", "gear", "speed", "note", "told"),
    [
        (180, Gear.TAILWHEEL, 8, words.SLIPSTREAM, True),
        (135, Gear.TAILWHEEL, 8, words.SLIPSTREAM, True),
        (180, Gear.TAILWHEEL, 18, words.SLIPSTREAM, False),
        (180, Gear.NOSEWHEEL, 8, words.SLIPSTREAM, False),
        (360, Gear.TAILWHEEL, 30, words.EASE_FORWARD, True),
        (360, Gear.TAILWHEEL, 15, words.EASE_FORWARD, False),
        (90, Gear.NOSEWHEEL, 18, words.ABEAM, True),
        (45, Gear.NOSEWHEEL, 18, words.ABEAM, False),
        (180, Gear.NOSEWHEEL, 18, words.ASTERN, True),
        (45, Gear.NOSEWHEEL, 18, words.HELD_BACK, True),
        (135, Gear.NOSEWHEEL, 18, words.HELD_BACK, False),
        (45, Gear.TAILWHEEL, 18, words.HELD_BACK, False),
    ],
)
def test_disagreements_are_noted_where_they_apply(angle, gear, speed, note, told):
    assert (note in held(angle, gear, speed=speed).notes) is told


# --- words and JSON --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("angle", "gear", "text"),
    [
        (
            135,
            Gear.NOSEWHEEL,
            "turn left, forward: left aileron up, right aileron down, elevator down",
        ),
        (315, Gear.TAILWHEEL, "turn left, back: left aileron up, right aileron down, elevator up"),
        (
            45,
            Gear.NOSEWHEEL,
            "turn right, pitch neutral: left aileron down, right aileron up, elevator neutral",
        ),
        (180, Gear.NOSEWHEEL, "centred, forward: ailerons neutral, elevator down"),
    ],
)
def test_positions_in_words(angle, gear, text):
    assert words.in_words(held(angle, gear)) == text


@pytest.mark.parametrize(
    ("wind", "text"),
    [
        (steady(225), "quartering tailwind from the left"),
        (steady(360), "headwind"),
        (steady(225, 4), "light, quartering tailwind from the left"),
        (Wind(CALM, Knots(0)), "calm"),
        (Wind(VARIABLE, Knots(9)), "quartering tailwind expected, side unknown"),
    ],
)
def test_the_relative_wind_in_words(wind, text):
    found = control_positions(wind, NORTH, Gear.NOSEWHEEL, WingPosition.HIGH)
    assert words.wind_in_words(found.relative_wind) == text


def test_the_json_of_the_taxi_command():
    found = held(140, speed=18, gust=25, taxi_speed=5).as_json()
    assert found == {
        "relative_wind": {
            "angle_deg": 140,
            "speed_kt": 18,
            "gust_kt": 25,
            "quarter": "quartering tailwind",
        },
        "ailerons": {"left": "up", "right": "down"},
        "elevator": "down",
        "yoke": {"roll": "left", "pitch": "forward"},
        "most_critical": True,
        "alternatives": [],
        "notes": [words.MOST_CRITICAL.format(wing=words.ABOVE_ALL)],
        "relative_wind_moving": {
            "angle_deg": 127.2,
            "speed_kt": 14.5,
            "gust_kt": 21.4,
            "quarter": "quartering tailwind",
        },
    }


def test_no_angle_in_json_is_360():
    assert held(360).as_json()["relative_wind"]["angle_deg"] == 0
    almost = control_positions(steady(180), DegreesTrue(180.01), Gear.NOSEWHEEL, WingPosition.HIGH)
    assert almost.as_json()["relative_wind"]["angle_deg"] == 0


def test_the_card_goes_clockwise_from_the_nose_without_alternatives():
    card = card_of_eight(Knots(18), None, Gear.NOSEWHEEL, WingPosition.HIGH)
    assert [held.relative_wind.angle_deg for held in card] == list(range(0, 360, 45))
    assert all(held.alternatives == () for held in card)


def test_the_card_of_a_calm_is_calm_all_round():
    card = card_of_eight(Knots(0), None, Gear.NOSEWHEEL, WingPosition.HIGH)
    assert {held.relative_wind.angle_deg for held in card} == {None}


@pytest.mark.parametrize(("speed", "taxi_speed"), [(-1, 0), (10, -1)])
def test_a_negative_speed_is_refused(speed, taxi_speed):
    with pytest.raises(ValueError, match="0 kt or more, not -1"):
        held(180, speed=speed, taxi_speed=taxi_speed)
