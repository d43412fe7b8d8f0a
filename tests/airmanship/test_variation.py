"""Variation by date and place, true against magnetic, runway numbers."""

import subprocess
import sys
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from windwatch.airmanship.variation import (
    decimal_year,
    heading_of_designator,
    reciprocal,
    runway_designator,
    to_magnetic,
    to_true,
    true_heading,
    variation,
)
from windwatch.wind import (
    DegreesMagnetic,
    DegreesTrue,
    HeadingFromDesignator,
    HeadingMagnetic,
    HeadingTrue,
)

LARKSPUR = (42.93, -76.02)


def test_variation_tells_its_model_and_how_long_it_is_valid():
    found = variation(*LARKSPUR, date(2026, 5, 1), 960)
    assert found.variation_deg == pytest.approx(-11.9, abs=0.1)
    assert (found.model, found.valid_until) == ("WMM2025", date(2030, 1, 1))
    assert not found.clamped
    assert found.remark is None


def test_a_date_after_the_model_takes_its_last_day_and_says_so():
    late, last = variation(*LARKSPUR, date(2034, 7, 1)), variation(*LARKSPUR, 2030.0)
    assert late.variation_deg == last.variation_deg
    assert late.clamped
    assert not last.clamped
    assert late.asked_for == pytest.approx(2034.5, abs=0.01)
    assert "beginning of 2030" in late.remark


def test_a_date_before_every_edition_takes_the_first_day_and_says_so():
    early = variation(*LARKSPUR, date(1999, 1, 1))
    assert early.variation_deg == variation(*LARKSPUR, 2010.0).variation_deg
    assert early.clamped
    assert "beginning of 2010" in early.remark


@pytest.mark.parametrize(
    ("year", "model"),
    [
        (2012.0, "WMM2010"),
        (2019.0, "WMM2015v2"),
        (2024.99, "WMM2020"),
        (2025.0, "WMM2025"),
        (2030.0, "WMM2025"),
    ],
)
def test_the_edition_is_the_one_of_the_date(year, model):
    found = variation(*LARKSPUR, year)
    assert found.model == model
    assert not found.clamped


def test_two_editions_agree_where_they_meet():
    before, after = variation(*LARKSPUR, 2024.9999), variation(*LARKSPUR, 2025.0)
    assert (before.model, after.model) == ("WMM2020", "WMM2025")
    assert before.variation_deg == pytest.approx(after.variation_deg, abs=0.2)


def test_a_longitude_may_be_counted_round_the_globe():
    assert variation(-80, 240, 2025.0) == variation(-80, -120, 2025.0)


def test_a_figure_near_a_magnetic_pole_says_that_it_is_unreliable():
    found = variation(86, 150, 2026.0)
    assert found.unreliable
    assert "compass" in found.remark


@pytest.mark.parametrize(("latitude", "longitude"), [(90.1, 0), (0, 361), (0, -181)])
def test_a_place_off_the_globe_is_refused(latitude, longitude):
    with pytest.raises(ValueError, match="is not between"):
        variation(latitude, longitude, 2026.0)


def test_equal_days_are_computed_once():
    morning = variation(*LARKSPUR, datetime(2026, 5, 1, 6, tzinfo=UTC))
    assert variation(*LARKSPUR, datetime(2026, 5, 1, 18, tzinfo=UTC)) is morning


def test_a_decimal_year_counts_the_days_of_its_year():
    assert decimal_year(date(2026, 1, 1)) == 2026.0
    assert decimal_year(date(2028, 7, 1)) == pytest.approx(2028 + 182 / 366)


def test_variation_is_loaded_only_where_it_is_asked_for():
    program = "import sys, windwatch.airmanship.variation; print('pygeomag' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "False"


# --- true and magnetic --------------------------------------------------------


@given(st.floats(0, 360), st.floats(-180, 180))
def test_true_to_magnetic_and_back_is_the_same_direction(direction, variation_deg):
    back = to_true(to_magnetic(DegreesTrue(direction), variation_deg), variation_deg)
    assert (back - direction + 180) % 360 - 180 == pytest.approx(0, abs=1e-9)


def test_north_is_360_and_never_0():
    assert to_magnetic(DegreesTrue(15), 15) == 360
    assert to_true(DegreesMagnetic(345), 15) == 360


def test_an_easterly_variation_makes_the_true_heading_larger():
    assert to_true(DegreesMagnetic(100), 10) == 110
    assert to_true(DegreesMagnetic(100), -10) == 90


def test_a_surveyed_heading_needs_no_variation():
    assert true_heading(HeadingTrue(DegreesTrue(271.4)), -12) == (271.4, False)


def test_a_magnetic_heading_takes_the_variation_and_is_exact():
    assert true_heading(HeadingMagnetic(DegreesMagnetic(283)), -12) == (271, False)


def test_a_heading_from_the_painted_number_is_approximate():
    assert true_heading(HeadingFromDesignator(DegreesMagnetic(280)), -12) == (268, True)


# --- runway numbers -----------------------------------------------------------


@pytest.mark.parametrize(
    ("one", "other"),
    [("10", "28"), ("9", "27"), ("09", "27"), ("27", "09"), ("36L", "18R"), ("18C", "36C")],
)
def test_the_other_end_of_a_runway(one, other):
    assert reciprocal(one) == other


@pytest.mark.parametrize("magnetic", range(1, 361))
def test_the_number_is_within_5_degrees_of_the_heading(magnetic):
    painted = heading_of_designator(runway_designator(DegreesMagnetic(magnetic)))
    assert abs((painted - magnetic + 180) % 360 - 180) <= 5


def test_the_reciprocal_of_the_reciprocal_is_the_same_end():
    names = [f"{number:02d}{letter}" for number in range(1, 37) for letter in ("", "L", "C", "R")]
    assert [reciprocal(reciprocal(name)) for name in names] == names


def test_the_heading_of_a_number_is_ten_times_the_number():
    assert heading_of_designator("28L") == 280
    assert heading_of_designator(" 9 ") == 90


def test_a_runway_numbered_in_degrees_true_has_no_magnetic_heading():
    with pytest.raises(ValueError, match="numbered in degrees true"):
        heading_of_designator("18T")


@pytest.mark.parametrize("name", ["", "0", "37", "RWY", "28X", "2 8", "280"])
def test_what_is_no_runway_number_is_refused_with_an_example(name):
    with pytest.raises(ValueError, match="for example 9 or 28L"):
        heading_of_designator(name)
