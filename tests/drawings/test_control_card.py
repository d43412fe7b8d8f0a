"""The control-position card: what is held up is drawn up, and named."""

from __future__ import annotations

import pytest

from tests.drawings.reading import (
    all_text,
    bearing,
    middle,
    parts,
    points,
    points_to,
    root_of,
    wind,
)
from tests.drawings.samples import CRAFTS
from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship.control_positions import card_of_eight, control_positions
from windwatch.airmanship.control_table import ControlPositions, Deflection
from windwatch.airmanship.control_words import in_words
from windwatch.drawings.aeroplane import at_rest, from_behind, from_the_side
from windwatch.drawings.control_card import (
    CRITICAL,
    LARGE,
    SMALL,
    Craft,
    control_card,
    seen_from_above,
    wind_words,
)
from windwatch.drawings.hold import Column, held_in_words
from windwatch.drawings.svg import Drawing, Point, document, width_of
from windwatch.drawings.tail import hand, tail_and_hand
from windwatch.drawings.theme import LIGHT, PRINT
from windwatch.drawings.wall_card import wall_card
from windwatch.wind import CALM, VARIABLE, DegreesTrue, Knots, Wind

HIGH_NOSE = Craft(Gear.NOSEWHEEL, WingPosition.HIGH)
LOW_TAIL = Craft(Gear.TAILWHEEL, WingPosition.LOW)
NORTH = DegreesTrue(360)


def held(blowing: Wind, craft: Craft, heading: float = 360) -> ControlPositions:
    return control_positions(blowing, DegreesTrue(heading), craft.gear, craft.wing)


def card(blowing: Wind, craft: Craft, heading: float = 360, **more: bool) -> Drawing:
    return control_card(held(blowing, craft, heading), craft, LIGHT, "leg", NORTH, **more)


def surfaces(drawing: Drawing, view: str) -> dict[str, set[str]]:
    """Deflections of each surface as a view has them."""
    (seen,) = parts(drawing, "data-view", view)[:1]
    found: dict[str, set[str]] = {}
    for one in seen.iter():
        name = one.get("data-surface")
        if name:
            found.setdefault(name, set()).add(one.attrib["data-deflection"])
    return found


@pytest.mark.parametrize("craft", CRAFTS)
@pytest.mark.parametrize("angle", range(0, 360, 45))
def test_every_view_has_the_answer_and_nothing_else(craft: Craft, angle: int) -> None:
    blowing = wind(angle or 360, 18, 25)
    answer = held(blowing, craft)
    drawing = card(blowing, craft)
    ailerons = {
        "left aileron": {answer.ailerons.left.value},
        "right aileron": {answer.ailerons.right.value},
    }
    elevator = {"elevator": {answer.elevator.value}}
    assert surfaces(drawing, "above") == ailerons | elevator
    assert surfaces(drawing, "behind") == ailerons | elevator
    assert surfaces(drawing, "side") == elevator
    assert in_words(answer) in drawing.text.lower()


def named(drawing: Drawing) -> dict[str, tuple[str, Point]]:
    """The words beside the surfaces and where they stand."""
    found = {}
    for name in ("left aileron", "right aileron", "elevator"):
        (label,) = parts(drawing, "data-name", name)
        texts = [one for one in label.iter() if one.tag.endswith("}text")]
        assert texts[0].text == name
        at = Point(float(texts[1].attrib["x"]), float(texts[1].attrib["y"]))
        found[name] = (texts[1].text or "", at)
    return found


@pytest.mark.parametrize("angle", range(0, 360, 45))
def test_each_surface_is_named_on_its_side(angle: int) -> None:
    answer = held(wind(angle or 360, 18), LOW_TAIL)
    found = named(card(wind(angle or 360, 18), LOW_TAIL))
    assert found["left aileron"][0] == answer.ailerons.left.name
    assert found["right aileron"][0] == answer.ailerons.right.name
    assert found["elevator"][0] == answer.elevator.name
    assert found["left aileron"][1].x < found["right aileron"][1].x


def behind(left: Deflection) -> dict[str, Point]:
    """Middles of the ailerons from behind, beside those of the wing's line at rest."""
    right = {Deflection.UP: Deflection.DOWN, Deflection.DOWN: Deflection.UP}[left]
    answer = held(wind(45, 18), HIGH_NOSE).ailerons._replace(left=left, right=right)
    view = from_behind(
        answer, Deflection.NEUTRAL, Gear.NOSEWHEEL, WingPosition.HIGH, Point(100, 100), 1, PRINT
    )
    drawing = document("x", 200, 200, "x", "x", [view])
    found = {}
    for name in ("left aileron", "right aileron"):
        (surface,) = parts(drawing, "data-surface", name)
        shape = next(one for one in surface.iter() if one.tag.endswith("}polygon"))
        found[name] = middle(points(shape))
    return found


def test_the_left_aileron_up_stands_above_the_wing_on_the_left() -> None:
    up, down = behind(Deflection.UP), behind(Deflection.DOWN)
    # The paper's y grows downward.
    assert up["left aileron"].y < down["left aileron"].y - 10
    assert up["right aileron"].y > down["right aileron"].y + 10
    assert up["left aileron"].x < 100 < up["right aileron"].x
    assert up["left aileron"].y < up["right aileron"].y


def test_up_is_filled_down_is_hatched_and_neutral_an_outline() -> None:
    """In black and white, from above."""
    drawing = control_card(held(wind(45, 18), LOW_TAIL), LOW_TAIL, PRINT)
    (seen,) = parts(drawing, "data-view", "above")
    looks = {}
    for one in seen.iter():
        if one.get("data-surface"):
            shape = next(part for part in one.iter() if part.tag.endswith("}polygon"))
            lines = sum(part.tag.endswith("}line") for part in one.iter())
            looks[one.attrib["data-deflection"]] = (shape.get("fill"), lines > 2)
    assert looks == {"up": (PRINT.ink, False), "down": (PRINT.paper, True)}
    straight = control_card(held(wind(360, 18), HIGH_NOSE), HIGH_NOSE, PRINT)
    assert surfaces(straight, "above") == {
        name: {"neutral"} for name in ("left aileron", "right aileron", "elevator")
    }


def elevator_tip(elevator: Deflection) -> float:
    view = from_the_side(elevator, Gear.NOSEWHEEL, WingPosition.LOW, Point(100, 100), 1, PRINT)
    drawing = document("x", 200, 200, "x", "x", [view])
    (surface,) = parts(drawing, "data-surface", "elevator")
    corners = points(next(one for one in surface.iter() if one.tag.endswith("}polygon")))
    # Its trailing edge is furthest right, since the nose is on the left.
    return max(corners, key=lambda corner: corner.x).y


def test_the_elevator_from_the_side_goes_up_and_down() -> None:
    up, neutral, down = (
        elevator_tip(one) for one in (Deflection.UP, Deflection.NEUTRAL, Deflection.DOWN)
    )
    assert up < neutral - 5 < neutral + 5 < down


# --- the wind on it ------------------------------------------------------------------


@pytest.mark.parametrize("angle", range(0, 360, 15))
def test_the_wind_blows_on_the_aeroplane_from_where_it_comes(angle: int) -> None:
    drawing = card(wind(angle or 360, 18), HIGH_NOSE)
    (arrow,) = parts(drawing, "data-part", "mean")
    assert points_to(arrow) == pytest.approx((angle + 180) % 360, abs=0.3)
    aeroplane = middle(
        [p for one in parts(drawing, "data-view", "above")[0].iter() if one.get("points")
         for p in points(one)]
    )  # fmt: skip
    off = (bearing(aeroplane, middle(points(arrow))) - angle + 180) % 360 - 180
    assert abs(off) < 25


def test_the_wind_is_relative_to_the_nose() -> None:
    """310 on heading 178 comes from 132 degrees clockwise of the nose: from behind right."""
    drawing = card(wind(310, 18), HIGH_NOSE, 178)
    (arrow,) = parts(drawing, "data-part", "mean")
    assert points_to(arrow) == pytest.approx(132 + 180, abs=0.3)
    assert "quartering tailwind from the right, 18 kt" in drawing.text


def pictures(drawing: Drawing) -> set[str | None]:
    return {one.get("data-wind") for one in root_of(drawing).iter()} - {None}


def test_calm_variable_and_steady_are_three_pictures() -> None:
    assert pictures(card(wind(CALM, 0), HIGH_NOSE)) == {"calm"}
    assert pictures(card(wind(VARIABLE, 6), HIGH_NOSE)) == {"variable", "unknown"}
    assert pictures(card(wind(90, 6), HIGH_NOSE)) == {"steady"}


# --- gear, wing, yoke ----------------------------------------------------------------


@pytest.mark.parametrize("wing", WingPosition)
def test_main_wheels_lie_behind_the_wing_with_a_nosewheel_and_ahead_of_it_else(
    wing: WingPosition,
) -> None:
    ahead = {}
    for gear in Gear:
        drawing = document("x", 9, 9, "x", "x", [at_rest(gear, wing, Point(0, 0), 1, PRINT)])
        wheels = [middle(points(one)).y for one in parts(drawing, "data-part", "wheel")]
        assert len(wheels) == 3
        ahead[gear] = wheels
    # The wing reaches from -36 to -3 on the paper.
    assert ahead[Gear.NOSEWHEEL][0] > -6
    assert ahead[Gear.NOSEWHEEL][2] < -60
    assert ahead[Gear.TAILWHEEL][0] < -36
    assert ahead[Gear.TAILWHEEL][2] > 80


def test_every_gear_and_wing_is_a_drawing_of_its_own() -> None:
    drawn = {str(at_rest(c.gear, c.wing, Point(0, 0), 1, PRINT)) for c in CRAFTS}
    assert len(drawn) == 4


@pytest.mark.parametrize("column", Column)
@pytest.mark.parametrize("angle", range(0, 360, 45))
def test_yoke_or_stick_is_held_as_the_words_say(column: Column, angle: int) -> None:
    craft = LOW_TAIL._replace(column=column)
    answer = held(wind(angle or 360, 18), craft)
    drawing = card(wind(angle or 360, 18), craft)
    (shown,) = parts(drawing, "data-hold", column.value)
    assert shown.get("data-roll") == answer.yoke.roll.value
    assert shown.get("data-pitch") == answer.yoke.pitch.value
    said = held_in_words(column, answer.yoke)
    assert said.startswith(f"{column.value}: ")
    assert said[0].upper() + said[1:] in " ".join(all_text(drawing))
    if column is Column.STICK:
        grip = next(one for one in shown.iter() if one.get("data-part") == "grip")
        x, y = float(grip.attrib["cx"]) - 334, float(grip.attrib["cy"])
        square = next(one for one in shown.iter() if one.tag.endswith("}rect"))
        y -= float(square.attrib["y"]) + float(square.attrib["height"]) / 2
        sides = {"left": -1, "centre": 0, "right": 1}
        # Forward is up on the paper.
        ways = {"forward": -1, "neutral": 0, "back": 1}
        assert (x > 5) - (x < -5) == sides[answer.yoke.roll.value]
        assert (y > 5) - (y < -5) == ways[answer.yoke.pitch.value]


@pytest.mark.parametrize("angle", range(0, 360, 45))
@pytest.mark.parametrize("craft", [HIGH_NOSE, LOW_TAIL])
def test_a_tail_beside_the_hand_shows_the_answer_of_its_kind(craft: Craft, angle: int) -> None:
    answer = held(wind(angle or 360, 18), craft)
    drawing = tail_and_hand(answer, craft, LIGHT)
    assert surfaces(drawing, "tail") == {"elevator": {answer.elevator.value}}
    assert answer.elevator.name in all_text(drawing)
    (shown,) = parts(drawing, "data-hold", craft.holds.value)
    assert shown.get("data-pitch") == answer.yoke.pitch.value
    assert drawing.text.lower() == (
        f"elevator {answer.elevator.value}. {held_in_words(craft.holds, answer.yoke)}."
    )
    alone = hand(answer, craft, LIGHT)
    assert parts(alone, "data-hold", craft.holds.value)
    assert not parts(alone, "data-surface", "elevator")


def test_only_a_tailwheel_has_a_wheel_at_its_tail() -> None:
    wheels = {
        gear: len(parts(tail_and_hand(held(wind(360, 9), HIGH_NOSE), Craft(gear, WingPosition.LOW),
                                      LIGHT), "data-part", "wheel"))
        for gear in Gear
    }  # fmt: skip
    assert wheels == {Gear.NOSEWHEEL: 0, Gear.TAILWHEEL: 1}


def test_an_elevator_can_be_told_whose_it_is() -> None:
    answer = held(wind(360, 18), HIGH_NOSE)
    seen = seen_from_above(
        answer, HIGH_NOSE, Point(190, 100), 1, LIGHT, elevator_name="elevator, nosewheel"
    )
    drawing = document("x", 380, 240, "x", "x", [seen])
    assert "elevator, nosewheel" in all_text(drawing)
    assert "elevator" not in all_text(drawing)


# --- flags, alternatives, questions --------------------------------------------------


@pytest.mark.parametrize("angle", range(0, 360, 45))
def test_the_most_critical_wind_is_flagged_and_no_other(angle: int) -> None:
    drawing = card(wind(angle or 360, 18), HIGH_NOSE)
    flagged = bool(parts(drawing, "data-part", "critical"))
    assert flagged == (angle in {135, 225})
    assert flagged == (CRITICAL in all_text(drawing))
    assert flagged == (f"{CRITICAL}: No sudden power, no sharp braking" in drawing.text)


def test_alternatives_are_drawn_small_and_said() -> None:
    answer = held(wind(VARIABLE, 12), HIGH_NOSE)
    drawing = card(wind(VARIABLE, 12), HIGH_NOSE)
    assert len(answer.alternatives) == 2
    assert len(parts(drawing, "data-view", "behind")) == 3
    text = " ".join(all_text(drawing))
    for other in answer.alternatives:
        assert f"Or {wind_words(other.relative_wind).split(', ')[0]}: " in text
        assert in_words(other) in drawing.text


def test_a_question_gives_nothing_away() -> None:
    blowing = wind(135, 18)
    drawing = card(blowing, LOW_TAIL, answers=False)
    neutral = {name: {"neutral"} for name in ("left aileron", "right aileron", "elevator")}
    assert surfaces(drawing, "above") == neutral
    assert surfaces(drawing, "behind") == neutral
    text = " ".join(all_text(drawing)) + drawing.alternative
    for word in ("UP", "DOWN", "NEUTRAL", "Turn", "forward", "critical", "aileron up"):
        assert word not in text
    (stick,) = parts(drawing, "data-hold", "stick")
    assert (stick.get("data-roll"), stick.get("data-pitch")) == ("centre", "neutral")
    assert "quartering tailwind from the right, 18 kt" in drawing.text


# --- the wall card -------------------------------------------------------------------


def test_the_wall_card_has_each_wind_where_it_comes_from() -> None:
    eight = card_of_eight(Knots(15), Knots(22), Gear.TAILWHEEL, WingPosition.HIGH)
    drawing = wall_card(eight, Craft(Gear.TAILWHEEL, WingPosition.HIGH), LIGHT)
    centre = Point(drawing.width / 2, 62 + 3 * 440 / 2)
    arrows = parts(drawing, "data-part", "mean")
    assert len(arrows) == 8
    for place, arrow in enumerate(arrows):
        angle = place * 45
        assert points_to(arrow) == pytest.approx((angle + 180) % 360, abs=0.3)
        off = (bearing(centre, middle(points(arrow))) - angle + 180) % 360 - 180
        assert abs(off) < 25
    for answer in eight:
        assert in_words(answer) in drawing.text.lower()
    assert len(parts(drawing, "data-part", "critical")) == 2


def test_the_caution_stands_under_the_wall_card() -> None:
    eight = card_of_eight(Knots(15), None, Gear.NOSEWHEEL, WingPosition.LOW)
    drawing = wall_card(eight, Craft(Gear.NOSEWHEEL, WingPosition.LOW), LIGHT)
    assert "Advisory only: the flight manual" in " ".join(all_text(drawing))
    assert "Advisory only: the flight manual" in drawing.text


def test_a_wall_card_of_seven_is_refused() -> None:
    eight = card_of_eight(Knots(15), None, Gear.NOSEWHEEL, WingPosition.LOW)
    with pytest.raises(ValueError, match="shows 8 winds, not 7"):
        wall_card(eight[:7], Craft(Gear.NOSEWHEEL, WingPosition.LOW), LIGHT)


@pytest.mark.parametrize("part", ["gust", "mean"])
@pytest.mark.parametrize("angle", range(0, 360, 3))
def test_the_winds_arrow_stands_on_the_paper_and_clear_of_every_word(angle: int, part: str) -> None:
    drawing = card(wind(angle, 28, 41 if part == "gust" else None), CRAFTS[angle % 4])
    (arrow,) = parts(drawing, "data-part", part, "polygon")
    corners = points(arrow)
    edges = [
        Point(one.x + (other.x - one.x) * share / 8, one.y + (other.y - one.y) * share / 8)
        for one, other in zip(corners, corners[1:] + corners[:1], strict=True)
        for share in range(8)
    ]
    assert all(0 <= each.x <= drawing.width for each in edges)
    for name, (word, at) in named(drawing).items():
        width = width_of(word, LARGE, bold=True)
        middle_of_name = at.x + width / 2
        half = width_of(name, SMALL) / 2
        upon = [
            each
            for each in edges
            if (
                at.x - 4 < each.x < at.x + width + 4 and at.y - LARGE * 0.73 - 4 < each.y < at.y + 4
            )
            or (
                abs(each.x - middle_of_name) < half - 10
                and at.y - LARGE - SMALL * 0.73 < each.y < at.y - LARGE * 0.98
            )
        ]
        assert upon == [], (name, word)
