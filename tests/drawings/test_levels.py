"""Four shapes that tell apart without colours."""

from __future__ import annotations

import pytest

from tests.drawings.reading import SVG, all_text, root_of
from windwatch.assessment.values import MARK_OF_LEVEL, Level, Mark
from windwatch.drawings.levels import SHAPE_IN_WORDS, level_drawing, levels_legend
from windwatch.drawings.svg import Drawing
from windwatch.drawings.theme import PRINT


def drawn(mark: Mark) -> dict[str, int]:
    """How many of each element a level's shape has."""
    counts: dict[str, int] = {}
    for found in root_of(level_drawing(mark, PRINT)).iter():
        tag = found.tag.removeprefix(SVG)
        counts[tag] = counts.get(tag, 0) + 1
    return {tag: count for tag, count in counts.items() if tag not in {"svg", "title", "desc", "g"}}


@pytest.mark.parametrize(
    ("mark", "elements"),
    [
        pytest.param(Mark.WITHIN, {"circle": 1}, id="an open ring"),
        pytest.param(Mark.NEAR, {"circle": 1, "path": 1}, id="a ring and its half"),
        pytest.param(Mark.OVER, {"rect": 1, "polygon": 2}, id="a block and two stripes"),
        pytest.param(Mark.UNKNOWN, {"circle": 2, "path": 1}, id="a ring and a question mark"),
    ],
)
def test_each_level_has_its_own_shape(mark: Mark, elements: dict[str, int]) -> None:
    assert drawn(mark) == elements


def test_only_over_is_filled_and_only_unknown_is_dashed() -> None:
    for mark in Mark:
        svg = level_drawing(mark, PRINT).svg
        assert ("stroke-dasharray" in svg) == (mark is Mark.UNKNOWN)
        assert ("<rect" in svg) == (mark is Mark.OVER)


def test_a_shape_needs_no_font() -> None:
    """The question mark is drawn: a machine without fonts still shows it."""
    assert all("<text" not in level_drawing(mark, PRINT).svg for mark in Mark)


def test_the_legend_names_all_levels_in_sight_and_in_words() -> None:
    legend: Drawing = levels_legend(PRINT)
    assert all_text(legend) == ["within", "near", "over", "unknown"]
    for mark, shape in SHAPE_IN_WORDS.items():
        assert f"{mark.value}: {shape}" in legend.text


def test_levels_are_those_of_findings_and_of_notices() -> None:
    assert {MARK_OF_LEVEL[level].value for level in Level} == {level.word for level in Level}
    assert [mark.value for mark in Mark] == ["within", "near", "over", "unknown"]
