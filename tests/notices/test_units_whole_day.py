"""The demo day told in every unit: the same notices, every speed converted, nothing else moved.

The factors here are written out from their sources and are not those of the program: a knot is
1852 m an hour (BIPM, The International System of Units, 8th edition, table 8), a mile 1609.344 m
(NIST SP 811, appendix B.8).
"""

import html
import re
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction

import pytest

from tests.notices.test_words_never_said import FORBIDDEN
from windwatch import pipeline
from windwatch.feeds.recorded import read_recorded
from windwatch.notices.compose import compose
from windwatch.notices.plain import compose_plain
from windwatch.settings.read import read_settings

FACTOR = {
    "km/h": Fraction(1852, 1000),
    "m/s": Fraction(1852, 3600),
    "mph": Fraction(1852000, 1609344),
}
# The fewest decimals that are written in each unit.
FEWEST = {"km/h": 0, "m/s": 1, "mph": 0}
NUMBER = r"\d+(?:\.\d+)?"
IN_KNOTS = re.compile(r"^  In knots:.*\n(?:    .*\n)*", re.MULTILINE)
# Shown as received, in its own units.
RAW = re.compile(r"^(?:  )?(?:METAR|SPECI) XLKS .*$", re.MULTILINE)
BARE = re.compile(rf"\b({NUMBER}) (>|of) ({NUMBER})")


@pytest.fixture(scope="module")
def settings(root):
    return read_settings([root / "config" / "demo.toml"], {}, require_secrets=False)


def in_units(fleet, unit):
    return replace(fleet, contacts=tuple(replace(c, units=unit) for c in fleet.contacts))


def played(root, fleet):
    """Every notice of the day, with how things stood."""
    setup = pipeline.Setup(fleet)
    lines = list(read_recorded(root / "recorded_reports" / "front_day.txt"))
    books = pipeline.begin(setup, fleet.airfield("XLKS"), lines[0].at)
    events = [(line.at, 0, pipeline.ReportsCame((line.report,))) for line in lines if line.report]
    minutes = int((lines[-1].at - lines[0].at) / timedelta(minutes=1))
    events += [(lines[0].at + timedelta(minutes=m), 1, pipeline.Tick()) for m in range(minutes + 1)]
    notices = []
    for at, _, event in sorted(events, key=lambda each: each[:2]):
        outcome = pipeline.step(setup, books, event, at)
        books = outcome.books
        notices += outcome.notices
    return notices


@pytest.fixture(scope="module")
def day(root, settings):
    notices = played(root, settings.fleet)
    assert len(notices) == 35
    return notices


@pytest.fixture(scope="module")
def in_knots(day, settings):
    return [compose(*each, settings.fleet) for each in day]


@pytest.fixture(scope="module", params=FACTOR)
def told(request, day, settings):
    """The unit, and the day's notices told in it."""
    fleet = in_units(settings.fleet, request.param)
    return request.param, [compose(*each, fleet) for each in day]


def speeds(text, unit):
    """What is said without its speeds, and the speeds: ``300/28G41 kt`` holds two."""
    found = []

    def kept(match):
        found.extend(part for part in match.groups() if part)
        return "#"

    pattern = rf"({NUMBER})G({NUMBER}) {unit}\b|({NUMBER}) {unit}\b"
    return re.sub(pattern, kept, text), found


def flowing(text):
    """A text without its lines, its raw reports and its figures in knots beside others."""
    return " ".join(RAW.sub("", IN_KNOTS.sub("", text)).split())


def assert_converted(shown, knots, unit):
    """It is the figure in knots, converted and rounded to as many decimals as are written."""
    decimals = max(len(shown.partition(".")[2]), FEWEST[unit])
    exact = Fraction(knots) * FACTOR[unit]
    # Nothing is rounded twice: half of the last place, exactly.
    assert abs(Fraction(shown) - exact) <= Fraction(1, 2 * 10**decimals), (shown, knots)


def test_the_same_notices_go_out_whatever_the_units(root, settings, day):
    """Ids, steps, people and times are those of the day in knots."""
    mixed = replace(
        settings.fleet,
        contacts=tuple(
            replace(contact, units=unit)
            for contact, unit in zip(settings.fleet.contacts, FACTOR, strict=True)
        ),
    )
    assert [notice for notice, _ in played(root, mixed)] == [notice for notice, _ in day]


def test_every_speed_of_every_notice_is_converted_and_no_other_word_moves(in_knots, told):
    unit, contents = told
    seen = 0
    for knots, content in zip(in_knots, contents, strict=True):
        assert "\n  In knots:" not in knots.text
        expected, figures = speeds(flowing(knots.text), "kt")
        found, shown = speeds(flowing(content.text), unit)
        assert found == expected
        for one, other in zip(shown, figures, strict=True):
            assert_converted(one, other, unit)
        seen += len(shown)
    assert seen > 500


def test_knots_stand_only_in_their_own_lines_and_in_raw_reports(told):
    _, contents = told
    for content in contents:
        assert not re.search(r"\bkt\b", flowing(content.text))
        assert not re.search(r"\bkt\b", content.subject)
        assert not re.search(r"\bkt\b", content.payload["headline"])


def test_the_lines_in_knots_are_those_of_the_same_notice_in_knots(in_knots, told):
    _, contents = told
    lines = 0
    for knots, content in zip(in_knots, contents, strict=True):
        whole = " ".join(knots.text.split())
        for line in IN_KNOTS.findall(content.text):
            assert " ".join(line.split()).removeprefix("In knots: ") in whole
            lines += 1
    assert lines > 50


def test_what_is_shown_never_contradicts_the_level(told):
    unit, contents = told
    relation = re.compile(rf"({NUMBER}) {unit} (>|of) (?:X-\w+ )?({NUMBER}) {unit}")
    seen = 0
    for content in contents:
        pairs = relation.findall(flowing(content.text)) + BARE.findall(content.subject)
        for figure, sign, limit in pairs:
            assert (float(figure) > float(limit)) is (sign == ">"), (figure, sign, limit)
        seen += len(pairs)
    assert seen > 200


def test_a_subject_says_its_unit_and_its_figures_are_those_of_the_notice(in_knots, told):
    unit, contents = told
    for knots, content in zip(in_knots, contents, strict=True):
        pairs = BARE.findall(content.subject)
        # As many items as there is room for: those of the shorter line stand first in both.
        for one, other in zip(pairs, BARE.findall(knots.subject), strict=False):
            assert_converted(one[0], other[0], unit)
            assert_converted(one[2], other[2], unit)
        assert f" {unit}" in content.subject or not pairs
        assert len(content.subject) <= 125


def test_html_tells_the_same_figures_as_the_text(told):
    unit, contents = told
    for content in contents:
        words = html.unescape(re.sub(r"<[^>]+>", " ", content.html)).replace("\xa0", " ")
        in_html, in_text = (
            set(speeds(" ".join(t.split()), unit)[1]) for t in (words, content.text)
        )
        assert in_html == in_text
        knots = [
            set(re.findall(rf"({NUMBER}) kt\b", " ".join(t.split()))) for t in (words, content.text)
        ]
        assert knots[0] == knots[1]


def test_the_payload_stays_in_knots_but_for_its_words(in_knots, told):
    """The figures in knots make the text longer, and 20 kB may hold fewer of the reminders."""
    _, contents = told
    for knots, content in zip(in_knots, contents, strict=True):
        own = {"subject", "headline", "text", "left_out", *content.payload["left_out"]}
        machine = [{k: v for k, v in c.payload.items() if k not in own} for c in (knots, content)]
        assert machine[0] == machine[1]
        assert own <= {"subject", "headline", "text", "left_out", "reminders"}
        assert content.payload["text"] == content.text
        assert content.payload["subject"] == content.subject


def test_bare_facts_are_converted_too(day, settings, told):
    unit, _ = told
    fleet = in_units(settings.fleet, unit)
    for each in day:
        expected, figures = speeds(compose_plain(*each, settings.fleet).text, "kt")
        found, shown = speeds(compose_plain(*each, fleet).text, unit)
        assert found == expected
        for one, other in zip(shown, figures, strict=True):
            assert_converted(one, other, unit)


@pytest.mark.guard("words")
def test_no_unit_says_what_must_not_be_said(told):
    _, contents = told
    for content in contents:
        assert FORBIDDEN.search(content.subject + content.text) is None
