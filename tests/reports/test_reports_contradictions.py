"""What contradicts itself is kept, flagged with its group named, and counts on the safe side.

A doubtful wind may open an alert and must not close one; a contradiction whose worst reading is
counted anyway (a sector beside its wind) needs no doubt.
"""

from datetime import UTC, datetime

import pytest

from windwatch.airmanship.components import wind_on_runway
from windwatch.reports.decode import decode_report, read_wind
from windwatch.reports.taf import decode_forecast
from windwatch.wind import MISSING, DegreesTrue, Sector, Steady

NOW = datetime(2026, 9, 22, 22, 0, tzinfo=UTC)
DAY = "XLKS 221953Z"
LONGEST_HEADING = 360


def decode(text):
    report = decode_report(text, NOW)
    fast = read_wind(text, NOW)
    assert (fast.wind, fast.wind_doubtful) == (report.wind, report.wind_doubtful)
    assert fast.problems == report.problems
    return report


def worst_of_all_headings(wind):
    """Crosswind and tailwind on the heading where each is greatest."""
    found = [wind_on_runway(wind, DegreesTrue(heading)) for heading in range(LONGEST_HEADING)]
    return (
        max(each.worst_crosswind for each in found),
        max(each.worst_tailwind for each in found),
    )


@pytest.mark.parametrize(
    ("group", "speed", "gust", "problem"),
    [
        ("18020G15KT", 20, 15, "gust not above the mean"),
        ("18020G20KT", 20, 20, "gust not above the mean"),
        ("18020G00KT", 20, 0, "gust not above the mean"),
        ("180108G99KT", 108, 99, "gust not above the mean"),
    ],
)
def test_of_a_gust_not_above_the_mean_the_greater_counts(group, speed, gust, problem):
    report = decode(f"{DAY} {group} 9999")
    assert report.problems == (f"wind {group}: {problem}",)
    assert (report.wind.speed, report.wind.gust, report.wind.strongest) == (speed, gust, speed)
    assert report.wind_doubtful
    assert wind_on_runway(report.wind, DegreesTrue(90)).worst_crosswind == pytest.approx(speed)


@pytest.mark.parametrize(
    ("group", "problem"),
    [
        ("37020KT", "direction over 360"),
        ("99920G30KT", "direction over 360"),
        ("00020KT", "direction 000 belongs to calm alone, and north is 360"),
        ("00000G20KT", "calm with a gust"),
    ],
)
def test_a_direction_that_cannot_be_counts_from_anywhere(group, problem):
    report = decode(f"{DAY} {group} 9999")
    assert report.problems == (f"wind {group}: {problem}",)
    assert report.wind.direction == MISSING
    assert report.wind_doubtful
    found = wind_on_runway(report.wind, DegreesTrue(10))
    assert found.worst_crosswind == found.worst_tailwind == report.wind.strongest


@pytest.mark.parametrize(
    ("group", "speed", "problem", "doubtful"),
    [
        ("180007KT", 7, "three figures where two would do", False),
        ("180049KT", 49, "three figures where two would do", False),
        ("180050KT", 50, "two speeds may have run together", True),
        ("360087KT", 87, "two speeds may have run together", True),
        ("180100KT", 100, "", False),
        ("180000KT", 0, "three figures where two would do", False),
    ],
)
def test_three_figures_are_read_as_coded_and_doubted_where_two_speeds_may_stand(
    group, speed, problem, doubtful
):
    report = decode(f"{DAY} {group} 9999")
    assert report.wind.speed == speed
    assert report.problems == ((f"wind {group}: {problem}",) if problem else ())
    assert report.wind_doubtful is doubtful


def test_a_gust_of_three_figures_is_read_whole():
    assert decode(f"{DAY} 18028G043KT 9999").wind.gust == 43
    assert decode(f"{DAY} 18028G105KT 9999").wind.gust == 105


@pytest.mark.parametrize("time", ["322053Z", "002053Z", "222453Z", "222060Z"])
def test_a_time_that_no_calendar_has_leaves_the_wind_and_no_time(time):
    report = decode(f"XLKS {time} 18020KT 9999")
    assert report.problems == (f"time {time}: no such day, hour or minute",)
    assert report.observed_at is None
    assert report.wind.speed == 20


def test_a_day_that_this_month_has_not_is_of_the_month_before():
    """September has no 31st: the latest such day was in August."""
    report = decode("XLKS 312053Z 18020KT 9999")
    assert report.observed_at == datetime(2026, 8, 31, 20, 53, tzinfo=UTC)


@pytest.mark.parametrize("wind", ["/////KT", "NIL wind", ""])
def test_a_sector_without_a_wind_is_no_wind(wind):
    report = decode(f"{DAY} {wind} 280V350 9999".replace("  ", " ").replace("NIL wind ", ""))
    assert report.wind is None
    assert "sector 280V350 without a wind" in report.problems


@pytest.mark.parametrize("sector", ["000V360", "360V000", "200V200", "360V360"])
def test_a_sector_whose_ends_are_one_is_the_whole_circle(sector):
    """EDTL sends 000V360 in light winds: five times in the recorded reports."""
    report = decode(f"{DAY} 32010G20KT {sector} 9999")
    assert report.problems == (f"sector {sector}: its ends are one, read as the whole circle",)
    assert report.wind.sector == Sector(*(DegreesTrue(float(end)) for end in sector.split("V")))
    assert not report.wind_doubtful
    found = wind_on_runway(report.wind, DegreesTrue(320))
    assert found.worst_crosswind == found.worst_tailwind == 20


def test_a_sector_beside_its_wind_counts_as_well_as_the_wind():
    """SKRG 031700Z of the recorded reports."""
    report = decode(f"{DAY} 04006KT 210V300 9999")
    assert report.problems == ("sector 210V300: does not hold the mean direction, both count",)
    assert report.wind.direction == Steady(DegreesTrue(40.0))
    found = wind_on_runway(report.wind, DegreesTrue(310))
    assert found.worst_crosswind == pytest.approx(6)  # of the mean
    assert wind_on_runway(report.wind, DegreesTrue(50)).worst_tailwind == pytest.approx(6)


@pytest.mark.parametrize("sector", ["280V390", "400V010", "999V999"])
def test_a_sector_over_360_is_not_taken_and_leaves_the_wind_in_doubt(sector):
    report = decode(f"{DAY} 32010KT {sector} 9999")
    assert report.problems == (f"sector {sector}: a direction over 360",)
    assert report.wind.sector is None
    assert report.wind_doubtful


@pytest.mark.parametrize("group", ["/////G20KT", "180//G20KT"])
def test_a_gust_without_a_mean_is_at_least_a_gust(group):
    report = decode(f"{DAY} {group} 9999")
    assert report.wind.strongest == 20
    assert report.wind.speed_at_least
    assert report.wind_doubtful
    assert group in report.problems[0]
    crosswind, tailwind = worst_of_all_headings(report.wind)
    assert crosswind == pytest.approx(20)
    assert tailwind == pytest.approx(20)


@pytest.mark.parametrize(
    ("group", "problem"),
    [
        ("18020G15KT", "wind 18020G15KT: gust not above the mean"),
        ("37020KT", "wind 37020KT: direction over 360"),
        ("18020KT 200V200", "sector 200V200: its ends are one, read as the whole circle"),
        ("18020KT 280V390", "sector 280V390: a direction over 360"),
    ],
)
def test_in_a_forecast_too_it_is_kept_and_said(group, problem):
    forecast = decode_forecast(f"TAF XLKS 221730Z 2218/2318 {group} P6SM", NOW)
    assert forecast.problems == (problem,)
    (spell,) = forecast.spells
    assert spell.wind is not None
    assert spell.wind.strongest == 20
