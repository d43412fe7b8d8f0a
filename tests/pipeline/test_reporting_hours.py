"""A station that closes at night (reliability, section 2, *Stale*, last sentence)."""

from dataclasses import replace
from datetime import time, timedelta

import pytest

from tests.pipeline.little_field import (
    DESK,
    TIE_DOWN,
    Watch,
    a_fleet,
    an_aircraft,
    an_airfield,
    limits,
    utc,
)
from tests.pipeline.test_silence import OWNER, when
from windwatch.episodes.reporting import next_report_due, silent_for
from windwatch.fleet import OperatingHours
from windwatch.notices.telling import situation_now

# 06:00 to 22:00 in New York, which is 10:00Z to 02:00Z in September.
BY_DAY = OperatingHours(time(6), time(22))


def at_night(**more: object) -> Watch:
    """The desk holds an episode of X-LARK if its tie-down limit is passed; the owner none."""
    fleet = a_fleet(
        an_aircraft(own=limits("X-LARK", tie_down=25)),
        an_aircraft("X-WREN", own=limits("X-WREN", tie_down=60)),
        airfield=an_airfield(reports_between=BY_DAY, **more),
        contacts=(DESK, OWNER),
    )
    return Watch(fleet, start=utc("2300"))


def no_data(watching: Watch, contact: str) -> list[str]:
    return when(watching.notices, contact, "no_data")


def night(watching: Watch, until: str) -> None:
    """The last report before closing was of 01:53Z."""
    watching.tick_until("0156", until, day=23)


def test_without_an_open_episode_a_closed_station_is_told_to_nobody() -> None:
    watching = at_night()
    watching.report("18010KT", "0153", day=23)
    night(watching, "1129")
    assert watching.told("desk") == watching.told("owner") == []
    assert watching.level() == "within"


def test_from_the_opening_on_it_has_as_long_as_any_other() -> None:
    watching = at_night()
    watching.report("18010KT", "0153", day=23)
    night(watching, "1200")
    assert no_data(watching, "desk") == ["1130"]  # 90 min after 10:00Z
    assert no_data(watching, "owner") == ["1130"]


def test_the_first_report_of_the_morning_says_nothing() -> None:
    watching = at_night()
    watching.report("18010KT", "0153", day=23)
    night(watching, "1055")
    assert watching.report("18010KT", "1053", day=23) == []
    watching.tick_until("1057", "1200", day=23)
    assert watching.told("desk") == []


def test_whoever_holds_an_open_episode_hears_at_stale_after_and_that_it_is_closed() -> None:
    watching = at_night()
    watching.report("18031KT", "0153", day=23)
    night(watching, "0900")
    assert no_data(watching, "desk") == ["0308"]
    assert no_data(watching, "owner") == []
    step = next(s for s in watching.steps if s.name == "no_data")
    assert "the station is closed at this hour" in step.reason
    assert watching.level() == "over"


def test_an_open_episode_of_a_parked_aircraft_falls_to_the_fall_back_station() -> None:
    watching = at_night()
    watching.report("18031KT", "0153", day=23)
    watching.report("18030KT", "0256", station="XBRN", day=23)
    watching.tick_until("0300", "0310", day=23)
    step = next(s for s in watching.steps if s.name == "no_data")
    assert "XBRN is used meanwhile" in step.reason
    assert watching.report("18045KT", "0356", station="XBRN", day=23) == ["worsened"]
    # After two hours without the main one it may end what it did not open, and says so.
    for at in ("0456", "0556", "0656"):
        watching.report("18010KT", at, station="XBRN", day=23)
    assert watching.level(TIE_DOWN) == "within"
    back = next(s for s in watching.steps if s.name == "back")
    assert {report.station for report in back.reports} == {"XBRN"}


def test_a_station_that_falls_silent_by_day_is_told_by_day() -> None:
    watching = at_night()
    watching.report("18010KT", "2353")
    watching.tick_until("0000", "0130", day=23)
    assert no_data(watching, "owner") == ["0123"]


def test_a_silence_that_would_be_told_after_closing_waits_for_the_opening() -> None:
    watching = at_night()
    watching.report("18010KT", "0053", day=23)
    watching.tick_until("0100", "1200", day=23)  # 90 min later it is 02:23Z
    assert no_data(watching, "owner") == ["1130"]


def test_the_next_report_is_due_at_the_opening() -> None:
    watching = at_night()
    watching.report("18010KT", "0053", day=23)
    airfield = watching.fleet.airfields[0]

    def due() -> str:
        here = situation_now(watching.setup, airfield, watching.books, "desk", utc("0200", 23))
        assert here.next_report_due is not None
        return f"{here.next_report_due:%d%H%M}"

    assert due() == "230153"
    watching.report("18010KT", "0153", day=23)
    assert due() == "231000"


# --- the pure rules ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("since", "now", "minutes"),
    [
        ("1153", "1253", 60),
        ("0153", "0159", 6),
        ("0153", "0200", None),
        ("0153", "0959", None),
        ("0153", "1000", 0),
        ("0153", "1030", 30),
    ],
)
def test_how_long_reports_are_missing(since: str, now: str, minutes: int | None) -> None:
    found = silent_for(an_airfield(reports_between=BY_DAY), utc(since, 23), utc(now, 23))
    assert found == (None if minutes is None else timedelta(minutes=minutes))


def test_hours_past_midnight_and_none_at_all() -> None:
    by_night = an_airfield(reports_between=OperatingHours(time(20), time(4)))
    assert silent_for(by_night, utc("0053", 23), utc("0753", 23)) == timedelta(hours=7)
    assert silent_for(by_night, utc("0753", 23), utc("0800", 23)) is None
    always = an_airfield()
    assert silent_for(always, utc("0053", 23), utc("0800", 23)) == timedelta(minutes=427)
    assert next_report_due(always, utc("0153", 23)) == utc("0253", 23)


def test_a_change_from_summer_time_moves_the_opening() -> None:
    # New York goes back an hour on 2026-11-01: 06:00 is 10:00Z the day before, 11:00Z that day.
    airfield = replace(an_airfield(reports_between=BY_DAY), time_zone="America/New_York")
    saturday = utc("0153").replace(month=10, day=31)
    assert next_report_due(airfield, saturday) == saturday.replace(hour=10, minute=0)
    sunday = saturday.replace(month=11, day=1)
    assert next_report_due(airfield, sunday) == sunday.replace(hour=11, minute=0)
