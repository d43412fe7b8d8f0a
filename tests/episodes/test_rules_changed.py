"""A figure of judgement that is changed takes nothing back, and ends nothing (promise 7)."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.pipeline.little_field import Watch, parked_fleet, utc
from windwatch import pipeline
from windwatch.episodes.rules_changed import forget_rules, ruled_at
from windwatch.episodes.state import AirfieldState, Ruled
from windwatch.fleet import Fleet
from windwatch.rules import Rules
from windwatch.store.codec import from_json, to_json

HALF_HOUR = timedelta(minutes=30)


def by(fleet: Fleet, **figures: object) -> Fleet:
    return replace(fleet, rules=replace(fleet.rules, **figures))


def restart(watching: Watch) -> None:
    """From what the store keeps."""
    kept = from_json(to_json(watching.state, AirfieldState), AirfieldState)
    airfield = watching.fleet.airfields[0]
    watching.books = pipeline.restore(watching.setup, airfield, kept)


def test_the_fingerprints_are_the_same() -> None:
    fleet = parked_fleet()
    watching = Watch(fleet)
    before = watching.state.fingerprints
    watching.reload(by(fleet, deadband_kt=4.0, parked_hold=HALF_HOUR))
    assert watching.tick("1300") == []
    assert watching.state.fingerprints == before


@pytest.mark.parametrize("restarted", [False, True])
def test_another_margin_leaves_an_open_episode_open_and_untold(restarted: bool) -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.reload(by(watching.fleet, deadband_kt=4.0))
    if restarted:
        restart(watching)
    assert watching.tick("1300") == []
    assert watching.level() == "over"
    # 22 kt is 3 kt below: enough by the old margin of 2 kt, not by the new one of 4 kt.
    watching.report("18022KT", "1353")
    assert watching.report("18022KT", "1453") == []
    watching.report("18021KT", "1553")
    assert watching.report("18021KT", "1653") == ["back"]


@pytest.mark.parametrize("restarted", [False, True])
def test_a_shorter_hold_ends_nothing_before_the_next_report(restarted: bool) -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1315", kind="SPECI")
    assert watching.report("18010KT", "1330", kind="SPECI") == []
    # By half an hour these two would have been enough; they were judged by an hour.
    watching.reload(by(watching.fleet, parked_hold=HALF_HOUR))
    if restarted:
        restart(watching)
    assert watching.tick("1335") == []
    assert watching.level() == "over"
    assert watching.report("18010KT", "1340", kind="SPECI") == ["back"]


@pytest.mark.parametrize("restarted", [False, True])
def test_a_longer_hold_takes_no_all_clear_back(restarted: bool) -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    assert watching.report("18010KT", "1410", kind="SPECI") == ["back"]
    watching.reload(by(watching.fleet, parked_hold=timedelta(hours=3)))
    if restarted:
        restart(watching)
    assert watching.tick("1415") == []
    assert watching.report("18010KT", "1453") == []
    assert watching.level() == "within"


def test_a_correction_is_judged_by_the_figures_of_its_place() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18022KT", "1353")
    assert watching.report("18022KT", "1453") == ["back"]
    watching.reload(by(watching.fleet, deadband_kt=4.0))
    watching.tick("1500")
    # 23 kt was low enough then; by the new margin it would take the end back.
    assert watching.report("COR 18023KT", "1353", received="1505") == []
    assert watching.level() == "near"


def test_changed_and_changed_back_is_not_changed() -> None:
    fleet = parked_fleet()
    watching = Watch(fleet)
    watching.report("18031KT", "1253")
    before = watching.state
    watching.reload(by(fleet, deadband_kt=4.0))
    watching.tick("1300")
    assert len(watching.state.ruled) == 2
    watching.reload(fleet)
    watching.tick("1301")
    assert watching.state.ruled == before.ruled


def test_figures_that_judge_nothing_any_more_are_forgotten() -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253")
    watching.reload(by(watching.fleet, deadband_kt=4.0))
    for at in ("1353", "1853", "1953", "2053"):
        watching.report("18010KT", at)
    watching.tick("2055")
    assert [ruled.rules.deadband_kt for ruled in watching.state.ruled] == [4.0]


def test_before_anything_is_settled_nothing_is_forgotten() -> None:
    ruled = (Ruled(utc("1200"), Rules()), Ruled(utc("1300"), Rules(low_reports=3)))
    assert forget_rules(ruled, None) == ruled
    assert forget_rules(ruled, utc("1259")) == ruled
    assert forget_rules(ruled, utc("1300")) == ruled[1:]


def test_books_of_a_version_without_figures_go_by_the_usual_ones() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    old = replace(watching.state, ruled=())
    assert ruled_at(old, utc("1253")).rules == Rules()
    watching.reload(by(watching.fleet, deadband_kt=4.0))
    watching.books = pipeline.restore(watching.setup, watching.fleet.airfields[0], old)
    assert watching.tick("1300") == []
    assert ruled_at(watching.state, utc("1253")).rules == Rules()
    assert ruled_at(watching.state, utc("1353")).rules.deadband_kt == 4.0


def test_a_report_before_the_first_figures_goes_by_the_first() -> None:
    state = AirfieldState("XLKS", utc("1200"), ruled=(Ruled(utc("1200"), Rules(low_reports=3)),))
    assert ruled_at(state, utc("1153")).rules.low_reports == 3
