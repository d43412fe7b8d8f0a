"""The JSON form of a wind tells calm, variable and not reported apart."""

import pytest

from windwatch.reports.as_json import wind_as_json
from windwatch.wind import CALM, MISSING, VARIABLE, DegreesTrue, Knots, Sector, Steady, Wind


@pytest.mark.parametrize(
    ("wind", "direction", "variable", "calm"),
    [
        (Wind(Steady(DegreesTrue(300)), Knots(28)), 300, False, False),
        (Wind(CALM, Knots(0)), 0, False, True),
        (Wind(VARIABLE, Knots(3)), None, True, False),
        (Wind(MISSING, Knots(10)), None, False, False),
    ],
)
def test_directions_are_told_apart(wind, direction, variable, calm):
    form = wind_as_json(wind)
    assert (form["direction_true_deg"], form["variable"], form["calm"]) == (
        direction,
        variable,
        calm,
    )


def test_no_wind_is_null_and_not_calm():
    assert wind_as_json(None) is None


def test_gust_sector_and_lower_bounds_are_carried():
    sector = Sector(DegreesTrue(150), DegreesTrue(220))
    wind = Wind(Steady(DegreesTrue(190)), Knots(16), Knots(25), sector, gust_at_least=True)
    form = wind_as_json(wind)
    assert (form["speed_kt"], form["gust_kt"], form["sector"]) == (16, 25, [150, 220])
    assert (form["speed_at_least"], form["gust_at_least"]) == (False, True)


def test_speeds_of_other_units_stay_unrounded():
    wind = Wind(Steady(DegreesTrue(20)), Knots(5 * 3600 / 1852))
    assert wind_as_json(wind)["speed_kt"] == pytest.approx(9.719222462203025, abs=1e-12)
