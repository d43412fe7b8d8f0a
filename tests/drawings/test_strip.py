"""The wind strip: time to the right, gaps as gaps, limits, flags and forecast in their places."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.drawings.reading import all_text, parts, points, root_of, wind
from tests.drawings.samples import NOW, strip
from windwatch.assessment.values import Mark
from windwatch.drawings.strip import strip_drawing
from windwatch.drawings.strip_facts import (
    Strip,
    StripFlag,
    StripForecast,
    StripLimit,
    StripPoint,
    gaps,
    runs,
    spans_of,
)
from windwatch.drawings.strip_limits import spread
from windwatch.drawings.theme import LIGHT
from windwatch.reports.forecast import Change, Forecast, Spell
from windwatch.wind import CALM, MISSING, VARIABLE, Knots, Wind

HOUR = timedelta(hours=1)


def every_20_minutes(*winds: Wind | None) -> tuple[StripPoint, ...]:
    """Points up to now, the last of them now's."""
    return tuple(
        StripPoint(NOW - timedelta(minutes=20) * (len(winds) - 1 - place), one)
        for place, one in enumerate(winds)
    )


def of(*winds: Wind | None, **more: object) -> Strip:
    shown = Strip("XLKS", NOW, every_20_minutes(*winds), back=timedelta(minutes=20) * len(winds))
    return shown._replace(**more)


def mean_lines(told: Strip) -> list[list[tuple[float, float]]]:
    drawn = parts(strip_drawing(told, LIGHT), "data-part", "mean")
    return [[tuple(p) for p in points(one)] for one in drawn]


def test_time_runs_to_the_right_and_speed_upward() -> None:
    (drawn,) = mean_lines(of(wind(270, 5), wind(270, 10), wind(270, 20)))
    xs, ys = zip(*drawn, strict=True)
    assert list(xs) == sorted(xs)
    assert list(ys) == sorted(ys, reverse=True)
    # Speeds in proportion: 5 to 10 to 20 kt.
    assert (ys[1] - ys[2]) / (ys[0] - ys[1]) == pytest.approx(2, abs=0.02)


def test_each_gust_has_a_tick_above_the_mean() -> None:
    told = of(wind(270, 12, 20), wind(270, 12), wind(270, 12, 24))
    ticks = parts(strip_drawing(told, LIGHT), "data-part", "gust")
    (drawn,) = mean_lines(told)
    assert len(ticks) == 2
    assert float(ticks[1].attrib["y1"]) < float(ticks[0].attrib["y1"]) < drawn[0][1]


def test_calm_is_a_mean_of_nothing_and_no_gap() -> None:
    told = of(wind(270, 5), wind(CALM, 0), wind(270, 5))
    assert gaps(told) == ()
    assert len(mean_lines(told)) == 1


def test_a_report_without_wind_is_a_gap_and_no_line_runs_across_it() -> None:
    told = of(wind(270, 5), wind(270, 6), None, wind(270, 5), wind(270, 6))
    assert gaps(told) == ((NOW - HOUR, NOW - HOUR / 3),)
    drawing = strip_drawing(told, LIGHT)
    assert len(mean_lines(told)) == 2
    assert len(parts(drawing, "data-part", "gap")) == 1
    assert "not reported" in all_text(drawing)
    assert "Not reported from 18:07Z to 18:47Z" in drawing.text


def test_silence_longer_than_told_is_a_gap_also_at_both_edges() -> None:
    told = Strip(
        "XLKS",
        NOW,
        tuple(StripPoint(NOW - HOUR * h, wind(270, 9)) for h in (20, 19, 18, 10, 9)),
    )
    assert gaps(told) == (
        (NOW - HOUR * 24, NOW - HOUR * 20),
        (NOW - HOUR * 18, NOW - HOUR * 10),
        (NOW - HOUR * 9, NOW),
    )
    assert [len(run) for run in runs(told)] == [3, 2]


def test_nothing_reported_is_one_gap_and_no_calm() -> None:
    drawing = strip_drawing(Strip("XLKS", NOW, ()), LIGHT)
    assert len(parts(drawing, "data-part", "gap")) == 1
    assert not parts(drawing, "data-part", "mean")
    assert "Not reported" in all_text(drawing)


def test_an_old_figure_is_not_shown_as_that_of_now() -> None:
    told = Strip("XLKS", NOW, (StripPoint(NOW - 3 * HOUR, wind(270, 9)),))
    seen = all_text(strip_drawing(told, LIGHT))
    assert "Not reported since 16:07Z" in seen
    assert "9 kt" not in seen


def test_limits_are_labelled_lines_at_their_value() -> None:
    told = of(
        wind(270, 10),
        wind(270, 20),
        limits=(StripLimit(Knots(20), "X-LARK"), StripLimit(Knots(10), "student solo")),
    )
    drawing = strip_drawing(told, LIGHT)
    (drawn,) = mean_lines(told)
    heights = [float(one.attrib["y1"]) for one in parts(drawing, "data-part", "limit")]
    assert sorted(heights) == pytest.approx([drawn[1][1], drawn[0][1]], abs=0.02)
    assert {"X-LARK 20 kt", "student solo 10 kt"} <= set(all_text(drawing))
    assert "Limit X-LARK: 20 kt" in drawing.text


def test_names_of_close_limits_keep_apart() -> None:
    told = of(
        wind(270, 10),
        wind(270, 20),
        limits=tuple(StripLimit(Knots(15 + place / 10), f"limit {place}") for place in range(6)),
    )
    drawing = strip_drawing(told, LIGHT)
    names = [
        float(one.attrib["y"])
        for one in root_of(drawing).iter()
        if (one.text or "").startswith("limit ")
    ]
    assert len(names) == 6
    assert all(low - high >= 16 for high, low in pairwise(names))
    # The highest limit is named first, and a leader runs from each name to its own line.
    assert all_text(drawing).index("limit 5 15.5 kt") < all_text(drawing).index("limit 0 15 kt")
    leaders = [points(one) for one in parts(drawing, "data-part", "limit-leader")]
    heights = [float(one.attrib["y1"]) for one in parts(drawing, "data-part", "limit")]
    assert [leader[0].y for leader in leaders] == pytest.approx(heights, abs=0.02)
    assert [leader[-1].y for leader in leaders] == pytest.approx([y - 5 for y in names], abs=0.1)


def test_limits_of_one_value_share_a_line_and_a_name_whose_figure_is_never_cut_off() -> None:
    limits = (
        StripLimit(Knots(22), "X-WREN tie-down"),
        StripLimit(Knots(22), "owner total wind"),
        StripLimit(Knots(30), "X-TERN tie-down of a school with a name that is long" * 2),
    )
    drawing = strip_drawing(of(wind(270, 10), wind(270, 20), limits=limits), LIGHT, 340)
    assert len(parts(drawing, "data-part", "limit")) == 2
    seen = all_text(drawing)
    assert any(text.startswith("X-WREN tie-down, o") and text.endswith(" 22 kt") for text in seen)
    assert any(text.startswith("X-TERN tie-down") and text.endswith(" 30 kt") for text in seen)


@given(
    wanted=st.lists(st.floats(0, 200), min_size=1, max_size=8).map(sorted),
    apart=st.floats(1, 20),
)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_places_keep_order_and_distance_and_move_no_more_than_they_must(
    wanted: list[float], apart: float
) -> None:
    found = spread(wanted, apart, (0, 200))
    assert all(low - high >= apart - 1e-6 for high, low in pairwise(found))
    assert all(-1e-6 <= each <= 200 + 1e-6 for each in found)
    if all(low - high >= apart for high, low in pairwise(wanted)):
        assert found == pytest.approx(wanted)


def test_now_is_a_line_at_the_edge_or_before_the_forecast() -> None:
    def at(told: Strip) -> float:
        (now,) = parts(strip_drawing(told, LIGHT, 960), "data-part", "now")
        return float(now.attrib["x1"])

    assert at(Strip("X", NOW, ())) == pytest.approx(960 - 14)
    assert at(Strip("X", NOW, (), ahead=timedelta(hours=24))) == pytest.approx((46 + 946) / 2)


def test_the_sector_is_a_band_in_the_lane_and_two_through_north() -> None:
    def bands(first: float, second: float) -> list[float]:
        told = of(wind(270, 12, None, (first, second)))
        drawn = parts(strip_drawing(told, LIGHT), "data-part", "sector")
        return [float(one.attrib["height"]) for one in drawn]

    # The lane is 64 high for 360 degrees.
    assert bands(240, 300) == pytest.approx([60 / 360 * 64], abs=0.01)
    assert bands(330, 30) == pytest.approx([30 / 360 * 64, 30 / 360 * 64], abs=0.01)


@pytest.mark.parametrize("direction", [wind(VARIABLE, 5), wind(CALM, 0), wind(MISSING, 9)])
def test_what_is_no_direction_is_no_dot_in_the_lane(direction: Wind) -> None:
    def dots(one: Wind) -> int:
        (lane,) = parts(strip_drawing(of(one), LIGHT), "data-part", "lane")
        return sum(
            found.get("r") == "2.8" and found.get("fill") == LIGHT.wind for found in lane.iter()
        )

    assert dots(wind(270, 9)) == 1
    assert dots(direction) == 0


def test_the_forecast_is_lighter_and_what_is_temporary_hatched() -> None:
    drawing = strip_drawing(strip(), LIGHT)
    (steady,) = parts(drawing, "data-part", "forecast")
    (temporary,) = parts(drawing, "data-part", "temporary")
    assert {one.get("stroke") for one in steady.iter()} == {None, LIGHT.thin}
    assert any(one.tag.endswith("}path") for one in temporary.iter())
    (now,) = parts(drawing, "data-part", "now")
    # What was forecast for the past is not drawn over what was observed.
    starts = [float(one.attrib["x1"]) for one in steady if one.get("x1")]
    assert min(starts) == pytest.approx(float(now.attrib["x1"]), abs=0.02)
    assert "Temporary forecast 16:07 local (20:07Z) to 18:07 local (22:07Z)" in drawing.text


def test_flags_bear_the_shape_of_their_level_and_notices_none() -> None:
    told = of(
        wind(270, 12),
        wind(270, 12),
        flags=(
            StripFlag(NOW - HOUR / 3, "28, student solo", Mark.OVER),
            StripFlag(NOW - HOUR / 4, "operations desk"),
            StripFlag(NOW - 9 * HOUR, "long ago", Mark.NEAR),
        ),
        zone=ZoneInfo("America/New_York"),
    )
    drawing = strip_drawing(told, LIGHT)
    shapes = [
        [inner.get("data-level") for inner in one.iter() if inner.get("data-level")]
        for place in ("1", "2")
        for one in parts(drawing, "data-flag", place)
    ]
    assert shapes == [["over"], []]
    seen = all_text(drawing)
    assert "14:47 local over: 28, student solo" in seen
    assert "14:52 local notice: operations desk" in seen
    assert "14:47 local (18:47Z): over: 28, student solo" in drawing.text
    assert "long ago" not in drawing.alternative


def test_many_flags_are_counted_where_they_are_not_listed() -> None:
    flags = tuple(StripFlag(NOW - timedelta(minutes=m), f"flag {m}") for m in range(1, 13))
    drawing = strip_drawing(of(*[wind(270, 9)] * 4, flags=flags), LIGHT)
    assert "4 earlier not listed" in all_text(drawing)
    assert all(f"flag {m}" in drawing.text for m in range(1, 13))


def test_hours_are_local_above_and_utc_below() -> None:
    told = Strip("X", NOW, (), back=timedelta(hours=6), zone=ZoneInfo("America/New_York"))
    seen = all_text(strip_drawing(told, LIGHT))
    assert "15" in seen
    assert "19Z" in seen
    alone = all_text(strip_drawing(told._replace(zone=None), LIGHT))
    assert "local" not in alone
    assert "19Z" in alone


def test_half_hour_zones_keep_their_own_full_hours() -> None:
    """India is 5 h 30 min ahead: its 19:00 is 13:30Z, so UTC beside it needs minutes."""
    told = Strip("X", NOW, (), back=timedelta(hours=6), zone=ZoneInfo("Asia/Kolkata"))
    seen = all_text(strip_drawing(told, LIGHT))
    assert "13:30Z" in seen
    assert "19" in seen


def test_units_change_the_figures_and_not_the_picture() -> None:
    told = of(wind(270, 10), wind(270, 20), limits=(StripLimit(Knots(15), "solo"),))
    seen = all_text(strip_drawing(told, LIGHT, unit="km/h"))
    assert "37 km/h" in seen
    assert "solo 28 km/h" in seen


def test_a_decoded_forecast_becomes_spans() -> None:
    spells = (
        Spell(Change.PREVAILING, NOW, NOW + HOUR, wind(300, 12)),
        Spell(Change.TEMPORARY, NOW, NOW + HOUR, wind(310, 20, 30)),
        Spell(Change.BECOMING, NOW, NOW + HOUR, None),
    )
    assert spans_of(Forecast("TAF", "XLKS", spells=spells)) == (
        StripForecast(NOW, NOW + HOUR, wind(300, 12)),
        StripForecast(NOW, NOW + HOUR, wind(310, 20, 30), temporary=True),
        StripForecast(NOW, NOW + HOUR, None, temporary=True),
    )


def test_a_field_s_own_anemometer_is_drawn_thinned_and_keeps_its_strongest_gust() -> None:
    minutes = [StripPoint(NOW - timedelta(minutes=m), wind(270, 9, 15)) for m in range(1440)]
    minutes[777] = StripPoint(minutes[777].at, wind(270, 9, 41))
    minutes[300] = StripPoint(minutes[300].at, None)
    told = Strip("X", NOW, tuple(minutes))
    drawing = strip_drawing(told, LIGHT)
    ticks = [float(one.attrib["y1"]) for one in parts(drawing, "data-part", "gust")]
    assert 200 < len(ticks) <= 301
    strongest, second, *_ = sorted(ticks)
    assert strongest < second - 20
    assert len(parts(drawing, "data-part", "gap")) == 1
    assert "Strongest 41 kt" in drawing.text
    assert len(drawing.svg) < 150_000
