"""When the configuration changes (reliability section 2, F51, F52)."""

from dataclasses import replace

from tests.pipeline.little_field import (
    DESK,
    RUNWAYS,
    TIE_DOWN,
    Watch,
    a_fleet,
    an_aircraft,
    flying_fleet,
    parked_fleet,
    utc,
)
from windwatch import pipeline
from windwatch.fleet import Contact, RunwayNote


def test_f51_a_limit_lowered_below_the_present_wind_opens() -> None:
    watching = Watch(parked_fleet(tie_down=25))
    watching.report("18022KT", "1253")
    watching.reload(parked_fleet(tie_down=20))
    assert watching.tick("1300") == ["opened"]
    assert watching.steps[-1].reason.startswith("limits changed")
    assert watching.steps[-1].since == utc("1253")


def test_f51_a_limit_raised_above_the_present_wind_ends_and_is_no_all_clear() -> None:
    watching = Watch(parked_fleet(tie_down=25))
    watching.report("18031KT", "1253")
    watching.reload(parked_fleet(tie_down=45))
    assert watching.tick("1300") == ["ended"]
    assert watching.steps[-1].reason == "the limits were changed"
    assert watching.told() == ["opened", "ended"]


def test_lowered_again_it_opens_again_by_the_same_report() -> None:
    watching = Watch(parked_fleet(tie_down=25))
    watching.report("18031KT", "1253")
    watching.reload(parked_fleet(tie_down=45))
    watching.tick("1300")
    watching.reload(parked_fleet(tie_down=25))
    assert watching.tick("1305") == ["opened"]
    assert len({s.id for s in watching.steps}) == 3


def test_a_limit_that_stays_crossed_goes_on_in_its_episode() -> None:
    watching = Watch(parked_fleet(tie_down=25))
    watching.report("18031KT", "1253")
    watching.reload(parked_fleet(tie_down=28))
    assert watching.tick("1300") == []
    watching.report("18010KT", "1353")
    assert watching.report("18010KT", "1453") == ["back"]
    assert watching.steps[-1].episode == watching.steps[0].episode


def test_unchanged_tracks_go_on_untouched() -> None:
    watching = Watch(parked_fleet(tie_down=25, taxi=30))
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    watching.reload(parked_fleet(tie_down=25, taxi=28))
    assert watching.tick("1400") == ["ended"]  # taxi; tie-down keeps its first low report
    assert watching.report("18010KT", "1453") == ["back"]
    assert watching.steps[-1].track == TIE_DOWN


def test_a_new_contact_name_or_a_note_is_no_change_of_limits() -> None:
    fleet = flying_fleet()
    watching = Watch(fleet)
    watching.report("22530KT", "1253")
    watching.report("18008KT", "1353")
    field = fleet.airfields[0]
    noted = replace(field.runways[0], notes=(RunwayNote("mind the trees"),))
    watching.reload(
        replace(fleet, airfields=(replace(field, runways=(noted, *field.runways[1:])),))
    )
    assert watching.tick("1400") == []
    assert "back" in watching.report("18008KT", "1453")


def test_f52_an_aircraft_removed_is_no_longer_watched() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.reload(a_fleet(an_aircraft("X-WREN")))
    assert watching.tick("1300") == ["ended"]
    assert watching.steps[-1].reason == "no longer watched"
    assert watching.tick("1301") == []


def test_an_aircraft_added_is_judged_at_once() -> None:
    watching = Watch(a_fleet(an_aircraft("X-WREN")))
    watching.report("18031KT", "1253")
    watching.reload(parked_fleet())
    assert watching.tick("1300") == ["opened"]
    assert watching.steps[-1].reason.startswith("watched from now on")


def test_the_newest_report_with_a_wind_is_what_changed_limits_are_judged_by() -> None:
    watching = Watch(parked_fleet(tie_down=25))
    watching.report("18031KT", "1253")
    watching.report("", "1310", kind="SPECI")
    watching.reload(parked_fleet(tie_down=20))
    assert watching.tick("1315") == []  # it is over still, and nothing ended


def test_without_a_fresh_report_a_changed_episode_ends_and_the_next_report_opens() -> None:
    watching = Watch(parked_fleet(tie_down=25))
    watching.report("18031KT", "1253")
    watching.reload(parked_fleet(tie_down=20))
    assert watching.tick("1500")[0] == "ended"
    assert "opened" in watching.report("18031KT", "1453", received="1501")


def test_f19_a_correction_right_after_the_change_still_finds_its_place() -> None:
    watching = Watch(parked_fleet(tie_down=25))
    watching.report("18013KT", "1453")
    watching.reload(parked_fleet(tie_down=24))
    watching.tick("1458")
    assert watching.report("COR 18031KT", "1453", received="1503") == ["opened"]


def test_a_late_report_right_after_the_change_still_counts_for_unchanged_tracks() -> None:
    watching = Watch(parked_fleet(tie_down=25, taxi=30))
    watching.report("18010KT", "1453")
    watching.reload(parked_fleet(tie_down=25, taxi=31))
    watching.tick("1458")
    assert watching.report("18027KT", "1450", kind="SPECI", received="1503") == ["opened"]
    assert watching.steps[-1].track == TIE_DOWN


def test_reports_from_before_the_change_are_not_judged_by_the_new_limits() -> None:
    watching = Watch(parked_fleet(tie_down=45))
    watching.report("18031KT", "1153")
    watching.report("18010KT", "1253")
    watching.reload(parked_fleet(tie_down=25))
    assert watching.tick("1300") == []
    assert watching.level() == "within"


def test_a_restart_with_new_limits_is_a_change_of_limits() -> None:
    watching = Watch(parked_fleet(tie_down=25))
    watching.report("18022KT", "1253")
    watching.reload(parked_fleet(tie_down=20))
    watching.books = pipeline.restore(watching.setup, watching.fleet.airfields[0], watching.state)
    assert watching.tick("1300") == ["opened"]


def test_runways_are_judged_anew_too() -> None:
    watching = Watch(flying_fleet(crosswind=25))
    watching.report("22530KT", "1253")
    assert watching.level(RUNWAYS) == "near"
    watching.reload(flying_fleet(crosswind=15))
    assert watching.tick("1300") == ["opened"]


# --- contacts ----------------------------------------------------------------------------


def test_a_contact_added_during_an_episode_gets_the_present_state_once() -> None:
    fleet = parked_fleet()
    watching = Watch(fleet)
    watching.report("18031KT", "1253")
    watching.reload(replace(fleet, contacts=(DESK, Contact("owner", ("folder",)))))
    watching.tick("1300")
    assert watching.told("owner") == ["opened"]
    assert "added" in watching.last.steps[0].reason
    assert watching.tick("1301") == []
    watching.report("18010KT", "1353")
    watching.report("18010KT", "1453")
    assert watching.told("owner") == ["opened", "back"]
    assert watching.told("desk") == ["opened", "back"]


def test_a_contact_that_is_removed_gets_nothing_more() -> None:
    fleet = parked_fleet()
    watching = Watch(replace(fleet, contacts=(DESK, Contact("owner", ("folder",)))))
    watching.report("18031KT", "1253")
    watching.reload(fleet)
    watching.report("18010KT", "1353")
    watching.report("18010KT", "1453")
    assert watching.told("owner") == ["opened"]


# --- an airfield that is dropped ----------------------------------------------------------


def test_f52_a_dropped_airfield_is_no_longer_watched() -> None:
    fleet = parked_fleet()
    watching = Watch(fleet)
    watching.report("18031KT", "1253", "2SM TSRA BKN030CB 20/18 A2980")
    left = replace(fleet, airfields=(), aircraft=())
    outcome = pipeline.drop(left, watching.books, utc("1300"))
    assert {(s.name.value, s.track.kind.value) for s in outcome.steps} == {
        ("ended", "ground"),
        ("ended", "thunder"),
    }
    assert [notice.contact for notice, _ in outcome.notices] == ["desk"]
    assert all(s.reason == "no longer watched" for s in outcome.steps)
    assert pipeline.drop(left, outcome.books, utc("1301")).steps == ()
