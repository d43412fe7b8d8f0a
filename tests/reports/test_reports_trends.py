"""What is expected after a report: kept apart from the wind that is observed."""

from datetime import UTC, datetime

import pytest

from windwatch.reports.decode import decode_report, read_wind
from windwatch.wind import CALM, DegreesTrue, Knots, Sector, Steady, Variable, Wind

NOW = datetime(2026, 9, 22, 22, 0, tzinfo=UTC)
DAY = "XLKS 221953Z 31005KT 9999 FEW020 22/11 Q1013"


def at(hour, minute, day=22):
    return datetime(2026, 9, day, hour, minute, tzinfo=UTC)


def decode(trend, before=DAY):
    report = decode_report(f"{before} {trend}", NOW)
    assert report.wind == read_wind(before, NOW).wind
    return report


def steady(direction, speed, gust=None):
    return Wind(Steady(DegreesTrue(direction)), Knots(speed), None if gust is None else Knots(gust))


@pytest.mark.parametrize(
    ("trend", "word", "from_at", "to_at", "wind"),
    [
        ("NOSIG", "NOSIG", None, None, None),
        ("NOSIG RMK QFE741", "NOSIG", None, None, None),
        ("BECMG 27007KT", "BECMG", None, None, steady(270, 7)),
        ("BECMG FM2030 27007KT", "BECMG", at(20, 30), None, steady(270, 7)),
        ("BECMG TL2100 27007KT", "BECMG", None, at(21, 0), steady(270, 7)),
        ("BECMG FM2030 TL2100 27007KT", "BECMG", at(20, 30), at(21, 0), steady(270, 7)),
        ("BECMG AT2030 27007KT", "BECMG", at(20, 30), at(20, 30), steady(270, 7)),
        ("BECMG AT222030 27007KT", "BECMG", at(20, 30), at(20, 30), steady(270, 7)),
        ("TEMPO 26030G45KT", "TEMPO", None, None, steady(260, 30, 45)),
        ("TEMPO TL2100 26030G45KT", "TEMPO", None, at(21, 0), steady(260, 30, 45)),
        ("TEMPO FM 2030 26030G45KT", "TEMPO", at(20, 30), None, steady(260, 30, 45)),
        ("TEMPO WND 26030G45KT", "TEMPO", None, None, steady(260, 30, 45)),
        ("TEMPO 4000 SHRA", "TEMPO", None, None, None),
        ("INTER 26030KT", "INTER", None, None, steady(260, 30)),
        ("FM2030 20010KT", "FM", at(20, 30), None, steady(200, 10)),
        ("FM222030 20010KT", "FM", at(20, 30), None, steady(200, 10)),
        ("TEMPO TL2400 26030KT", "TEMPO", None, at(0, 0, day=23), steady(260, 30)),
        ("TEMPO TL0030 26030KT", "TEMPO", None, at(0, 30, day=23), steady(260, 30)),
        ("TEMPO FM1930 26030KT", "TEMPO", at(19, 30), None, steady(260, 30)),
        ("BECMG VRB02KT", "BECMG", None, None, Wind(Variable(), Knots(2))),
        ("BECMG 00000KT", "BECMG", None, None, Wind(CALM, Knots(0))),
        ("BLU 25012G22KT 9999", "BLU", None, None, steady(250, 12, 22)),
        ("BLACKWHT 25012KT", "BLACKWHT", None, None, steady(250, 12)),
        ("BLU NOSIG", "NOSIG", None, None, None),
        ("BLU BECMG 25012KT", "BECMG", None, None, steady(250, 12)),
        ("BLU WHT", "WHT", None, None, None),
        ("TEMPO 25012KT WHT", "TEMPO", None, None, steady(250, 12)),
    ],
)
def test_a_trend_has_its_word_its_times_and_its_wind(trend, word, from_at, to_at, wind):
    report = decode(trend)
    assert report.problems == report.undecoded == report.runway_winds == ()
    (found,) = report.trends
    assert (found.word, found.from_at, found.to_at, found.wind) == (word, from_at, to_at, wind)
    assert found.group in trend


def test_no_trend_is_none():
    assert decode("").trends == ()
    assert decode("RMK AO2 TEMPO 26030G45KT").trends == ()
    assert decode("BLU").trends == ()


def test_a_trend_in_units_of_its_own_comes_out_in_knots():
    (found,) = decode("TEMPO 15009G15MPS 120V180").trends
    assert found.wind is not None
    assert found.wind.gust == pytest.approx(15 * 3600 / 1852)
    assert found.wind.sector == Sector(DegreesTrue(120.0), DegreesTrue(180.0))


def test_several_trends_follow_one_another():
    """Melbourne's, case 51 of the collection of tricky winds."""
    report = decode_report(
        "YMML 221830Z 22013KT 9999 FEW009 BKN011 BKN028 11/08 Q1027 FM1830 20010KT 4000 SHRA "
        "BKN010 FM1915 18012KT 8000 SHRA SCT015",
        NOW,
    )
    assert report.wind == steady(220, 13)
    assert [(each.word, each.from_at, each.wind) for each in report.trends] == [
        ("FM", at(18, 30), steady(200, 10)),
        ("FM", at(19, 15), steady(180, 12)),
    ]


def test_the_weather_of_a_trend_is_no_present_weather():
    report = decode("BECMG 25020KT PROB40 TEMPO TL2130 31025G45KT 2000 +TSRA SQ BKN020CB")
    first, second = report.trends
    assert (first.word, first.probability_percent) == ("BECMG", None)
    assert (second.word, second.probability_percent) == ("TEMPO", 40)
    assert second.weather.thunderstorm
    assert second.weather.squall
    assert not report.weather.thunderstorm
    assert not report.weather.cumulonimbus


def test_probability_alone_is_a_trend():
    (found,) = decode("PROB30 26030KT").trends
    assert (found.word, found.probability_percent, found.wind) == ("PROB", 30, steady(260, 30))


@pytest.mark.parametrize(
    ("trend", "problem"),
    [
        ("TEMPO FM2560 26030KT", "trend TEMPO: FM2560: no such time"),
        ("BECMG TL 00700 26030KT", "trend BECMG: TL00700: no such time"),
        ("TEMPO FM2130 TL2030 26030KT", "trend TEMPO: ends before it begins"),
        ("TEMPO 26030G20KT", "trend TEMPO: wind 26030G20KT: gust not above the mean"),
        ("TEMPO 39030KT", "trend TEMPO: wind 39030KT: direction over 360"),
        ("TEMPO 26030KT 270V390", "trend TEMPO: sector 270V390: a direction over 360"),
    ],
)
def test_what_is_wrong_with_a_trend_is_said_and_its_wind_is_kept(trend, problem):
    report = decode(trend)
    assert report.problems == (problem,)
    (found,) = report.trends
    assert found.wind is not None
    assert found.wind.speed == 30
    assert found.from_at is found.to_at is None
    assert not report.wind_doubtful


def test_a_report_without_a_time_has_trends_without_times():
    report = decode_report("METAR XLKS 31005KT 9999 TEMPO FM2030 26030KT", NOW)
    (found,) = report.trends
    assert (found.from_at, found.wind) == (None, steady(260, 30))


def test_behind_nosig_nothing_is_expected():
    """Recorded: a runway's wind, and the reports before, stand there without an end mark."""
    report = decode("NOSIG RWY17L 36014KT EGLL 221923Z 09011KT")
    (found,) = report.trends
    assert (found.word, found.wind) == ("NOSIG", None)
    assert [each.runway for each in report.runway_winds] == ["17L"]
