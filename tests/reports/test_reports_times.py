"""Day, hour and minute against now: edges of day, month and year."""

from datetime import UTC, datetime, timedelta

import pytest

from windwatch.reports.times import last_time, resolve_time


def at(*parts):
    return datetime(*parts, tzinfo=UTC)


@pytest.mark.parametrize(
    ("coded", "now", "resolved"),
    [
        ((22, 10, 53), at(2026, 9, 22, 10, 56), at(2026, 9, 22, 10, 53)),
        ((30, 23, 53), at(2026, 7, 1, 0, 4), at(2026, 6, 30, 23, 53)),
        ((31, 23, 50), at(2027, 1, 1, 0, 10), at(2026, 12, 31, 23, 50)),
        ((29, 23, 50), at(2028, 3, 1, 0, 10), at(2028, 2, 29, 23, 50)),
        ((28, 23, 50), at(2027, 3, 1, 0, 10), at(2027, 2, 28, 23, 50)),
        # A report dated a few minutes ahead of our clock, over the edge of the month.
        ((1, 0, 0), at(2026, 6, 30, 23, 56), at(2026, 7, 1, 0, 0)),
        ((1, 0, 0), at(2026, 12, 31, 23, 56), at(2027, 1, 1, 0, 0)),
        ((23, 2, 0), at(2026, 9, 22, 10, 0), at(2026, 9, 23, 2, 0)),
        # More than a day ahead is the month before; so is a day this month has not.
        ((24, 10, 0), at(2026, 9, 22, 10, 0), at(2026, 8, 24, 10, 0)),
        ((31, 10, 0), at(2026, 5, 5, 10, 0), at(2026, 3, 31, 10, 0)),
        ((30, 10, 0), at(2026, 3, 2, 10, 0), at(2026, 1, 30, 10, 0)),
        ((29, 10, 0), at(2027, 3, 1, 10, 0), at(2027, 1, 29, 10, 0)),
    ],
)
def test_a_report_is_of_the_latest_such_time_not_a_day_ahead(coded, now, resolved):
    assert resolve_time(*coded, now) == resolved


@pytest.mark.parametrize("coded", [(0, 10, 0), (32, 10, 0), (10, 24, 0), (10, 10, 60)])
def test_a_time_that_no_calendar_has_is_none(coded):
    assert resolve_time(*coded, at(2026, 9, 22, 10, 0)) is None


def test_every_hour_of_four_years_comes_back_from_its_day_and_time():
    moment = at(2026, 1, 1, 0, 0)
    while moment < at(2030, 1, 1):
        for late in (timedelta(minutes=-10), timedelta(minutes=4), timedelta(hours=30)):
            assert resolve_time(moment.day, moment.hour, moment.minute, moment + late) == moment
        moment += timedelta(hours=7)


@pytest.mark.parametrize(
    ("hour", "minute", "observed_at", "resolved"),
    [
        (19, 11, at(2026, 9, 22, 19, 41), at(2026, 9, 22, 19, 11)),
        (None, 33, at(2026, 9, 22, 20, 52), at(2026, 9, 22, 20, 33)),
        (None, 58, at(2026, 9, 22, 20, 52), at(2026, 9, 22, 19, 58)),
        (None, 52, at(2026, 9, 22, 20, 52), at(2026, 9, 22, 20, 52)),
        (None, 58, at(2026, 9, 1, 0, 10), at(2026, 8, 31, 23, 58)),
        (23, 50, at(2027, 1, 1, 0, 5), at(2026, 12, 31, 23, 50)),
        (24, 0, at(2026, 9, 22, 20, 52), None),
        (None, 60, at(2026, 9, 22, 20, 52), None),
    ],
)
def test_a_time_in_the_remarks_is_at_or_before_the_report(hour, minute, observed_at, resolved):
    assert last_time(hour, minute, observed_at) == resolved
