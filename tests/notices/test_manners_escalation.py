"""Unacknowledged `over` after 15 min: the next contact (reliability, section 3)."""

from dataclasses import replace

from tests.pipeline.little_field import DESK, Watch, a_fleet, an_aircraft, limits, utc
from windwatch.fleet import Contact, RunwaySteps, TellAbout
from windwatch.pipeline import Acknowledged

NOTHING = TellAbout(runways=RunwaySteps.NONE, ground=False, thunder=False)
FIRST = replace(DESK, then_tell="chief")
CHIEF = Contact("chief", ("folder",), NOTHING, then_tell="president")
PRESIDENT = Contact("president", ("folder",), NOTHING)


def watch(*contacts: Contact) -> Watch:
    return Watch(
        a_fleet(an_aircraft(own=limits("X-LARK", tie_down=25)), contacts=contacts), utc("1200")
    )


def test_who_takes_no_note_within_a_quarter_of_an_hour_is_followed_by_the_next() -> None:
    watching = watch(FIRST, CHIEF)
    watching.report("18030KT", "1253", received="1255")
    watching.tick_until("1256", "1309")
    assert watching.told("chief") == []
    watching.tick("1310")
    assert watching.told("chief") == ["opened"]
    step = watching.notices[-1].steps[0]
    assert step.reason == "desk took no note within 15 min"
    assert step.finding is not None
    assert step.finding.figure == 30
    watching.tick_until("1311", "1400")
    assert watching.told("chief") == ["opened"], "once an episode"


def test_taking_note_stops_it() -> None:
    watching = watch(FIRST, CHIEF)
    watching.report("18030KT", "1253", received="1255")
    watching.step(Acknowledged((watching.state.ledger[0].episode,), "desk"), utc("1309"))
    watching.tick_until("1310", "1340")
    assert watching.told("chief") == []


def test_what_is_easing_or_over_is_not_passed_on() -> None:
    watching = watch(FIRST, CHIEF)
    watching.report("18030KT", "1253", received="1255")
    watching.report("18010KT", "1300", received="1301", kind="SPECI")
    watching.tick_until("1302", "1340")
    assert watching.told("chief") == []


def test_a_chain_is_told_one_after_the_other() -> None:
    watching = watch(FIRST, CHIEF, PRESIDENT)
    watching.report("18030KT", "1253", received="1255")
    watching.tick_until("1256", "1324")
    assert (watching.told("chief"), watching.told("president")) == (["opened"], [])
    watching.tick("1325")
    assert watching.told("president") == ["opened"]


def test_contacts_who_name_each_other_end_it() -> None:
    watching = watch(FIRST, replace(CHIEF, then_tell="desk"))
    watching.report("18030KT", "1253", received="1255")
    watching.tick_until("1256", "1350")
    assert watching.told("desk") == ["opened"]
    assert watching.told("chief") == ["opened"]


def test_whoever_was_passed_an_episode_hears_how_it_goes_on_and_nothing_else() -> None:
    watching = watch(FIRST, CHIEF)
    watching.report("18022KT", "1153")
    watching.report("18030KT", "1253", received="1255")
    watching.tick("1310")
    watching.report("18041KT", "1320", kind="SPECI")
    watching.tick_until("1430", "1440")
    watching.report("18006KT", "1453")
    watching.report("18006KT", "1553")
    watching.tick("1558")
    assert watching.told("chief") == ["opened", "worsened", "no_data", "data_back", "back"]
    assert "near" in watching.told("desk")


def test_a_new_episode_begins_a_new_quarter_of_an_hour() -> None:
    watching = watch(FIRST, CHIEF)
    watching.report("18030KT", "1253", received="1255")
    watching.report("COR 18010KT", "1253", received="1300")
    watching.report("COR 18031KT", "1253", received="1330")
    watching.tick("1331")
    assert watching.told("chief") == []
    watching.tick_until("1332", "1346")
    assert watching.told("chief") == ["opened"]
