"""Forecasts: the collection of tricky cases, the published key, and the recorded TAFs.

Cases 60 to 75 are those of `reports/tricky_cases.md`. Each expected spell is its change, its
probability, the day, hour and minute from and to, and its wind.
"""

import re
from datetime import UTC, datetime
from itertools import pairwise

import pytest

from windwatch.reports.forecast import Change
from windwatch.reports.taf import decode_forecast
from windwatch.wind import Calm, Steady, Variable

NOW = datetime(2024, 8, 31, 23, 59, tzinfo=UTC)
P, B, T = Change.PREVAILING, Change.BECOMING, Change.TEMPORARY

CASES = {
    60: (
        "TAF KMKE 011530Z 0116/0218 12010KT P6SM BKN030 WS020/24045KT",
        [(P, None, "011600", "021800", (120, 10, None, None))],
    ),
    61: (
        (
            "TAF AMD KHPN 200931Z 2010/2106 16005KT 6SM BR VCSH SCT008 OVC010 FM201030 13005KT 2SM "
            "BR VCSH OVC004 WS020/23030KT TEMPO 2011/2012 1/2SM FG VV002 FM201200 15003KT 1SM BR "
            "VCSH OVC002 WS020/24040KT"
        ),
        [
            (P, None, "201000", "201030", (160, 5, None, None)),
            (P, None, "201030", "201200", (130, 5, None, None)),
            (T, None, "201100", "201200", None),
            (P, None, "201200", "210600", (150, 3, None, None)),
        ],
    ),
    62: (
        (
            "TAF KLSV 222300Z 2223/2405 21020G35KT 8000 BLDU BKN160 530009 QNH2941INS TEMPO "
            "2223/2302 23035G52KT BKN150 560009 BECMG 2305/2306 35015G25KT 9999 VCSH BKN140 "
            "520009 QNH2948INS"
        ),
        [
            (P, None, "222300", "230600", (210, 20, 35, None)),
            (T, None, "222300", "230200", (230, 35, 52, None)),
            (B, None, "230500", "230600", (350, 15, 25, None)),
            (P, None, "230600", "240500", (350, 15, 25, None)),
        ],
    ),
    66: (
        (
            "TAF COR EDDS 201148Z 2012/2112 31010KT CAVOK BECMG 2018/2021 33004KT "
            "BECMG 2106/2109 07005KT"
        ),
        [
            (P, None, "201200", "202100", (310, 10, None, None)),
            (B, None, "201800", "202100", (330, 4, None, None)),
            (P, None, "202100", "210900", (330, 4, None, None)),
            (B, None, "210600", "210900", (70, 5, None, None)),
            (P, None, "210900", "211200", (70, 5, None, None)),
        ],
    ),
    67: (
        (
            "TAF TAF AMD YWLM 270723Z 2707/2806 19020G30KT 9999 -SHRA SCT015 BKN020 BECMG "
            "2708/2710 19014KT TEMPO 2707/2712 3000 SHRA INTER 2712/2802 4000 SHRA SCT005 BKN010"
        ),
        [
            (P, None, "270700", "271000", (190, 20, 30, None)),
            (T, None, "270700", "271200", None),
            (B, None, "270800", "271000", (190, 14, None, None)),
            (P, None, "271000", "280600", (190, 14, None, None)),
            (T, None, "271200", "280200", None),
        ],
    ),
    68: (
        (
            "TAF LFPO 100742Z 1007/1112 21018G35KT 9999 BKN025 PROB40 TEMPO 1007/1009 22020G45KT "
            "BECMG 1020/1023 24013KT"
        ),
        [
            (P, None, "100700", "102300", (210, 18, 35, None)),
            (T, 40, "100700", "100900", (220, 20, 45, None)),
            (B, None, "102000", "102300", (240, 13, None, None)),
            (P, None, "102300", "111200", (240, 13, None, None)),
        ],
    ),
    69: (
        (
            "TAF ESSA 261130Z 2612/2712 VRB02KT 9999 SCT005 BKN030 PROB40 2612/2618 4000 BR BKN004 "
            "2618/2706 0300 FZFG VV002"
        ),
        [
            (P, None, "261200", "271200", ("VRB", 2, None, None)),
            (T, 40, "261200", "261800", None),
            (T, 40, "261800", "270600", None),
        ],
    ),
    70: (
        "TAF KNYL 2603/2703 20006KT 9999 SKC QNH2974INS FM261000 14004KT 9999 SKC QNH2977INS",
        [
            (P, None, "260300", "261000", (200, 6, None, None)),
            (P, None, "261000", "270300", (140, 4, None, None)),
        ],
    ),
    71: (
        (
            "TAF KNID 222300Z 0115/0215 21006KT 9999 SCT250 QNH2981INS BECMG 0116/0118 19014G22KT "
            "9999 QNH2978INS WND 160V230"
        ),
        [
            (P, None, "011500", "011800", (210, 6, None, None)),
            (B, None, "011600", "011800", (190, 14, 22, (160, 230))),
            (P, None, "011800", "021500", (190, 14, 22, (160, 230))),
        ],
    ),
    72: (
        (
            "TAF KAGS 010528Z 010606 00000KT 6SM BR SKC TEMPO 0610 3SM BR FM1000 VRB04KT P6SM SKC "
            "FM1600 29018G28KT P6SM SKC"
        ),
        [
            (P, None, "010600", "011000", ("calm", 0, None, None)),
            (T, None, "010600", "011000", None),
            (P, None, "011000", "011600", ("VRB", 4, None, None)),
            (P, None, "011600", "020600", (290, 18, 28, None)),
        ],
    ),
    73: (
        (
            "TAF OIII 021100Z 0212/0318 15006MPS 6000 FEW030 BKN090 TEMPO 0212/0215 15009G15MPS "
            "1000 SA SCT030CB"
        ),
        [
            (P, None, "021200", "031800", (150, 11.7, None, None)),
            (T, None, "021200", "021500", (150, 17.5, 29.2, None)),
        ],
    ),
    74: (
        (
            "TAF KOAJ 140335Z 1404/1424 02035G50KT 3SM +SHRA BR OVC014 FM140900 04050G70KT 3SM "
            "+SHRA OVC003 AMD LTD TO CLD VIS AND WIND"
        ),
        [
            (P, None, "140400", "140900", (20, 35, 50, None)),
            (P, None, "140900", "150000", (40, 50, 70, None)),
        ],
    ),
    75: (
        (
            "TAF EGLL 010500Z 0106/0212 24012KT 9999 SCT030 FM010900 26018G30KT 9999 FEW035 TEMPO "
            "0112/0118 28022G38KT"
        ),
        [
            (P, None, "010600", "010900", (240, 12, None, None)),
            (P, None, "010900", "021200", (260, 18, 30, None)),
            (T, None, "011200", "011800", (280, 22, 38, None)),
        ],
    ),
}


def told(wind):
    """A wind as the collection states it, in knots rounded to 0.1."""
    if wind is None:
        return None
    direction = "VRB" if isinstance(wind.direction, Variable) else "calm"
    if isinstance(wind.direction, Steady):
        direction = wind.direction.wind_from
    else:
        assert isinstance(wind.direction, Variable | Calm)
    gust = None if wind.gust is None else round(wind.gust, 1)
    return direction, round(wind.speed, 1), gust, wind.sector and tuple(wind.sector)


def timeline(forecast):
    return [
        (
            spell.change,
            spell.probability_percent,
            f"{spell.from_at:%d%H%M}",
            f"{spell.to_at:%d%H%M}",
            told(spell.wind),
        )
        for spell in forecast.spells
    ]


@pytest.mark.parametrize(
    ("text", "spells"), [pytest.param(*case, id=f"case {n}") for n, case in CASES.items()]
)
def test_a_tricky_forecast_is_read_as_the_collection_says(text, spells):
    forecast = decode_forecast(text, NOW)
    assert timeline(forecast) == spells
    assert forecast.problems == ()


def test_cases_60_and_61_wind_shear_is_kept_apart():
    shears = decode_forecast(CASES[60][0], NOW).shears
    assert [(shear.height_ft, told(shear.wind)) for shear in shears] == [
        (2000, (240, 45, None, None))
    ]
    shears = decode_forecast(CASES[61][0], NOW).shears
    assert [(f"{shear.from_at:%H%M}", told(shear.wind)[:2]) for shear in shears] == [
        ("1030", (230, 30)),
        ("1200", (240, 40)),
    ]


def test_cases_61_66_67_and_74_amended_and_corrected_are_told_apart():
    forecasts = {number: decode_forecast(text, NOW) for number, (text, _) in CASES.items()}
    assert {number for number, forecast in forecasts.items() if forecast.amended} == {61, 67}
    assert {number for number, forecast in forecasts.items() if forecast.corrected} == {66}
    assert forecasts[70].issued_at is None


@pytest.mark.parametrize(
    ("text", "amended", "cancelled", "nil"),
    [
        pytest.param("TAF VTBD 281000Z 2812/2912 CNL=", False, True, False, id="case 63"),
        pytest.param("TAF AMD CYMJ 300030Z 3000/3012 CNL", True, True, False, id="case 64"),
        pytest.param("TAF SVMC 211703Z NIL=", False, False, True, id="case 65"),
    ],
)
def test_a_cancelled_or_missing_forecast_has_no_spells(text, amended, cancelled, nil):
    forecast = decode_forecast(text, NOW)
    assert (forecast.amended, forecast.cancelled, forecast.nil) == (amended, cancelled, nil)
    assert forecast.spells == ()


# FAA/NWS key to TAF and METAR, AIM fig. 7-1-19 (seen); dec-taf-0919 and dec-taf-1016.
KEY = (
    "TAF KPIT 091730Z 0918/1024 15005KT 5SM HZ FEW020 WS010/31022KT FM091930 30015G25KT 3SM SHRA "
    "OVC015 TEMPO 0920/0922 1/2SM +TSRA OVC008CB FM100100 27008KT 5SM SHRA BKN020 OVC040 PROB30 "
    "1004/1007 1SM -RA BR FM101015 18005KT 6SM -SHRA OVC020 BECMG 1013/1015 P6SM NSW SKC"
)


def test_the_key_to_taf_at_1900_on_the_ninth():
    forecast = decode_forecast(KEY, datetime(2026, 9, 9, 18, 0, tzinfo=UTC))
    (prevailing,) = forecast.at(datetime(2026, 9, 9, 19, 0, tzinfo=UTC))
    assert told(prevailing.wind) == (150, 5, None, None)
    (shear,) = forecast.shears
    assert (shear.height_ft, told(shear.wind)) == (1000, (310, 22, None, None))
    assert forecast.valid_to == datetime(2026, 9, 11, 0, 0, tzinfo=UTC)  # hour 24 of the tenth


def test_the_key_to_taf_at_1600_on_the_tenth_a_becmg_without_a_wind_leaves_the_wind():
    """Derived from the published rule: BECMG changes only the elements it lists."""
    forecast = decode_forecast(KEY, datetime(2026, 9, 9, 18, 0, tzinfo=UTC))
    (prevailing,) = forecast.at(datetime(2026, 9, 10, 16, 0, tzinfo=UTC))
    assert told(prevailing.wind) == (180, 5, None, None)


def test_the_key_to_taf_a_thunderstorm_without_a_wind_of_its_own_is_told():
    forecast = decode_forecast(KEY, datetime(2026, 9, 9, 18, 0, tzinfo=UTC))
    prevailing, temporary = forecast.at(datetime(2026, 9, 9, 21, 0, tzinfo=UTC))
    assert told(prevailing.wind) == (300, 15, 25, None)
    assert (temporary.change, temporary.wind) == (T, None)
    assert temporary.weather.thunderstorm
    assert temporary.weather.cumulonimbus


def test_the_demo_day_s_forecast_and_its_amendment():
    """`demo_day.md`: the surge after dusk is dropped by the amendment."""
    now = datetime(2026, 9, 22, 17, 34, tzinfo=UTC)
    first = decode_forecast(
        "TAF XBRN 221730Z 2218/2318 19017G25KT P6SM SCT045 BKN250 FM222000 20018G25KT P6SM VCTS "
        "SCT045CB BKN100 TEMPO 2220/2222 30025G38KT 2SM +TSRA BKN025CB FM222200 31015G24KT P6SM "
        "-SHRA BKN030 FM230000 32020G32KT P6SM BKN040 FM230500 33012KT P6SM SCT050 FM231200 "
        "34008KT P6SM SKC",
        now,
    )
    evening = datetime(2026, 9, 23, 0, 30, tzinfo=UTC)
    assert [told(spell.wind) for spell in first.at(evening)] == [(320, 20, 32, None)]
    afternoon = first.at(datetime(2026, 9, 22, 20, 30, tzinfo=UTC))
    assert [told(spell.wind) for spell in afternoon] == [
        (200, 18, 25, None),
        (300, 25, 38, None),
    ]
    assert afternoon[0].weather.thunder_in_vicinity
    amended = decode_forecast(
        "TAF AMD XBRN 222047Z 2221/2318 31015G24KT P6SM SCT035 BKN060 FM222300 33009KT P6SM FEW050 "
        "FM230100 VRB03KT P6SM SKC FM231500 19006KT P6SM FEW250",
        now,
    )
    assert amended.amended
    assert [told(spell.wind) for spell in amended.at(evening)] == [(330, 9, None, None)]


# --- the recorded forecasts ------------------------------------------------


@pytest.fixture(scope="module")
def recorded(reference):
    lines = (reference / "reports" / "taf.txt").read_text(encoding="utf-8").splitlines()
    texts = [line for line in lines if line.strip() and not line.startswith("#")]
    return [(text, decode_forecast(text, NOW)) for text in texts]


def test_every_recorded_forecast_has_a_wind_at_all_times_or_says_why(recorded):
    assert len(recorded) == 807
    for text, forecast in recorded:
        assert forecast.station, text
        if forecast.nil or forecast.cancelled or forecast.problems:
            continue
        prevailing = [spell for spell in forecast.spells if spell.change is P]
        assert prevailing[0].from_at == forecast.valid_from, text
        assert prevailing[-1].to_at == forecast.valid_to, text
        for earlier, later in pairwise(prevailing):
            assert earlier.to_at == later.from_at, text
        assert all(spell.wind is not None for spell in prevailing), text


def test_the_counts_of_the_readme_are_found(recorded):
    """Forecasts with gusts 308, VRB 152, FM 259, COR 12, CNL 2, wind shear 29, AMD 67."""

    def count(fact):
        return sum(bool(fact(forecast)) for _, forecast in recorded)

    def with_spell(fact):
        return count(lambda forecast: any(fact(spell) for spell in forecast.spells))

    assert with_spell(lambda spell: spell.wind is not None and spell.wind.gust is not None) == 308
    assert with_spell(lambda spell: "VRB" in spell.group and spell.wind is not None) == 152
    assert with_spell(lambda spell: spell.group.startswith("FM")) == 259
    assert count(lambda forecast: forecast.corrected) == 12
    assert count(lambda forecast: forecast.cancelled) == 2
    assert count(lambda forecast: forecast.shears) == 29
    # In four of the 67 the word closes the forecast: AMD LTD TO CLD VIS AND WIND, AMD NOT SKED.
    closing = [
        text
        for text, forecast in recorded
        if re.search(r" AMD (?:LTD|NOT)", text) and not forecast.amended
    ]
    assert len(closing) == 4
    assert count(lambda forecast: forecast.amended) == 67 - len(closing)


def test_what_is_wrong_with_recorded_forecasts_is_said(recorded):
    said = {problem for _, forecast in recorded for problem in forecast.problems}
    assert "FM256300: no such time" in said
    assert "TEMPO 2918/2824: no period (ddhh/ddhh)" in said
    assert sum(bool(forecast.problems) for _, forecast in recorded) <= 10
