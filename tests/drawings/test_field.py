"""The field from above: directions, numbers, levels and wind stand where they belong."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.drawings.reading import (
    all_text,
    bearing,
    length_of,
    middle,
    parts,
    points,
    points_to,
    root_of,
    wind,
)
from tests.drawings.samples import CLOSED, EAST_WEST, FIELD, LEGS, OBLIQUE, WINDS
from windwatch.assessment.values import Cause, EndFinding, Finding, Level, Mark, RunwayFinding
from windwatch.drawings.boxes import Box, Strip, Wanted, beside
from windwatch.drawings.field import field_drawing
from windwatch.drawings.field_facts import Field, FieldEnd, FieldRunway, end_of, runway_of
from windwatch.drawings.svg import Drawing, Point
from windwatch.drawings.theme import LIGHT
from windwatch.fleet import CROSSWIND, Limit, Of
from windwatch.wind import CALM, MISSING, VARIABLE, DegreesTrue, Knots, Wind


def field(blowing: Wind | None, *runways: FieldRunway) -> Drawing:
    return field_drawing(FIELD._replace(wind=blowing, runways=runways or (EAST_WEST,)), LIGHT)


# --- the wind ----------------------------------------------------------------------


@pytest.mark.parametrize(("wind_from", "flies_to"), [(310, 130), (360, 180), (90, 270), (5, 185)])
def test_the_arrow_flies_with_the_wind(wind_from: float, flies_to: float) -> None:
    (arrow,) = parts(field(wind(wind_from, 18)), "data-part", "mean")
    assert points_to(arrow) == pytest.approx(flies_to, abs=0.2)


def test_the_gust_is_a_longer_arrow_that_flies_the_same_way() -> None:
    drawing = field(wind(310, 18, 27))
    (mean,), (gust,) = (parts(drawing, "data-part", part) for part in ("mean", "gust"))
    assert points_to(gust) == pytest.approx(points_to(mean), abs=0.2)
    assert length_of(gust) > length_of(mean) + 20
    assert gust.get("stroke") == LIGHT.wind
    assert gust.get("fill") == LIGHT.paper


def test_no_gust_reported_draws_none() -> None:
    assert not parts(field(wind(310, 18)), "data-part", "gust")


def test_a_stronger_wind_is_a_longer_arrow_that_stays_on_the_field() -> None:
    lengths = [
        length_of(parts(field(wind(310, speed)), "data-part", "mean")[0])
        for speed in (2, 12, 25, 40, 90)
    ]
    assert lengths == sorted(lengths)
    assert lengths[1] < lengths[2] < lengths[3] == lengths[4] <= 2 * 112


@pytest.mark.parametrize(
    ("blowing", "picture"),
    [
        pytest.param(wind(310, 18), "steady", id="steady"),
        pytest.param(wind(VARIABLE, 6), "variable", id="variable"),
        pytest.param(wind(CALM, 0), "calm", id="calm"),
        pytest.param(wind(MISSING, 12), "unknown", id="direction not reported"),
        pytest.param(None, "unknown", id="not reported"),
    ],
)
def test_each_state_of_the_wind_is_one_picture_of_its_own(
    blowing: Wind | None, picture: str
) -> None:
    drawing = field(blowing)
    found = [one.get("data-wind") for one in root_of(drawing).iter() if one.get("data-wind")]
    assert found == [picture]


def test_not_reported_is_never_called_calm() -> None:
    drawing = field(None)
    assert "Wind not reported" in all_text(drawing)
    assert "Wind not reported, which is not calm" in drawing.text
    assert "Calm" not in " ".join(all_text(drawing))


def test_the_sector_lies_on_the_side_that_the_wind_comes_from() -> None:
    (sector,) = parts(field(wind(310, 18, None, (280, 340))), "data-part", "sector")
    _, first, second = sector.attrib["d"].replace("A", "L").rstrip("Z").split("L")
    centre = Point(*(float(n) for n in sector.attrib["d"][1:].split("L")[0].split()))
    start = Point(*(float(n) for n in first.split()))
    end = Point(*(float(n) for n in second.split()[-2:]))
    assert bearing(centre, start) == pytest.approx(280, abs=0.2)
    assert bearing(centre, end) == pytest.approx(340, abs=0.2)


def test_the_windsock_flies_with_the_wind_and_is_limp_in_little() -> None:
    reach = []
    for speed in (3, 15, 40):
        stripes = parts(field(wind(310, speed)), "data-part", "stripe")
        assert len(stripes) == 5
        first, last = (middle(points(stripes[place])) for place in (0, 4))
        assert bearing(first, last) == pytest.approx(130, abs=1)
        reach.append(((first.x - last.x) ** 2 + (first.y - last.y) ** 2) ** 0.5)
    assert reach[0] < reach[1] == pytest.approx(reach[2])


@pytest.mark.parametrize("state", ["variable", "calm", "no direction", "none"])
def test_no_windsock_without_a_direction(state: str) -> None:
    assert not parts(field(WINDS[state]), "data-part", "windsock")


def test_north_is_up() -> None:
    (north,) = parts(field(None), "data-part", "north")
    tip, *_ = corners = points(north)
    assert tip.y == min(corner.y for corner in corners)
    assert "N" in all_text(field(None))


# --- runways -----------------------------------------------------------------------


def number(drawing: Drawing, name: str) -> tuple[Point, float]:
    """Where the painted number of an end stands, and how it is turned."""
    (found, *_) = parts(drawing, "data-number", name)
    turn = float(found.attrib["transform"].removeprefix("rotate(").split()[0])
    return Point(float(found.attrib["x"]), float(found.attrib["y"])), turn


def surface(drawing: Drawing, name: str) -> list[Point]:
    (runway,) = parts(drawing, "data-runway", name)
    return points(next(one for one in runway.iter() if one.get("data-part") == "runway"))


def test_28_is_painted_at_the_eastern_end_and_read_when_landing_westwards() -> None:
    drawing = field(wind(310, 18))
    runway = middle(surface(drawing, "10/28"))
    west, east = number(drawing, "10"), number(drawing, "28")
    assert east[0].x > runway.x + 50
    assert west[0].x < runway.x - 50
    assert east[1] == pytest.approx(271.4)
    assert west[1] == pytest.approx(91.4)


@given(heading=st.integers(1, 360))
@settings(max_examples=40, deadline=None)
def test_a_runway_lies_in_its_true_direction(heading: int) -> None:
    ends = (
        FieldEnd("A", DegreesTrue(heading), Mark.WITHIN),
        FieldEnd("B", DegreesTrue((heading + 180) % 360), Mark.WITHIN),
    )
    first, _, _, last = surface(field(wind(310, 5), FieldRunway(ends)), "A/B")
    turn = bearing(last, first) - heading
    assert abs((turn + 180) % 360 - 180) < 0.3


def long_side(corners: list[Point]) -> float:
    return max(
        ((one.x - other.x) ** 2 + (one.y - other.y) ** 2) ** 0.5
        for one, other in combinations(corners, 2)
    )


def test_runways_have_relative_lengths_and_an_unknown_one_that_of_the_longest() -> None:
    drawing = field(
        None,
        EAST_WEST._replace(length_ft=4000),
        OBLIQUE._replace(length_ft=3000),
        CLOSED._replace(length_ft=None),
    )
    longest, shorter, unknown = (
        long_side(surface(drawing, name)) for name in ("10/28", "16/34", "04/22")
    )
    assert shorter / longest == pytest.approx(0.75, abs=0.02)
    assert unknown == pytest.approx(longest, abs=0.05)


def test_parallel_runways_lie_side_by_side_with_left_on_the_left() -> None:
    left, right = (
        FieldRunway(
            (FieldEnd(f"09{a}", DegreesTrue(90)), FieldEnd(f"27{b}", DegreesTrue(270))),
        )
        for a, b in (("L", "R"), ("R", "L"))
    )
    for order in ((left, right), (right, left)):
        drawing = field(None, *order)
        # Landing eastwards, left is north.
        assert max(p.y for p in surface(drawing, "09L/27R")) < min(
            p.y for p in surface(drawing, "09R/27L")
        )


def test_a_one_way_runway_has_one_number() -> None:
    drawing = field(None, FieldRunway((FieldEnd("36", DegreesTrue(2), Mark.NEAR),)))
    assert len([one for one in root_of(drawing).iter() if one.get("data-number")]) == 1


def test_a_closed_runway_says_so_and_shows_no_level() -> None:
    drawing = field(None, CLOSED)
    assert all_text(drawing).count("closed") == 2
    assert "Runway 04/22: closed" in drawing.text
    (end, *_) = parts(drawing, "data-end", "04")
    assert not [one for one in end.iter() if one.get("data-level")]


# --- what the ends say -------------------------------------------------------------


@pytest.mark.parametrize("mark", list(Mark))
def test_each_end_shows_its_shape_its_figure_and_its_word(mark: Mark) -> None:
    end = FieldEnd("28", DegreesTrue(271), mark, "17 > 7 kt", "crosswind")
    drawing = field(wind(310, 18), FieldRunway((end,)))
    (label,) = parts(drawing, "data-end", "28")
    assert [one.get("data-level") for one in label.iter() if one.get("data-level")] == [mark.value]
    assert ["".join(one.itertext()) for one in label.iter() if one.tag.endswith("}text")] == [
        "17 > 7 kt",
        f"28 {mark.value}, crosswind",
    ]
    assert f"28 {mark.value}: crosswind 17 > 7 kt" in drawing.text


def test_chevrons_lead_to_an_end_that_may_be_used_and_to_no_other() -> None:
    for mark in Mark:
        end = FieldEnd("28", DegreesTrue(271), mark, "5 of 7 kt", "crosswind")
        shown = parts(field(None, FieldRunway((end,))), "data-part", "approach")
        assert bool(shown) == (mark in {Mark.WITHIN, Mark.NEAR})


def label_boxes(drawing: Drawing) -> list[Box]:
    """Large lines of the ends as boxes."""
    found = []
    for end in (one for one in root_of(drawing).iter() if one.get("data-end")):
        large = next(one for one in end.iter() if one.get("font-size") == "20")
        text = "".join(large.itertext())
        x, y = float(large.attrib["x"]), float(large.attrib["y"])
        width = len(text) * 10.0
        found.append(Box(x + width / 2, y - 7, width, 18))
    return found


@given(
    headings=st.lists(st.integers(1, 180), min_size=1, max_size=3, unique=True),
    wind_from=st.integers(1, 360),
)
@settings(max_examples=30, deadline=None, derandomize=True)
def test_labels_do_not_lie_on_each_other(headings: list[int], wind_from: int) -> None:
    runways = [
        FieldRunway(
            tuple(
                FieldEnd(f"{place}{way}", DegreesTrue(h + way), Mark.OVER, "17 > 7 kt", "tailwind")
                for way in (0, 180)
            )
        )
        for place, h in enumerate(headings)
    ]
    boxes = label_boxes(field(wind(wind_from, 20), *runways))
    assert len(boxes) == 2 * len(runways)
    for one, other in combinations(boxes, 2):
        across = (one.width + other.width) / 2 - abs(one.x - other.x)
        down = (one.height + other.height) / 2 - abs(one.y - other.y)
        assert across <= 0 or down <= 0


def test_a_label_goes_beside_a_strip_and_not_on_it() -> None:
    paper = Box(200, 200, 400, 400)
    strip = Strip(Point(0, 200), Point(400, 200), 10)
    (place,) = beside([Wanted(Point(330, 200), 90, 120, 40)], [strip], [], paper)
    assert not strip.under(place)
    assert abs(place.y - 200) < 60


def test_a_label_without_any_room_still_stands_on_the_paper() -> None:
    paper = Box(50, 50, 100, 100)
    (place,) = beside([Wanted(Point(50, 50), 0, 90, 90)], [], [paper], paper)
    assert abs(place.x - 50) <= 5
    assert abs(place.y - 50) <= 5


# --- legs, words, findings -----------------------------------------------------------


def test_each_taxi_leg_is_an_arrow_in_its_direction_with_its_name() -> None:
    drawing = field(None)
    for leg in LEGS:
        (drawn,) = parts(drawing, "data-leg", leg.name)
        head = next(one for one in drawn.iter() if one.get("data-part") == "leg")
        assert points_to(head) == pytest.approx(leg.heading_true, abs=0.5)
        assert leg.name in drawing.text
        assert leg.name in all_text(drawing)


def test_the_words_say_what_the_picture_shows() -> None:
    drawing = field_drawing(FIELD, LIGHT)
    assert drawing.title == "XLKS from above for X-LARK, student solo"
    assert drawing.text == (
        "Wind from 310° true, 18 kt, gust 27 kt, varying 280° to 340° true. At 19:07Z. "
        "Runway 10/28, 3800 ft: 10 over: crosswind 17 > 7 kt (heading 091° true); "
        "28 near: crosswind 6.4 of 7 kt (heading 271° true). "
        "Runway 16/34, 1900 ft: 16 unknown (heading 150° true); "
        "34 within: crosswind 3 of 7 kt (approximate heading 330° true). "
        "Runway 04/22: closed. "
        "Taxi leg apron to hold 28, heading 178° true. Taxi leg hold 28, heading 091° true."
    )


@pytest.mark.parametrize(
    ("unit", "said"),
    [("kt", "18 kt"), ("km/h", "33 km/h"), ("m/s", "9.3 m/s"), ("mph", "21 mph")],
)
def test_the_wind_is_said_in_the_unit_asked_for(unit: str, said: str) -> None:
    """18 kt is 18 × 1.852 = 33.336 km/h, 9.26 m/s, 18 × 1852 / 1609.344 = 20.71 mph."""
    drawing = field_drawing(Field("X", wind(310, 18), ()), LIGHT, unit)
    assert f"310° true, {said}" in all_text(drawing)


def finding(figure: float, level: Level, *, at_least: bool = False) -> EndFinding:
    limit = Limit(CROSSWIND, Knots(7), "student solo", of=Of.MEAN)
    found = Finding(
        CROSSWIND, Knots(figure), limit, level, None, Cause.NOMINAL, at_least, low=False,
        near_low=False,
    )  # fmt: skip
    return EndFinding("28", DegreesTrue(271), True, None, None, level, (found,), found)


def test_a_finding_becomes_an_end() -> None:
    assert end_of(finding(17, Level.OVER)) == FieldEnd(
        "28", DegreesTrue(271), Mark.OVER, "17 > 7 kt", "mean crosswind", approximate=True
    )
    assert end_of(finding(6.4, Level.NEAR, at_least=True)).figure == "at least 6.4 of 7 kt"
    assert end_of(finding(7, Level.WITHIN), "km/h").figure == "13 of 13 km/h"


@pytest.mark.parametrize("heading", range(150, 215, 5))
def test_chevrons_stand_clear_of_the_north_arrow(heading: int) -> None:
    end = FieldEnd("19", DegreesTrue(heading), Mark.WITHIN, "9 of 15 kt", "total wind")
    drawing = field(wind(heading, 9), FieldRunway((end,)))
    (north,) = parts(drawing, "data-part", "north")
    (approach,) = parts(drawing, "data-part", "approach")
    lowest = max(corner.y for corner in points(north))
    chevrons = [corner for one in approach.iter() if one.get("points") for corner in points(one)]
    assert len(chevrons) == 6
    near = [one for one in chevrons if abs(one.x - points(north)[0].x) < 10]
    assert all(one.y > lowest + 3 for one in near)


def test_whom_the_field_is_judged_for_is_said_whole_and_bold() -> None:
    drawing = field_drawing(FIELD._replace(name="a field with a name that is long " * 3), LIGHT)
    (said,) = parts(drawing, "data-part", "for whom")
    assert "".join(said.itertext()).endswith("for X-LARK, student solo")
    assert said.get("font-weight") == "700"


def test_a_stale_finding_is_unknown_and_shows_no_figure() -> None:
    end = finding(3, Level.WITHIN)
    (shown,) = runway_of(RunwayFinding("28", end, (end,)), 3000, known=False).ends
    assert (shown.mark, shown.figure, shown.reason) == (Mark.UNKNOWN, "", "")


def test_an_end_without_a_limit_says_its_level_alone() -> None:
    end = end_of(finding(3, Level.WITHIN)._replace(deciding=None))
    drawing = field(None, FieldRunway((end,)))
    assert "within" in all_text(drawing)


def test_a_closed_runway_bears_a_cross_towards_each_end() -> None:
    assert len(parts(field(None, CLOSED), "data-part", "closed")) == 4
    assert not parts(field(None, EAST_WEST), "data-part", "closed")
