"""What holds for every drawing, in every theme."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import pytest

from tests.drawings.reading import SVG, all_text, root_of
from tests.drawings.samples import FIELD, every_drawing, strip
from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship.control_positions import control_positions
from windwatch.drawings.control_card import Craft, control_card
from windwatch.drawings.field import field_drawing
from windwatch.drawings.field_facts import FieldLeg
from windwatch.drawings.strip import strip_drawing
from windwatch.drawings.strip_facts import StripFlag
from windwatch.drawings.svg import Drawing, width_of
from windwatch.drawings.theme import DARK, LIGHT, PAGE, PRINT, Theme, colours, declarations
from windwatch.wind import CALM, DegreesTrue, Knots, Wind

THEMES = [pytest.param(theme, id=theme.name) for theme in (LIGHT, DARK, PRINT)]
HOSTILE = "</text><script>alert(1)</script>&\"'\x00\u202e\ud800"
ALLOWED = {
    *("svg", "title", "desc", "g", "line", "circle", "rect", "polygon", "polyline", "path"),
    *("text", "tspan"),
}


@pytest.fixture(scope="module", params=THEMES)
def drawings(request: pytest.FixtureRequest) -> tuple[Theme, list[Drawing]]:
    theme = request.param
    return theme, list(every_drawing(theme))


def test_each_is_well_formed_and_named(drawings: tuple[Theme, list[Drawing]]) -> None:
    for drawing in drawings[1]:
        root = root_of(drawing)
        assert root.tag == f"{SVG}svg"
        assert root.get("role") == "img"
        assert [child.tag for child in root][:2] == [f"{SVG}title", f"{SVG}desc"]
        assert root[0].text == drawing.title != ""
        assert root[1].text == drawing.text != ""
        assert root.get("viewBox") == f"0 0 {root.get('width')} {root.get('height')}"


def test_each_has_nothing_that_a_strict_policy_refuses(
    drawings: tuple[Theme, list[Drawing]],
) -> None:
    """No script, style, link, picture or id: nothing from outside, nothing that could clash."""
    for drawing in drawings[1]:
        for found in root_of(drawing).iter():
            assert found.tag.removeprefix(SVG) in ALLOWED
            for name in found.attrib:
                assert name not in {"style", "id", "href", "clip-path", "filter", "mask"}
                assert not name.startswith("on")
                assert "url(" not in found.attrib[name]


def test_each_has_at_most_two_sizes_of_text(drawings: tuple[Theme, list[Drawing]]) -> None:
    for drawing in drawings[1]:
        sizes = {found.get("font-size") for found in root_of(drawing).iter(f"{SVG}text")}
        assert len(sizes) <= 2, (drawing.title, sizes)
        assert all(float(size) >= 14 for size in sizes)


def test_every_number_is_a_number_on_or_near_the_paper(
    drawings: tuple[Theme, list[Drawing]],
) -> None:
    for drawing in drawings[1]:
        assert not re.search(r"\b(nan|inf)\b", drawing.svg)
        for found in root_of(drawing).iter(f"{SVG}text"):
            assert 0 <= float(found.attrib["x"]) <= drawing.width
            assert 0 <= float(found.attrib["y"]) <= drawing.height


def test_no_line_of_text_runs_off_the_paper(drawings: tuple[Theme, list[Drawing]]) -> None:
    """By a wide sans serif; painted numbers are turned and lie well inside."""
    for drawing in drawings[1]:
        for found in root_of(drawing).iter(f"{SVG}text"):
            if found.get("transform"):
                continue
            text = "".join(found.itertext())
            bold = found.get("font-weight") == "700"
            wide = width_of(text, float(found.attrib["font-size"]), bold=bold)
            x = float(found.attrib["x"])
            left = x - {"middle": wide / 2, "end": wide}.get(found.get("text-anchor", ""), 0)
            assert left >= -1, (drawing.title, text)
            assert left + wide <= drawing.width + 6, (drawing.title, text)


def test_every_colour_is_of_the_theme(drawings: tuple[Theme, list[Drawing]]) -> None:
    theme, drawn = drawings
    known = {*colours(theme).values(), "none"}
    for drawing in drawn:
        for found in root_of(drawing).iter():
            for name in ("fill", "stroke"):
                assert found.get(name, "none") in known


# --- contrast ----------------------------------------------------------------------


def luminance(colour: str) -> float:
    """Relative luminance; WCAG 2.2, definition of relative luminance."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition of contrast ratio."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_black_on_white_is_21() -> None:
    """WCAG 2.2: contrast ratios can range from 1 to 21."""
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)


def test_all_text_stands_4_5_to_1_from_what_it_is_on(
    drawings: tuple[Theme, list[Drawing]],
) -> None:
    theme, drawn = drawings
    for drawing in drawn:
        for found in root_of(drawing).iter(f"{SVG}text"):
            on = "runway" if found.get("data-number") else found.get("data-on", "paper")
            ratio = contrast(found.attrib["fill"], getattr(theme, on))
            assert ratio >= 4.5, (theme.name, drawing.title, found.text, on, round(ratio, 2))


# Fills inside an outline, and lines that only please the eye; both told apart otherwise.
DECORATION = ("hair", "pale", "body", "paper", "paint", "runway")


def test_all_shapes_stand_3_to_1_from_paper_and_from_what_lies_below(
    drawings: tuple[Theme, list[Drawing]],
) -> None:
    theme, _ = drawings
    for name, colour in colours(theme).items():
        if name in DECORATION:
            continue
        for ground in ("paper", "pale", "body"):
            ratio = contrast(colour, getattr(theme, ground))
            assert ratio >= 3, (theme.name, name, ground, round(ratio, 2))
    assert contrast(theme.paint, theme.runway) >= 4.5


def test_decoration_is_never_the_only_colour_of_a_part(
    drawings: tuple[Theme, list[Drawing]],
) -> None:
    """A pale fill has an outline; the hair colour draws lines without meaning."""
    theme, drawn = drawings
    for drawing in drawn:
        for found in root_of(drawing).iter():
            if found.get("fill") in {theme.pale, theme.body} - {theme.paper}:
                assert contrast(found.attrib["stroke"], theme.paper) >= 3
            if found.get("data-part") is not None:
                assert found.get("stroke") != theme.hair


# --- hostile names -----------------------------------------------------------------


def hostile_drawings(theme: Theme) -> list[Drawing]:
    ends = tuple(
        end._replace(name=HOSTILE, figure=HOSTILE, reason=HOSTILE) for end in FIELD.runways[0].ends
    )
    runway = FIELD.runways[0]._replace(ends=ends)
    field = FIELD._replace(
        name=HOSTILE,
        for_whom=HOSTILE,
        as_of=HOSTILE,
        runways=(runway,),
        legs=(FieldLeg(HOSTILE * 9, DegreesTrue(5)),),
    )
    craft = Craft(Gear.NOSEWHEEL, WingPosition.LOW)
    held = control_positions(Wind(CALM, Knots(0)), DegreesTrue(1), craft.gear, craft.wing)
    told = strip()
    told = told._replace(
        name=HOSTILE,
        flags=(StripFlag(told.now, HOSTILE * 30),),
        limits=tuple(limit._replace(label=HOSTILE * 9) for limit in told.limits),
    )
    return [
        field_drawing(field, theme),
        control_card(held, craft, theme, HOSTILE * 9),
        strip_drawing(told, theme, 360),
    ]


def test_hostile_names_are_text_and_nothing_else() -> None:
    for drawing in hostile_drawings(LIGHT):
        assert "<script" not in drawing.svg
        assert not re.search("[\x00-\x08\u202e\ud800]", drawing.svg + drawing.alternative)
        assert any("</text><script>" in text for text in [*all_text(drawing), drawing.alternative])
        assert {found.tag.removeprefix(SVG) for found in root_of(drawing).iter()} <= ALLOWED


# --- themes ------------------------------------------------------------------------


def test_the_page_theme_leaves_every_colour_to_the_stylesheet() -> None:
    svg = field_drawing(FIELD, PAGE).svg
    used = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) - {"none"}
    assert used
    assert all(colour.startswith("var(--drawing-") for colour in used)
    declared = dict(line.rstrip(";").split(": ") for line in declarations(DARK).splitlines())
    assert {re.findall(r"--[a-z-]+", colour)[0] for colour in used} <= set(declared)
    assert declared["--drawing-runway-edge"] == DARK.runway_edge


def test_themes_differ_in_colours_alone() -> None:
    def without_colours(theme: Theme) -> str:
        svg = field_drawing(FIELD, theme).svg
        return re.sub(r'(fill|stroke)="[^"]*"', "", svg)

    assert without_colours(LIGHT) == without_colours(DARK) == without_colours(PRINT)


def test_the_same_facts_give_the_same_bytes() -> None:
    assert field_drawing(FIELD, LIGHT) == field_drawing(FIELD, LIGHT)
    ET.fromstring(field_drawing(FIELD, PAGE).svg)  # noqa: S314 (our own drawing)
