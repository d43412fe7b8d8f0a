"""Which pictures go with a notice: the field and its wind, and the controls on the way."""

import logging
from dataclasses import replace

import pytest

from windwatch.airframe import Gear
from windwatch.assessment.values import Level, Mark
from windwatch.drawings.field_facts import Field
from windwatch.episodes.values import StepName
from windwatch.fleet import TaxiLeg
from windwatch.notices import compose as composing
from windwatch.notices.compose import compose
from windwatch.notices.pictures import MOST, drawn, pictures_for
from windwatch.notices.values import HeldOnLeg
from windwatch.wind import DegreesTrue, HeadingTrue

S = StepName
EASED = "METAR XLKS 222353Z 34008KT 10SM CLR 15/06 A2996 RMK AO2 SLP140 T01500060"
MORNING = "METAR XLKS 221353Z 17009KT 10SM FEW030 BKN250 20/17 A2982 RMK AO2 SLP086 T02000172"
CALM = "METAR XLKS 221353Z 00000KT 10SM FEW030 BKN250 20/17 A2982"


def composed(day, *steps, contact="operations desk", situation=None, fleet=None, **more):
    notice = day.notice(*steps, contact=contact, **more)
    return compose(notice, situation or day.situation, fleet or day.fleet)


def fields(content):
    return [p.facts for p in content.pictures if isinstance(p.facts, Field)]


def cards(content):
    return [p.facts for p in content.pictures if isinstance(p.facts, HeldOnLeg)]


@pytest.fixture(scope="module")
def desk(fleet, gust_front, desk_steps, desk_open):
    return compose(gust_front.notice(*desk_steps), gust_front.with_open(*desk_open), fleet)


def test_the_field_comes_first_for_whom_the_notice_is_about(desk, gust_front):
    [field] = fields(desk)
    assert desk.pictures[0].facts is field
    assert field.name == "XLKS Larkspur"
    assert field.wind == gust_front.situation.report.wind
    assert field.for_whom == "X-TERN / dual"
    assert field.as_of == "observed 15:07 local (19:07Z)"
    ends = {end.name: end for runway in field.runways for end in runway.ends}
    # tests/demo/expected_notices.md, 19:09Z: 28 total wind 41 > 28 (dual), 1 crosswind 35.9 > 17.
    assert (ends["28"].mark, ends["28"].figure, ends["28"].reason) == (
        Mark.OVER,
        "41 > 28 kt",
        "total wind",
    )
    assert (ends["1"].mark, ends["1"].figure) == (Mark.OVER, "35.9 > 17 kt")


def test_each_leg_has_its_card_and_says_whose_controls_it_shows(desk):
    found = [(card.leg, card.gear) for card in cards(desk)]
    assert found == [
        ("apron to hold 28", Gear.NOSEWHEEL),
        ("apron to hold 1", Gear.NOSEWHEEL),
        ("north taxiway to hold 19", Gear.NOSEWHEEL),
    ]
    captions = [picture.caption for picture in desk.pictures[1:]]
    # With a wind from behind both types hold the same, but one a yoke and the other a stick;
    # the aircraft of the field come first.
    assert captions == [
        "Nosewheel: X-LARK, X-TERN",
        "Nosewheel: X-LARK, X-TERN",
        "Nosewheel: X-LARK, X-TERN",
    ]


def test_the_words_say_all_that_the_pictures_say(desk):
    plain = " ".join(desk.text.split())
    for card in cards(desk):
        left, right = card.positions.ailerons
        assert f"left aileron {left.value}, right aileron {right.value}" in plain
    assert "28 total wind 41 kt > 28 kt (dual)" in plain


def test_never_more_than_four(fleet, gust_front, desk_steps):
    legs = tuple(
        TaxiLeg(f"leg {bearing}", HeadingTrue(DegreesTrue(float(bearing))))
        for bearing in range(10, 370, 20)
    )
    field = replace(fleet.airfields[0], taxi_legs=legs)
    content = composed(gust_front, *desk_steps, fleet=replace(fleet, airfields=(field,)))
    assert len(content.pictures) == MOST
    assert len(fields(content)) == 1
    # Of so many the most critical ones: a quartering wind from behind.
    assert all(card.positions.most_critical for card in cards(content))


def test_legs_that_are_held_the_same_share_one(fleet, gust_front, desk_steps):
    legs = tuple(
        TaxiLeg(name, HeadingTrue(DegreesTrue(heading)))
        for name, heading in (("apron to hold 28", 181.0), ("hold 28 to the pumps", 183.0))
    )
    field = replace(fleet.airfields[0], taxi_legs=legs)
    content = composed(gust_front, *desk_steps, fleet=replace(fleet, airfields=(field,)))
    found = [(card.leg, card.gear) for card in cards(content)]
    assert found == [("apron to hold 28", Gear.NOSEWHEEL), ("apron to hold 28", Gear.TAILWHEEL)]
    for picture in content.pictures[1:]:
        assert picture.caption.endswith(". Held the same: hold 28 to the pumps")


def test_who_hears_of_parked_aircraft_alone_gets_the_field_and_no_verdict_on_runways(gust_front):
    step = gust_front.ground(S.OPENED, "X-WREN", "tie_down")
    content = composed(gust_front, step, contact="owner of X-WREN")
    [picture] = content.pictures
    assert picture.facts.for_whom == ""
    assert {end.mark for runway in picture.facts.runways for end in runway.ends} == {None}


def test_without_a_known_wind_there_is_no_picture(gust_front, desk_steps):
    unknown = replace(gust_front.situation, wind_known=False)
    step = gust_front.data(S.NO_DATA, level=Level.OVER)
    assert composed(gust_front, step, situation=unknown).pictures == ()
    assert composed(gust_front, *desk_steps, situation=unknown).pictures == ()


def test_calm_is_drawn_as_calm(moment):
    day = moment(CALM, "1356")
    content = composed(day, day.runways(S.BACK, "X-LARK", "dual", remaining=("28", "1")))
    assert "Wind calm" in drawn(content.pictures[0]).text


def test_what_is_not_yet_back_is_shown_as_over(moment):
    day = moment(EASED, "2356")
    step = day.runways(S.BACK, "X-LARK", "dual", remaining=("1",))
    [field] = fields(composed(day, step, kind="cancel"))
    marks = {end.name: (end.mark, end.reason) for runway in field.runways for end in runway.ends}
    assert marks["1"] == (Mark.WITHIN, "total wind")
    assert marks["28"] == (Mark.OVER, "not yet back")
    assert marks["10"] == (Mark.OVER, "not yet back")


def test_while_the_episode_is_open_no_runway_is_shown_within(moment):
    day = moment(EASED, "2356")
    step = day.runways(S.EASING, "X-LARK", "dual", remaining=())
    still = day.with_open(day.open(step, easing=True))
    [field] = fields(composed(day, step, situation=still, kind="update"))
    marks = {end.mark for runway in field.runways for end in runway.ends}
    assert marks == {Mark.OVER}


def test_the_runway_that_remains_is_shown_within(moment):
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
    [field] = fields(composed(day, step, kind="update"))
    marks = {end.name: end.mark for runway in field.runways for end in runway.ends}
    assert marks["19"] is Mark.WITHIN
    assert marks["10"] is Mark.OVER


def test_another_stations_wind_is_named(moment):
    day = moment(MORNING.replace("XLKS", "XBRN"), "1356", fall_back=True)
    step = day.runways(S.OPENED, "X-LARK", "student solo")
    [field] = fields(composed(day, step))
    assert field.as_of == "observed by XBRN 09:53 local (13:53Z)"


def test_speeds_are_in_the_unit_of_the_contact(fleet, gust_front, desk_steps):
    desk = replace(fleet.contacts[0], units="km/h")
    content = composed(gust_front, *desk_steps, fleet=replace(fleet, contacts=(desk,)))
    [field] = fields(content)
    figures = {end.figure for runway in field.runways for end in runway.ends}
    # 1 kt is 1.852 km/h exactly: 41 > 28 kt.
    assert "76 > 52 km/h" in figures
    assert "52 km/h, gust 76 km/h" in drawn(content.pictures[0]).text
    for picture in content.pictures:
        assert " kt" not in drawn(picture).text


def test_contacts_who_hear_the_same_share_one_object(fleet, gust_front, desk_steps):
    twice = (fleet.contacts[0], replace(fleet.contacts[0], name="the other desk"))
    both = replace(fleet, contacts=twice)
    one, other = (
        composed(gust_front, *desk_steps, contact=contact.name, fleet=both) for contact in twice
    )
    assert one.pictures is other.pictures
    assert len({picture.id for picture in one.pictures}) == len(one.pictures)


def test_the_same_facts_have_the_same_id_and_others_another(desk, gust_front, desk_steps, fleet):
    composing._said.cache_clear()
    again = composed(gust_front, *desk_steps, situation=gust_front.situation)
    by_id = {picture.id: picture for picture in desk.pictures}
    for picture in again.pictures:
        assert (picture.id in by_id) == (picture in desk.pictures)
    assert any(picture.id in by_id for picture in again.pictures)


@pytest.mark.promise(20)
@pytest.mark.fault("F54")
def test_f54_words_are_whole_where_the_choice_of_pictures_fails(
    desk, fleet, gust_front, desk_steps, desk_open, monkeypatch, caplog
):
    def fails(_scene, _advice):
        raise ZeroDivisionError

    composing._said.cache_clear()
    monkeypatch.setattr(composing, "pictures_for", fails)
    notice, situation = gust_front.notice(*desk_steps), gust_front.with_open(*desk_open)
    content = compose(notice, situation, fleet)
    composing._said.cache_clear()
    assert content.pictures == ()
    assert (content.subject, content.text, content.html) == (desk.subject, desk.text, desk.html)
    assert [each.levelno for each in caplog.records] == [logging.ERROR]


def test_a_field_that_is_configured_no_longer_has_no_picture_of_runways(gust_front, desk_steps):
    gone = replace(gust_front.fleet, airfields=())
    assert fields(composed(gust_front, *desk_steps, fleet=gone)) == []


def test_every_notices_pictures_can_be_drawn(desk):
    for picture in desk.pictures:
        assert drawn(picture).svg.startswith("<svg ")
    assert pictures_for.__module__ == "windwatch.notices.pictures"
