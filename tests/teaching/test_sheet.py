"""A teaching sheet: what it asks, what it answers, and that no question gives its answer away."""

from __future__ import annotations

import re
from html import unescape
from xml.etree import ElementTree as ET

import pytest

from tests.drawings.reading import SVG, wind
from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship.cautions import CAUTION
from windwatch.airmanship.control_positions import control_positions
from windwatch.airmanship.control_reasons import COMMON, reasons
from windwatch.airmanship.control_table import EIGHTHS, Deflection
from windwatch.airmanship.control_words import ABEAM, ASTERN, in_words
from windwatch.drawings.control_card import Craft
from windwatch.fleet import Aircraft, TaxiLeg
from windwatch.notices.advice import on_leg
from windwatch.teaching.as_json import sheet_json
from windwatch.teaching.page import sheet_html
from windwatch.teaching.questions import around_the_aeroplane, on_headings, on_legs, shuffled
from windwatch.teaching.values import Question, Sheet
from windwatch.wind import CALM, VARIABLE, DegreesTrue, HeadingTrue, Knots

CRAFTS = [(gear, wing) for gear in Gear for wing in WingPosition]
NORTH = DegreesTrue(360)


def around(gear: Gear, wing: WingPosition, gust: float | None = None) -> Sheet:
    strongest = None if gust is None else Knots(gust)
    questions = around_the_aeroplane(Knots(18), strongest, gear, wing)
    return Sheet("a class", ("Supposed.",), questions)


def parts(page: str) -> tuple[str, str]:
    """The questions and the answers."""
    _, questions, answers = unescape(page).split('<section class="part"')
    return questions, answers


def drawings(part: str) -> list[ET.Element]:
    return [ET.fromstring(svg) for svg in re.findall(r"<svg.*?</svg>", part, re.DOTALL)]  # noqa: S314


def deflections(drawing: ET.Element) -> dict[str, str]:
    """Of the aeroplane from above."""
    above = next(one for one in drawing.iter() if one.get("data-view") == "above")
    return {
        one.attrib["data-surface"]: one.attrib["data-deflection"]
        for one in above.iter()
        if one.get("data-surface")
    }


def seen(part: str) -> str:
    """Everything that can be read or heard, in one line."""
    return " ".join(re.sub(r"<[^>]*>", " ", part).split())


# --- answers ----------------------------------------------------------------------


@pytest.mark.parametrize(("gear", "wing"), CRAFTS)
def test_every_answer_is_the_one_of_the_control_rules(gear: Gear, wing: WingPosition) -> None:
    sheet = around(gear, wing, gust=25)
    _, answers = parts(sheet_html(sheet))
    drawn = drawings(answers)
    assert len(sheet.questions) == len(drawn) == 8
    for (angle, _, _), question, drawing in zip(EIGHTHS, sheet.questions, drawn, strict=True):
        expected = control_positions(wind(angle or 360, 18, 25), NORTH, gear, wing)
        assert question.positions == expected
        assert deflections(drawing) == {
            "left aileron": expected.ailerons.left.value,
            "right aileron": expected.ailerons.right.value,
            "elevator": expected.elevator.value,
        }
        held = next(one for one in drawing.iter() if one.get("data-hold"))
        assert held.get("data-roll") == expected.yoke.roll.value
        assert held.get("data-pitch") == expected.yoke.pitch.value
        said = in_words(expected)
        assert f"{said[0].upper()}{said[1:]}." in answers
        for reason in question.reasons():
            assert reason.text in answers
            assert reason.source[1:] in answers


# Airmanship reference, section 2: FAA private pilot question bank, Fig. 9, areas A, B, C and the
# mirror of C; EASA PPL bank, operational procedures.
PUBLISHED = [
    pytest.param(315, Gear.NOSEWHEEL, "left aileron up", "elevator neutral", id="Fig. 9 A"),
    pytest.param(45, Gear.TAILWHEEL, "right aileron up", "elevator up", id="Fig. 9 B"),
    pytest.param(225, Gear.NOSEWHEEL, "left aileron down", "elevator down", id="Fig. 9 C"),
    pytest.param(225, Gear.TAILWHEEL, "left aileron down", "elevator down", id="Fig. 9 C, tail"),
    pytest.param(135, Gear.NOSEWHEEL, "right aileron down", "elevator down", id="C mirrored"),
    pytest.param(180, Gear.TAILWHEEL, "ailerons neutral", "elevator down", id="EASA PPL bank"),
]


@pytest.mark.parametrize(("angle", "gear", "upwind", "elevator"), PUBLISHED)
def test_published_answers_stand_on_the_sheet_with_their_source(
    angle: int, gear: Gear, upwind: str, elevator: str
) -> None:
    sheet = around(gear, WingPosition.HIGH)
    _, answers = parts(sheet_html(sheet))
    article = answers.split("<article")[1 + angle // 45]
    said = seen(article)
    assert upwind in said.lower()
    assert elevator in said
    bank = "EASA PPL" if angle == 180 else "FAA private pilot question bank, Fig. 9"
    assert any(each.source.startswith(bank) for each in sheet.questions[angle // 45].reasons())


@pytest.mark.parametrize(("gear", "wing"), CRAFTS)
def test_a_quartering_tailwind_alone_says_why_it_is_the_most_critical(
    gear: Gear, wing: WingPosition
) -> None:
    for question in around(gear, wing).questions:
        critical = [r for r in question.reasons() if r.part == "Most critical"]
        assert len(critical) == int(question.positions.most_critical)
        if critical:
            assert ("high wing" in critical[0].text) is (wing is WingPosition.HIGH)


@pytest.mark.parametrize(("gear", "wing"), CRAFTS)
def test_what_no_handbook_gives_is_marked_as_common_practice(
    gear: Gear, wing: WingPosition
) -> None:
    """Airmanship reference 2.2: ailerons straight ahead and astern, all square across."""
    asked = around(gear, wing).questions
    for place in (0, 2, 4, 6):
        ailerons, elevator = asked[place].reasons()[:2]
        assert ailerons.source == COMMON
        assert (elevator.source == COMMON) is (
            place in {2, 6} or (place == 4 and gear is Gear.NOSEWHEEL)
        )
    for place in (1, 3, 5, 7):
        assert COMMON not in {each.source for each in asked[place].reasons()[:2]}


def test_opinions_that_differ_are_told_once_with_the_numbers_of_their_questions() -> None:
    said = seen(parts(sheet_html(around(Gear.TAILWHEEL, WingPosition.LOW)))[1])
    assert said.count(ABEAM) == said.count(ASTERN) == 1
    assert f"Questions 3, 7: {ABEAM}" in said
    assert f"Question 5: {ASTERN}" in said


def test_where_the_answer_may_change_both_are_shown_each_with_its_reasons() -> None:
    positions = control_positions(wind(110, 18), NORTH, Gear.NOSEWHEEL, WingPosition.LOW)
    assert positions.alternatives
    craft = Craft(Gear.NOSEWHEEL, WingPosition.LOW)
    page = sheet_html(Sheet("a class", (), (Question("taxiing", craft, positions),)))
    _, answers = parts(page)
    assert "10° of direction would change the answer:" in answers
    for held in (positions, *positions.alternatives):
        assert in_words(held) in answers.lower()
        for reason in reasons(held, craft.gear, craft.wing):
            assert reason.text in answers


# --- questions ------------------------------------------------------------------------


def told_away(part: str) -> list[str]:
    """Words of answers in a part of the page, apart from the task that names what to write."""
    part = re.sub(r'<p class="task">.*?</p>', "", part, flags=re.DOTALL)
    said = seen(part).replace("seen from above, nose up", "")
    return re.findall(
        r"\b(?:UP|DOWN|NEUTRAL|up|down|neutral|turn|Turn|forward|back|[Cc]entred|[Mm]ost critical"
        r"|expect\w*|[Rr]eason\w*)\b",
        said,
    )


@pytest.mark.parametrize(("gear", "wing"), CRAFTS)
def test_no_question_gives_its_answer_away(gear: Gear, wing: WingPosition) -> None:
    questions, answers = parts(sheet_html(around(gear, wing)))
    assert told_away(questions) == []
    assert told_away(answers), "the check can see an answer"
    drawn = drawings(questions)
    assert len(drawn) == 8
    for drawing in drawn:
        assert set(deflections(drawing).values()) == {Deflection.NEUTRAL.value}
        for view in drawing.iter():
            assert view.get("data-deflection", "neutral") == "neutral"
            assert view.get("data-roll", "centre") == "centre"
            assert view.get("data-pitch", "neutral") == "neutral"
        texts = ["".join(one.itertext()) for one in drawing.iter(f"{SVG}text")]
        assert texts.count("______") == 3, "a blank for each surface"


@pytest.mark.parametrize("gear", Gear)
def test_a_wind_without_a_direction_is_asked_without_saying_what_to_expect(gear: Gear) -> None:
    craft = Aircraft("X-ONE", gear, WingPosition.HIGH, "XONE", ())
    legs = [TaxiLeg(name, HeadingTrue(DegreesTrue(40))) for name in ("out", "home")]
    asked = on_legs([on_leg(leg, wind(VARIABLE, 9), (craft,), 0.0) for leg in legs])
    assert [(each.name, each.whose) for each in asked] == [("every taxi leg", ("X-ONE",))]
    questions, answers = parts(sheet_html(Sheet("XONE", (), asked)))
    assert told_away(questions) == []
    assert "follow the windsock" in answers
    for other in asked[0].positions.alternatives:
        assert in_words(other) in answers


def test_calm_is_asked_once() -> None:
    held = control_positions(wind(CALM, 0), NORTH, Gear.TAILWHEEL, WingPosition.LOW)
    craft = Craft(Gear.TAILWHEEL, WingPosition.LOW)
    rows = [(DegreesTrue(float(heading)), held) for heading in range(45, 361, 45)]
    [asked] = on_headings(rows, craft, "true")
    assert asked.name == "any heading"
    assert asked.heading_true is None
    assert [each.part for each in asked.reasons()] == ["Calm", "Elevator"]


def test_types_that_answer_alike_share_a_question_and_others_have_their_own() -> None:
    craft = tuple(
        Aircraft(name, gear, wing, "XONE", ())
        for name, gear, wing in (
            ("X-LOW", Gear.NOSEWHEEL, WingPosition.LOW),
            ("X-HIGH", Gear.NOSEWHEEL, WingPosition.HIGH),
            ("X-TAIL", Gear.TAILWHEEL, WingPosition.LOW),
        )
    )
    leg = TaxiLeg("apron to hold", HeadingTrue(DegreesTrue(181)))
    asked = on_legs([on_leg(leg, wind(310, 18), craft, -12.0)])
    assert [each.whose for each in asked] == [("X-LOW", "X-HIGH"), ("X-TAIL",)]
    assert asked[0].craft.wing is WingPosition.HIGH, "whose warning is the sterner"
    assert asked[0].heading_magnetic == 193
    questions, _ = parts(sheet_html(Sheet("XONE", (), asked)))
    assert "193° magnetic" in questions
    assert "heading 181° true" in questions


def test_a_shuffle_keeps_every_question_and_is_the_same_for_the_same_word() -> None:
    asked = around(Gear.NOSEWHEEL, WingPosition.HIGH).questions
    mixed = shuffled(asked, "tuesday")
    assert mixed != asked
    assert sorted(map(repr, mixed)) == sorted(map(repr, asked))
    assert shuffled(asked, "tuesday") == mixed
    assert len({shuffled(asked, str(seed)) for seed in range(20)}) > 15


# --- the page ---------------------------------------------------------------------------


def test_the_page_stands_alone_and_has_the_caution_in_each_part() -> None:
    sheet = around(Gear.NOSEWHEEL, WingPosition.HIGH)
    page = sheet_html(sheet._replace(wall=tuple(each.positions for each in sheet.questions)))
    assert page.startswith("<!DOCTYPE html>")
    for loading in ("<script", "<link", "<img", "<iframe", "@import", "url(", " src=", " href="):
        assert loading not in page
    assert set(re.findall(r"https?://[^\"' <]+", page)) == {"http://www.w3.org/2000/svg"}
    whole = page.split("<section class=")
    assert sum(CAUTION in seen(one) for one in whole) == 3


HOSTILE = "<script>alert(1)</script>\"'&{{ 7*7 }}"


def test_hostile_names_are_words_and_nothing_else() -> None:
    craft = Aircraft(HOSTILE, Gear.NOSEWHEEL, WingPosition.HIGH, "XONE", ())
    leg = TaxiLeg(HOSTILE, HeadingTrue(DegreesTrue(90)))
    asked = on_legs([on_leg(leg, wind(310, 18), (craft,), 0.0)])
    page = sheet_html(Sheet(HOSTILE, (HOSTILE,), asked, (HOSTILE,), order=HOSTILE))
    assert "<script" not in page
    assert page.count("&lt;script&gt;") > 8
    assert page.count("{{ 7*7 }}") > 8, "shown as it was written"


def test_json_has_each_answer_as_the_command_taxi_gives_it() -> None:
    sheet = around(Gear.TAILWHEEL, WingPosition.LOW)
    found = sheet_json(sheet)
    assert found["caution"] == CAUTION
    assert [each["number"] for each in found["questions"]] == list(range(1, 9))
    for question, told in zip(sheet.questions, found["questions"], strict=True):
        assert told["answer"] == question.positions.as_json()
        assert told["reasons"][0]["part"] == "Ailerons"
