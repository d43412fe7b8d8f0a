"""Two-minute means and ten-minute peaks of momentary samples."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from windwatch.feeds.samples import Reduced, Sample, reduce_samples, swing
from windwatch.feeds.wind_group import KNOTS_PER, reduced_group, wind_group

NOW = datetime(2026, 9, 22, 19, 7, tzinfo=UTC)


def before(seconds, wind_from=220.0, speed=15.0, gust=None):
    return Sample(NOW - timedelta(seconds=seconds), wind_from, speed, gust)


def test_the_mean_is_of_two_minutes_and_the_peak_of_ten():
    samples = [
        before(601, speed=60.0),  # too old for both
        before(599, speed=31.0),  # the peak
        before(121, speed=25.0),
        before(120, speed=20.0),  # too old for the mean
        before(90, speed=10.0),
        before(30, speed=14.0),
        before(0, speed=18.0),
    ]
    assert reduce_samples(samples, NOW) == Reduced(NOW, pytest.approx(220.0), 14.0, 31.0)


def test_a_gust_that_the_device_gives_counts_for_the_peak_only():
    samples = [before(60, speed=10.0, gust=24.0), before(0, speed=12.0)]
    found = reduce_samples(samples, NOW)
    assert (found.speed_kt, found.gust_kt) == (11.0, 24.0)


def test_a_steady_wind_has_no_gust():
    assert reduce_samples([before(60), before(0)], NOW).gust_kt is None


def test_the_mean_direction_is_a_vector_mean_across_north():
    found = reduce_samples([before(60, 350.0), before(0, 10.0)], NOW)
    assert (found.wind_from_true + 180) % 360 == pytest.approx(180.0)


def test_a_strong_wind_pulls_the_mean_direction_more_than_a_light_one():
    found = reduce_samples([before(60, 200.0, 30.0), before(0, 230.0, 10.0)], NOW)
    assert 200.0 < found.wind_from_true < 215.0


@pytest.mark.parametrize(
    ("directions", "speed", "group"),
    [
        ((190, 220, 250), 12.0, "22012KT 190V250"),  # 60 degrees and over 6 kt: a sector
        ((191, 220, 250), 12.0, "22012KT"),  # 59: none
        ((340, 10, 50), 12.0, "01012KT 340V050"),  # across north
        ((190, 220, 250), 6.0, "VRB06KT"),  # up to 6 kt: variable
        ((20, 110, 200), 12.0, "VRB12KT"),  # 180 degrees or more
        ((0, 120, 240), 12.0, "VRB12KT"),  # all round
        ((360, 360, 360), 12.0, "36012KT"),
    ],
)
def test_a_swinging_direction_becomes_a_sector_or_variable(directions, speed, group):
    samples = [
        before(seconds, float(direction), speed)
        for seconds, direction in zip((100, 50, 0), directions, strict=True)
    ]
    assert reduced_group(reduce_samples(samples, NOW)) == group


@pytest.mark.parametrize(
    "samples",
    [
        [],
        [before(0)],
        [before(59), before(0)],
        [before(120), before(0)],
        [before(60, speed=None), before(0)],
        [before(-30), before(-90)],
    ],
)
def test_less_than_two_speeds_a_minute_apart_make_no_mean(samples):
    assert reduce_samples(samples, NOW) is None


def test_samples_of_the_future_take_no_part():
    found = reduce_samples([before(60), before(0), before(-1, speed=99.0)], NOW)
    assert (found.observed_at, found.gust_kt) == (NOW, None)


def test_directions_missing_in_most_samples_leave_the_direction_unknown():
    samples = [before(80, None), before(40, None), before(0, 220.0)]
    assert reduced_group(reduce_samples(samples, NOW)) == "///15KT"


def test_calm_samples_make_calm_whatever_their_vane_says():
    samples = [before(60, None, 0.0), before(0, 123.0, 0.0)]
    assert reduced_group(reduce_samples(samples, NOW)) == "00000KT"


@given(st.lists(st.floats(0, 359.99), min_size=1, max_size=12), st.floats(0, 359.99))
def test_turning_all_directions_turns_the_arc_and_keeps_its_width(directions, turn):
    width, start, end = swing(directions)
    turned, _, _ = swing([direction + turn for direction in directions])
    assert width == pytest.approx((end - start) % 360, abs=1e-6)
    assert turned == pytest.approx(width, abs=1e-6)
    assert 0 <= width < 360
    assert all((direction - start) % 360 <= width + 1e-6 for direction in directions)


@given(
    st.lists(
        st.tuples(st.integers(0, 119), st.floats(0, 359), st.floats(0, 80), st.floats(0, 90)),
        min_size=2,
        max_size=20,
    )
)
def test_the_mean_lies_between_the_samples_and_the_peak_at_or_above_all(readings):
    samples = [before(*reading) for reading in readings]
    found = reduce_samples(samples, NOW)
    if found is None:
        return
    kept = {sample.at: sample for sample in samples}.values()
    speeds = [sample.speed_kt for sample in kept]
    assert min(speeds) - 1e-9 <= found.speed_kt <= max(speeds) + 1e-9
    peaks = [max(sample.speed_kt, sample.gust_kt) for sample in kept]
    assert (found.gust_kt or found.speed_kt) >= max(peaks) - 1e-9


# --- the group -------------------------------------------------------------


@pytest.mark.parametrize(
    ("wind_from", "speed", "gust", "group"),
    [
        (223.0, 14.6, 25.2, "22015G25KT"),
        (4.9, 10.0, None, "36010KT"),
        (355.0, 10.0, None, "36010KT"),
        (354.9, 10.0, None, "35010KT"),
        (0.0, 0.0, None, "00000KT"),
        (90.0, 0.4, None, "00000KT"),
        (90.0, 0.4, 12.0, "09001G12KT"),  # 000 with a gust would say calm
        (90.0, 0.4, 0.7, "09001KT"),
        (90.0, 15.0, 15.4, "09015KT"),
        (90.0, 15.0, 3.0, "09015KT"),
        (90.0, 99.5, 120.0, "090100G120KT"),
        (None, 15.0, 25.0, "///15G25KT"),
        (None, None, None, "/////KT"),
        (90.0, None, None, "/////KT"),
        (90.0, None, 31.0, "///31KT"),
    ],
)
def test_a_measured_wind_is_written_as_a_station_codes_it(wind_from, speed, gust, group):
    assert wind_group(wind_from, speed, gust) == group


@pytest.mark.parametrize(
    ("value", "unit", "knots"),
    [
        # Two rows of the NWS feed: 6.7 m/s is 24.12 km/h and 13 kt, 12 kt is 22.212... km/h
        # to their rounding (reference/feeds.md section 3, KDAL and KALB samples).
        (24.12, "km/h", 13),
        (6.7, "m/s", 13),
        (22.212, "km/h", 12),
        (10.0, "mph", 9),
        (15.0, "kt", 15),
    ],
)
def test_units_become_knots(value, unit, knots):
    assert wind_group(90.0, value * KNOTS_PER[unit]) == f"090{knots:02d}KT"
