"""Contacts who hear the same share the words; each gets the very bytes it would get alone."""

import json
from dataclasses import replace
from textwrap import wrap

import pytest
from hypothesis import given
from hypothesis import strategies as st

from windwatch.notices import compose as module
from windwatch.notices import html, text
from windwatch.notices.compose import compose
from windwatch.notices.words import BEFORE_UNIT

ALL_SHARED = (module._said, html._around_footer, text._above_footer)


def forget():
    """As in a new process."""
    for shared in ALL_SHARED:
        shared.cache_clear()


@pytest.fixture
def notices(gust_front, desk_steps):
    """Of one event: two who hear the same, one who hears less, one whose mail went astray."""
    desk = gust_front.notice(*desk_steps)
    return [
        desk,
        replace(desk, id="n2", contact="instructor", references=("a", "b")),
        replace(desk, id="n3", contact="instructor", steps=desk.steps[:1]),
        replace(desk, id="n4", contact="<desk & co>", undelivered_by=("email",)),
    ]


def test_nobody_gets_another_ones_bytes(fleet, gust_front, desk_open, notices):
    situation = gust_front.with_open(*desk_open)
    alone = []
    for notice in notices:
        forget()
        alone.append(compose(notice, situation, fleet))
    forget()
    together = [compose(notice, situation, fleet) for notice in notices]
    assert together == alone
    assert [json.dumps(c.payload) for c in together] == [json.dumps(c.payload) for c in alone]
    assert len({content.text for content in together}) == len(notices)
    assert module._said.cache_info().misses == 2, "words made twice are told four times"
    for notice, content in zip(notices, together, strict=True):
        assert f"To {notice.contact}, about XLKS" in content.text.replace("\n", " ")
        assert content.payload["id"] == notice.id
        assert content.payload["references"] == list(notice.references)
    assert "To &lt;desk &amp; co&gt;, about" in together[3].html
    assert "could not be delivered by email" in together[3].html


def test_a_flood_to_one_leaves_the_next_ones_payload_whole(fleet, gust_front, desk_open, notices):
    """What is left out of one payload for its size is not missing from another."""
    situation = gust_front.with_open(*desk_open)
    first = notices[0]
    forget()
    alone = compose(first, situation, fleet).payload
    forget()
    crowded = replace(first, contact="x" * 6_000, references=("r" * 20,) * 400)
    left_out = compose(crowded, situation, fleet).payload["left_out"]
    assert len(left_out) > len(alone["left_out"])
    assert json.dumps(compose(first, situation, fleet).payload) == json.dumps(alone)


def test_another_situation_makes_other_words(fleet, gust_front, desk_open, notices):
    first = compose(notices[0], gust_front.with_open(), fleet)
    second = compose(notices[0], gust_front.with_open(*desk_open), fleet)
    assert first.text != second.text


WORDS = st.lists(
    st.sampled_from(["a", "wind", "12 kt", "22 km/h", "X-LARK", "", "x" * 57, "x" * 59, "y" * 70]),
    max_size=20,
)


@given(
    WORDS.map(" ".join).map(str.lstrip), st.sampled_from([("- ", "  "), ("  ", "    "), ("", "")])
)
def test_lines_break_where_the_standard_library_breaks_them(line, indents):
    first, later = indents
    kept = BEFORE_UNIT.sub("~", line)
    expected = wrap(
        kept,
        text.WIDTH,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    ) or [first.rstrip()]
    found = text._wrapped(line, first, later)
    assert found == [part.replace("~", " ") for part in expected]
