"""What the recorded forecasts do not show: edges of the calendar, and what is wrong."""

from datetime import UTC, datetime

import pytest

from windwatch.reports.forecast import Change
from windwatch.reports.taf import decode_forecast


def at(*parts):
    return datetime(*parts, tzinfo=UTC)


def test_a_forecast_over_the_edge_of_the_year():
    forecast = decode_forecast(
        "TAF XBRN 312330Z 0100/0206 19017KT FM011200 25020KT TEMPO 0122/0202 30030G45KT",
        at(2026, 12, 31, 23, 40),
    )
    assert forecast.issued_at == at(2026, 12, 31, 23, 30)
    assert (forecast.valid_from, forecast.valid_to) == (at(2027, 1, 1), at(2027, 1, 2, 6))
    assert [spell.from_at for spell in forecast.spells] == [
        at(2027, 1, 1), at(2027, 1, 1, 12), at(2027, 1, 1, 22),
    ]  # fmt: skip


def test_hour_24_is_the_next_midnight():
    forecast = decode_forecast("TAF XBRN 282300Z 2824/0124 19017KT", at(2027, 2, 28, 23, 5))
    assert (forecast.valid_from, forecast.valid_to) == (at(2027, 3, 1), at(2027, 3, 2))


def test_six_figures_without_z_are_an_old_validity_and_no_time_of_issue():
    forecast = decode_forecast("TAF XBRN 221806 19017KT", at(2026, 9, 22, 18))
    assert forecast.issued_at is None
    assert (forecast.valid_from, forecast.valid_to) == (at(2026, 9, 22, 18), at(2026, 9, 23, 6))


def test_inside_a_becmg_both_the_old_and_the_new_wind_may_hold():
    forecast = decode_forecast(
        "TAF XBRN 221730Z 2218/2318 19010KT BECMG 2220/2222 31025G38KT", at(2026, 9, 22, 18)
    )
    inside = forecast.at(at(2026, 9, 22, 21))
    assert [spell.change for spell in inside] == [Change.PREVAILING, Change.BECOMING]
    assert [spell.wind.speed for spell in inside if spell.wind] == [10, 25]
    (after,) = forecast.at(at(2026, 9, 22, 22))
    assert after.wind is not None
    assert after.wind.gust == 38


def test_fm_ends_what_is_temporary_before_it():
    forecast = decode_forecast(
        "TAF XBRN 221730Z 2218/2318 19010KT TEMPO 2219/2224 30030KT FM222100 31025KT",
        at(2026, 9, 22, 18),
    )
    assert [spell.change for spell in forecast.at(at(2026, 9, 22, 22))] == [Change.PREVAILING]


@pytest.mark.parametrize("group", ["FM226300", "TEMPO", "BECMG 9999/9999", "PROB30 CAVOK"])
def test_a_change_without_a_readable_time_may_be_there_at_any_time(group):
    forecast = decode_forecast(
        f"TAF XBRN 221730Z 2218/2318 19010KT {group} 31030G45KT", at(2026, 9, 22, 18)
    )
    assert forecast.problems
    for hour in (18, 23):
        covering = forecast.at(at(2026, 9, 22, hour))
        assert any(spell.wind and spell.wind.gust == 45 for spell in covering)
        assert any(spell.wind and spell.wind.speed == 10 for spell in covering)


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "no forecast: no station at its beginning"),
        ("TAF XBRN 221730Z 19010KT", "no period of validity (ddhh/ddhh)"),
        ("TAF XBRN 221730Z 2218/3218 19010KT", "no period of validity (ddhh/ddhh)"),
        ("TAF XBRN 221730Z 2218/2318 9999", "no wind in the forecast"),
        ("TAF XBRN 221730Z 2218/2318 19010KT FM222000 9999", "no wind in FM222000"),
        ("TAF XBRN 221730Z 2218/2318 /////KT", "wind /////KT: not reported"),
        ("TAF XBRN 221730Z 2218/2318 19010", "wind 19010: no unit, at least this in knots"),
    ],
)
def test_what_a_forecast_lacks_is_said(text, problem):
    forecast = decode_forecast(text, at(2026, 9, 22, 18))
    assert problem in forecast.problems
