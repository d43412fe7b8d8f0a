"""Laws of the wind on a heading; published figures are in tests/published."""

import math
import subprocess
import sys
import timeit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from windwatch.airmanship.components import (
    Components,
    components,
    round_half_up_tenth,
    wind_on_runway,
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

degrees = st.integers(1, 360).map(lambda number: DegreesTrue(float(number)))
headings = st.floats(0, 360).map(DegreesTrue)
speeds = st.integers(0, 120).map(lambda number: Knots(float(number)))


some_sectors = st.tuples(degrees, degrees)
perhaps_sectors = st.none() | some_sectors


@st.composite
def steady_winds(draw, sectors=perhaps_sectors):
    speed = draw(speeds)
    gust = draw(st.none() | st.integers(0, 40).map(lambda more: Knots(speed + more)))
    sector = draw(sectors)
    return Wind(Steady(draw(degrees)), speed, gust, None if sector is None else Sector(*sector))


def arc(sector):
    """Every degree of a sector, clockwise."""
    width = int((sector.to_true - sector.from_true) % 360) or 360
    return [DegreesTrue(sector.from_true + step) for step in range(width + 1)]


def turned(wind, by):
    sector = wind.sector and Sector(*(DegreesTrue((end + by) % 360) for end in wind.sector))
    return wind._replace(
        direction=Steady(DegreesTrue((wind.direction.wind_from + by) % 360)), sector=sector
    )


# --- laws ---------------------------------------------------------------------


@given(degrees, speeds, headings)
def test_turning_the_runway_round_changes_only_the_signs(wind_from, speed, heading):
    one = components(wind_from, speed, heading)
    other = components(wind_from, speed, DegreesTrue(heading + 180))
    assert other.headwind == pytest.approx(-one.headwind, abs=1e-9)
    assert other.crosswind == pytest.approx(-one.crosswind, abs=1e-9)


@given(degrees, speeds, headings)
def test_components_are_the_sides_of_the_wind(wind_from, speed, heading):
    found = components(wind_from, speed, heading)
    assert math.hypot(*found) == pytest.approx(speed, abs=1e-9)
    assert found.tailwind == pytest.approx(max(0.0, -found.headwind))


@given(steady_winds(), headings)
def test_the_worst_is_never_below_the_nominal(wind, heading):
    found = wind_on_runway(wind, heading)
    assert found.worst_mean_crosswind >= abs(found.mean.crosswind)
    assert found.worst_mean_tailwind >= found.mean.tailwind
    stronger = found.gust or found.mean
    assert found.worst_crosswind >= abs(stronger.crosswind)
    assert found.worst_tailwind >= stronger.tailwind
    assert found.worst_crosswind >= found.worst_mean_crosswind
    assert found.worst_tailwind >= found.worst_mean_tailwind


@given(steady_winds(sectors=some_sectors), st.integers(0, 359))
def test_the_worst_over_a_sector_is_what_a_scan_of_every_degree_finds(wind, heading):
    heading = DegreesTrue(float(heading))
    scanned = [
        components(direction, wind.strongest, heading)
        for direction in [*arc(wind.sector), wind.direction.wind_from]
    ]
    found = wind_on_runway(wind, heading)
    assert found.worst_crosswind == pytest.approx(
        max(abs(one.crosswind) for one in scanned), abs=0.01
    )
    assert found.worst_tailwind == pytest.approx(max(one.tailwind for one in scanned), abs=0.01)


@given(steady_winds(), st.integers(0, 359), st.integers(0, 359))
def test_turning_wind_and_runway_together_changes_nothing(wind, heading, by):
    before = wind_on_runway(wind, DegreesTrue(float(heading)))
    after = wind_on_runway(turned(wind, by), DegreesTrue(float((heading + by) % 360)))
    for one, other in zip(before, after, strict=True):
        assert one == pytest.approx(other, abs=1e-9)


@given(steady_winds(sectors=some_sectors), headings)
def test_both_ends_of_a_runway_have_the_same_worst_crosswind(wind, heading):
    one = wind_on_runway(wind, heading)
    other = wind_on_runway(wind, DegreesTrue((heading + 180) % 360))
    assert one.worst_crosswind == pytest.approx(other.worst_crosswind, abs=1e-6)


@given(st.integers(-20000, 20000))
def test_hundredths_round_half_up_to_tenths_in_both_signs(hundredths):
    # Decimal arithmetic on whole hundredths is the judge.
    expected = math.copysign((abs(hundredths) + 5) // 10 / 10, hundredths)
    assert round_half_up_tenth(hundredths / 100) == expected


# --- facts --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("figure", "rounded"),
    [
        (12.25, 12.3),
        (12.35, 12.4),
        (0.15, 0.2),
        (2.675, 2.7),
        (-12.25, -12.3),
        (14.949, 14.9),
        (15.049999, 15.0),
        (24.5 * math.sin(math.radians(30)), 12.3),
        (-0.04, 0.0),
        (0.0, 0.0),
    ],
)
def test_figures_round_half_up_to_a_tenth(figure, rounded):
    assert round_half_up_tenth(figure) == rounded


def test_a_rounded_figure_is_never_minus_zero():
    assert math.copysign(1, round_half_up_tenth(-0.04)) == 1
    assert math.copysign(1, round_half_up_tenth(-0.0)) == 1


def test_a_figure_at_its_limit_is_not_over_it():
    wind = components(DegreesTrue(210), Knots(30), DegreesTrue(180))
    assert not round_half_up_tenth(wind.crosswind) > 15


def test_calm_is_zero_everywhere():
    found = wind_on_runway(Wind(CALM, Knots(0.0)), DegreesTrue(123))
    assert found.mean == Components(Knots(0.0), Knots(0.0))
    assert found.gust is None
    assert found[2:] == (0, 0, 0, 0)


@pytest.mark.parametrize("direction", [VARIABLE, MISSING])
def test_an_unknown_direction_counts_in_full_and_has_no_nominal_figure(direction):
    found = wind_on_runway(Wind(direction, Knots(8), Knots(17)), DegreesTrue(180))
    assert found.mean is None
    assert found.gust is None
    assert (found.worst_crosswind, found.worst_tailwind) == (17, 17)
    assert (found.worst_mean_crosswind, found.worst_mean_tailwind) == (8, 8)


def test_a_gust_out_of_a_calm_counts_in_full():
    found = wind_on_runway(Wind(CALM, Knots(0.0), Knots(15)), DegreesTrue(180))
    assert (found.worst_crosswind, found.worst_tailwind) == (15, 15)


def test_no_gust_reported_judges_the_mean():
    found = wind_on_runway(Wind(Steady(DegreesTrue(270)), Knots(12)), DegreesTrue(180))
    assert found.gust is None
    assert found.worst_crosswind == found.worst_mean_crosswind == pytest.approx(12)


def test_a_gust_below_the_mean_does_not_lower_the_worst():
    found = wind_on_runway(Wind(Steady(DegreesTrue(270)), Knots(12), Knots(3)), DegreesTrue(180))
    assert found.worst_crosswind == pytest.approx(12)


@pytest.mark.parametrize(
    ("wind_from", "sector", "heading", "crosswind", "tailwind"),
    [
        pytest.param(320, (280, 350), 320, 20 * math.sin(math.radians(40)), 0, id="ends"),
        pytest.param(220, (240, 300), 180, 20, 10, id="square across inside the arc"),
        pytest.param(180, (160, 220), 10, 20 * math.sin(math.radians(30)), 20, id="behind inside"),
        pytest.param(350, (330, 30), 270, 20, 10, id="arc through north"),
        pytest.param(360, (340, 20), 360, 20 * math.sin(math.radians(20)), 0, id="along north"),
        pytest.param(90, (160, 200), 180, 20, 0, id="nominal direction outside the sector"),
        pytest.param(180, (1, 360), 180, 20, 20, id="all round"),
        pytest.param(180, (270, 270), 180, 20, 20, id="equal ends are the whole circle"),
        pytest.param(320, (0, 360), 320, 20, 20, id="000V360, as EDTL sends it"),
    ],
)
def test_the_worst_counts_the_whole_arc_and_the_nominal_direction(
    wind_from, sector, heading, crosswind, tailwind
):
    wind = Wind(
        Steady(DegreesTrue(wind_from)),
        Knots(20),
        None,
        Sector(DegreesTrue(sector[0]), DegreesTrue(sector[1])),
    )
    found = wind_on_runway(wind, DegreesTrue(heading))
    assert found.worst_crosswind == pytest.approx(crosswind, abs=1e-9)
    assert found.worst_tailwind == pytest.approx(tailwind, abs=1e-9)


@pytest.mark.parametrize("speed", [-1.0, math.nan])
def test_a_speed_that_is_none_is_refused(speed):
    with pytest.raises(ValueError, match="0 kt or more"):
        components(DegreesTrue(180), Knots(speed), DegreesTrue(180))
    with pytest.raises(ValueError, match="0 kt or more"):
        wind_on_runway(Wind(Steady(DegreesTrue(180)), Knots(speed)), DegreesTrue(180))


def test_components_load_nothing_heavy():
    program = (
        "import sys, windwatch.airmanship.components as c;"
        "print([m for m in ('pygeomag', 'requests', 'sqlalchemy', 'pydantic') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


@pytest.mark.benchmark
def test_the_worst_figures_cost_less_than_120_sines():
    wind = Wind(
        Steady(DegreesTrue(220)),
        Knots(15),
        Knots(25),
        Sector(DegreesTrue(190), DegreesTrue(250)),
    )
    heading = DegreesTrue(180)
    ours = min(timeit.repeat(lambda: wind_on_runway(wind, heading), number=5000, repeat=5))
    # A yardstick that grows with the machine: a sine through a call, 40 times.
    yardstick = min(timeit.repeat(lambda: [math.sin(x) for x in range(40)], number=5000, repeat=5))
    assert ours < 3 * yardstick
