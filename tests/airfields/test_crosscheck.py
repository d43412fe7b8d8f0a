"""The figures of a runway held against each other. Geometry: hand-worked near the equator."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from windwatch.airfields.crosscheck import (
    apart,
    bearing_true,
    cross_check,
    distance_ft,
    number_of,
    other_name,
)
from windwatch.airfields.values import Basis, RowEnd, RowRunway

NO_VARIATION = 0.0


def laid_out(heading_deg, names=("", ""), length_ft=3000, stated=(None, None), east=0.0, **more):
    """A runway of that true heading at the equator, where a degree is 364,811 ft both ways."""
    step = length_ft / 364_811
    north = step * math.cos(math.radians(heading_deg))
    eastward = step * math.sin(math.radians(heading_deg))
    return RowRunway(
        ends=(
            RowEnd(names[0], 0.0, east, heading_true=stated[0]),
            RowEnd(names[1], north, east + eastward, heading_true=stated[1]),
        ),
        length_ft=length_ft,
        **more,
    )


def without_points(names, stated=(None, None), length_ft=3000):
    first, second = (
        RowEnd(name, heading_true=heading) for name, heading in zip(names, stated, strict=True)
    )
    return RowRunway(ends=(first, second), length_ft=length_ft)


# --- what each source gives -------------------------------------------------------


def test_both_thresholds_come_first():
    found = cross_check(laid_out(92, ("10", "28"), stated=(91, 271)), -8.0)
    assert found.headings_true == pytest.approx((92, 272), abs=0.01)
    assert found.basis is Basis.THRESHOLDS
    assert found.doubts == ()
    assert found.remarks == ()


def test_a_stated_heading_comes_second_and_a_missing_one_is_its_opposite():
    found = cross_check(without_points(("10", "28"), (91.4, None)), -8.0)
    assert found.headings_true == pytest.approx((91.4, 271.4))
    assert found.basis is Basis.STATED
    other_way = cross_check(without_points(("10", "28"), (None, 271.4)), -8.0)
    assert other_way.headings_true == pytest.approx((91.4, 271.4))


def test_a_number_alone_takes_the_variation_and_is_called_approximate():
    found = cross_check(without_points(("1", "19")), -11.9)
    assert found.headings_true == pytest.approx((358.1, 178.1))
    assert found.basis is Basis.NUMBER
    assert found.basis.approximate


def test_a_number_of_the_far_north_is_true_already():
    # Resolute Bay, 17T/35T: Canada numbers by true north there; the variation is large.
    found = cross_check(without_points(("17T", "35T")), -24.0)
    assert found.headings_true == pytest.approx((170, 350))
    assert found.basis is Basis.NUMBER_TRUE


@pytest.mark.parametrize(
    ("names", "headings"),
    [(("N", "S"), (360, 180)), (("E", "W"), (90, 270)), (("NW", "SE"), (315, 135))],
)
def test_a_compass_point_names_the_way_one_flies(names, headings):
    found = cross_check(without_points(names), 15.0)
    assert found.headings_true == pytest.approx(headings)
    assert found.basis is Basis.COMPASS_POINT


@pytest.mark.parametrize("names", [("", ""), ("ALL", "WAY"), ("161", "341"), ("00", "37")])
def test_names_that_say_nothing_give_no_heading(names):
    found = cross_check(without_points(names), 0.0)
    assert found.headings_true is None
    assert found.basis is Basis.NONE


def test_one_number_is_enough():
    assert cross_check(without_points(("16", "")), 10.0).headings_true == pytest.approx((170, 350))
    assert cross_check(without_points(("", "34")), 10.0).headings_true == pytest.approx((170, 350))


def test_north_is_360():
    found = cross_check(laid_out(0, ("36", "18")), NO_VARIATION)
    assert found.headings_true == pytest.approx((360, 180))


# --- doubts -----------------------------------------------------------------------


def test_a_stated_heading_reversed_by_180_is_doubtful_and_says_both_figures():
    found = cross_check(laid_out(97.8, ("E", "W"), stated=(277, 97)), 12.1)
    assert found.headings_true == pytest.approx((97.8, 277.8), abs=0.01)
    assert found.doubts == (
        "for E the thresholds give 97.8° true and the stated heading 277° true, 179° apart",
    )
    assert found.supported, "the name speaks for the thresholds"


def test_reversed_thresholds_lose_against_a_stated_heading_that_the_number_supports():
    found = cross_check(laid_out(197.4, ("01", "19"), stated=(17, 197)), 7.0)
    assert found.headings_true == pytest.approx((17, 197))
    assert found.basis is Basis.STATED
    assert found.supported
    assert "180° apart" in found.doubts[0]


def test_where_no_third_figure_speaks_for_one_alone_nothing_is_settled():
    found = cross_check(laid_out(100, ("11", "29"), stated=(114, 294)), -3.0)
    assert found.doubts
    assert not found.supported, "107 by number: within 15 of both"
    unnamed = cross_check(laid_out(100, ("", ""), stated=(280, 100)), 0.0)
    assert unnamed.doubts
    assert not unnamed.supported


def test_a_number_far_from_the_only_better_figure_is_doubtful():
    found = cross_check(without_points(("13L", "31R"), (239.1, None)), 13.9)
    assert found.basis is Basis.STATED
    assert found.doubts == (
        (
            "for 13L the stated heading gives 239.1° true and the number with the variation "
            "143.9° true, 95° apart"
        ),
    )
    assert not found.supported


def test_two_figures_that_agree_against_the_number_stay_supported_and_doubtful():
    found = cross_check(laid_out(60, ("10", "28"), stated=(61, 241)), 0.0)
    assert found.doubts
    assert found.supported


def test_fifteen_degrees_from_the_number_is_allowed_and_sixteen_is_not():
    assert cross_check(without_points(("09", "27"), (104.9, None)), 0.0).doubts == ()
    assert cross_check(without_points(("09", "27"), (106, None)), 0.0).doubts != ()


def test_stated_headings_that_are_not_opposite_are_doubtful():
    found = cross_check(without_points(("17", "35"), (170, 314.9)), 2.0)
    assert found.doubts == ("the stated headings 170° true and 314.9° true are 35° from opposite",)
    assert found.headings_true == pytest.approx((170, 350)), "the number speaks for the first"
    second = cross_check(without_points(("05", "23"), (20, 231)), 0.0)
    assert second.headings_true == pytest.approx((51, 231)), "the number speaks for the second"


def test_numbers_that_are_not_opposite_are_doubtful():
    found = cross_check(without_points(("07", "20")), 0.0)
    assert found.doubts == ("the numbers 07 and 20 are 50° from opposite",)
    assert not found.supported


def test_points_that_cannot_be_thresholds_are_not_used_and_said():
    near = laid_out(90, ("16", "34"), length_ft=150)
    near = RowRunway(ends=near.ends, length_ft=2890)
    found = cross_check(near, 0.0)
    assert found.basis is Basis.NUMBER
    assert "lie 150 ft apart and the runway is 2890 ft long: they are not used" in found.doubts[0]
    far = RowRunway(ends=laid_out(90, ("16", "34"), length_ft=13035).ends, length_ft=3050)
    assert cross_check(far, 0.0).basis is Basis.NUMBER
    same = RowRunway(ends=(RowEnd("16", 1.0, 1.0), RowEnd("34", 1.0, 1.0)), length_ft=None)
    assert cross_check(same, 0.0).basis is Basis.NUMBER


def test_a_small_difference_is_a_remark_and_no_doubt():
    found = cross_check(laid_out(138, ("13", "31"), stated=(142, 322)), 12.7)
    assert found.doubts == ()
    assert found.remarks == (
        "for 13 the thresholds give 138° true and the stated heading 142° true, 4° apart",
    )


# --- laws --------------------------------------------------------------------------

headings = st.floats(0, 359.9)


@given(heading=headings, stated=st.none() | headings, variation=st.floats(-30, 30))
def test_turning_the_runway_round_only_swaps_the_ends(heading, stated, variation):
    names = (f"{round(heading / 10) % 36 or 36:02d}", f"{(round(heading / 10) + 17) % 36 + 1:02d}")
    runway = laid_out(heading, names, stated=(stated, None))
    turned = RowRunway(ends=runway.ends[::-1], length_ft=runway.length_ft)
    one, other = cross_check(runway, variation), cross_check(turned, variation)
    assert one.headings_true is not None
    assert other.headings_true is not None
    assert one.basis is other.basis
    assert one.supported is other.supported
    assert len(one.doubts) == len(other.doubts)
    for mine, theirs in zip(one.headings_true, other.headings_true[::-1], strict=True):
        assert apart(mine, theirs) < 1e-6


@given(heading=headings, stated=headings, variation=st.floats(-30, 30))
def test_two_far_figures_are_never_chosen_between_in_silence(heading, stated, variation):
    found = cross_check(laid_out(heading, stated=(stated, None)), variation)
    assert bool(found.doubts) is (apart(heading, stated) > 10) or (
        abs(apart(heading, stated) - 10) < 0.1
    )


@given(heading=headings)
def test_without_doubt_both_ends_are_opposite(heading):
    found = cross_check(laid_out(heading, length_ft=5000), 0.0)
    assert found.headings_true is not None
    assert apart(found.headings_true[0], found.headings_true[1]) > 175


# --- parts -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "degrees"),
    [("1", 10), ("01", 10), ("36", 360), ("28L", 280), ("16H", 160), ("09D", 90)],
)
def test_a_number_is_read_with_and_without_letters(name, degrees):
    found = number_of(name)
    assert found is not None
    assert found.degrees == degrees
    assert not found.is_true


@pytest.mark.parametrize("name", ["", "H1", "N", "00", "37", "161", "-", "ALL", "1LL", "٣"])
def test_what_is_no_number_is_not_taken_for_one(name):
    assert number_of(name) is None


def test_the_other_end_is_named_from_the_first():
    assert other_name("16L") == "34R"
    assert other_name("N") == "S"
    assert other_name("ENE") == "WSW"
    assert other_name("ALL") == ""


def test_bearing_and_distance_agree_with_published_figures():
    # Ed Williams, Aviation Formulary V1.47, worked examples: LAX (33°57'N 118°24'W) to
    # JFK (40°38'N 73°47'W): 66 degrees, 2144 nautical miles.
    lax, jfk = (33.95, -118.4), (40 + 38 / 60, -(73 + 47 / 60))
    assert bearing_true(lax, jfk) == pytest.approx(66, abs=0.5)
    assert distance_ft(lax, jfk) * 0.3048 / 1852 == pytest.approx(2144, rel=0.002)
    assert distance_ft(lax, lax) == 0
    assert distance_ft((-90, 0), (-90, 90)) == pytest.approx(0, abs=1)
