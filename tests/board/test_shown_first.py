"""What is shown first: each end named, the worst first, each kind's hold, who must not taxi."""

import re
from dataclasses import replace

import pytest

from tests.board import samples
from tests.board.shown import CROWDED_CARD
from windwatch.airframe import Gear
from windwatch.assessment.values import Mark
from windwatch.board import words
from windwatch.board.ends import by_number, out, remain, remaining
from windwatch.board.faces import Asked, Reader
from windwatch.board.pages import HtmlPages
from windwatch.board.shown_first import (
    after_colon,
    answers_of,
    chosen_first,
    kinds_differ,
    kinds_on,
    short_of,
    stopped,
    worst_first,
)
from windwatch.board.values import EndRow, Stand, SubjectRow

SHOWN = {mark: Stand(mark) for mark in Mark}
ALL = ("X-LARK", "X-TERN", "X-WREN")


def end(name: str, mark: Mark, figure: float, limit: float, whose: str, quantity: str) -> EndRow:
    deciding = samples.figure(quantity, quantity, figure, limit, whose, SHOWN[mark])
    best = name in {"19", "10"}
    return EndRow("r", name, 1, False, best, SHOWN[mark], 1, 1, "", "", deciding)


def row(who: str, stand: Stand, *ends: EndRow) -> SubjectRow:
    left = tuple(each.end for each in ends if each.stand.mark is not Mark.OVER)
    return SubjectRow(who, who, who, "", stand, left, "", ends)


STUDENT = row(
    "student", samples.WITHIN,
    end("19", Mark.WITHIN, 9, 15, "student solo", "total wind"),
    end("1", Mark.OVER, 8.8, 8, "X-LARK", "tailwind"),
    end("10", Mark.OVER, 8.8, 7, "student solo", "crosswind"),
    end("28", Mark.OVER, 8.8, 7, "student solo", "crosswind"),
)  # fmt: skip
OWNER = row(
    "owner", samples.WITHIN,
    end("19", Mark.WITHIN, 9, 22, "owner", "total wind"),
    end("1", Mark.OVER, 8.8, 5, "X-WREN", "tailwind"),
    end("10", Mark.NEAR, 8.8, 10, "X-WREN", "crosswind"),
    end("28", Mark.NEAR, 8.8, 10, "X-WREN", "crosswind"),
)  # fmt: skip
GROUNDED = row(
    "grounded", samples.OVER,
    end("10", Mark.OVER, 23.1, 7, "student solo", "crosswind"),
    end("28", Mark.OVER, 35, 8, "X-LARK", "tailwind"),
)  # fmt: skip


def test_every_end_is_named_under_its_level_what_may_be_used_first():
    assert [each[:2] for each in answers_of(STUDENT)] == [
        (Mark.WITHIN, "only 19"), (Mark.OVER, "1, 10 and 28"),
    ]  # fmt: skip
    assert [each[:2] for each in answers_of(OWNER)] == [
        (Mark.WITHIN, "19"), (Mark.NEAR, "10 and 28"), (Mark.OVER, "1"),
    ]  # fmt: skip
    for subject in (STUDENT, OWNER):
        named = re.findall(r"\d+", " ".join(each.text for each in answers_of(subject)))
        assert sorted(named) == sorted(each.end for each in subject.ends)


def test_figures_name_the_ends_they_hold_for_and_whose_limit_it_is():
    assert [each.figures for each in answers_of(STUDENT)] == [
        "total wind 9 kt of 15 kt (student solo)",
        "1 tailwind 8.8 kt > 8 kt (X-LARK); 10, 28 crosswind 8.8 kt > 7 kt (student solo)",
    ]
    # Of a runway that is out altogether, the better end tells.
    assert answers_of(GROUNDED) == [
        (Mark.OVER, words.NONE_REMAINS, "10 crosswind 23.1 kt > 7 kt (student solo)")
    ]


def test_a_rule_that_still_holds_is_said():
    easing = end("10", Mark.OVER, 5, 7, "student solo", "crosswind")
    held = GROUNDED._replace(ends=(easing._replace(stand=samples.EASING),))
    assert answers_of(held)[0].figures == (
        f"10 crosswind 5 kt of 7 kt, {words.HELD} (student solo)"
    )


def test_nothing_known_names_no_end():
    [only] = answers_of(samples.STALE_FIELD.subjects[0])
    assert only == (Mark.UNKNOWN, "The present wind is not known", "")


def test_in_a_sentence_what_remains_and_what_is_out():
    assert short_of(STUDENT) == "Only 19 remains within limits, not 1, 10 and 28"
    assert short_of(OWNER) == "19, 10 and 28 remain within limits, not 1"
    assert short_of(GROUNDED) == words.NONE_REMAINS


def test_the_worst_comes_first_and_of_equal_ones_whom_fewest_ends_remain():
    everybody = (OWNER, STUDENT, GROUNDED)
    assert [each.who for each in worst_first(everybody)] == ["grounded", "student", "owner"]
    assert [each.who for each in chosen_first(everybody, "owner")] == [
        "owner", "grounded", "student",
    ]  # fmt: skip


def test_where_nothing_is_known_whoever_was_over_comes_first():
    was = [
        row(mark.value, Stand(Mark.UNKNOWN, mark)) for mark in (Mark.WITHIN, Mark.OVER, Mark.NEAR)
    ]
    assert [each.who for each in worst_first(tuple(was))] == ["over", "near", "within"]


def test_ends_are_said_by_their_painted_numbers():
    assert sorted(["28", "1", "10", "9R", "9L", "X"], key=by_number) == [
        "1", "9L", "9R", "10", "28", "X",
    ]  # fmt: skip
    assert out(("28", "1", "10")) == "not 1, 10 and 28"
    assert remain(("19", "10")) == "19 and 10 remain within limits"
    assert (remaining(("19",)), remaining(("19", "10"))) == ("only 19", "19 and 10")


def test_a_headline_beside_its_level_goes_without_its_word():
    assert after_colon("Within: a runway remains; your decision") == (
        "A runway remains; your decision"
    )
    assert after_colon("Nothing is judged here") == "Nothing is judged here"


# --- how it is held ------------------------------------------------------------------------


def test_each_kind_is_told_what_it_holds_in_its_own_words():
    said = [[(kind.words, kind.aircraft) for kind in kinds_on(leg)] for leg in samples.LEGS]
    assert said[0] == [
        ("yoke: turn left, forward", ("X-LARK", "X-TERN")), ("stick: forward, left", ("X-WREN",)),
    ]  # fmt: skip
    assert said[1] == [
        ("yoke: turn right, pitch neutral", ("X-LARK", "X-TERN")),
        ("stick: back, right", ("X-WREN",)),
    ]
    assert all(kind.critical for kind in kinds_on(samples.LEGS[0]))


def test_for_one_aircraft_there_is_one_kind():
    [only] = kinds_on(samples.LEGS[1], "X-WREN")
    assert (only.words, only.aircraft) == ("stick: back, right", ("X-WREN",))


def test_kinds_differ_where_a_surface_does_and_not_by_the_hand_alone():
    tailwind, crosswind, _ = (kinds_on(leg) for leg in samples.LEGS)
    assert not kinds_differ(tailwind)
    assert kinds_differ(crosswind)
    assert not kinds_differ(crosswind[:1])


PAGES = HtmlPages()
READER = Reader(path="/field/XLKS")


@pytest.mark.parametrize("page", ["kiosk", "field"])
def test_both_kinds_are_drawn_where_their_elevators_differ(page):
    html = PAGES.html(Asked(page, "XLKS"), samples.FIELD, READER)
    ways = html[html.index('class="leg-kinds"') :]
    if page == "field":
        ways = ways.partition("</ul>")[0]
    kinds = [kinds_on(leg) for leg in samples.LEGS]
    differing = sum(kinds_differ(each) for each in kinds)
    assert differing
    # A tail and a hand for both kinds; where one answer holds for both, the hands alone.
    assert ways.count("drawing-tail") == 2 * differing
    assert ways.count("drawing-hand") == 2 * (len(kinds) - differing)
    for each in kinds:
        for kind in each:
            gear = kind.hold.craft.gear
            name = "tailwheel" if gear is Gear.TAILWHEEL else "nosewheel"
            elevator = kind.hold.positions.elevator.value
            if kinds_differ(each):
                assert f"<title>{name}: elevator {elevator}, {kind.words}</title>" in ways
            assert f"<b>{kind.words}</b>" in ways
    if page == "kiosk":
        assert ways.count("elevator, nosewheel</text>") == differing


@pytest.mark.parametrize("page", ["kiosk", "field"])
def test_controls_come_second_where_nobody_may_taxi(page):
    free = PAGES.html(Asked(page, "XLKS"), samples.FIELD, READER)
    assert words.NOBODY_TAXIS not in free
    out_now = replace(samples.FIELD, taxi_stopped=ALL)
    html = PAGES.html(Asked(page, "XLKS"), out_now, READER)
    told = html.index(words.NOBODY_TAXIS)
    assert told < html.index("yoke: turn left, forward")
    assert html.index("Tie down X-LARK and X-WREN now.") < told
    # Said once for all; where it is for some, beside each whom it is for.
    assert f">{words.STOPPED}" not in html
    one = replace(samples.FIELD, taxi_stopped=("X-WREN", "X-TERN"))
    some = PAGES.html(Asked(page, "XLKS"), one, READER)
    assert "No taxiing for X-WREN and X-TERN: what is marked so" in some
    assert some.count(f">{words.STOPPED}: X-TERN</span>") == len(samples.LEGS)
    assert some.count(f">{words.STOPPED}</span>") == len(samples.LEGS)


def test_who_must_not_taxi_is_named():
    assert stopped(samples.LEGS, ()) == ""
    assert stopped(samples.LEGS, ALL) == words.NOBODY_TAXIS
    assert stopped(samples.LEGS, ("X-LARK", "X-WREN")).startswith(
        "No taxiing for X-LARK and X-WREN:"
    )
    assert stopped(samples.LEGS, ("X-WREN",), "X-WREN").startswith("X-WREN does not taxi now.")
    assert stopped(samples.LEGS, ("X-WREN",), "X-LARK") == ""
    [yoke, stick] = kinds_on(samples.LEGS[1], "", ("X-WREN",))
    assert (yoke.stopped, stick.stopped) == ((), ("X-WREN",))


# --- headline, wind, page ------------------------------------------------------------------


def test_who_lost_a_runway_stands_above_what_remains_for_all_each_with_its_level():
    todo = samples.TO_DO._replace(
        stand=samples.WITHIN,
        headline="Within: 19 remains within limits for everybody here; your decision",
        outs=("X-LARK / student solo: not 1, 10 and 28; only 19",),
    )
    for page in ("field", "kiosk"):
        html = PAGES.html(Asked(page, "XLKS"), replace(samples.FIELD, todo=todo), READER)
        [box] = re.findall(r'<div class="headline.*?</div>', html, re.DOTALL)
        levels = re.findall(r"<b>(\w+)</b>", box)
        assert levels == ["over", "within"]
        assert box.index(todo.outs[0]) < box.index("19 remains within limits for everybody")
        assert "level-edge-within" not in box


def test_the_age_of_the_wind_is_not_the_freshness_of_the_page():
    html = PAGES.html(Asked("field", "XLKS"), samples.FIELD, READER)
    assert re.search(r'<b class="wind-age"><span class="age"[^>]*>5 min ago</span></b>', html)
    stale = PAGES.html(Asked("field", "XLKS"), samples.STALE_FIELD, READER)
    assert re.search(r'<b class="wind-age"><svg class="shape".*?#level-unknown"/></svg>', stale)
    assert words.LIVE == "page up to date"
    css = PAGES.static(re.findall(r"/static/(board\.\w+\.css)", html)[0]).content.decode()
    live = [line for line in css.splitlines() if line.startswith(".live")]
    assert not [line for line in live if "within" in line]


def test_a_ramp_card_draws_many_legs_on_it_too():
    html = PAGES.html(Asked("card", "XLKS", "X-LARK"), CROWDED_CARD, READER)
    assert html.count("drawing-above") == len(CROWDED_CARD.legs) == 8
    assert html.count("<b>yoke: ") == 8
