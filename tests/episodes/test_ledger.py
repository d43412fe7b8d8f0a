"""What is said, against what is true: the steps (reliability section 2)."""

import pytest

from tests.pipeline.little_field import (
    DESK,
    RUNWAYS,
    TAXI,
    Watch,
    flying_fleet,
    metar,
    parked_fleet,
    utc,
)
from windwatch import pipeline
from windwatch.episodes.clock_doubt import Conditions
from windwatch.episodes.values import Step, TrackKind
from windwatch.fleet import Contact, RunwaySteps, TellAbout
from windwatch.reports.raw import RawReport

BEST = Contact("best", ("folder",), TellAbout())
LAST = Contact("last", ("folder",), TellAbout(runways=RunwaySteps.LAST))
NOBODY = Contact("none", ("folder",), TellAbout(runways=RunwaySteps.NONE))

# Limits of the flying fleet: crosswind 15. From 180 at 20 kt 9/27 is out; from 225 at 30 kt
# (21.2 kt across both) none is left; from 180 or 270 at 8 kt all is within.
EAST_WEST_OUT = "18020KT"
NONE_LEFT = "22530KT"
WITHIN = "18008KT"


def runway_step(step: Step) -> tuple[str, str]:
    return step.name.value, step.runway


def made(watching: Watch) -> list[tuple[str, str]]:
    """Steps of the last event, but for those of data and *easing*."""
    return [
        runway_step(s)
        for s in watching.last.steps
        if s.track.kind is not TrackKind.DATA and s.name != "easing"
    ]


def heard(watching: Watch, name: str) -> list[tuple[str, str]]:
    return [runway_step(s) for n in watching.notices if n.contact == name for s in n.steps]


# --- ground ------------------------------------------------------------------------


def test_the_first_report_of_all_is_silent() -> None:
    assert Watch(parked_fleet()).report("18010KT", "1253") == []


@pytest.mark.parametrize(("knots", "worse"), [(34, False), (35, True)])
def test_worsened_from_three_knots_and_a_fifth_of_the_limit_on(knots: int, worse: bool) -> None:
    watching = Watch(parked_fleet())  # limit 25: a fifth is 5
    watching.report("18030KT", "1253")
    assert (watching.report(f"180{knots}KT", "1353") == ["worsened"]) is worse


def test_worse_is_measured_from_what_was_told_last() -> None:
    watching = Watch(parked_fleet())
    watching.report("18026KT", "1253")
    watching.report("18030KT", "1353")
    assert watching.report("18031KT", "1453") == ["worsened"]
    assert watching.report("18035KT", "1553") == []
    assert watching.report("18036KT", "1653") == ["worsened"]


def test_a_correction_that_is_over_too_goes_on_in_the_same_episode() -> None:
    watching = Watch(parked_fleet())
    watching.report("18060KT", "1253")
    assert watching.report("COR 18026KT", "1253", received="1300") == []


def test_a_withdrawn_figure_does_not_hide_a_true_worsening() -> None:
    watching = Watch(parked_fleet())
    watching.report("18060KT", "1253")
    watching.report("COR 18016KT", "1253", received="1300")
    watching.report("18026KT", "1353")
    assert watching.report("18031KT", "1453") == ["worsened"]


def test_easing_is_made_once_and_told_to_nobody_by_default() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1313", kind="SPECI")
    easing = [s for s in watching.steps if s.name == "easing"]
    assert len(easing) == 1
    assert watching.last.heard_by[easing[0].id] == ()
    watching.report("18010KT", "1333", kind="SPECI")
    assert len([s for s in watching.steps if s.name == "easing"]) == 1


def test_easing_is_told_to_whoever_asks() -> None:
    eager = Contact("eager", ("folder",), TellAbout(easing=True))
    fleet = parked_fleet()
    watching = Watch(type(fleet)(fleet.airfields, fleet.aircraft, fleet.pilot_limits, (eager,)))
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1313", kind="SPECI")
    assert watching.told("eager") == ["opened", "easing"]


def test_easing_is_never_left_for_a_later_tick() -> None:
    # A peak opens, and the wind of the same report is low already.
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253", "10SM CLR 20/10 A2990 RMK AO2 PK WND 18031/1230")
    watching.tick("1257")
    assert watching.last.steps == ()


def test_back_names_the_two_reports_that_met_the_rule() -> None:
    watching = Watch(parked_fleet(taxi=30))
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    watching.report("18010KT", "1453")
    back = watching.steps[-1]
    assert back.name == "back"
    assert [ref.observed_at for ref in back.reports] == [utc("1353"), utc("1453")]
    assert back.since == utc("1253")


def test_after_back_the_level_may_be_near_and_that_is_no_step() -> None:
    watching = Watch(parked_fleet(taxi=30))
    watching.report("18031KT", "1253")
    watching.report("18026KT", "1353")
    assert watching.report("18026KT", "1453") == ["back"]
    assert watching.steps[-1].level.word == "near"
    assert watching.report("18010KT", "1553") == []
    assert watching.level(TAXI) == "within"


def test_near_opens_no_episode_and_ends_untold() -> None:
    watching = Watch(parked_fleet())
    assert watching.report("18021KT", "1253") == ["near"]
    assert watching.report("18010KT", "1353") == []
    assert watching.report("18021KT", "1453") == ["near"]


# Found by the soak, where people were never told of the second: its step had the id of the first,
# which the store had already.
@pytest.mark.promise(3)
def test_near_again_long_after_is_a_step_of_its_own() -> None:
    watching = Watch(parked_fleet())
    assert watching.report("18021KT", "0053") == ["near"]
    for hour in range(1, 11):
        assert watching.report("18010KT", f"{hour:02}53") == []
    # So long after its end the first is remembered no more; and this report comes late.
    watching.tick("1058")
    assert watching.report("18021KT", "1055", kind="SPECI", received="1100") == ["near"]
    assert len({step.id for step in watching.steps}) == 2
    assert len({step.episode for step in watching.steps}) == 2


def test_from_near_to_over_is_opened() -> None:
    watching = Watch(parked_fleet())
    watching.report("18021KT", "1253")
    assert watching.report("18031KT", "1353") == ["opened"]


def test_a_told_near_removed_by_a_correction_is_withdrawn() -> None:
    watching = Watch(parked_fleet())
    watching.report("18021KT", "1253")
    assert watching.report("COR 18012KT", "1253", received="1300") == ["withdrawn"]


def test_near_that_stands_beneath_a_withdrawn_opening_is_not_told_again() -> None:
    watching = Watch(parked_fleet())
    watching.report("18021KT", "1253")
    watching.report("18031KT", "1353")
    assert watching.report("COR 18021KT", "1353", received="1400") == ["withdrawn"]
    assert watching.report("18021KT", "1453") == []
    assert watching.report("COR 18012KT", "1253", received="1456") == []


# --- corrections and late reports ---------------------------------------------------------


def test_a_correction_to_no_wind_at_all_withdraws() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    assert watching.report("COR", "1253", received="1300")[0] == "withdrawn"


def test_a_late_report_before_the_opening_keeps_the_episode() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    episode = watching.steps[0].episode
    assert watching.report("18033KT", "1240", kind="SPECI", received="1300") == []
    watching.report("18040KT", "1353")
    assert (watching.steps[-1].name, watching.steps[-1].episode) == ("worsened", episode)


def test_an_all_clear_contradicted_by_a_late_report_is_over_again_in_the_same_episode() -> None:
    watching = Watch(parked_fleet(taxi=30))
    watching.report("18035KT", "1253")
    watching.report("18010KT", "1353")
    watching.report("18010KT", "1453")
    assert watching.told() == ["opened", "back"]
    assert watching.report("18034KT", "1440", kind="SPECI", received="1500") == ["opened"]
    assert watching.steps[-1].episode == watching.steps[0].episode
    assert "contradicts" in watching.steps[-1].reason
    assert len({s.id for s in watching.steps}) == len(watching.steps)


def test_a_late_report_that_joins_two_episodes_says_nothing() -> None:
    # The first went back wrongly, the second is open: people know already that it is over.
    watching = Watch(parked_fleet(taxi=30))
    watching.report("18035KT", "1253")
    watching.report("18010KT", "1353")
    watching.report("18010KT", "1410", kind="SPECI")
    watching.report("18035KT", "1453")
    assert watching.told() == ["opened", "back", "opened"]
    assert watching.report("18034KT", "1400", kind="SPECI", received="1500") == []


def test_a_crossing_that_ended_before_it_came_is_told_once_as_past() -> None:
    watching = Watch(parked_fleet(taxi=30))
    texts = [
        metar(utc(at), wind)
        for at, wind in (("1253", "18035KT"), ("1353", "18010KT"), ("1453", "18010KT"))
    ]
    assert watching.raw(*texts, now=utc("1500")) == ["opened"]
    step = watching.steps[0]
    assert step.past
    assert (step.since, step.ended_at) == (utc("1253"), utc("1453"))
    assert watching.raw(*texts, now=utc("1505")) == []


def test_a_crossing_that_ended_more_than_two_hours_ago_is_only_recorded() -> None:
    watching = Watch(parked_fleet(taxi=30))
    texts = [
        metar(utc(at), wind)
        for at, wind in (("1253", "18035KT"), ("1353", "18010KT"), ("1453", "18010KT"))
    ]
    texts += [metar(utc("1653"), "18010KT")]
    assert watching.raw(*texts, now=utc("1656")) == []


def test_old_low_reports_do_not_say_back_while_nothing_fresh_is_known() -> None:
    watching = Watch(parked_fleet(taxi=30))
    watching.report("18035KT", "1253")
    watching.tick("1410")
    late = [metar(utc(at), "18010KT") for at in ("1353", "1423")]
    assert watching.raw(*late, now=utc("1600")) == []
    # A fresh one comes: now it may be said.
    assert "back" in watching.report("18010KT", "1553", received="1601")


def test_closed_and_opened_again_unseen_is_one_episode_to_people() -> None:
    watching = Watch(parked_fleet(taxi=30))
    watching.report("18035KT", "1253")
    texts = [
        metar(utc(at), wind)
        for at, wind in (("1353", "18010KT"), ("1453", "18010KT"), ("1553", "18034KT"))
    ]
    made_steps = watching.raw(*texts, now=utc("1556"))
    assert "back" not in made_steps
    assert "opened" not in made_steps


# --- runways --------------------------------------------------------------------------------


def test_a_lost_runway_while_another_remains_is_runway_out() -> None:
    watching = Watch(flying_fleet())
    watching.report(EAST_WEST_OUT, "1253")
    assert made(watching) == [("runway_out", "9/27")]
    assert watching.steps[0].remaining == ("18",)
    assert watching.level(RUNWAYS) == "within"


def test_the_last_runway_is_opened_and_says_it_for_all() -> None:
    watching = Watch(flying_fleet())
    watching.report(NONE_LEFT, "1253")
    assert made(watching) == [("opened", "")]
    assert watching.steps[0].remaining == ()


def test_the_runway_that_brings_back_says_back_alone() -> None:
    watching = Watch(flying_fleet())
    watching.report(NONE_LEFT, "1253")
    watching.report("18014KT", "1353")
    watching.report("18014KT", "1453")
    assert made(watching) == [("back", "")]
    # 9/27 was not low with 14 kt across; it follows by itself.
    watching.report(WITHIN, "1553")
    watching.report(WITHIN, "1653")
    assert made(watching) == [("runway_back", "9/27")]
    assert heard(watching, "desk")[-1] == ("runway_back", "9/27")


def test_runways_of_two_reports_do_not_add_up_to_one_way_out() -> None:
    # First 18/36 is low, then 9/27: neither twice.
    watching = Watch(flying_fleet())
    watching.report(NONE_LEFT, "1253")
    watching.report("18014KT", "1353")
    watching.report("27014KT", "1453")
    assert watching.level(RUNWAYS) == "over"


def test_runways_tracks_do_not_worsen() -> None:
    watching = Watch(flying_fleet())
    watching.report(NONE_LEFT, "1253")
    watching.report("22550KT", "1353")
    assert made(watching) == []


def test_a_withdrawn_opening_leaves_the_runway_that_is_still_out() -> None:
    watching = Watch(flying_fleet())
    watching.report(NONE_LEFT, "1253")
    watching.report(f"COR {EAST_WEST_OUT}", "1253", received="1300")
    assert made(watching) == [("withdrawn", ""), ("runway_out", "9/27")]


def lost_by_an_earlier_opening() -> Watch:
    """None left, then back by the other runway; 9/27 is out all the while; none left again."""
    watching = Watch(flying_fleet())
    watching.report(NONE_LEFT, "1253")
    watching.report(EAST_WEST_OUT, "1323")
    watching.report(EAST_WEST_OUT, "1353")
    assert made(watching) == [("back", "")]
    watching.report(NONE_LEFT, "1453")
    return watching


def test_a_runway_lost_by_an_earlier_opening_is_not_told_again_when_a_later_is_withdrawn() -> None:
    watching = lost_by_an_earlier_opening()
    watching.report(f"COR {EAST_WEST_OUT}", "1453", received="1500")
    assert made(watching) == [("withdrawn", "")]


def test_a_loss_that_an_earlier_opening_told_is_withdrawn_for_that_runway() -> None:
    watching = lost_by_an_earlier_opening()
    watching.report(f"COR {EAST_WEST_OUT}", "1453", received="1500")
    for at in ("1253", "1323", "1353", "1453"):
        watching.report(f"CCB {WITHIN}", at, received="1505")
    assert made(watching)[-1:] == [("withdrawn", "9/27")]


def test_a_withdrawn_runway_out_is_withdrawn_for_that_runway() -> None:
    watching = Watch(flying_fleet())
    watching.report(EAST_WEST_OUT, "1253")
    watching.report(f"COR {WITHIN}", "1253", received="1300")
    assert made(watching) == [("withdrawn", "9/27")]


def test_a_runway_back_that_a_late_report_contradicts_is_out_again() -> None:
    watching = Watch(flying_fleet())
    watching.report(EAST_WEST_OUT, "1253")
    watching.report(WITHIN, "1353")
    watching.report(WITHIN, "1453")
    assert made(watching) == [("runway_back", "9/27")]
    watching.report(EAST_WEST_OUT, "1440", kind="SPECI", received="1500")
    assert made(watching) == [("runway_out", "9/27")]


def test_runway_out_is_told_by_default_only_of_the_best() -> None:
    watching = Watch(flying_fleet(DESK, BEST, LAST, NOBODY))
    watching.report("27008KT", "1253")  # 9/27 is best
    watching.report(EAST_WEST_OUT, "1353")
    assert heard(watching, "best") == [("runway_out", "9/27")]
    watching.report(WITHIN, "1453")
    watching.report(WITHIN, "1553")
    assert heard(watching, "best") == [("runway_out", "9/27"), ("runway_back", "9/27")]
    assert heard(watching, "desk") == heard(watching, "best")
    assert heard(watching, "last") == heard(watching, "none") == []


def test_runway_out_is_not_told_by_default_of_another_and_neither_is_its_return() -> None:
    watching = Watch(flying_fleet(DESK, BEST))
    watching.report(WITHIN, "1253")  # 18/36 is best
    watching.report(EAST_WEST_OUT, "1353")
    watching.report(WITHIN, "1453")
    watching.report(WITHIN, "1553")
    assert heard(watching, "desk") == [("runway_out", "9/27"), ("runway_back", "9/27")]
    assert heard(watching, "best") == []


def test_the_best_by_the_report_before_counts_also_when_reports_come_together() -> None:
    watching = Watch(flying_fleet(BEST))
    watching.report("27008KT", "1253")
    texts = [metar(utc("1345"), EAST_WEST_OUT, kind="SPECI"), metar(utc("1353"), "18021KT")]
    watching.raw(*texts, now=utc("1356"))
    assert heard(watching, "best") == [("runway_out", "9/27")]


def test_last_hears_of_the_last_runway_and_of_its_return() -> None:
    watching = Watch(flying_fleet(LAST, NOBODY))
    watching.report(EAST_WEST_OUT, "1253")
    watching.report(NONE_LEFT, "1353")
    watching.report(WITHIN, "1453")
    watching.report(WITHIN, "1553")
    assert heard(watching, "last") == [("opened", ""), ("back", "")]
    assert heard(watching, "none") == []


def test_the_episode_of_a_runway_lost_first_is_another_than_that_of_the_track() -> None:
    watching = Watch(flying_fleet())
    watching.report(EAST_WEST_OUT, "1253")
    watching.report(NONE_LEFT, "1353")
    out, opened = watching.steps
    assert out.episode != opened.episode


# --- what waited long to be told -----------------------------------------------------


def after_ten_hours_of_doubt() -> Watch:
    """Over at 12:53 and low from 13:53 on, while nothing could be called back until 23:53."""
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    doubt = Conditions(clock_in_doubt=True)
    for hour in range(13, 23):
        now = utc(f"{hour}56")
        raw = RawReport(metar(utc(f"{hour}53"), "18010KT"), now, "recorded")
        watching.last = pipeline.step(
            watching.setup, watching.books, pipeline.ReportsCame((raw,)), now, doubt
        )
        watching.books = watching.last.books
    return watching


def test_a_back_that_had_to_wait_for_ten_hours_reaches_whoever_heard_of_the_opening() -> None:
    watching = after_ten_hours_of_doubt()
    assert watching.told() == ["opened"]
    assert watching.report("18010KT", "2353", received="2356") == ["back"]
    assert watching.told() == ["opened", "back"]
    assert watching.tick_until("2357", "2359") == []


def test_an_end_that_waited_for_ten_hours_is_back_and_never_withdrawn() -> None:
    # The level changes with the very report that may tell it: old spans are forgotten then.
    watching = after_ten_hours_of_doubt()
    watching.report("18021KT", "2353", received="2356")
    assert watching.told() == ["opened", "back", "near"]
    back = next(s for s in watching.steps if s.name == "back")
    assert back.ended_at == utc("1453")


def test_the_loss_of_a_runway_that_is_long_back_is_not_brought_up_again() -> None:
    # 9/27 is out twice; more than eight hours after its first return none is left for a moment.
    watching = Watch(flying_fleet(), start=utc("0000"))
    watching.report(EAST_WEST_OUT, "0053")
    for at in ("0153", "0253", "0353"):
        watching.report(WITHIN, at)
    watching.report(EAST_WEST_OUT, "0453")
    for hour in range(5, 13):
        watching.report(EAST_WEST_OUT, f"{hour:02}53")
    watching.report(NONE_LEFT, "1353")
    assert made(watching) == [("opened", "")]
    assert watching.tick_until("1357", "1405") == []
