"""One figure against its limits over time (reliability section 2), each rule by itself."""

from datetime import datetime, timedelta

import pytest

from tests.pipeline.little_field import utc
from windwatch.assessment.assess import finding
from windwatch.assessment.limits import thresholds
from windwatch.assessment.values import Level
from windwatch.episodes.gauge import ClearRule, Gauge, Reading, advance, clear_rules
from windwatch.fleet import Limit
from windwatch.rules import Rules
from windwatch.wind import Knots

LIMIT = Limit("tie_down", Knots(25), "X-LARK")  # near over 20, low at 23, near ends at 18.75
NEW = Gauge()
# Stale after 75 minutes an hourly station, after 10 an anemometer of the field's own.
RULE = clear_rules(Rules(), timedelta(minutes=75)).runway
OWN_ANEMOMETER_RULE = clear_rules(Rules(), timedelta(minutes=10)).runway


def reading(at: str, knots: float | None, *, qualifies: bool = True, **more: object) -> Reading:
    """A reading of a wind in knots; None: the report had no wind."""
    if knots is None:
        return Reading(f"r{at}", utc(at), None)
    found = finding(Knots(knots), thresholds(LIMIT, Rules()), nominal=None)
    plain = Reading(
        f"r{at}",
        utc(at),
        found.level,
        low=found.low and qualifies,
        quiet=found.near_low,
        finding=found,
    )
    return plain._replace(**more)


def run(
    *readings: Reading,
    convective_at: datetime | None = None,
    confirm: int = 1,
    start: Gauge = NEW,
    rule: ClearRule = RULE,
) -> Gauge:
    gauge = start
    for each in readings:
        gauge = advance(gauge, each, rule, convective_at, confirm)
    return gauge


# --- entry ------------------------------------------------------------------------


def test_one_report_over_opens() -> None:
    gauge = run(reading("1253", 26))
    assert gauge.level is Level.OVER
    assert (gauge.spans[0].opened_by, gauge.spans[0].opened_at) == ("r1253", utc("1253"))


def test_exactly_the_limit_does_not_open() -> None:
    assert run(reading("1253", 25)).level is Level.NEAR


def test_two_reports_are_awaited_where_configured() -> None:
    first = run(reading("1253", 26), confirm=2)
    assert first.level is Level.NEAR
    assert run(reading("1353", 26), start=first, confirm=2).level is Level.OVER


def test_reports_over_must_follow_one_another_to_confirm() -> None:
    gauge = run(reading("1253", 26), reading("1353", 20), reading("1453", 26), confirm=2)
    assert gauge.level is Level.NEAR


def test_the_peak_and_the_wind_of_one_report_confirm_as_one() -> None:
    both = [reading("1240", 31, peak=True, report="r1253"), reading("1253", 27)]
    assert run(*both, confirm=2).level is Level.NEAR


def test_from_near_to_over_is_a_new_span() -> None:
    gauge = run(reading("1253", 21), reading("1353", 26))
    assert [(s.level, s.open) for s in gauge.spans] == [(Level.NEAR, False), (Level.OVER, True)]


# --- near ---------------------------------------------------------------------------


def test_near_is_kept_within_its_deadband() -> None:
    assert run(reading("1253", 21), reading("1353", 19)).level is Level.NEAR
    assert run(reading("1253", 21), reading("1353", 18.7)).level is Level.WITHIN


def test_near_held_by_its_deadband_is_not_near_anew() -> None:
    gauge = run(reading("1253", 21), reading("1353", 19), reading("1453", 21))
    assert len(gauge.spans) == 1


# --- the way out, each clause by itself ----------------------------------------------


def test_two_low_reports_close() -> None:
    gauge = run(reading("1253", 26), reading("1323", 20), reading("1333", 20))
    assert gauge.level is Level.WITHIN
    assert gauge.spans[0].closed_by == ("r1323", "r1333")
    assert gauge.spans[0].closed_at == utc("1333")


def test_one_low_report_does_not_close() -> None:
    gauge = run(reading("1253", 26), reading("1453", 5))
    assert gauge.level is Level.OVER
    assert gauge.easing


def test_low_reports_less_than_ten_minutes_apart_do_not_close() -> None:
    assert run(reading("1253", 26), reading("1350", 20), reading("1359", 20)).level is Level.OVER
    assert run(reading("1253", 26), reading("1350", 20), reading("1400", 20)).level is Level.WITHIN


def test_the_first_and_last_of_several_low_reports_may_be_the_pair() -> None:
    gauge = run(reading("1253", 26), reading("1350", 20), reading("1355", 20), reading("1401", 20))
    assert gauge.spans[0].closed_by == ("r1350", "r1401")


def test_the_limit_less_its_deadband_still_counts_as_low() -> None:
    assert (
        run(reading("1253", 26), reading("1353", 23), reading("1453", 23)).level is not Level.OVER
    )


def test_a_report_between_deadband_and_limit_restarts_the_count() -> None:
    held = run(reading("1253", 26), reading("1353", 20), reading("1453", 24), reading("1553", 20))
    assert held.level is Level.OVER
    assert run(reading("1653", 20), start=held).level is Level.WITHIN


def test_a_report_that_does_not_qualify_restarts_the_count() -> None:
    thunder = reading("1453", 10, qualifies=False)
    gauge = run(reading("1253", 26), reading("1353", 20), thunder, reading("1553", 20))
    assert gauge.level is Level.OVER


def test_a_report_without_wind_restarts_the_count() -> None:
    gauge = run(
        reading("1253", 26), reading("1353", 20), reading("1453", None), reading("1553", 20)
    )
    assert gauge.level is Level.OVER
    assert len(gauge.lows) == 1


def test_missing_wind_alone_never_closes() -> None:
    gauge = run(reading("1253", 26), *(reading(f"{h}53", None) for h in range(13, 22)))
    assert gauge.level is Level.OVER


@pytest.mark.parametrize(("second", "level"), [("1322", Level.OVER), ("1323", Level.WITHIN)])
def test_thirty_minutes_must_pass_since_the_last_report_over(second: str, level: Level) -> None:
    gauge = run(reading("1253", 26), reading("1310", 20), reading(second, 20))
    assert gauge.level is level


@pytest.mark.parametrize(("second", "level"), [("1429", Level.OVER), ("1430", Level.WITHIN)])
def test_an_hour_must_pass_since_thunder_or_wind_shift(second: str, level: Level) -> None:
    gauge = run(
        reading("1253", 26), reading("1410", 20), reading(second, 20), convective_at=utc("1330")
    )
    assert gauge.level is level


def test_a_low_text_for_the_time_of_a_worse_one_does_not_count() -> None:
    # Without COR the worse of two texts for one time counts until the next report.
    for worse in (26, 24):
        both = [reading("1353", worse), reading("1353", 20, report="other")]
        gauge = run(reading("1253", 26), *both, reading("1453", 20))
        assert gauge.level is Level.OVER
        assert run(reading("1553", 20), start=gauge).level is Level.WITHIN


def test_after_back_the_level_is_near_where_the_figure_is() -> None:
    gauge = run(reading("1253", 26), reading("1353", 22), reading("1453", 22))
    assert gauge.level is Level.NEAR
    assert not any(s.open for s in gauge.spans)  # told with *back*, and not as *near* again


def test_only_a_report_closes() -> None:
    # The two low reports came too early after the last over; time alone changes nothing.
    held = run(reading("1253", 26), reading("1303", 20), reading("1313", 20))
    assert held.level is Level.OVER
    assert run(reading("1323", 20), start=held).level is Level.WITHIN


# --- nothing was known in between ---------------------------------------------------------


@pytest.mark.promise(7)
def test_a_low_report_of_yesterday_does_not_count() -> None:
    old = run(reading("1253", 26), reading("1353", 20))
    today = reading("1353", 20, report="today")._replace(at=utc("1353", 23))
    gauge = run(today, start=old)
    assert gauge.level is Level.OVER
    assert [low.report for low in gauge.lows] == ["today"]
    later = reading("1453", 20, report="next")._replace(at=utc("1453", 23))
    gauge = run(later, start=gauge)
    assert gauge.level is Level.WITHIN
    assert gauge.spans[0].closed_by == ("today", "next")


@pytest.mark.promise(7)
@pytest.mark.parametrize(("second", "level"), [("1507", Level.WITHIN), ("1508", Level.OVER)])
def test_a_low_report_counts_as_long_as_it_is_not_stale(second: str, level: Level) -> None:
    gauge = run(reading("1253", 26), reading("1353", 20), reading(second, 20))
    assert gauge.level is level


@pytest.mark.promise(7)
def test_with_one_hourly_report_missing_the_count_starts_anew() -> None:
    held = run(reading("1253", 26), reading("1353", 20), reading("1553", 20))
    assert held.level is Level.OVER
    gauge = run(reading("1653", 20), start=held)
    assert gauge.spans[0].closed_by == ("r1553", "r1653")


@pytest.mark.promise(7)
def test_neighbours_are_compared_and_not_the_first_with_the_last() -> None:
    # An anemometer of the field's own is stale after 10 minutes, and 10 must lie between the two.
    chain = [reading(f"13{minute:02}", 20) for minute in (25, 30, 35)]
    gauge = run(reading("1253", 26), *chain, rule=OWN_ANEMOMETER_RULE)
    assert gauge.spans[0].closed_by == ("r1325", "r1335")
    broken = [reading(f"13{minute:02}", 20) for minute in (25, 35, 40)]
    gauge = run(reading("1253", 26), *broken, rule=OWN_ANEMOMETER_RULE)
    assert gauge.level is Level.OVER
    assert [low.report for low in gauge.lows] == ["r1335", "r1340"]


@pytest.mark.promise(7)
def test_an_older_report_of_a_fall_back_does_not_make_the_newest_older() -> None:
    # It is placed where it took over, later than what it tells of.
    older = reading("1350", 20, fall_back=True)
    gauge = run(reading("1253", 26), reading("1355", 20), older, reading("1509", 20))
    assert gauge.level is Level.WITHIN


@pytest.mark.promise(7)
def test_of_three_low_reports_none_may_be_stale_before_the_next() -> None:
    three = RULE._replace(reports=3)
    gap = run(
        *(reading(at, low) for at, low in [("1253", 26), ("1353", 20), ("1453", 20), ("1653", 20)]),
        rule=three,
    )
    assert gap.level is Level.OVER
    assert run(reading("1753", 20), reading("1853", 20), start=gap, rule=three).level is (
        Level.WITHIN
    )


# --- peaks -------------------------------------------------------------------------------


def test_a_peak_opens_at_its_own_time() -> None:
    gauge = run(reading("1240", 31, peak=True, report="r1253"), reading("1253", 20))
    assert gauge.level is Level.OVER
    assert gauge.spans[0].opened_at == utc("1240")
    assert gauge.spans[0].opened_by == "r1253"


def test_holds_are_counted_from_the_time_of_the_peak() -> None:
    peak = reading("1240", 31, peak=True, report="r1253")
    assert run(peak, reading("1253", 20), reading("1310", 20)).level is Level.WITHIN
    assert run(peak, reading("1253", 20), reading("1309", 20)).level is Level.OVER


def test_a_peak_voids_the_low_reports_before_it_only() -> None:
    peak = reading("1420", 26, peak=True, report="r1453")
    gauge = run(reading("1253", 26), reading("1353", 20), peak, reading("1453", 20))
    assert gauge.level is Level.OVER
    assert [low.report for low in gauge.lows] == ["r1453"]


def test_a_peak_above_the_low_line_stands_between_two_low_reports() -> None:
    # "Consecutive with nothing higher between them": 24 kt is under the limit, but not low.
    peak = reading("1420", 24, peak=True, report="r1453")
    assert (
        run(reading("1253", 26), reading("1353", 20), peak, reading("1453", 20)).level is Level.OVER
    )


def test_a_low_peak_changes_nothing() -> None:
    peak = reading("1420", 22, peak=True, report="r1453")
    gauge = run(reading("1253", 26), reading("1353", 20), peak, reading("1453", 20))
    assert gauge.level is Level.WITHIN


def test_a_peak_never_clears() -> None:
    peaks = [reading(f"{h}20", 10, peak=True) for h in range(13, 20)]
    assert run(reading("1253", 26), *peaks).level is Level.OVER


# --- neutral: a fall-back that may not clear ------------------------------------------------


def test_a_neutral_report_neither_clears_nor_restarts_the_count() -> None:
    neutral = [reading("1400", 20, neutral=True), reading("1430", 24, neutral=True)]
    first = run(reading("1253", 26), reading("1353", 20), *neutral)
    assert [low.report for low in first.lows] == ["r1353"]
    assert run(reading("1453", 20), start=first).level is Level.WITHIN


def test_a_neutral_report_over_opens_and_holds() -> None:
    assert run(reading("1253", 26, neutral=True)).level is Level.OVER
    gauge = run(reading("1253", 26), reading("1353", 20), reading("1400", 26, neutral=True))
    assert gauge.lows == ()
