from datetime import date

import pytest
from hypothesis import given as for_all
from hypothesis import strategies as st

from windwatch.cli.wind_option import given, made_true, place, report_wind, spoken_wind, when
from windwatch.errors import UsageError
from windwatch.wind import CALM, VARIABLE, DegreesTrue, Knots, Sector, Steady, Wind


@pytest.mark.parametrize(
    ("spoken", "wind"),
    [
        ("220 at 30 gusting 40", Wind(Steady(DegreesTrue(220)), Knots(30), Knots(40))),
        ("220/30G40", Wind(Steady(DegreesTrue(220)), Knots(30), Knots(40))),
        ("220° at 30 knots", Wind(Steady(DegreesTrue(220)), Knots(30))),
        ("wind 220 degrees 8 kt", Wind(Steady(DegreesTrue(220)), Knots(8))),
        ("variable at 4", Wind(VARIABLE, Knots(4))),
        ("000 at 10", Wind(Steady(DegreesTrue(360)), Knots(10))),
        ("calm", Wind(CALM, Knots(0))),
        ("22030G40KT", Wind(Steady(DegreesTrue(220)), Knots(30), Knots(40))),
    ],
)
def test_a_wind_as_a_tower_speaks_it_is_read(spoken, wind):
    assert spoken_wind(spoken) == wind


@pytest.mark.parametrize("spoken", ["", "370 at 10", "220 at 30 gusting 20", "some wind", "220"])
def test_a_spoken_wind_that_contradicts_itself_is_refused(spoken):
    with pytest.raises(UsageError):
        spoken_wind(spoken)


def test_a_spoken_form_is_never_taken_for_true():
    with pytest.raises(UsageError, match="which is magnetic"):
        report_wind("220 at 30")


def test_a_magnetic_sector_is_turned_with_its_wind():
    wind = Wind(Steady(DegreesTrue(10)), Knots(20), None, Sector(DegreesTrue(340), DegreesTrue(40)))
    assert made_true(wind, -12.0) == Wind(
        Steady(DegreesTrue(358)), Knots(20), None, Sector(DegreesTrue(328), DegreesTrue(28))
    )


@for_all(
    wind_from=st.integers(1, 36), heading=st.integers(0, 360), variation=st.integers(-179, 179)
)
def test_the_angle_between_magnetic_wind_and_heading_needs_no_variation(
    wind_from, heading, variation
):
    text = f"{wind_from * 10:03}20KT"
    without = given(None, text, None, float(heading))
    with_it = given(None, text, None, float(heading), float(variation))

    def angle(found):
        return (found.wind.direction.wind_from - found.heading) % 360

    assert angle(without) == pytest.approx(angle(with_it), abs=1e-6)
    assert (without.reference, with_it.reference) == ("magnetic", "true")


@pytest.mark.parametrize("text", ["42.93,-76.02", "42.93N, 76.02W", " 42.93 , −76.02 "])
def test_a_place_is_read_with_signs_or_letters(text):
    assert place(text) == (42.93, -76.02)


@pytest.mark.parametrize("text", ["42.93", "42.93,-76.02,3", "42.93E,76W", "-42S,1E", "200,0"])
def test_a_place_that_is_none_is_refused(text):
    with pytest.raises(UsageError):
        place(text)


def test_a_date_may_be_a_day_or_a_year():
    assert when("2026-09-22") == date(2026, 9, 22)
    assert when("2026") == 2026.0
    assert when("2026.5") == 2026.5
    with pytest.raises(UsageError, match="is no date"):
        when("tomorrow")
