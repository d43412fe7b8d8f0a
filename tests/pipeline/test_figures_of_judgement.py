"""Every figure of judgement that is set is judged by: the same weather, another answer."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.pipeline.little_field import (
    DESK,
    THUNDER,
    Watch,
    a_fleet,
    an_aircraft,
    flying_fleet,
    limits,
    parked_fleet,
    utc,
)
from windwatch import pipeline
from windwatch.episodes.entries import Status
from windwatch.fleet import Contact, Fleet, TellAbout
from windwatch.rules import Rules

MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
STORM = "10SM TSRA 20/10 A2992"


def watched(fleet: Fleet | None = None, **figures: object) -> Watch:
    return Watch(replace(fleet or parked_fleet(), rules=replace(Rules(), **figures)))


def closed_at(*reports: tuple[str, str], rest: str = "", **figures: object) -> str | None:
    """The report that brings the tie-down back within limits, after a storm at 12:53Z."""
    watching = watched(**figures)
    watching.report("18031KT", "1253", *([rest] if rest else []))
    for wind, at in reports:
        if "back" in watching.report(wind, at, kind="SPECI"):
            return at
    return None


QUIET = tuple(("18010KT", at) for at in ("1325", "1330", "1353", "1400", "1430", "1453", "1700"))


@pytest.mark.parametrize(
    ("figures", "at"),
    [
        ({}, "1353"),
        ({"parked_hold": timedelta(minutes=30)}, "1353"),
        ({"parked_hold": 90 * MINUTE}, "1430"),
        ({"low_reports": 3}, "1353"),
        ({"low_reports": 4}, "1400"),
        ({"low_apart": 60 * MINUTE}, "1430"),
        ({"deadband_kt": 5.0}, "1353"),
    ],
)
def test_when_a_tie_down_is_back_within_limits(figures, at):
    assert closed_at(*QUIET, **figures) == at


@pytest.mark.parametrize(
    ("figures", "at"),
    [
        ({}, "1400"),  # 23 kt is the limit less 2 kt
        ({"deadband_kt": 3.0}, None),
        ({"deadband_share": 0.12}, None),
        ({"deadband_kt": 3.0, "deadband_most_share": 0.08}, "1400"),
    ],
)
def test_what_counts_as_low(figures, at):
    assert closed_at(("18023KT", "1330"), ("18023KT", "1400"), **figures) == at


def test_how_long_thunder_holds_everything():
    quiet = (*QUIET, ("18010KT", "1710"))
    assert closed_at(*quiet, rest=STORM) == "1353"
    assert closed_at(*quiet, rest=STORM, convective_hold=2 * HOUR) == "1453"
    watching = watched(convective_hold=2 * HOUR)
    watching.report("18010KT", "1253", STORM)
    watching.report("18010KT", "1353")
    assert watching.level(THUNDER) == "over"
    watching.report("18010KT", "1453")
    assert watching.level(THUNDER) == "within"
    assert watching.steps[-1].reason.startswith("2 hours since the last thunder")


def test_how_long_a_runway_is_held():
    for hold, expected in ((30, ["back"]), (120, [])):
        watching = watched(flying_fleet(), runway_hold=hold * MINUTE)
        watching.report("22531KT", "1253")
        watching.report("22505KT", "1310", kind="SPECI")
        assert watching.report("22505KT", "1325", kind="SPECI") == expected


def test_when_near_ends():
    for figures, level in (
        ({}, "within"),
        ({"near_deadband_kt": 2.5}, "near"),
        ({"near_deadband_share": 0.1}, "near"),
    ):
        watching = watched(**figures)
        watching.report("18021KT", "1253")
        watching.report("18018KT", "1353")  # near is above 20, and ends at 18.75 as usual
        assert watching.level() == level, figures


def test_from_which_worst_on_it_is_told_again():
    for figures, expected in (
        ({}, []),  # 5 kt, a fifth of 25
        ({"worsen_share": 0.1}, ["worsened"]),  # 3 kt
        ({"worsen_share": 0.1, "worsen_kt": 4.0}, []),
    ):
        watching = watched(**figures)
        watching.report("18031KT", "1253")
        assert watching.report("18034KT", "1353") == expected, figures


def test_how_old_a_peak_may_be():
    peak = "10SM CLR 20/10 A2992 RMK AO2 PK WND 18040/1215"
    for within, expected in ((HOUR, ["opened"]), (30 * MINUTE, [])):
        assert watched(peak_within=within).report("18010KT", "1253", peak) == expected


def swinging(**figures: object) -> list[str]:
    """An opening and an end, hourly by turns."""
    watching = watched(parked_hold=10 * MINUTE, **figures)
    found = []
    for hour in range(12, 20):
        found += watching.report("18031KT", f"{hour}00", kind="SPECI")
        watching.report("18010KT", f"{hour}20", kind="SPECI")
        found += watching.report("18010KT", f"{hour}40", kind="SPECI")
    return [name for name in found if name in ("opened", "unsettled", "back")]


def test_when_it_is_swinging_about_the_limit():
    assert swinging()[:5] == ["opened", "back", "opened", "back", "unsettled"]
    assert swinging(unsettled_openings=2)[:3] == ["opened", "back", "unsettled"]
    assert "unsettled" not in swinging(unsettled_within=HOUR)
    assert swinging()[4:] == ["unsettled"]
    assert swinging(unsettled_hold=30 * MINUTE)[4:6] == ["unsettled", "back"]


def test_the_reason_of_swinging_names_its_figures():
    watching = watched(parked_hold=10 * MINUTE, unsettled_openings=2, unsettled_within=3 * HOUR)
    for at, wind in (("1200", 31), ("1220", 10), ("1240", 10), ("1300", 31)):
        watching.report(f"180{wind}KT", at, kind="SPECI")
    assert watching.steps[-1].reason.startswith("second opening within 3 hours:")


def test_how_long_the_main_station_must_be_gone():
    for gone, expected in ((HOUR, "within"), (12 * HOUR, "over")):
        watching = watched(main_gone=gone)
        watching.report("18031KT", "1253")
        for at in ("1445", "1505", "1525"):
            watching.report("18010KT", at, station="XBRN")
            watching.tick(f"{int(at) + 5}")
        assert watching.level() == expected


def test_when_a_sensor_is_in_doubt():
    for figures, doubted in (
        ({}, False),
        ({"stuck_after": HOUR}, True),
        ({"stuck_after": HOUR, "stuck_beside_kt": 20.0}, False),
    ):
        watching = watched(**figures)
        watching.report("00000KT", "1253")
        watching.report("18015KT", "1350", station="XBRN")
        watching.report("00000KT", "1353")
        reason = watching.last.judged[0].reason
        assert reason.startswith("in doubt: the very same wind for 60 minutes") is doubted, figures


def test_how_late_a_report_may_come():
    for after, status in ((6 * HOUR, Status.ACCEPTED), (2 * HOUR, Status.LATE)):
        watching = watched(late_after=after)
        watching.report("18010KT", "0953", received="1210")
        assert watching.last.judged[0].status is status
    assert watching.last.judged[0].reason == "older than 2 hours: recorded only"


def test_how_far_ahead_of_the_clock_a_report_is_believed():
    for by, status in ((10 * MINUTE, Status.QUARANTINED), (30 * MINUTE, Status.ACCEPTED)):
        watching = watched(future_by=by)
        watching.report("18010KT", "1253", received="1235")
        assert watching.last.judged[0].status is status


def test_how_long_what_is_past_is_still_told():
    for still, expected in ((2 * HOUR, []), (6 * HOUR, ["opened"])):
        watching = watched(still_told=still)
        texts = [
            f"METAR XLKS 22{at}Z {wind}KT 10SM CLR 20/10 A2992"
            for at, wind in (("1053", "18031"), ("1153", "18010"), ("1253", "18010"))
        ]
        watching.raw(*texts, now=utc("1550"))
        assert [step.name for step in watching.steps if step.past] == expected


def test_how_long_is_gathered():
    craft = an_aircraft(own=limits("X-LARK", tie_down=25, taxi=30))
    for gather, sent in ((MINUTE, 2), (5 * MINUTE, 1)):
        watching = watched(a_fleet(craft), gather=gather)
        watching.report("18027KT", "1253")
        watching.report("18032KT", "1254", kind="SPECI")
        watching.tick("1258" if sent == 2 else "1300")
        assert len([n for n in watching.notices if n.at < utc("1301")]) == sent


def test_how_many_notices_an_hour():
    craft = an_aircraft(own=limits("X-LARK", tie_down=25))
    contact = replace(DESK, tell_about=TellAbout(easing=True))
    for most, sent in ((2, 2), (6, 3)):
        watching = watched(a_fleet(craft, contacts=(contact,)), notices_an_hour=most)
        watching.report("18021KT", "1253")  # near
        watching.report("18027KT", "1258", kind="SPECI")  # opened
        watching.report("18010KT", "1306", kind="SPECI")  # easing, which can wait
        assert len(watching.notices) == sent


def test_how_often_parked_aircraft_are_reminded_and_when_an_acknowledgement_lapses():
    watching = watched(remind_every=HOUR, acknowledged_for=2 * HOUR)
    watching.report("18031KT", "1253")
    episodes = tuple(told.episode for told in watching.state.ledger)
    watching.step(pipeline.Acknowledged(episodes, "R. Novak"), utc("1300"))
    found = []
    for hour in (13, 14, 15, 16):
        watching.report("18031KT", f"{hour}53")
        found += [at for at, _ in watching.tick_until(f"{hour}57", f"{hour + 1}40")]
    assert found == ["1500", "1600", "1700"]


def test_when_the_next_contact_is_told():
    first = replace(DESK, then_tell="chief")
    chief = Contact("chief", ("folder",), TellAbout(airfields=("XOTH",)))
    fleet = replace(parked_fleet(), contacts=(first, chief))
    for after, told_at in ((15 * MINUTE, "1311"), (40 * MINUTE, "1336")):
        watching = watched(fleet, pass_on_after=after)
        watching.report("18031KT", "1253")
        watching.tick_until("1257", "1340")
        (notice,) = [n for n in watching.notices if n.contact == "chief"]
        assert f"{notice.at:%H%M}" == told_at
        assert f"within {after // MINUTE} min" in notice.steps[0].reason


@pytest.mark.parametrize(
    ("figures", "minutes"),
    [({}, 360), ({"state_valid_for": HOUR}, 60)],
)
def test_how_long_the_end_is_current(figures, minutes):
    watching = watched(**figures)
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    watching.report("18010KT", "1453")
    last = watching.notices[-1]
    assert last.valid_until - last.at == minutes * MINUTE


def test_how_long_a_withdrawal_and_a_late_observation_are_tried():
    watching = watched(withdrawn_valid_for=12 * HOUR, tried_at_least=30 * MINUTE)
    watching.report("18031KT", "1253", received="1405")
    opened = watching.notices[-1]
    assert opened.valid_until - opened.at == 30 * MINUTE
    watching.report("COR 18010KT", "1253", received="1410")
    withdrawn = watching.notices[-1]
    assert withdrawn.valid_until - withdrawn.at == 12 * HOUR
