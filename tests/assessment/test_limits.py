"""Which limit applies, and the thresholds around it (design section 4, reliability section 2)."""

import pytest

from windwatch.assessment.limits import (
    deadband,
    effective_limits,
    near_deadband,
    thresholds,
    worsening_step,
)
from windwatch.fleet import Limit, Of
from windwatch.rules import Rules
from windwatch.wind import Knots

USUAL = Rules()

# Worked from the rule of reliability section 2: max(2 kt, 5 %), at most 20 % of the limit.
DEADBANDS = [(5, 1.0), (7, 1.4), (10, 2.0), (15, 2.0), (40, 2.0), (45, 2.25), (60, 3.0)]
# max(1 kt, 5 %), at most 20 %.
NEAR_DEADBANDS = [(4, 0.8), (5, 1.0), (20, 1.0), (30, 1.5), (45, 2.25)]
# max(3 kt, 20 %).
WORSENING = [(7, 3.0), (15, 3.0), (20, 4.0), (22, 4.4), (40, 8.0)]


@pytest.mark.parametrize(("limit", "band"), DEADBANDS)
def test_the_deadband_is_two_knots_or_five_percent_but_never_over_a_fifth(
    limit: float, band: float
) -> None:
    assert deadband(Knots(limit), USUAL) == pytest.approx(band)


@pytest.mark.parametrize(("limit", "band"), NEAR_DEADBANDS)
def test_the_deadband_of_near_is_one_knot_or_five_percent(limit: float, band: float) -> None:
    assert near_deadband(Knots(limit), USUAL) == pytest.approx(band)


@pytest.mark.parametrize(("limit", "step"), WORSENING)
def test_a_new_worst_is_three_knots_or_a_fifth_of_the_limit(limit: float, step: float) -> None:
    assert worsening_step(Knots(limit), USUAL) == pytest.approx(step)


def test_thresholds_are_free_of_binary_dust() -> None:
    # 0.8 × 7 is 5.6000000000000005 in binary.
    found = thresholds(Limit("crosswind", Knots(7), "student solo"), USUAL)
    assert (found.near, found.low, found.near_low) == (5.6, 5.6, 4.6)


def test_near_may_be_set_elsewhere() -> None:
    assert thresholds(Limit("taxi", Knots(30), "X-LARK", near_at=0.9), USUAL).near == 27.0


def test_the_smallest_limit_applies_and_is_known_by_its_owner() -> None:
    craft = Limit("crosswind", Knots(15), "X-LARK")
    pilot = Limit("crosswind", Knots(7), "student solo")
    strip = Limit("crosswind", Knots(10), "runway 9/27")
    assert effective_limits(((craft,), (pilot,), (strip,))) == (pilot,)


def test_of_equal_limits_the_first_named_is_kept() -> None:
    craft = Limit("crosswind", Knots(7), "X-LARK")
    pilot = Limit("crosswind", Knots(7), "student solo")
    assert effective_limits(((craft,), (pilot,))) == (craft,)


def test_limits_of_gust_and_of_mean_stand_side_by_side() -> None:
    gust = Limit("crosswind", Knots(15), "X-LARK")
    mean = Limit("crosswind", Knots(12), "student solo", Of.MEAN)
    assert effective_limits(((gust,), (mean,))) == (gust, mean)
