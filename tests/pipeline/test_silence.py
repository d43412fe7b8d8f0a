"""No data and data back (promises 7 and 8; reliability section 2, settled cases 8 and 9)."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.pipeline.little_field import (
    DESK,
    TIE_DOWN,
    Watch,
    a_fleet,
    an_aircraft,
    an_airfield,
    limits,
    parked_fleet,
    utc,
)
from windwatch.fleet import Contact, TellAbout
from windwatch.notices.values import Notice

OWNER = Contact("owner", ("folder",), TellAbout(aircraft=("X-WREN",), thunder=False))


def of_data(watching: Watch) -> list[tuple[str, str]]:
    return [
        (s.name.value, s.track.quantity) for s in watching.steps if s.track.kind.value == "data"
    ]


def when(notices: list[Notice], contact: str, name: str) -> list[str]:
    return [
        f"{n.at:%H%M}"
        for n in notices
        if n.contact == contact and any(s.name == name for s in n.steps)
    ]


def two_aircraft() -> Watch:
    """The desk holds an episode of X-LARK; the owner of X-WREN holds none."""
    fleet = a_fleet(
        an_aircraft(own=limits("X-LARK", tie_down=25)),
        an_aircraft("X-WREN", own=limits("X-WREN", tie_down=60)),
        contacts=(DESK, OWNER),
    )
    watching = Watch(fleet)
    watching.report("18031KT", "1253")
    return watching


@pytest.mark.promise(8)
def test_promise_8_who_holds_an_open_episode_hears_within_a_minute_of_stale_after() -> None:
    watching = two_aircraft()
    watching.tick_until("1300", "1412")  # 75 min after 12:53 is 14:08
    assert when(watching.notices, "desk", "no_data") == ["1408"]
    assert when(watching.notices, "owner", "no_data") == []


def test_promise_8_the_others_hear_at_ninety_minutes() -> None:
    watching = two_aircraft()
    watching.tick_until("1300", "1500")
    assert when(watching.notices, "owner", "no_data") == ["1423"]
    assert when(watching.notices, "desk", "no_data") == ["1408"]


@pytest.mark.promise(8)
def test_promise_8_and_again_when_data_return() -> None:
    watching = two_aircraft()
    watching.tick_until("1300", "1500")
    watching.report("18031KT", "1453", received="1501")
    assert when(watching.notices, "desk", "data_back") == ["1501"]
    assert when(watching.notices, "owner", "data_back") == ["1501"]
    back = next(s for s in watching.last.steps if s.name == "data_back")
    assert back.level.word == "over"
    assert back.affected == (TIE_DOWN,)


def test_data_back_goes_only_to_who_heard_that_there_were_none() -> None:
    watching = two_aircraft()
    watching.tick_until("1300", "1412")
    watching.report("18031KT", "1353", received="1415")
    assert when(watching.notices, "desk", "data_back") == ["1415"]
    assert when(watching.notices, "owner", "data_back") == []


def test_the_age_runs_from_the_observation_and_not_from_its_receipt() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253", received="1350")
    assert ("1408", "no_data") in watching.tick_until("1400", "1410")


def test_a_silence_is_told_once_however_long() -> None:
    watching = two_aircraft()
    watching.tick_until("1300", "2300")
    assert of_data(watching).count(("no_data", "wind")) == 2  # to the desk, then to the owner
    told = [(n.contact, s.id) for n in watching.notices for s in n.steps if s.name == "no_data"]
    assert len(told) == len(set(told))


def test_reports_without_wind_are_no_news_of_wind() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("", "1353")
    watching.tick_until("1357", "1410")
    assert ("no_data", "wind") in of_data(watching)
    assert ("no_data", "thunder") not in of_data(watching)


def test_wind_and_weather_are_told_together_where_both_are_missing() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.tick_until("1300", "1412")
    assert [s.track.quantity for s in watching.notices[-1].steps] == ["wind", "thunder"]


def test_where_a_fall_back_takes_over_it_is_named_and_the_others_are_left_alone() -> None:
    watching = two_aircraft()
    watching.report("18031KT", "1356", station="XBRN")
    watching.tick_until("1400", "1430")
    step = next(s for s in watching.steps if s.name == "no_data")
    assert "XBRN is used meanwhile" in step.reason
    assert when(watching.notices, "owner", "no_data") == []
    watching.report("18031KT", "1440")
    assert when(watching.notices, "desk", "data_back") == ["1443"]


def test_the_others_hear_when_the_fall_back_fails_too() -> None:
    watching = two_aircraft()
    watching.report("18031KT", "1356", station="XBRN")
    watching.tick_until("1400", "1520")
    assert when(watching.notices, "owner", "no_data") == ["1511"]  # 75 min after 13:56


def test_nothing_ever_heard_is_told_from_the_beginning_of_the_watch_on() -> None:
    watching = Watch(parked_fleet())
    found = watching.tick_until("1200", "1400")
    assert found == [("1330", "no_data"), ("1330", "no_data")]
    assert "since the watch began" in watching.steps[0].reason


@pytest.mark.fault("F27")
def test_f27_the_stale_rule_follows_the_setting() -> None:
    half_hourly = an_airfield(
        stale_after=timedelta(minutes=45), no_data_after=timedelta(minutes=60)
    )
    fleet = a_fleet(an_aircraft(own=limits("X-LARK", tie_down=25)), airfield=half_hourly)
    watching = Watch(fleet)
    watching.report("18031KT", "1253")
    assert watching.tick_until("1300", "1340")[0] == ("1338", "no_data")


@pytest.mark.fault("F24")
@pytest.mark.promise(8)
def test_f24_one_station_left_out_runs_old_by_itself() -> None:
    there, missing = Watch(parked_fleet()), Watch(parked_fleet())
    for watching in (there, missing):
        watching.report("18031KT", "1253")
    there.report("18031KT", "1353")
    assert there.tick_until("1400", "1410") == []
    assert missing.tick_until("1400", "1410")[0] == ("1408", "no_data")


def test_who_does_not_want_to_hear_of_unknown_does_not() -> None:
    deaf = Contact("deaf", ("folder",), TellAbout(levels=("over",)))
    watching = Watch(replace(parked_fleet(), contacts=(DESK, deaf)))
    watching.report("18031KT", "1253")
    watching.tick_until("1300", "1500")
    assert watching.told("deaf") == ["opened"]


def test_the_level_stays_beside_the_unknown() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.tick_until("1300", "1700")
    assert watching.level() == "over"


def test_a_future_report_does_not_hide_a_silence() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18031KT", "2000", received="1400")
    assert ("1408", "no_data") in watching.tick_until("1400", "1410")


def test_the_end_of_a_silence_is_dated_by_its_observation() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.tick_until("1400", "1410")
    watching.report("18031KT", "1405", received="1411")
    back = next(s for s in watching.steps if s.name == "data_back")
    assert back.ended_at == utc("1405")


def test_data_back_goes_on_in_the_conversation_of_no_data() -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253")
    watching.tick_until("1420", "1425")
    first = next(n for n in watching.notices if n.steps[0].name == "no_data")
    watching.report("18010KT", "1420", received="1430")
    assert watching.notices[-1].steps[0].name == "data_back"
    assert watching.notices[-1].references == (first.id,)


@pytest.mark.promise(8)
def test_a_correction_that_takes_the_wind_away_again_begins_another_silence() -> None:
    # Found by a generated storm with kills (seed 2): both began at 12:53, with one id.
    watching = two_aircraft()
    watching.tick_until("1300", "1412")
    watching.report("18031KT", "1413", received="1415")
    watching.tick_until("1416", "1420")
    watching.report("COR /////KT", "1413", received="1421")
    watching.tick_until("1422", "1425")
    watching.report("18031KT", "1426", received="1427")
    assert when(watching.notices, "desk", "no_data") == ["1408", "1421"]
    assert when(watching.notices, "desk", "data_back") == ["1415", "1427"]
    steps = [s.id for s in watching.steps if s.name == "no_data" and s.track.quantity == "wind"]
    assert len(set(steps)) == 2
