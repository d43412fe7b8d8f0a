"""Winds as people type them, and wind groups that are not as they should be."""

import pytest

from windwatch.reports.wind_group import read_odd_group, read_sector, read_wind_group
from windwatch.wind import CALM, MISSING, VARIABLE, DegreesTrue, Knots, Sector, Steady, Wind


def steady(wind_from, speed, gust=None, sector=None, **flags):
    return Wind(
        Steady(DegreesTrue(wind_from)),
        Knots(speed),
        gust if gust is None else Knots(gust),
        None if sector is None else Sector(*map(DegreesTrue, sector)),
        **flags,
    )


@pytest.mark.parametrize(
    ("text", "wind"),
    [
        ("22030G40KT 190V250", steady(220, 30, 40, (190, 250))),
        ("22030g40kt 190v250", steady(220, 30, 40, (190, 250))),
        ("  36012KT  320V030 ", steady(360, 12, None, (320, 30))),
        ("24018KT", steady(240, 18)),
        ("24018KT=", steady(240, 18)),
        ("270112KT", steady(270, 112)),
        ("34028G043KT", steady(340, 28, 43)),
        ("180007KT", steady(180, 7)),
        ("09803KT", steady(98, 3)),
        ("00000KT", Wind(CALM, Knots(0))),
        ("00000MPS", Wind(CALM, Knots(0))),
        ("VRB04KT", Wind(VARIABLE, Knots(4))),
        ("VRB09G23KT", Wind(VARIABLE, Knots(9), Knots(23))),
        ("VRB05KT 180V250", Wind(VARIABLE, Knots(5), None, Sector(180.0, 250.0))),
        ("///10KT", Wind(MISSING, Knots(10))),
        ("180P99KT", steady(180, 99, speed_at_least=True)),
        ("180ABV99KT", steady(180, 99, speed_at_least=True)),
        ("18085GP99KT", steady(180, 85, 99, gust_at_least=True)),
    ],
)
def test_a_typed_wind_is_read(text, wind):
    assert read_wind_group(text) == wind


@pytest.mark.parametrize(
    ("text", "speed", "gust"),
    [
        ("31012G17MPS", 12 * 3600 / 1852, 17 * 3600 / 1852),
        ("10020KMH", 20 / 1.852, None),
        ("240P49MPS", 49 * 3600 / 1852, None),
    ],
)
def test_other_units_come_out_in_knots_unrounded(text, speed, gust):
    wind = read_wind_group(text)
    assert wind.speed == pytest.approx(speed, abs=1e-12)
    assert wind.gust == (None if gust is None else pytest.approx(gust, abs=1e-12))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is not a wind group"),
        ("nonsense", "is not a wind group"),
        ("22030", "has no unit (KT, MPS or KMH)"),
        ("22030KTS", "has no unit (KT, MPS or KMH)"),
        ("2230KT", "is not a wind group"),
        ("E20011KT", "is not a wind group"),
        ("200/11KT", "is not a wind group"),
        ("22030KT 190V250 CAVOK", "is not a wind group"),
        ("/////KT", "is of no use: not reported"),
        ("090//KT", "is of no use: the speed is not reported"),
        ("37010KT", "contradicts itself: direction over 360"),
        ("00010KT", "north is 360"),
        ("00000G11KT", "contradicts itself: calm with a gust"),
        ("22030G30KT", "contradicts itself: gust not above the mean"),
        ("22030KT 190V370", "cannot be read: sector 190V370: a direction over 360"),
        ("22030KT 190-250", "cannot be read: 190-250 is no sector (dddVddd)"),
        ("２２030KT", "is not a wind group"),
    ],
)
def test_a_typed_wind_that_cannot_be_used_is_refused_with_a_form_that_works(text, said):
    with pytest.raises(ValueError) as refusal:
        read_wind_group(text)
    assert said in str(refusal.value)
    assert repr(text) in str(refusal.value)
    assert "for example 22030G40KT 190V250" in str(refusal.value)


@pytest.mark.parametrize(
    ("word", "wind", "problem", "doubtful"),
    [
        ("36020", steady(360, 20, speed_at_least=True), "no unit, at least this in knots", True),
        ("39010KT", Wind(MISSING, Knots(10)), "direction over 360", True),
        ("00034KT", Wind(MISSING, Knots(34)), "direction 000 belongs to calm alone", True),
        ("00000G11KT", Wind(MISSING, Knots(0), Knots(11)), "calm with a gust", True),
        ("17004G04KT", steady(170, 4, 4), "gust not above the mean", True),
        ("12010KTG20KT", steady(120, 10, 20), "the unit stands before the gust", False),
        ("10009KTKT", steady(100, 9), "unit misspelt", False),
        ("VRBO2KT", Wind(VARIABLE, Knots(2)), "the letter O read as a figure: VRB02KT", True),
        ("360087KT", steady(360, 87), "two speeds may have run together", True),
        ("0000KT", Wind(CALM, Knots(0)), "a figure is missing, read as 00000KT", True),
        ("4910KT", None, "a figure is missing, cannot be read", True),
        ("090//KT", None, "the speed is not reported", True),
        ("/////", None, "not reported", False),
        ("NE-04KT", None, "cannot be read", True),
        ("60210", None, "cannot be read", True),
    ],
)
def test_an_odd_group_is_read_on_the_safe_side_and_flagged(word, wind, problem, doubtful):
    reading = read_odd_group(word, "9999", "HSDN")
    assert reading is not None
    assert reading.wind == wind
    assert reading.problem.startswith(f"wind {word}: ")
    assert problem in reading.problem
    assert reading.doubtful is doubtful


def test_a_gust_beside_a_missing_mean_is_kept_and_the_mean_is_at_least_nothing():
    reading = read_odd_group("/////G20KT", "9999", "EHDL")
    assert reading is not None
    assert reading.wind == Wind(MISSING, Knots(0), Knots(20), speed_at_least=True)
    assert reading.doubtful


def test_a_missing_unit_is_knots_by_practice_in_the_united_states_only():
    american = read_odd_group("20010G19", "10SM", "KASE")
    foreign = read_odd_group("20010G19", "9999", "ENLK")
    assert american is not None
    assert american.wind == steady(200, 10, 19)
    assert foreign is not None
    assert foreign.wind == steady(200, 10, 19, speed_at_least=True, gust_at_least=True)
    assert american.doubtful
    assert foreign.doubtful


@pytest.mark.parametrize("word", ["9999", "10SM", "M1/4SM", "23/14", "CAVOK", "A3019", "FEW020"])
def test_a_group_of_another_kind_is_not_taken_for_a_wind(word):
    assert read_odd_group(word, "", "KTAN") is None


def test_a_sector_runs_clockwise_as_coded():
    assert read_sector("320V030") == (Sector(DegreesTrue(320.0), DegreesTrue(30.0)), "")
