"""The look of the mail: contrast, shapes, width."""

import re

import pytest

from windwatch.assessment.values import Mark
from windwatch.notices.compose import compose
from windwatch.notices.html import INK, LEVEL, PAPER, QUIET


def luminance(colour):
    """Relative luminance: WCAG 2.2, definition (from memory)."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_computed_as_published():
    # WCAG 2.2, 1.4.3: black on white is 21 to 1 (from memory).
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)


@pytest.mark.parametrize("ground", ["light", "dark"])
@pytest.mark.parametrize("ink", [INK, QUIET, *LEVEL.values()], ids=["ink", "quiet", *LEVEL])
def test_text_stands_out_on_paper_and_at_night(ink, ground):
    assert contrast(getattr(ink, ground), getattr(PAPER, ground)) >= 4.5


@pytest.fixture(scope="module")
def html(fleet, gust_front, desk_steps, desk_open):
    return compose(gust_front.notice(*desk_steps), gust_front.with_open(*desk_open), fleet).html


def test_a_level_is_word_shape_and_colour(html):
    over, near = LEVEL[Mark.OVER].light, LEVEL[Mark.NEAR].light
    assert re.search(rf'<strong class="over" style="color:{over};">over</strong>', html)
    assert re.search(rf'<strong class="near" style="color:{near};">near</strong>', html)
    assert html.count(f"background:{over}") % 3 == 0  # a block with two stripes is three bars
    assert "◐" in html


def test_the_deciding_figure_is_the_largest_thing(html):
    sizes = {int(size) for size in re.findall(r"font-size:(\d+)px", html)}
    big = re.search(r"font-size:(\d+)px[^>]*>41 kt &gt; 22 kt<", html)
    assert int(big[1]) == max(sizes)


def test_nothing_needs_more_than_360_px(html):
    widths = [int(width) for width in re.findall(r"(?<!max-)width[:=]\"?(\d+)px", html)]
    assert max(widths) <= 360
    assert "overflow-wrap:anywhere" in html


def test_dark_mode_is_provided_for(html):
    assert 'name="color-scheme" content="light dark"' in html
    assert f"color: {LEVEL[Mark.OVER].dark} !important" in html
