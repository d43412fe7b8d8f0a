"""The notice of every step, in words: facts a person looks for."""

from dataclasses import replace

import pytest

from windwatch.assessment.values import Level
from windwatch.episodes.values import StepName, TrackKey, TrackKind
from windwatch.notices.compose import compose

S = StepName
CORRECTED_METAR = (
    "METAR XLKS 221453Z COR 18013KT 10SM SCT035 BKN250 23/17 A2980 RMK AO2 SLP078 T02280172 58013"
)
MORNING = "METAR XLKS 221353Z 17009KT 10SM FEW030 BKN250 20/17 A2982 RMK AO2 SLP086 T02000172"
SECTOR = (
    "METAR XLKS 221653Z 19016G25KT 150V220 10SM SCT042 BKN250 27/18 A2975 RMK AO2 SLP059 T02720178"
)
FIRST_LOW = (
    "METAR XLKS 222153Z 31015G23KT 10SM SCT035 BKN060 17/09 A2987 RMK AO2 RAE21 PRESRR SLP109 "
    "P0001 T01720089"
)
SECOND_LOW = "METAR XLKS 222253Z 32012G19KT 10SM FEW050 17/07 A2992 RMK AO2 SLP126 T01670072"


def plain(text):
    """Words without the line breaks of the phone."""
    return " ".join(text.split())


def section(text, title):
    """The rows below a title."""
    return plain(text.split(f"\n{title}\n", 1)[1].split("\n\n", 1)[0])


# --- single runways, sectors, variable wind ---------------------------------------


def test_runway_out_says_which_one_remains(fleet, moment):
    day = moment(MORNING, "1356")
    lost = day.situation.assessment.runways[0].runways[1]
    step = day.runways(
        S.RUNWAY_OUT,
        "X-LARK",
        "student solo",
        finding=lost.best.deciding,
        end="10",
        runway="10/28",
        remaining=("19",),
        level=Level.WITHIN,
    )
    content = compose(day.notice(step, kind="update"), day.situation, fleet)
    assert content.subject == (
        "XLKS 09:53 local: 170/9 kt - 10/28 out for X-LARK / student solo: "
        "crosswind 8.8 > 7; 19 remains"
    )
    assert "One left: 19 remains within limits." in plain(content.text)
    assert "not reported, which does not mean a steady wind" in plain(content.text)


def test_runway_back_leaves_the_decision(fleet, moment):
    day = moment(SECOND_LOW, "2256")
    step = day.runways(S.RUNWAY_BACK, "X-TERN", "dual", runway="1/19", remaining=("28", "1"))
    content = compose(day.notice(step, kind="cancel"), day.situation, fleet)
    assert "back within limits, your decision: 1/19 for X-TERN / dual" in content.subject
    assert "1/19 back within limits; your decision: X-TERN / dual." in plain(content.text)


def test_a_sector_crossing_shows_the_worst_and_the_nominal_figure(fleet, moment):
    day = moment(SECTOR, "1656")
    content = compose(day.notice(day.runways(S.OPENED, "X-LARK", "dual")), day.situation, fleet)
    text = plain(content.text)
    assert "19 crosswind 15.7 kt > 15 kt (X-LARK)" in text
    assert "the worst over the reported sector (3.8 kt by the mean direction)" in text
    assert "Varying from 150 to 220 true; judged at its worst" in text
    assert "Local note, runway 10/28: rotor from the hangars on short final of 28" in text
    assert "190/16G25 kt 150V220" in content.subject
    assert "no runway for X-LARK / dual: 19 crosswind 15.7 > 15" in content.subject


def test_a_variable_wind_says_why_the_full_speed_counts(fleet, moment):
    day = moment("METAR XLKS 221353Z VRB16KT 10SM CLR 20/17 A2982", "1356")
    content = compose(
        day.notice(day.runways(S.OPENED, "X-LARK", "student solo")), day.situation, fleet
    )
    text = plain(content.text)
    assert "variable 16 kt" in content.subject
    assert "direction variable: the full speed counts as crosswind and as tailwind" in text
    assert "follow the windsock, expect a quartering tailwind" in text


def test_an_at_least_speed_is_shown_as_such(fleet, moment):
    day = moment("METAR XLKS 221353Z 300P99KT 10SM CLR 20/17 A2982", "1356")
    content = compose(day.notice(day.ground(S.OPENED, "X-WREN", "tie_down")), day.situation, fleet)
    assert "tie-down X-WREN at least 99 > 22" in content.subject
    assert "at least 99 kt > X-WREN 22 kt" in plain(content.text)


def test_an_approximate_heading_is_marked(fleet, moment, gust_front):
    field = fleet.airfields[0]
    found = gust_front.situation.assessment
    runways = tuple(
        subject._replace(
            runways=tuple(
                r._replace(best=r.best._replace(approximate=True)) for r in subject.runways
            )
        )
        for subject in found.runways
    )
    situation = replace(gust_front.situation, assessment=found._replace(runways=runways))
    step = gust_front.runways(S.OPENED, "X-TERN", "dual")
    text = compose(gust_front.notice(step), situation, fleet).text
    assert field.id in text
    assert "Approximate heading of 28 and 1: no survey, or the painted number only" in plain(text)


def test_without_taxi_legs_all_eight_directions_are_told(fleet, gust_front):
    bare = replace(fleet, airfields=(replace(fleet.airfields[0], taxi_legs=()),))
    step = gust_front.ground(S.OPENED, "X-LARK", "taxi")
    text = compose(gust_front.notice(step), gust_front.situation, bare).text
    for point in ("north", "south-west", "west", "north-west"):
        assert f"Taxiing {point}, heading" in text


# --- near, reminder, swinging, easing ----------------------------------------------


def test_near_is_said_as_near_and_never_with_a_greater_sign(fleet, moment):
    day = moment(SECTOR, "1656")
    content = compose(
        day.notice(day.ground(S.NEAR, "X-LARK", "taxi"), kind="update"), day.situation, fleet
    )
    assert "near: taxi wind X-LARK 25 of 30" in content.subject
    assert content.text.startswith("Near: taxi wind X-LARK 25 kt of 30 kt;")
    assert "Be ready to stop taxiing X-LARK." in content.text


def test_thunder_near_asks_to_secure_before_the_outflow(fleet, moment):
    day = moment("METAR XLKS 221853Z 20018G25KT 10SM VCTS SCT045CB 29/19 A2965", "1856")
    step = day.thunder(S.NEAR, level=Level.NEAR)
    content = compose(day.notice(step, kind="alert"), day.situation, fleet)
    assert content.subject == (
        "XLKS 14:53 local: 200/18G25 kt - near: thunderstorm in the vicinity, cumulonimbus reported"
    )
    assert "secure before the outflow comes" in plain(content.text)
    assert "thunderstorm in the vicinity, cumulonimbus reported" in plain(content.text)
    assert "outflow" in content.text


def test_a_reminder_says_since_when(fleet, gust_front):
    step = gust_front.ground(
        S.REMINDER, "X-WREN", "tie_down", since=gust_front.at.replace(hour=16, minute=53)
    )
    notice = gust_front.notice(step, contact="owner of X-WREN", kind="update")
    content = compose(notice, gust_front.situation, fleet)
    assert "still over: tie-down X-WREN 41 > 22" in content.subject
    assert "over since 12:53 local (16:53Z)" in plain(content.text)


def test_swinging_is_to_be_treated_as_over(fleet, gust_front):
    step = gust_front.ground(S.UNSETTLED, "X-WREN", "tie_down", reason="third opening in 6 h")
    content = compose(gust_front.notice(step), gust_front.situation, fleet)
    assert "swinging about the limit: tie-down X-WREN 41 > 22" in content.subject
    assert "treat tie-down X-WREN as over until you hear again" in plain(content.text)
    assert "Rule: third opening in 6 h" in content.text


def test_easing_is_not_yet_back(fleet, moment):
    day = moment(SECOND_LOW, "2256")
    step = day.ground(S.EASING, "X-WREN", "tie_down")
    content = compose(day.notice(step, kind="update"), day.situation, fleet)
    assert "below the limit, not yet back" in content.subject
    assert "below the limit, not yet back within limits" in plain(content.text)


@pytest.mark.parametrize(
    ("name", "asked"),
    [(S.OPENED, "Towing: stop for X-LARK."), (S.NEAR, "Towing: be ready to stop for X-LARK.")],
)
def test_a_limit_of_the_schools_own_is_told_by_its_name(fleet, gust_front, name, asked):
    known = gust_front.ground(S.OPENED, "X-LARK", "taxi").finding
    finding = known._replace(quantity="towing", limit=replace(known.limit, quantity="towing"))
    track = TrackKey(TrackKind.GROUND, "XLKS", "X-LARK", quantity="towing")
    content = compose(
        gust_front.notice(gust_front.step(name, track, finding=finding)),
        gust_front.situation,
        fleet,
    )
    assert "towing X-LARK 41 > 30" in content.subject
    assert asked in content.text


def test_a_speed_without_a_direction_is_said_so(fleet, moment):
    day = moment("METAR XLKS 221353Z ///26KT 10SM CLR 20/17 A2982", "1356")
    content = compose(day.notice(day.runways(S.OPENED, "X-LARK", "dual")), day.situation, fleet)
    assert "direction not reported, 26 kt" in content.subject
    assert "direction not reported: counted as from anywhere" in plain(content.text)


def test_calm_is_said_as_calm_and_not_reported_is_not(fleet, moment):
    day = moment("METAR XLKS 230153Z AUTO 00000KT 10SM CLR 10/06 A3003", "2359")
    content = compose(day.notice(day.thunder(S.BACK)), day.situation, fleet)
    assert "Wind calm" in content.text
    silent = moment("METAR XLKS 222053Z 8SM -RA OVC070 17/13 A2980", "2056")
    content = compose(silent.notice(silent.thunder(S.BACK)), silent.situation, fleet)
    assert "Wind: not reported, which is not calm" in content.text
    assert content.payload["wind"] is None


# --- back and withdrawn ---------------------------------------------------------------


def test_back_names_both_reports_and_what_to_remove(fleet, moment):
    first, second = moment(FIRST_LOW, "2156"), moment(SECOND_LOW, "2256")
    step = second.ground(
        S.BACK,
        "X-LARK",
        "tie_down",
        reports=(first.ref, second.ref),
        reason="two reports below the limit less its margin",
        ended_at=second.ref.observed_at,
    )
    still = second.open(second.ground(S.OPENED, "X-WREN", "tie_down"), "1653", easing=True)
    content = compose(second.notice(step, kind="cancel"), second.with_open(still), fleet)
    text = plain(content.text)
    assert content.subject == (
        "XLKS 18:53 local: 320/12G19 kt - back within limits, your decision: "
        "tie-down X-LARK 19 of 25; 1 open"
    )
    assert "Back within limits; your decision: tie-down X-LARK." in text
    assert "Remove locks, covers and ropes before flight: X-LARK." in text
    assert "now 19 kt of 22 kt, below the limit, not yet back within limits" in text
    assert first.raw in content.text
    assert second.raw in content.text
    assert "Rule: two reports below the limit less its margin" in text


def test_nobody_is_told_to_untie_while_another_parked_limit_is_still_open(fleet, moment):
    day = moment(SECOND_LOW, "2256")
    step = day.ground(S.BACK, "X-WREN", "shelter", ended_at=day.ref.observed_at)
    still = day.open(day.ground(S.OPENED, "X-WREN", "tie_down"), "1653", easing=True)
    content = compose(day.notice(step, kind="cancel"), day.with_open(still), fleet)
    assert "before flight" not in content.text
    assert "Leave X-WREN secured: another limit for parked aircraft is not yet back." in plain(
        content.text
    )


def test_withdrawn_names_the_corrected_report_and_is_no_return(fleet, moment):
    day = moment(CORRECTED_METAR, "1503", corrected=True)
    steps = [
        day.ground(S.WITHDRAWN, craft, "tie_down", reason="the report was corrected")
        for craft in ("X-LARK", "X-TERN", "X-WREN")
    ]
    content = compose(day.notice(*steps, kind="cancel"), day.situation, fleet)
    text = plain(content.text)
    assert content.subject == (
        "XLKS 10:53 local: 180/13 kt - withdrawn, report corrected: "
        "tie-down X-WREN 13 of 22, X-LARK 13 of 25, +1 more"
    )
    assert "The alert no longer stands: the report of 10:53 local (14:53Z) was corrected." in text
    assert "corrected report" in text
    assert "back within limits" not in text
    assert "Remove locks" not in text


# --- nothing known -------------------------------------------------------------------


def test_no_data_says_since_when_what_was_last_known_and_what_stays_open(fleet, moment):
    day = moment("SPECI XLKS 222016Z 32022G35KT 2 1/2SM TSRA BR BKN026CB 17/16 A2974", "2018")
    opened = day.open(day.ground(S.OPENED, "X-WREN", "tie_down"), "1653")
    at = day.at.replace(hour=21, minute=31)
    situation = replace(day.with_open(opened), at=at, wind_known=False)
    step = day.data(S.NO_DATA, affected=(opened.track,))
    notice = replace(day.notice(step, kind="update"), at=at)
    content = compose(notice, situation, fleet)
    text = plain(content.text)
    assert content.subject == (
        "XLKS 17:31 local: no wind known from XLKS since 16:16 local; 1 alert still open"
    )
    assert content.text.startswith(
        "Unknown: no wind known from XLKS since 16:16 local (20:16Z); told 22 Sep 17:31 local"
    )
    assert "that is not the end of any alert" in text
    assert "Last known: 320/22G35 kt" in text
    assert "[unknown] Tie-down X-WREN: not known now, last 35 kt > 22 kt" in text
    assert "CONTROLS WHILE TAXIING" not in content.text
    assert content.payload["wind_known"] is False


def test_no_data_names_the_fall_back_its_distance_and_height(fleet, moment):
    neighbour = moment(
        "METAR XBRN 222056Z AUTO 31014G22KT 10SM +TSRA BKN060CB 16/12 A2983",
        "2059",
        fall_back=True,
    )
    main = moment("SPECI XLKS 222016Z 32022G35KT 2 1/2SM TSRA BR BKN026CB 17/16 A2974", "2018")
    at = neighbour.at.replace(hour=21, minute=31)
    silent = moment("METAR XLKS 222053Z 8SM -RA OVC070 17/13 A2980 RMK AO2 $", "2056")
    situation = replace(neighbour.situation, at=at, newest=silent.ref)
    notice = replace(neighbour.notice(main.data(S.NO_DATA), kind="update"), at=at)
    content = compose(notice, situation, fleet)
    text = plain(content.text)
    assert content.subject.endswith("since 16:16 local; XBRN covers")
    assert (
        "Station XBRN, in place of XLKS: 25 NM from the field, bearing 270 true, "
        "50 ft higher than the field"
    ) in text
    assert "The newest report of XLKS, 16:53 local (20:53Z), has no wind" in text
    assert "fall-back station" in text
    assert "By the wind of XBRN, not the field's own; the windsock decides." in text
    # What stands over the neighbour does not stand at the field.
    assert "at the field" not in section(content.text, "WHY")


def test_a_fall_back_without_elevation_says_so(fleet, moment):
    neighbour = moment("METAR XBRN 222056Z AUTO 31014G22KT 10SM 16/12 A2983", "2059")
    field = fleet.airfields[0]
    station = field.fall_back_stations[0]
    unknown = replace(station, elevation_ft=None, distance_nm=None)
    elsewhere = replace(fleet, airfields=(replace(field, fall_back_stations=(unknown,)),))
    step = neighbour.ground(S.OPENED, "X-LARK", "taxi")
    text = compose(neighbour.notice(step), neighbour.situation, elsewhere).text
    assert "distance not known, elevation not known" in plain(text)


def test_data_back_says_what_is_still_open(fleet, moment):
    day = moment(FIRST_LOW, "2156")
    opened = day.open(day.ground(S.OPENED, "X-WREN", "tie_down"), "1653")
    notice = day.notice(day.data(S.DATA_BACK), kind="update")
    content = compose(notice, day.with_open(opened), fleet)
    assert content.subject == "XLKS 17:53 local: 310/15G23 kt - wind known again; 1 still open"
    assert "[over] Tie-down X-WREN: now 23 kt > 22 kt" in plain(content.text)


# --- past, late, ended ------------------------------------------------------------------


def test_what_is_past_is_told_once_as_past(fleet, gust_front, moment):
    now = moment(SECOND_LOW, "2256")
    finding = gust_front.ground(S.OPENED, "X-WREN", "tie_down").finding
    step = gust_front.ground(
        S.OPENED,
        "X-WREN",
        "tie_down",
        worst=finding,
        ended_at=gust_front.at.replace(hour=20, minute=13),
        level=Level.WITHIN,
    )
    content = compose(now.notice(step), now.situation, fleet)
    assert content.subject == (
        "XLKS 15:07 local: past - tie-down X-WREN was over 15:07 to 16:13, worst 41 > 22"
    )
    assert "It is past. Look over X-WREN before the next flight." in plain(content.text)
    assert "Tie down X-WREN now" not in content.text


def test_state_now_says_how_late_why_what_happened_and_what_stands(fleet, gust_front, moment):
    now = moment(SECOND_LOW, "2256")
    step = gust_front.ground(S.OPENED, "X-WREN", "tie_down")
    current = now.ground(S.OPENED, "X-WREN", "tie_down", worst=step.finding)
    notice = now.notice(
        step,
        gust_front.thunder(S.OPENED),
        kind="state now",
        late_because="the mail server did not answer",
        replaces=("a", "b"),
    )
    situation = now.with_open(now.open(current, "1653", easing=True))
    content = compose(notice, situation, fleet)
    text = plain(content.text)
    assert content.subject == (
        "XLKS 18:56 local: late by 3 h 47 min, state now - 320/12G19 kt - "
        "open: tie-down X-WREN 19 of 22"
    )
    assert "This comes 3 h 47 min late, because the mail server did not answer." in text
    assert "It replaces 2 notices that became old." in text
    assert "15:09 local (19:09Z): tie-down X-WREN 41 kt > 22 kt - over" in text
    assert "now 19 kt of 22 kt, below the limit, not yet back within limits" in text
    assert "worst 41 kt" in text
    assert "Tie down X-WREN now" not in text


def test_state_now_with_nothing_open_says_so_and_calls_nothing_safe(fleet, moment):
    now = moment(SECOND_LOW, "2256")
    content = compose(now.notice(kind="state now"), now.situation, fleet)
    assert "none of your alerts is open" in content.subject
    assert "No alert of yours is open now; your decision." in content.text


def test_ended_tells_the_reason_and_that_the_wind_has_not_changed(fleet, moment):
    day = moment(SECOND_LOW, "2256")
    track = TrackKey(TrackKind.GROUND, "XLKS", "X-GONE", quantity="tie_down")
    step = day.step(S.ENDED, track, reason="the limits were changed")
    content = compose(day.notice(step, kind="cancel"), day.situation, fleet)
    assert content.subject.endswith("the limits were changed: tie-down X-GONE")
    assert "what is watched has changed, not the wind" in plain(content.text)


def test_an_airfield_that_is_configured_no_longer_can_be_told_of(fleet, moment):
    day = moment(SECOND_LOW, "2256")
    track = TrackKey(TrackKind.GROUND, "XOLD", "X-GONE", quantity="tie_down")
    step = replace(day.step(S.ENDED, track, reason="no longer watched"))
    notice = replace(day.notice(step, kind="cancel"), airfield="XOLD", contact="nobody")
    situation = replace(day.situation, airfield="XOLD", assessment=None, report=None, ref=None)
    content = compose(notice, situation, fleet)
    assert content.subject.startswith("XOLD 22:53Z: ")
    assert "no longer watched: tie-down X-GONE" in content.subject
