"""The groups of a report: wind in its place, weather, temperature, pressure, remarks."""

import pytest

from tests.reports.one_report import DAY, NOW, at, decode
from windwatch.reports.decode import read_wind
from windwatch.wind import CALM, MISSING, VARIABLE, DegreesTrue, Knots, PeakWind, Sector, Steady

# --- wind in its place -----------------------------------------------------


@pytest.mark.parametrize(
    "rest",
    [
        "9999 Q1010 TEMPO 26030G45KT",
        "9999 Q1010 BECMG FM1900 26030G45KT",
        "9999 Q1010 FM1830 26030G45KT",
        "9999 Q1010 NOSIG RMK WIND 1200FT 26030G45KT",
        "9999 Q1010 BLU 26030G45KT",
        "9999 Q1010 WHT TEMPO 26030G45KT",
        "9999 Q1010 RMK RWY24 26030G45KT",
        "9999 Q1010RMK 26030G45KT",
        "9999 Q1010 RWY24 26030G45KT",
        "9999 Q1010 WIND 1119FT 26030G45KT",
        "9999 Q1010 R24/260545",
        "9999 Q1010 02626030",
        "9999 Q1010 WS R24",
        "9999 Q1010 WS020/26030KT",
    ],
)
def test_a_wind_of_a_trend_a_remark_or_a_runway_is_not_the_observed_one(rest):
    observed = decode(f"{DAY} 31005KT {rest}")
    assert observed.wind is not None
    assert (observed.wind.speed, observed.wind.gust) == (5, None)
    assert not observed.wind_doubtful
    missing = decode(f"{DAY} {rest}")
    assert missing.wind is None
    assert "no wind group" in missing.problems


def test_a_wind_out_of_its_place_is_taken_with_its_sector_and_said():
    found = decode(f"{DAY} FEW029 SCT250 09008KT 060V120 7SM 32/25 A3008")
    assert found.wind is not None
    assert (found.wind.direction, found.wind.speed) == (Steady(DegreesTrue(90.0)), 8)
    assert found.wind.sector == Sector(DegreesTrue(60.0), DegreesTrue(120.0))
    assert found.problems == ("wind 09008KT is not in its place",)
    assert found.undecoded == ()
    assert found.temperature_c == 32


def test_a_second_wind_makes_the_first_doubtful():
    found = decode(f"{DAY} 31005KT 9999 26030G45KT Q1010")
    assert found.wind is not None
    assert found.wind.speed == 5
    assert found.wind_doubtful
    assert found.problems == ("a second wind 26030G45KT: not taken",)


def test_a_sector_away_from_its_wind_is_not_taken_and_makes_it_doubtful():
    found = decode(f"{DAY} 31005KT 9999 280V350 Q1010")
    assert found.wind is not None
    assert found.wind.sector is None
    assert found.wind_doubtful
    assert found.problems == ("sector 280V350 is not behind its wind: not taken",)


def test_a_sector_without_a_wind_is_said():
    assert decode(f"{DAY} 280V350 9999").problems == ("sector 280V350 without a wind",)
    assert "sector 280V350 without a wind" in decode(f"{DAY} /////KT 280V350 9999").problems


def test_a_sector_behind_two_spaces_or_in_small_letters_is_not_lost():
    for rest in ("  280V350 9999", " 280v350 9999", " 280V350  9999", " 280V350\n9999"):
        text = f"{DAY} 31005KT{rest}"
        wind = read_wind(text, NOW).wind
        assert wind is not None
        assert wind.sector == Sector(DegreesTrue(280.0), DegreesTrue(350.0))


def test_a_sector_over_360_is_flagged_and_the_wind_kept_in_doubt():
    found = decode(f"{DAY} 31005KT 280V390 9999")
    assert found.wind is not None
    assert found.wind.sector is None
    assert found.wind_doubtful
    assert found.problems == ("sector 280V390: a direction over 360",)


@pytest.mark.parametrize(
    ("group", "direction", "speed"),
    [("00000KT", CALM, 0), ("VRB03KT", VARIABLE, 3), ("///10KT", MISSING, 10)],
)
def test_calm_variable_and_missing_direction_are_three_facts(group, direction, speed):
    wind = decode(f"{DAY} {group} 9999").wind
    assert wind is not None
    assert type(wind.direction) is type(direction)
    assert wind.speed == speed


# --- weather, cloud, temperature, pressure ---------------------------------


@pytest.mark.parametrize(
    ("groups", "flags"),
    [
        ("10SM CLR", set()),
        ("3SM TS", {"thunderstorm"}),
        ("3SM -TSRA", {"thunderstorm", "rain"}),
        ("3SM +TSRAGR SQ", {"thunderstorm", "rain", "ice", "squall"}),
        ("3SM TSSN", {"thunderstorm", "snow"}),
        ("3SM RATS", {"thunderstorm", "rain"}),
        ("9000 TSVCSH", {"thunderstorm"}),
        ("9999 VCTS", {"thunder_in_vicinity"}),
        ("9999 VCSH", set()),
        ("9999 RETS", set()),
        ("9999 RETSRA", set()),
        ("3SM FC", {"funnel_cloud"}),
        ("3SM +FC", {"funnel_cloud"}),
        ("3SM FZRA", {"rain", "ice"}),
        ("3SM -SHSN BLSN", {"snow"}),
        ("3SM PL", {"ice"}),
        ("9999 FEW020CB", {"cumulonimbus"}),
        ("9999 FEW020TCU", set()),
        ("9999 ///CB", {"cumulonimbus"}),
        ("9999 //////CB", {"cumulonimbus"}),
        ("9999 FEW///CB", {"cumulonimbus"}),
        ("9999 FEW018CBSCT080", {"cumulonimbus"}),
        ("9999 BKN020 CB/NE/E", {"cumulonimbus"}),
        ("9999 FEW020 TEMPO TSRA BKN020CB", set()),
        ("9999 FEW020 RMK CB DSNT TS", set()),
        ("9999 NOSIG TS", set()),
    ],
)
@pytest.mark.parametrize("wind", ["31019G31KT", "/////KT"])
def test_the_weather_that_matters_on_an_apron(wind, groups, flags):
    weather = decode(f"{DAY} {wind} {groups}").weather
    assert weather.reported
    found = {
        name
        for name in (
            "thunderstorm", "squall", "funnel_cloud", "thunder_in_vicinity", "cumulonimbus",
            "rain", "snow", "ice",
        )
        if getattr(weather, name)
    }  # fmt: skip
    assert found == flags


def test_weather_groups_are_kept_as_coded():
    groups = decode(f"{DAY} 31019G31KT 2SM +TSRA SQ BR BKN028CB").weather.groups
    assert groups == ("+TSRA", "SQ", "BR")


@pytest.mark.parametrize(
    "rest",
    [
        "10SM CLR RMK AO2 TSNO",
        "10SM CLR RMK AO2 PWINO $",
        "//// // ////// 14/12 Q1021",
        "9999 // // 14/12",
        "9999 // SCT048/// R24/0900 14/12 Q1021 R24/CLRD62 NOSIG",
    ],
)
def test_a_station_that_cannot_see_weather_has_not_said_that_there_is_none(rest):
    assert not decode(f"{DAY} AUTO 31019KT {rest}").weather.reported


@pytest.mark.parametrize(
    ("groups", "temperature", "dew_point", "pressure"),
    [
        ("23/17 A2980", 23, 17, 1009.144),
        ("M02/M05 Q1011", -2, -5, 1011),
        ("00/M00 Q0989", 0, 0, 989),
        ("23/ A2992", 23, None, 1013.208),
        ("30/// Q////", 30, None, None),
        ("///// A3001", None, None, 1016.255),
        ("XX/XX Q1008.5", None, None, 1008.5),
        ("22/11 Q1013 A2992", 22, 11, 1013),
        ("QFE741 22/11 Q1013", 22, 11, 1013),
        ("22/11 Q1013 RMK T02180106", 21.8, 10.6, 1013),
        ("M01/M03 Q1013 RMK T10061033", -0.6, -3.3, 1013),
    ],
)
def test_temperature_and_pressure(groups, temperature, dew_point, pressure):
    found = decode(f"{DAY} 31019KT 9999 {groups}")
    assert (found.temperature_c, found.dew_point_c) == (temperature, dew_point)
    assert found.pressure_hpa == (None if pressure is None else pytest.approx(pressure, abs=1e-3))
    assert found.problems == ()


@pytest.mark.parametrize(
    ("groups", "problem"),
    [
        ("99/17 Q1013", "temperature 99: outside -95 to 60 °C"),
        ("22/17 Q2011", "pressure Q2011: outside 850 to 1100 hPa"),
        ("22/17 A2501", "pressure A2501: outside 850 to 1100 hPa"),
    ],
)
def test_a_temperature_or_pressure_that_cannot_be_is_not_taken(groups, problem):
    assert decode(f"{DAY} 31019KT 9999 {groups}").problems == (problem,)


def test_groups_that_nobody_claims_are_kept():
    found = decode(f"{DAY} 31019KT 9999 WOBBLE FEW020 22/11 Q1013 GLUED/99 RMK NOT THESE")
    assert found.undecoded == ("WOBBLE", "GLUED/99")
    assert found.pressure_hpa == 1013


# --- remarks ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("remark", "peak"),
    [
        ("PK WND 31046/1911", PeakWind(DegreesTrue(310.0), Knots(46.0), at(19, 11))),
        ("PK WND 31046/11", PeakWind(DegreesTrue(310.0), Knots(46.0), at(19, 11))),
        ("PK WND 31046/58", PeakWind(DegreesTrue(310.0), Knots(46.0), at(18, 58))),
        ("PK WND 310112/1911", PeakWind(DegreesTrue(310.0), Knots(112.0), at(19, 11))),
        ("PK WND 310P99/11", PeakWind(DegreesTrue(310.0), Knots(99.0), at(19, 11), at_least=True)),
        ("PK WND 24042/43 25044/19", PeakWind(DegreesTrue(250.0), Knots(44.0), at(19, 19))),
        ("PK WND 24042/43 25042/19", PeakWind(DegreesTrue(240.0), Knots(42.0), at(19, 43))),
    ],
)
def test_a_peak_wind_is_the_strongest_at_its_own_time(remark, peak):
    found = decode(f"{DAY} 31019G31KT 7SM RMK AO2 {remark} SLP052")
    assert found.peak_wind == peak
    assert found.problems == ()


def test_a_peak_wind_before_midnight_is_of_the_day_before():
    found = decode("XLKS 220005Z 31019G31KT RMK AO2 PK WND 31046/2350 WSHFT 2345")
    assert found.peak_wind is not None
    assert found.peak_wind.at == at(23, 50, day=21)
    assert found.wind_shift_at == at(23, 45, day=21)


def test_a_peak_wind_stands_even_without_a_wind_group():
    found = decode(f"{DAY} 8SM -RA RMK AO2 PK WND 32037/1919 $")
    assert found.wind is None
    assert found.peak_wind is not None
    assert found.peak_wind.speed == 37
    assert found.maintenance


def test_a_peak_wind_that_cannot_be_read_is_said():
    assert decode(f"{DAY} 31019KT RMK PK WND MISG").problems == (
        "peak wind cannot be read: PK WND MISG",
    )
    assert decode(f"{DAY} 31019KT RMK PK WND 31046/1966").peak_wind is None


def test_a_peak_wind_from_000_keeps_its_speed():
    found = decode(f"{DAY} AUTO 01017KT RMK AO1 PK WND 00020/1912")
    assert found.peak_wind == PeakWind(DegreesTrue(360.0), Knots(20.0), at(19, 12))
    assert found.problems == ("peak wind 00020/1912: direction 000 read as north",)


@pytest.mark.parametrize(
    ("remark", "shifted_at", "front"),
    [
        ("WSHFT 1856", at(18, 56), False),
        ("WSHFT 30 FROPA", at(19, 30), True),
        ("WSHFT 58", at(18, 58), False),
        ("WSHFT AT 1916Z", at(19, 16), False),
    ],
)
def test_a_wind_shift_is_dated(remark, shifted_at, front):
    found = decode(f"{DAY} 31019G31KT RMK AO2 {remark} SLP052")
    assert (found.wind_shift_at, found.frontal_passage) == (shifted_at, front)


@pytest.mark.parametrize(
    ("remark", "ended_at"),
    [
        ("TSE51", at(19, 51)),
        ("TSB04E41", at(19, 41)),
        ("RAB06TSB04E41", at(19, 41)),
        ("TSB1804E1841", at(18, 41)),
        ("TSB55E10", at(19, 10)),
        ("TSB12E51B52", None),
        ("TSB12E31B35E40", at(19, 40)),
        ("TSB12", None),
        ("TSNO", None),
        ("TS OHD MOV E", None),
    ],
)
def test_thunder_has_ended_only_if_it_did_not_begin_again(remark, ended_at):
    found = decode(f"{DAY} 33006KT 7SM -RA BKN035 RMK AO2 {remark} P0043")
    assert found.weather.thunder_ended_at == ended_at
