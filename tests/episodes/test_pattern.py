"""F27: a station that reports otherwise than the configuration expects."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from tests.pipeline.little_field import Watch, a_fleet, an_aircraft, an_airfield, limits, utc
from windwatch.episodes.pattern import observed_interval, pattern_hint

MINUTE = timedelta(minutes=1)
pytestmark = pytest.mark.fault("F27")


def every(minutes: float, count: int) -> list[datetime]:
    return [utc("0053") + n * minutes * MINUTE for n in range(count)]


def watched(times: Iterable[datetime], kind: str = "METAR", **airfield: object) -> Watch:
    field = an_airfield(**airfield)
    watching = Watch(a_fleet(an_aircraft(own=limits("X-LARK", tie_down=25)), airfield=field))
    for at in times:
        watching.report("18010KT", f"{at:%H%M}", day=at.day, kind=kind)
        watching.tick(f"{at + 4 * MINUTE:%H%M}", day=at.day)
    return watching


def hint(watching: Watch) -> str:
    return pattern_hint(watching.fleet.airfields[0], watching.state)


@pytest.mark.parametrize(
    ("minutes", "seen"), [(60, 60), (30, 30), (20, 20), (180, 180), (1, 1), (62, 60), (5, 5)]
)
def test_the_interval_of_even_reports(minutes: int, seen: int) -> None:
    assert observed_interval(every(minutes, 6)) == seen * MINUTE


def test_fewer_than_four_or_uneven_ones_are_no_pattern() -> None:
    assert observed_interval(every(60, 3)) is None
    assert observed_interval([]) is None
    hourly = every(60, 6)
    assert observed_interval([*hourly[:4], hourly[5]]) is None, "one is missing"
    assert observed_interval([*hourly, hourly[-1]]) == 60 * MINUTE, "one came twice"
    assert observed_interval(reversed(hourly)) == 60 * MINUTE


def test_a_station_that_reports_as_expected_gives_no_hint() -> None:
    assert hint(watched(every(60, 8))) == ""
    assert hint(watched(every(180, 6), reports_every=180 * MINUTE)) == ""


def test_every_three_hours_where_every_hour_is_expected() -> None:
    assert hint(watched(every(180, 6))) == (
        "XLKS reports every 3 hours, and 60 minutes are expected: data would be called missing "
        'too early; set reports_every = "3h" at XLKS'
    )


def test_every_half_hour_where_every_hour_is_expected() -> None:
    assert hint(watched(every(30, 12))) == (
        "XLKS reports every 30 minutes, and 60 minutes are expected: a silence is noticed too "
        'late; set reports_every = "30min" at XLKS'
    )


def test_special_reports_and_other_stations_are_no_pattern() -> None:
    assert hint(watched(every(20, 8), kind="SPECI")) == ""
    watching = watched(every(60, 3))
    for at in every(20, 12):
        watching.report("18010KT", f"{at:%H%M}", station="XBRN")
    assert hint(watching) == ""


def test_a_night_without_reports_is_no_pattern() -> None:
    times = [*every(60, 3), *(at + 20 * 60 * MINUTE for at in every(60, 3))]
    assert hint(watched(times)) == ""


def test_the_stale_rule_follows_the_setting() -> None:
    # The same reports, three hours apart: missing by the one setting, as expected by the other.
    hourly, three_hourly = (
        watched(every(180, 3), **more)
        for more in (
            {},
            {
                "reports_every": 180 * MINUTE,
                "stale_after": 195 * MINUTE,
                "no_data_after": 210 * MINUTE,
            },
        )
    )
    assert [n for _, n in hourly.tick_until("0700", "0950")] == ["no_data", "no_data"]
    assert three_hourly.tick_until("0700", "0950") == []
    assert [n for _, n in three_hourly.tick_until("0951", "1100")] == ["no_data", "no_data"]


def test_after_the_setting_is_changed_the_hint_is_gone() -> None:
    watching = watched(every(180, 6))
    field = replace(watching.fleet.airfields[0], reports_every=180 * MINUTE)
    assert pattern_hint(field, watching.state) == ""
