"""What no notice ever says, whatever the step."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from windwatch.assessment.values import Level
from windwatch.episodes.values import StepName
from windwatch.notices.compose import compose

FORBIDDEN = re.compile(r"\ball[- ]clear\b|\bsafe(?:ly)?\b|left within|no gusts|!", re.IGNORECASE)
VOID = {"meta", "br", "img", "link", "hr", "input"}


class Nesting(HTMLParser):
    """Checks that every element is closed in its turn; keeps tags, attributes and text."""

    def __init__(self):
        super().__init__()
        self.open = []
        self.faults = []
        self.tags = []
        self.words = []
        self.attributes = []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.faults.append(f"{tag} at {self.getpos()}")

    def handle_data(self, data):
        if "style" not in self.open[-1:]:
            self.words.append(data)


def read(html):
    parser = Nesting()
    parser.feed(html)
    parser.close()
    return parser


KINDS = [*StepName, "past", "state now"]


@pytest.fixture(params=KINDS, ids=str)
def content(request, fleet, gust_front, desk_open):
    """One notice of every kind, as the desk gets it."""
    return one_of(request.param, fleet, gust_front, desk_open)


def one_of(name, fleet, day, desk_open):
    """A notice of one kind to the desk."""
    if name == "past":
        step = day.ground(StepName.OPENED, "X-WREN", "tie_down", ended_at=day.at)
        return compose(day.notice(step), day.situation, fleet)
    if name == "state now":
        step = day.ground(StepName.OPENED, "X-WREN", "tie_down")
        notice = day.notice(step, kind="state now", late_because="the network was down")
        return compose(notice, day.with_open(*desk_open), fleet)
    steps = (
        day.ground(name, "X-WREN", "tie_down"),
        day.ground(name, "X-LARK", "tie_down"),
        day.ground(name, "X-LARK", "taxi"),
        day.runways(name, "X-TERN", "dual", runway="1/19", remaining=("28",)),
        day.thunder(name, level=Level.OVER),
        day.data(name),
    )
    return compose(day.notice(*steps), day.with_open(*desk_open), fleet)


@pytest.mark.guard("words")
def test_no_notice_says_what_must_not_be_said(content):
    assert FORBIDDEN.search(content.subject) is None
    assert FORBIDDEN.search(content.text) is None


@pytest.mark.guard("words")
@pytest.mark.parametrize("name", KINDS, ids=str)
def test_no_notice_in_another_unit_says_it_either(name, fleet, gust_front, desk_open):
    for unit in ("km/h", "m/s", "mph"):
        told = replace(fleet, contacts=tuple(replace(c, units=unit) for c in fleet.contacts))
        content = one_of(name, told, gust_front, desk_open)
        assert FORBIDDEN.search(content.subject) is None
        assert FORBIDDEN.search(content.text) is None
        assert f" {unit}" in content.text
        assert len(content.subject) <= 135


def test_subject_is_one_short_line_with_the_field_and_a_time(content):
    assert len(content.subject) <= 125
    assert re.match(r"XLKS \d\d:\d\d local: ", content.subject)
    assert content.subject.isprintable()


def test_first_line_says_until_when_it_is_valid(content):
    assert "valid until" in content.text.splitlines()[0]


def test_every_notice_ends_with_who_decides(content):
    words = " ".join(content.text.split())
    assert "Advisory only: the flight manual, local procedures" in words
    assert content.payload["caution"].startswith("Advisory only")


def test_html_is_well_formed_and_loads_nothing(content):
    found = read(content.html)
    assert found.faults == []
    assert found.open == []
    assert not {"script", "img", "link", "iframe", "form"} & set(found.tags)
    assert not [value for name, value in found.attributes if name in ("src", "href", "background")]
    assert "url(" not in content.html


def test_html_and_text_tell_the_same(content):
    """Every word of the text stands in the HTML too, marks and titles aside."""
    in_html = " ".join("".join(read(content.html).words).split()).lower()
    missing = [
        word
        for word in content.text.lower().replace("[", " ").replace("]", " ").split()
        if word.strip(":;,.-") not in in_html
    ]
    assert missing == []
