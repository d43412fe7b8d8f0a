"""Report text and names come from outside: they may be shown, never obeyed."""

from dataclasses import replace

import pytest

from windwatch.episodes.values import StepName
from windwatch.notices.clean import visible
from windwatch.notices.compose import compose
from windwatch.notices.plain import compose_plain

EVIL = "SPECI XLKS 221907Z 30028G41KT <script>alert(1)</script> \u202eTK00 \x00\x1b[31m\r\nBcc: x"


@pytest.fixture(scope="module")
def evil(fleet, gust_front):
    ref = gust_front.ref._replace(raw=EVIL)
    step = gust_front.ground(StepName.OPENED, "X-WREN", "tie_down", reports=(ref,), reason=EVIL)
    situation = replace(gust_front.situation, ref=ref, newest=ref)
    notice = gust_front.notice(step, contact="owner of X-WREN", late_because=EVIL)
    return notice, situation, fleet


@pytest.mark.guard("feed text")
@pytest.mark.parametrize("made_by", [compose, compose_plain])
def test_no_control_or_bidirectional_character_reaches_a_reader(made_by, evil):
    content = made_by(*evil)
    for text in (content.subject, content.text.replace("\n", ""), content.html.replace("\n", "")):
        assert all(char.isprintable() or char in "\u00a0 " for char in text)
    assert "<U+202E>" in content.text
    assert "<U+0000>" in content.text
    assert "\n" not in content.subject
    assert "\r" not in content.subject


@pytest.mark.guard("feed text")
def test_a_report_with_a_script_is_escaped_in_html(evil):
    html = compose(*evil).html
    assert "<script" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html


def test_names_are_escaped_and_kept_on_one_line(fleet, gust_front):
    field = replace(fleet.airfields[0], name="Lark<b>spur\r\nBcc: x@evil.example")
    step = gust_front.ground(StepName.OPENED, "X-WREN", "tie_down")
    content = compose(
        gust_front.notice(step), gust_front.situation, replace(fleet, airfields=(field,))
    )
    assert "<b>" not in content.html
    assert "XLKS Lark<b>spur Bcc: x@evil.example" in content.text.splitlines()


@pytest.mark.guard("feed text")
def test_a_report_is_quoted_to_2000_characters(fleet, gust_front):
    ref = gust_front.ref._replace(raw="A" * 5_000)
    step = gust_front.ground(StepName.OPENED, "X-WREN", "tie_down", reports=(ref,))
    text = compose(
        gust_front.notice(step), replace(gust_front.situation, ref=ref, newest=ref), fleet
    ).text
    assert "A" * 2_000 in text
    assert "A" * 2_001 not in text
    assert "cut here, 3000 more characters" in text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("plain 41 kt × 30°", "plain 41 kt × 30°"),
        ("a\u2028b", "a b"),
        ("tab\there", "tab here"),
        ("zero\u200bwidth", "zero<U+200B>width"),
        ("bell\x07", "bell<U+0007>"),
        ("\ud800", "<U+D800>"),
        ("", ""),
    ],
)
def test_what_cannot_be_seen_is_shown_by_its_number(text, shown):
    assert visible(text) == shown


def test_a_megabyte_is_cut_before_it_is_looked_at():
    assert len(visible("\u202e" * 1_000_000, 2_000)) < 2_000 * 8 + 60
