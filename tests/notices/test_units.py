"""A contact's own unit: figures at the edge, at least, gust spread, who shares words with whom."""

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from windwatch.airmanship.conversions import beside_limits, from_knots, speed_figure
from windwatch.assessment.values import Finding, Level
from windwatch.episodes.values import StepName
from windwatch.feeds.wind_group import KNOTS_PER
from windwatch.fleet import Limit, RunwaySteps, TellAbout
from windwatch.notices import compose as module
from windwatch.notices import words
from windwatch.notices.compose import compose
from windwatch.notices.plain import compose_plain
from windwatch.wind import PER_KNOT, Knots

S = StepName
UNITS = tuple(PER_KNOT)
EVERYTHING = TellAbout(runways=RunwaySteps.EACH)
TENTHS = st.integers(0, 2_000).map(lambda tenths: Knots(tenths / 10))


def told_in(fleet, **units):
    """The fleet with contacts told in units of their own: ``desk="km/h"``."""
    return replace(
        fleet,
        contacts=tuple(
            replace(c, units=next((u for n, u in units.items() if n in c.name), c.units))
            for c in fleet.contacts
        ),
    )


def plain(text):
    return " ".join(text.split())


# --- figures ----------------------------------------------------------------------


@given(TENTHS, st.lists(TENTHS, min_size=1, max_size=4), st.sampled_from(UNITS))
def test_figures_compare_as_judged_in_every_unit(figure, limits, unit):
    shown = beside_limits(figure, tuple(limits), unit)
    order = [(figure > limit) - (figure < limit) for limit in limits]
    said = [(float(shown[0]) > float(s)) - (float(shown[0]) < float(s)) for s in shown[1:]]
    assert said == order
    for one, speed in zip(shown, (figure, *limits), strict=True):
        assert float(one) == pytest.approx(from_knots(speed, unit), abs=0.5 + 1e-6)


@pytest.mark.parametrize(
    ("unit", "said"),
    [
        # 15.2 and 15.1 kt: 28.15 and 27.97 km/h; 7.820 and 7.768 m/s; 17.49 and 17.38 mph.
        ("kt", "15.2 kt > 15.1 kt"),
        ("km/h", "28.2 km/h > 28 km/h"),
        ("m/s", "7.82 m/s > 7.77 m/s"),
        ("mph", "17.5 mph > 17.4 mph"),
    ],
)
def test_a_tenth_of_a_knot_over_is_seen_to_be_over(unit, said):
    limit = Limit("crosswind", Knots(15.1), "X-LARK")
    assert words.against(_finding(15.2, limit, Level.OVER), unit) == said


@pytest.mark.parametrize("unit", UNITS)
def test_at_the_limit_reads_as_at_the_limit(unit):
    limit = Limit("crosswind", Knots(15.1), "X-LARK")
    figure, sign, same = re.fullmatch(
        rf"(\S+) {unit} (of|>) (\S+) {unit}",
        words.against(_finding(15.1, limit, Level.NEAR), unit),
    ).groups()
    assert (sign, figure) == ("of", same)


def test_a_limit_finer_than_a_tenth_is_not_reached_in_words():
    """28.25 kt and a figure of 28.3: ``28.3 > 28.3`` would be nonsense."""
    over = _finding(28.3, Limit("tie_down", Knots(28.26), "X"), Level.OVER)
    assert words.against(over) == "28.3 kt > 28.26 kt"


def _finding(figure, limit, level):
    low = level is not Level.OVER
    return Finding(
        quantity=limit.quantity,
        figure=Knots(figure),
        limit=limit,
        level=level,
        nominal=None,
        cause=next(iter(words.CAUSE)),
        at_least=False,
        low=low,
        near_low=False,
    )


def test_a_half_is_rounded_up():
    """125 kt are 231.5 km/h exactly."""
    assert speed_figure(Knots(125.0), "km/h") == "232"


def test_what_a_field_measures_in_a_unit_is_told_back_as_it_was():
    """The feeds know nothing of wind, and have factors of their own: they are the same."""
    assert KNOTS_PER.keys() == PER_KNOT.keys()
    for unit, knots in KNOTS_PER.items():
        assert knots * PER_KNOT[unit] == pytest.approx(1, abs=1e-15)
        assert speed_figure(Knots(13 * knots), unit) == "13"


# --- in a notice --------------------------------------------------------------------


def test_at_least_keeps_its_words(fleet, moment):
    day = moment("METAR XLKS 221353Z 300P99KT 10SM CLR 20/17 A2982", "1356")
    notice = day.notice(day.ground(S.OPENED, "X-WREN", "tie_down"))
    content = compose(notice, day.situation, told_in(fleet, desk="km/h"))
    assert "300/at least 183 km/h" in content.subject
    assert "tie-down X-WREN at least 183 > 41" in content.subject
    assert "at least 183 km/h > X-WREN 41 km/h" in plain(content.text)
    assert "In knots: at least 99 kt > X-WREN 22 kt" in plain(content.text)


def test_a_gust_spread_and_a_sector_are_told_in_the_unit(fleet, moment):
    spread = moment("METAR XLKS 221653Z 28014G27KT 10SM CLR 27/18 A2975", "1656")
    text = plain(
        compose(
            spread.notice(spread.runways(S.OPENED, "X-LARK", "dual")),
            spread.situation,
            told_in(fleet, desk="m/s"),
        ).text
    )
    assert "28 gust spread 6.7 m/s > 6.2 m/s (X-LARK)" in text
    assert "28 gust spread 13 kt > 12 kt (X-LARK)" in text
    assert "7.2 m/s, gusts 13.9 m/s" in text
    sector = moment("METAR XLKS 221653Z 19016G25KT 150V220 10SM CLR 27/18 A2975", "1656")
    content = compose(
        sector.notice(sector.runways(S.OPENED, "X-LARK", "dual")),
        sector.situation,
        told_in(fleet, desk="mph"),
    )
    assert "(4 mph by the mean direction)" in plain(content.text)
    assert "190/18G29 mph 150V220" in content.subject


def test_where_no_wind_says_the_unit_the_figures_do(fleet, gust_front):
    step = gust_front.ground(S.OPENED, "X-WREN", "tie_down", ended_at=gust_front.at)
    told = told_in(fleet, desk="km/h")
    content = compose(gust_front.notice(step, kind="update"), gust_front.situation, told)
    assert content.subject.endswith("worst 76 > 41 km/h")
    assert "worst 76 km/h > 41 km/h" in plain(content.text)
    assert "In knots: 41 kt > 22 kt" in plain(content.text)
    unknown = replace(
        gust_front.with_open(gust_front.open(gust_front.ground(S.OPENED, "X-WREN", "tie_down"))),
        wind_known=False,
    )
    late = gust_front.notice(kind="state now", late_because="the network was down")
    text = plain(compose(late, unknown, told).text)
    assert "last 76 km/h > 41 km/h" in text
    assert "In knots: last 41 kt > 22 kt" in text


def test_no_data_tells_the_last_wind_in_the_unit(fleet, gust_front):
    content = compose(
        gust_front.notice(gust_front.data(S.NO_DATA)),
        replace(gust_front.situation, wind_known=False),
        told_in(fleet, desk="km/h"),
    )
    assert "Last known: 300/52G76 km/h" in plain(content.text)
    assert "52 km/h, gusts 76 km/h" in plain(content.text)


def test_the_wing_carries_the_same_share_in_every_unit(fleet, gust_front):
    notice = gust_front.notice(gust_front.ground(S.OPENED, "X-WREN", "tie_down"))
    knots = compose(notice, gust_front.situation, fleet)
    content = compose(notice, gust_front.situation, told_in(fleet, desk="km/h"))
    share = "X-WREN 81 % to 166 %"
    assert share in plain(knots.text)
    assert share in plain(content.text)
    assert "wind of 41 kt from ahead; clean stall at 38 kt calibrated" in plain(knots.text)
    assert "wind of 76 km/h from ahead; clean stall at 70 km/h calibrated" in plain(content.text)
    assert content.payload["parked"] == knots.payload["parked"]


def test_distance_and_elevation_stay_in_miles_and_feet(fleet, moment):
    day = moment("METAR XBRN 221753Z 28018G27KT 10SM CLR 27/18 A2975", "1756", fall_back=True)
    notice = day.notice(day.ground(S.OPENED, "X-WREN", "tie_down"))
    text = plain(compose(notice, day.situation, told_in(fleet, desk="km/h")).text)
    assert "25 NM from the field, bearing 270 true, 50 ft higher" in text


def test_a_number_and_its_unit_stay_on_one_line(fleet, gust_front, desk_steps):
    for unit in UNITS:
        text = compose(
            gust_front.notice(*desk_steps), gust_front.situation, told_in(fleet, desk=unit)
        ).text
        assert not re.search(rf"^\s*{unit}\b", text, re.MULTILINE)


@pytest.mark.parametrize("unit", UNITS)
def test_the_pictures_have_the_unit_of_the_words(fleet, gust_front, desk_steps, unit):
    told = told_in(fleet, desk=unit)
    pictures = compose(gust_front.notice(*desk_steps), gust_front.situation, told).pictures
    assert {picture.unit for picture in pictures} == {unit}


@pytest.mark.guard("feed text")
@pytest.mark.parametrize("made_by", [compose, compose_plain])
def test_what_came_from_outside_is_shown_as_it_is_in_every_unit(fleet, gust_front, made_by):
    """A name or a report that looks like a speed is nobody's figure, and no markup."""
    name = "X-30 kt <b>41 > 22 kt</b>\u202e"
    raw = "SPECI XLKS 221907Z 30028G41KT <script>30 kt</script>"
    step = gust_front.ground(S.OPENED, "X-WREN", "tie_down")
    ref = gust_front.ref._replace(raw=raw)
    step = replace(step, track=step.track._replace(aircraft=name), reports=(ref,))
    situation = replace(gust_front.situation, ref=ref, newest=ref)
    content = made_by(gust_front.notice(step), situation, told_in(fleet, desk="km/h"))
    assert "X-30 kt <b>41 > 22 kt</b><U+202E>" in plain(content.text)
    assert raw in content.text
    assert "<b>" not in content.html
    assert "<script" not in content.html
    assert "76 km/h" in content.text


# --- who shares what -----------------------------------------------------------------


def test_equal_units_share_their_words_and_others_do_not(fleet, gust_front, desk_steps):
    fleet = replace(
        fleet, contacts=tuple(replace(c, tell_about=EVERYTHING) for c in fleet.contacts)
    )
    desk = gust_front.notice(*desk_steps)
    notices = [replace(desk, id=name, contact=name) for name in (c.name for c in fleet.contacts)]

    def made(told):
        module._said.cache_clear()
        contents = [compose(notice, gust_front.situation, told) for notice in notices]
        return module._said.cache_info().misses, [c.subject for c in contents]

    assert made(told_in(fleet, desk="km/h", instructor="km/h", owner="km/h"))[0] == 1
    misses, subjects = made(told_in(fleet, desk="km/h", instructor="mph"))
    assert misses == 3
    assert [" 300/52G76 km/h" in subjects[0], " 300/32G47 mph" in subjects[1]] == [True, True]
    assert " 300/28G41 kt" in subjects[2]
    misses, subjects = made(told_in(fleet, desk="km/h", owner="km/h"))
    assert misses == 2
    assert subjects[0] == subjects[2]
    assert subjects[0] != subjects[1]


@pytest.fixture(autouse=True)
def _nothing_kept():
    """What these tests compose is not what others count."""
    yield
    module._said.cache_clear()


def test_a_contact_who_is_configured_no_longer_is_told_in_knots(fleet, gust_front):
    step = gust_front.ground(S.OPENED, "X-WREN", "tie_down")
    gone = gust_front.notice(step, contact="nobody")
    content = compose(gone, gust_front.situation, told_in(fleet, desk="km/h"))
    assert "41 kt > X-WREN 22 kt" in plain(content.text)
    assert "In knots" not in content.text
