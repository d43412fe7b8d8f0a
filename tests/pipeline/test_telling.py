"""Who hears what, and when: filters, hours, the gathering minute, reminders, acknowledgements."""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import pytest

from tests.pipeline.little_field import (
    DESK,
    EAST_WEST,
    TIE_DOWN,
    Watch,
    a_fleet,
    an_aircraft,
    an_airfield,
    flying_fleet,
    limits,
    parked_fleet,
    utc,
)
from windwatch import pipeline
from windwatch.fleet import Contact, OperatingHours, PilotLimits, RunwaySteps, TellAbout
from windwatch.notices.routing import is_open

STORM = "2SM TSRA BKN030CB 20/18 A2980"


def contact(name: str, **about: object) -> Contact:
    return Contact(name, ("folder",), TellAbout(**about))  # type: ignore[arg-type]


# --- filters ---------------------------------------------------------------------------


def everything(*contacts: Contact) -> Watch:
    fleet = a_fleet(
        an_aircraft(
            own=limits("X-LARK", crosswind=15, tie_down=25), flown_by=("dual", "student solo")
        ),
        an_aircraft("X-WREN", own=limits("X-WREN", tie_down=22)),
        airfield=an_airfield(runways=(EAST_WEST,)),
        pilots=[
            PilotLimits("dual", ()),
            PilotLimits("student solo", limits("student solo", crosswind=7)),
        ],
        contacts=contacts,
    )
    return Watch(fleet)


@pytest.mark.parametrize(
    ("about", "heard"),
    [
        ({}, {"runways dual", "runways student solo", "tie_down X-LARK", "tie_down X-WREN", "TS"}),
        ({"aircraft": ("X-WREN",)}, {"tie_down X-WREN", "TS"}),
        (
            {"pilot_limits": ("dual",)},
            {"runways dual", "tie_down X-LARK", "tie_down X-WREN", "TS"},
        ),
        ({"ground": False}, {"runways dual", "runways student solo", "TS"}),
        ({"thunder": False, "runways": RunwaySteps.NONE}, {"tie_down X-LARK", "tie_down X-WREN"}),
        ({"airfields": ("XELM",)}, set()),
        ({"levels": ("near", "unknown")}, set()),
        (
            {"levels": ("over",), "airfields": ("XLKS",)},
            {"runways dual", "runways student solo", "tie_down X-LARK", "tie_down X-WREN", "TS"},
        ),
    ],
)
def test_a_contact_chooses_what_it_hears_about(about: dict[str, object], heard: set[str]) -> None:
    watching = everything(contact("somebody", **about))
    watching.report("18031KT", "1253", STORM)
    found = {
        {
            "runways": f"runways {s.track.pilot_limits}",
            "ground": f"{s.track.quantity} {s.track.aircraft}",
            "thunder": "TS",
        }[s.track.kind.value]
        for n in watching.notices
        for s in n.steps
    }
    assert found == heard


def test_near_is_told_by_default_for_ground_and_thunder_only() -> None:
    watching = everything(contact("usual"), contact("eager", levels=("near", "over")))
    watching.report("18014KT", "1253", "10SM VCTS BKN040 20/10 A2990")
    kinds = {
        name: {s.track.kind.value for n in watching.notices if n.contact == name for s in n.steps}
        for name in ("usual", "eager")
    }
    assert kinds["usual"] == {"runways", "thunder"}  # student solo is over, and dual only near
    near_runways = [
        (n.contact, s.track.pilot_limits)
        for n in watching.notices
        for s in n.steps
        if s.name == "near" and s.track.kind.value == "runways"
    ]
    assert near_runways == [("eager", "dual")]


@pytest.mark.promise(12)
def test_the_end_goes_to_exactly_those_who_heard_the_beginning() -> None:
    watching = everything(contact("all"), contact("wren", aircraft=("X-WREN",), thunder=False))
    watching.report("18024KT", "1253")  # over for X-WREN only
    watching.report("18010KT", "1353")
    watching.report("18010KT", "1453")
    wren = [
        (n.contact, s.name.value)
        for n in watching.notices
        for s in n.steps
        if s.track.aircraft == "X-WREN" and s.name != "near"
    ]
    assert wren == [("all", "opened"), ("wren", "opened"), ("all", "back"), ("wren", "back")]


@pytest.mark.fault("F18")
def test_f18_withdrawn_goes_to_exactly_those_told() -> None:
    watching = everything(contact("all"), contact("deaf", levels=("unknown",)))
    watching.report("18031KT", "1253")
    watching.report("COR 18003KT", "1253", received="1300")
    assert {n.contact for n in watching.notices} == {"all"}
    assert set(watching.told("all")[-4:]) == {"withdrawn"}


def test_a_step_that_nobody_hears_is_made_all_the_same() -> None:
    watching = everything(contact("deaf", levels=("unknown",)))
    watching.report("18031KT", "1253")
    assert watching.notices == []
    assert {watching.last.heard_by[s.id] for s in watching.last.steps} == {()}


def test_one_event_at_one_airfield_is_one_notice_per_contact() -> None:
    watching = everything(contact("one"), contact("other"))
    watching.report("18031KT", "1253", STORM)
    assert [n.contact for n in watching.notices] == ["one", "other"]
    assert len({n.id for n in watching.notices}) == 2


# --- the gathering minute -----------------------------------------------------------------


def test_the_first_notice_goes_at_once_and_what_follows_is_gathered() -> None:
    watching = Watch(parked_fleet(tie_down=25, taxi=30, shelter=40))
    start = utc("1300")
    for seconds, wind in ((0, "18026KT"), (20, "18031KT"), (40, "18041KT")):
        observed = utc("1250") + timedelta(minutes=seconds // 20)
        watching.raw(
            f"SPECI XLKS {observed:%d%H%M}Z {wind} 10SM CLR 20/10 A2992",
            now=start + timedelta(seconds=seconds),
        )
    assert watching.told() == ["opened", "near"]  # tie-down, and taxi near
    watching.step(pipeline.Tick(), start + timedelta(seconds=59))
    assert len(watching.notices) == 1
    watching.step(pipeline.Tick(), start + timedelta(seconds=60))
    assert len(watching.notices) == 2
    second = [(s.name.value, s.track.quantity) for s in watching.notices[-1].steps]
    assert ("worsened", "tie_down") in second
    assert ("opened", "taxi") in second
    assert ("opened", "shelter") in second
    assert second.count(("worsened", "tie_down")) == 1  # twice worse is one line


def test_opened_and_withdrawn_within_the_minute_says_nothing() -> None:
    watching = Watch(parked_fleet(tie_down=25, taxi=24))
    watching.report("18025KT", "1253", received="1300")  # taxi over
    watching.report("COR 18026KT", "1253", received="1300")  # tie-down too
    assert watching.books.state.contact("desk").held
    watching.report("CCB 18025KT", "1253", received="1300")
    watching.tick("1301")
    assert [s.track.quantity for n in watching.notices for s in n.steps if s.name == "opened"] == [
        "taxi"
    ]


def test_a_minute_that_ends_in_nothing_does_not_begin_another() -> None:
    watching = Watch(parked_fleet(tie_down=25, taxi=24))
    watching.report("18025KT", "1253", received="1300")
    watching.report("COR 18026KT", "1253", received="1300")
    watching.report("CCB 18025KT", "1253", received="1300")
    watching.tick("1301")
    assert watching.books.state.contact("desk").last_notice_at == utc("1300")


def test_gathering_is_per_contact() -> None:
    fleet = replace(
        parked_fleet(tie_down=25, shelter=40),
        contacts=(DESK, contact("second", levels=("unknown", "over"))),
    )
    watching = Watch(fleet)
    watching.report("18022KT", "1253", received="1300")  # near: only the desk hears
    watching.report("18026KT", "1254", kind="SPECI", received="1300")
    assert [(n.contact, s.name.value) for n in watching.notices for s in n.steps] == [
        ("desk", "near"),
        ("second", "opened"),
    ]


# --- operating hours ------------------------------------------------------------------------


def test_hours_are_local_and_may_pass_midnight() -> None:
    day = an_airfield(operating_hours=OperatingHours(time(7), time(20)))
    # New York, in September four hours behind: 07:00 is 11:00 UTC.
    assert [is_open(day, utc(at)) for at in ("1059", "1100", "2359")] == [False, True, True]
    assert not is_open(day, utc("0000", 23))
    night = an_airfield(operating_hours=OperatingHours(time(20), time(4)))
    assert [is_open(night, utc(at)) for at in ("0300", "0759", "0800")] == [True, True, False]


@pytest.mark.fault("F33")
def test_hours_follow_the_change_of_the_clock() -> None:
    day = an_airfield(operating_hours=OperatingHours(time(7), time(20)))
    # 1 November 2026: clocks go back; 07:00 is 12:00 UTC from then on.
    assert is_open(day, datetime(2026, 10, 31, 11, 0, tzinfo=UTC))
    assert not is_open(day, datetime(2026, 11, 1, 11, 59, tzinfo=UTC))
    assert is_open(day, datetime(2026, 11, 1, 12, 0, tzinfo=UTC))


def night_field(*contacts: Contact) -> Watch:
    field = an_airfield(runways=(EAST_WEST,), operating_hours=OperatingHours(time(7), time(20)))
    fleet = a_fleet(
        an_aircraft(own=limits("X-LARK", crosswind=15, tie_down=25), flown_by=("dual",)),
        airfield=field,
        pilots=[PilotLimits("dual", ())],
        contacts=contacts or (DESK,),
    )
    return Watch(fleet, utc("0000"))


def test_outside_the_hours_runway_steps_wait_and_ground_and_thunder_go() -> None:
    watching = night_field()
    watching.report("18031KT", "0353", STORM)
    assert {s.track.kind.value for n in watching.notices for s in n.steps} == {
        "ground",
        "thunder",
    }
    held = watching.books.state.contact("desk").held
    assert [h.step.track.kind.value for h in held] == ["runways"]


@pytest.mark.promise(15)
def test_what_is_still_so_is_summed_up_at_opening() -> None:
    watching = night_field()
    watching.report("18017KT", "0953")
    assert watching.notices == []
    watching.tick("1059")
    assert watching.notices == []
    watching.tick("1100")
    assert watching.told() == ["opened"]
    assert not watching.notices[0].steps[0].past


def test_what_came_and_went_in_the_night_is_told_as_past() -> None:
    watching = night_field()
    watching.report("18017KT", "0353")
    watching.report("18003KT", "0453")
    watching.report("18003KT", "0553")
    watching.report("18003KT", "1053")
    watching.tick("1100")
    steps = [s for n in watching.notices for s in n.steps if s.track.kind.value == "runways"]
    assert [(s.name.value, s.past) for s in steps] == [("opened", True)]
    assert steps[0].ended_at == utc("0553")


@pytest.mark.promise(12)
def test_promise_12_nobody_gets_the_end_of_what_could_not_have_reached_them() -> None:
    watching = night_field()
    watching.report("18031KT", "0353")
    watching.report("COR 18003KT", "0353", received="0400")
    watching.report("18003KT", "1053")
    watching.tick("1100")
    runways = [s for n in watching.notices for s in n.steps if s.track.kind.value == "runways"]
    assert runways == []


# --- reminders and acknowledgements ------------------------------------------------------------


def reminders(watching: Watch, begin: str, end: str) -> list[str]:
    return [at for at, name in watching.tick_until(begin, end) if name == "reminder"]


def test_parked_aircraft_are_reminded_after_three_hours_and_again() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1153")
    for at in ("1253", "1353", "1450"):
        watching.report("18031KT", at)
    assert reminders(watching, "1454", "1500") == ["1456"]
    watching.report("18031KT", "1553")
    watching.report("18031KT", "1653")
    watching.report("18031KT", "1745")
    assert reminders(watching, "1750", "1800") == ["1756"]
    assert watching.told() == ["opened", "reminder", "reminder"]


def test_taxi_runways_and_thunder_are_not_reminded() -> None:
    fleet = flying_fleet()
    craft = replace(fleet.aircraft[0], limits=(*fleet.aircraft[0].limits, *limits("x", taxi=20)))
    watching = Watch(replace(fleet, aircraft=(craft,)))
    watching.report("22531KT", "1153", STORM)
    for at in ("1253", "1353", "1453", "1553"):
        watching.report("22531KT", at, STORM)
    assert reminders(watching, "1554", "1600") == []


def test_there_is_no_reminder_while_easing() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1153")
    watching.report("18031KT", "1353")
    watching.report("18010KT", "1450", kind="SPECI")
    assert reminders(watching, "1454", "1500") == []


def test_every_notice_starts_the_clock_anew() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1153")
    watching.report("18037KT", "1253")  # worsened
    for at in ("1353", "1453"):
        watching.report("18031KT", at)
    assert reminders(watching, "1457", "1500") == []
    watching.report("18031KT", "1550", kind="SPECI")
    assert reminders(watching, "1551", "1600") == ["1556"]


def acknowledge(watching: Watch, at: str) -> list[str]:
    episodes = tuple(told.episode for told in watching.state.ledger if told.open)
    return watching.step(pipeline.Acknowledged(episodes, "R. Novak"), utc(at))


def test_an_acknowledgement_stops_reminders_and_nothing_else() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1153")
    assert acknowledge(watching, "1200") == []
    for at in ("1253", "1353", "1453"):
        watching.report("18031KT", at)
    assert reminders(watching, "1454", "1500") == []
    assert watching.report("18037KT", "1553") == ["worsened"]
    watching.report("18010KT", "1653")
    assert watching.report("18010KT", "1753") == ["back"]


def test_an_acknowledgement_is_shown_with_who_gave_it() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1153")
    acknowledge(watching, "1200")
    watching.report("18037KT", "1253")
    (_, situation), *_ = watching.last.notices
    assert situation.open_tracks[0].acknowledged_by == "R. Novak"


@pytest.mark.promise(15)
def test_an_acknowledgement_lapses_after_six_hours() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1153")
    acknowledge(watching, "1200")
    for hour in range(12, 18):
        watching.report("18031KT", f"{hour}53")
        watching.tick(f"{hour}57")
    assert reminders(watching, "1758", "1801") == ["1800"]


@pytest.mark.promise(7)
def test_promise_7_an_acknowledgement_ends_nothing() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1153")
    acknowledge(watching, "1200")
    assert watching.level() == "over"
    assert next(t for t in watching.state.ledger if t.track == TIE_DOWN).open


@pytest.mark.promise(3)
def test_an_acknowledgement_covers_every_episode_it_lists() -> None:
    watching = Watch(parked_fleet(tie_down=25, shelter=30))
    watching.report("18031KT", "1153")
    acknowledge(watching, "1200")
    assert len(watching.state.acknowledged) == 2


# --- notices -------------------------------------------------------------------------------------


def test_one_episode_is_one_conversation() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1153")
    watching.report("18037KT", "1253")
    watching.report("18010KT", "1353")
    watching.report("18010KT", "1453")
    first, *later = watching.notices
    assert first.references == ()
    assert [n.references for n in later] == [(first.id,)] * 2
    assert [n.kind for n in watching.notices] == ["alert", "alert", "cancel"]


def test_a_notice_is_current_as_long_as_its_observation_is_fresh() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1153")
    assert watching.notices[0].valid_until == utc("1308")
    watching.report("18010KT", "1253")
    watching.report("18010KT", "1353")
    assert watching.notices[-1].valid_until == utc("1956")  # back: six hours


def test_the_situation_lists_what_is_open_for_that_contact() -> None:
    watching = Watch(replace(parked_fleet(), contacts=(DESK, contact("deaf", ground=False))))
    watching.report("18031KT", "1153", STORM)
    open_for = {n.contact: len(s.open_tracks) for n, s in watching.last.notices}
    assert open_for == {"desk": 2, "deaf": 1}
