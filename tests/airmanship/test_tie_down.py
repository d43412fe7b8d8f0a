"""Which reminders come, in which order, and how much of its weight a wing carries."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship import tie_down
from windwatch.airmanship.ropes import Rope, is_strong_enough
from windwatch.airmanship.tie_down import compass_point, strongest_of, tie_down_reminders, turns
from windwatch.airmanship.wing_lift import (
    OVERTURNS_EARLIER,
    air_density_ratio,
    field_pressure,
    lift_in_words,
    lift_share,
    wing_lift_share,
)
from windwatch.wind import CALM, VARIABLE, DegreesTrue, Knots, Steady, Wind


def steady(wind_from, speed, gust=None):
    return Wind(Steady(DegreesTrue(wind_from)), Knots(speed), None if gust is None else Knots(gust))


SOUTHERLY = steady(190, 17, 24)
BEHIND_THE_FRONT = steady(300, 28, 41)


def texts(gear=Gear.NOSEWHEEL, wing=WingPosition.HIGH, wind=SOUTHERLY, **given):
    return [reminder.text for reminder in tie_down_reminders(gear, wing, wind, **given)]


# --- which and in which order -----------------------------------------------------


def test_the_published_order_of_preference_comes_first():
    assert texts()[0] == tie_down.PREFERENCE.text
    fly, hangar, tie = (
        tie_down.PREFERENCE.text.index(word) for word in ("Fly", "hangar", "tie it down")
    )
    assert fly < hangar < tie


def test_reminders_come_in_the_order_of_doing():
    found = " ".join(texts(stall_speed=Knots(44)))
    order = [
        "Fly it out",
        "Point the nose",
        "Tie down (picket)",
        "Anchors",
        "Ropes",
        "Chock",
        "Lock ailerons",
        "Lock the elevator",
        "Close doors",
        "aeroplanes beside it",
        "In this wind the wing can carry",
    ]
    places = [found.index(words) for words in order]
    assert places == sorted(places)


@pytest.mark.parametrize("gear", Gear)
@pytest.mark.parametrize("wing", WingPosition)
def test_every_reminder_names_its_source(gear, wing):
    found = tie_down_reminders(
        gear,
        wing,
        SOUTHERLY,
        wind_to_come=BEHIND_THE_FRONT,
        stall_speed=Knots(40),
        front_coming=True,
    )
    assert all(reminder.source for reminder in found)
    assert len({reminder.text for reminder in found}) == len(found)


def test_tie_down_and_picketing_are_both_said_and_picketing_once():
    assert len(re.findall("picket", " ".join(texts()))) == 1


@pytest.mark.parametrize("gear", Gear)
@pytest.mark.parametrize("wing", WingPosition)
def test_no_reminder_promises_safety_or_shouts(gear, wing):
    found = " ".join(
        texts(gear, wing, stall_speed=Knots(40), wind_to_come=BEHIND_THE_FRONT, front_coming=True)
    )
    assert not re.search(r"\bsafe|all clear|!", found, re.IGNORECASE)


# --- where the nose points -----------------------------------------------------------


def test_the_nose_points_into_the_wind_as_far_as_the_points_allow():
    assert (
        "Point the nose south (190° true), into the wind, as far as the tie-down points allow."
    ) in texts()


def test_the_nose_points_into_the_strongest_wind_to_come():
    assert (
        "Point the nose north-west (300° true), into the strongest wind to come, "
        "as far as the tie-down points allow."
    ) in texts(wind_to_come=BEHIND_THE_FRONT)


def test_a_weaker_wind_to_come_does_not_turn_the_nose():
    found = texts(wind=BEHIND_THE_FRONT, wind_to_come=SOUTHERLY)
    assert any("north-west (300° true), into the wind" in text for text in found)


@pytest.mark.parametrize("wind", [None, Wind(VARIABLE, Knots(9)), Wind(CALM, Knots(0))])
def test_without_a_direction_the_windsock_decides(wind):
    assert any(
        "direction is not known, so follow the windsock" in text for text in texts(wind=wind)
    )


def test_a_wind_that_was_not_reported_leaves_the_one_to_come():
    assert strongest_of(None, SOUTHERLY) is SOUTHERLY
    assert strongest_of(SOUTHERLY, None) is SOUTHERLY
    assert strongest_of(None, None) is None


@pytest.mark.parametrize(
    ("direction", "point"),
    [(360, "north"), (22, "north"), (23, "north-east"), (190, "south"), (300, "north-west")],
)
def test_points_of_the_compass(direction, point):
    assert compass_point(DegreesTrue(direction)) == point


# --- gear and wing ---------------------------------------------------------------------


def test_a_tailwheel_elevator_lock_depends_on_how_it_stands():
    found = texts(Gear.TAILWHEEL)
    assert "Nose into the wind: lock the elevator up. Tail into the wind: lock it down." in found
    assert "Lock the tailwheel fore and aft." in found


def test_a_nosewheel_keeps_to_its_own_control_lock():
    found = texts(Gear.NOSEWHEEL)
    assert not any("lock the elevator up" in text for text in found)
    assert "Lock the nosewheel fore and aft." in found


def test_only_a_high_wing_is_warned_of_the_strut():
    assert "strut" in " ".join(texts(wing=WingPosition.HIGH))
    assert "strut" not in " ".join(texts(wing=WingPosition.LOW))


# --- before a front ------------------------------------------------------------------------


def test_a_front_puts_haste_first_and_says_that_the_wind_turns():
    found = texts(front_coming=True)
    assert found[0] == tie_down.BEFORE_THE_FRONT.text
    assert tie_down.TURNS[Gear.NOSEWHEEL].text in found


def test_a_wind_that_will_turn_asks_for_tying_again():
    assert tie_down.TURNS[Gear.NOSEWHEEL].text in texts(wind_to_come=BEHIND_THE_FRONT)
    assert tie_down.TURNS[Gear.NOSEWHEEL].text not in texts()


def test_turning_a_tailwheel_may_change_its_elevator_lock():
    found = texts(Gear.TAILWHEEL, wind_to_come=BEHIND_THE_FRONT)
    assert any("change the elevator lock to down" in text for text in found)


@pytest.mark.parametrize(
    ("now", "then", "turning"),
    [
        (steady(190, 10), steady(235, 10), False),
        (steady(190, 10), steady(236, 10), True),
        (steady(340, 10), steady(20, 10), False),
        (steady(340, 10), steady(30, 10), True),
        (steady(190, 10), Wind(VARIABLE, Knots(5)), False),
        (None, steady(190, 10), False),
        (steady(190, 10), None, False),
    ],
)
def test_a_mooring_serves_within_45_degrees_of_the_wind(now, then, turning):
    # Army mooring manuals: within 45 degrees of the wind is satisfactory.
    assert turns(now, then) is turning


# --- wing lift ------------------------------------------------------------------------------


def test_the_lift_is_told_only_with_a_stall_speed_and_a_wind():
    assert "wing can carry" in " ".join(texts(stall_speed=Knots(44)))
    assert "wing can carry" not in " ".join(texts())
    assert "wing can carry" not in " ".join(texts(wind=None, stall_speed=Knots(44)))


def test_the_lift_counts_the_strongest_gust():
    found = texts(stall_speed=Knots(44), wind_to_come=BEHIND_THE_FRONT)[-1]
    assert "wind of 41 kt from ahead" in found
    assert found.endswith(OVERTURNS_EARLIER)


def test_cold_dense_air_lifts_more():
    standard, cold = (
        texts(stall_speed=Knots(44), **air)[-1]
        for air in ({}, {"temperature_c": -20, "pressure_hpa": 1030})
    )
    assert "air density 1.00 of the standard" in standard
    assert "air density 1.16 of the standard" in cold


@pytest.mark.parametrize(
    ("gear", "gust", "reminder"),
    [
        (Gear.NOSEWHEEL, 24, None),  # at most 21 % of the weight
        (Gear.TAILWHEEL, 24, None),  # at most 43 %
        (Gear.TAILWHEEL, 30, tie_down.SPOILERS),  # at most 66 %
        (Gear.TAILWHEEL, 41, tie_down.SPOILERS_FULL_SPAN),  # 124 %: may lift off
        (Gear.NOSEWHEEL, 41, tie_down.SPOILERS),  # at most 62 %
    ],
)
def test_spoilers_come_with_lift_and_span_the_wing_that_may_lift_off(gear, gust, reminder):
    found = tie_down_reminders(
        gear, WingPosition.HIGH, steady(300, 20, gust), stall_speed=Knots(44)
    )
    spoilers = [one for one in found if one in (tie_down.SPOILERS, tie_down.SPOILERS_FULL_SPAN)]
    assert spoilers == ([] if reminder is None else [reminder])


def test_the_band_runs_from_heavy_and_level_to_light_and_steep():
    band = wing_lift_share(Knots(22), Knots(44), Gear.NOSEWHEEL, weight_fraction=(0.8, 1.0))
    assert band.low == pytest.approx(0.25 * 0.2)
    assert band.high == pytest.approx(0.25 * 0.5 / 0.8)
    assert any("nearly level" in assumption for assumption in band.assumptions)


def test_a_tailwheel_lifts_sooner_than_a_nosewheel():
    tailwheel = wing_lift_share(Knots(30), Knots(44), Gear.TAILWHEEL)
    nosewheel = wing_lift_share(Knots(30), Knots(44), Gear.NOSEWHEEL)
    assert tailwheel.low > nosewheel.high * 0.9
    assert tailwheel.high > nosewheel.high


def test_the_band_in_words_gives_its_assumptions_and_the_warning():
    text = lift_in_words(wing_lift_share(Knots(41), Knots(44), Gear.NOSEWHEEL))
    assert text.startswith("In this wind the wing can carry about 17 % to 62 % of the weight (")
    assert "(estimate)" in text
    assert "overturns an aeroplane far below 100 %" in text


@given(st.floats(0, 80), st.floats(20, 80), st.sampled_from(Gear))
def test_twice_the_wind_is_four_times_the_lift(gust, stall_speed, gear):
    once = wing_lift_share(Knots(gust), Knots(stall_speed), gear)
    twice = wing_lift_share(Knots(2 * gust), Knots(stall_speed), gear)
    assert once.low <= once.high
    assert twice.low == pytest.approx(4 * once.low)
    assert twice.high == pytest.approx(4 * once.high)


@pytest.mark.parametrize(("gust", "stall", "fraction"), [(-1, 44, 1), (20, 0, 1), (20, 44, 0)])
def test_impossible_figures_are_refused(gust, stall, fraction):
    with pytest.raises(ValueError, match="the gust must be 0 or more, the others above 0"):
        lift_share(Knots(gust), Knots(stall), 0.5, weight_fraction=fraction)


def test_standard_air_has_a_density_ratio_of_one():
    assert air_density_ratio(15, 1013.25) == pytest.approx(1)


def test_no_air_is_refused():
    with pytest.raises(ValueError, match="is no air"):
        air_density_ratio(-300, 1013)


@pytest.mark.parametrize(
    ("elevation_ft", "pressure_hpa"), [(0, 1013.25), (1000, 977.2), (5000, 843.1), (10000, 696.8)]
)
def test_the_pressure_falls_as_in_the_standard_atmosphere(elevation_ft, pressure_hpa):
    # ICAO standard atmosphere, table of pressure against height (from memory).
    assert field_pressure(1013.25, elevation_ft) == pytest.approx(pressure_hpa, abs=0.1)


def test_a_rope_not_in_the_table_is_named():
    with pytest.raises(ValueError, match="no 3/4 in nylon rope; there are 1/4, 5/16"):
        is_strong_enough(Rope.NYLON, "3/4")
