"""The decoding examples of `worked_examples.json`, with their sources.

The examples marked *rule* are about how an observer codes a wind. windwatch does not code winds,
it reads them: each is told as what the decoder must make of the group that the rule yields.
"""

from datetime import UTC, datetime

import pytest

from windwatch.reports.decode import decode_report
from windwatch.reports.remarks import read_peak_winds
from windwatch.reports.wind_group import read_odd_group, read_wind_group
from windwatch.wind import CALM, Calm, DegreesTrue, Missing, Sector, Steady, Variable

NOW = datetime(2026, 9, 9, 20, 0, tzinfo=UTC)
KNOTS_PER_MPS = 3600 / 1852  # by definition of the nautical mile and the knot

AIM = "FAA AIM ch. 7, METAR wind paragraph"
NAVY = "US Navy P-304, METAR chapter"
ANNEX_3 = "ICAO Annex 3, Table A3-2, example (from memory)"

WINDS = [
    pytest.param("13008KT", 130, 8, None, None, id=f"dec-13008, {AIM}"),
    pytest.param("08032G45KT", 80, 32, 45, None, id=f"dec-08032g45, {AIM}"),
    pytest.param("32012G22KT 280V350", 320, 12, 22, (280, 350), id=f"dec-32012g22v, {AIM}"),
    pytest.param("270112KT", 270, 112, None, None, id=f"dec-270112, {NAVY}"),
    pytest.param("14015G28KT", 140, 15, 28, None, id=f"dec-14015g28, {NAVY}"),
    pytest.param(
        "02005MPS 350V070", 20, 5 * KNOTS_PER_MPS, None, (350, 70), id=f"dec-02005mps-v, {ANNEX_3}"
    ),
]


def observed(rest):
    return decode_report(f"XLKS 091953Z {rest}", NOW)


@pytest.mark.parametrize(("text", "direction", "speed", "gust", "sector"), WINDS)
def test_a_published_wind_group_reads_as_published(text, direction, speed, gust, sector):
    for wind in (read_wind_group(text), observed(f"{text} 10SM").wind):
        assert wind is not None
        assert wind.direction == Steady(DegreesTrue(direction))
        assert (wind.speed, wind.gust) == (pytest.approx(speed, abs=1e-9), gust)
        assert wind.sector == (None if sector is None else Sector(*map(DegreesTrue, sector)))


def test_calm_is_00000kt():
    """dec-calm, FAA AIM ch. 7."""
    wind = read_wind_group("00000KT")
    assert (wind.direction, wind.speed) == (CALM, 0)
    assert isinstance(wind.direction, Calm)


def test_p49mps_is_49_metres_a_second_or_more():
    """dec-mps-140p49, ICAO Annex 3, Table A3-2 and WMO No. 306, FM 15 (rule seen, example from
    memory): a lower bound, not 49."""
    wind = read_wind_group("140P49MPS")
    assert wind.speed == pytest.approx(49 * KNOTS_PER_MPS)
    assert wind.speed_at_least


def test_a_peak_wind_with_hour_and_minute():
    """dec-pkwnd-hhmm, FAA AIM ch. 7."""
    peak = observed("20015KT RMK PK WND 28045/1955").peak_wind
    assert peak is not None
    assert (peak.wind_from, peak.speed, f"{peak.at:%H%M}") == (280, 45, "1955")


def test_two_peak_winds_behind_one_another():
    """dec-pkwnd-multi, AFMAN 15-111 (2019), attachment 3, table A3 item 4."""
    at = datetime(2026, 9, 9, 19, 53, tzinfo=UTC)
    peaks, problem = read_peak_winds(" PK WND 24042/43 25042/19", at)
    assert problem == ""
    assert [(peak.wind_from, peak.speed, peak.at.minute) for peak in peaks] == [
        (240, 42, 43),
        (250, 42, 19),
    ]


def test_a_wind_shift_with_frontal_passage():
    """dec-wshft, FAA AIM ch. 7."""
    report = observed("20015KT RMK WSHFT 30 FROPA")
    assert report.wind_shift_at is not None
    assert report.wind_shift_at.minute == 30
    assert report.frontal_passage


def test_the_key_to_taf_and_metar():
    """dec-kpit, FAA/NWS key to TAF and METAR (AIM fig. 7-1-19)."""
    report = decode_report(
        "METAR KPIT 091955Z COR 22015G25KT 3/4SM R28L/2600FT TSRA OVC010CB 18/16 A2992 "
        "RMK SLP045 T01820159",
        NOW,
    )
    assert (report.station, f"{report.observed_at:%d %H%MZ}") == ("KPIT", "09 1955Z")
    assert report.corrected
    wind = report.wind
    assert wind is not None
    assert (wind.direction, wind.speed, wind.gust) == (Steady(DegreesTrue(220.0)), 15, 25)
    assert report.weather.thunderstorm
    assert report.problems == report.undecoded == ()


# --- rules of coding -------------------------------------------------------


def test_rule_a_gust_less_than_ten_knots_over_the_mean_is_legal_in_the_united_states():
    """dec-rule-gust-us, FMH-1 and AFMAN 15-111 7.4.3: a mean of 16 with a peak of 23 and a lull
    of 12 is coded as a gust (10 kt or more between peaks and lulls), so 16G23 is no error."""
    report = observed("18016G23KT 10SM")
    assert report.wind is not None
    assert report.wind.gust == 23
    assert report.problems == ()


def test_rule_vrb_stands_at_any_speed_outside_the_united_states():
    """dec-rule-vrb-icao-16, Annex 3 4.1.5.2 b) 3: 16 kt varying by 190 degrees is VRB16KT."""
    report = observed("VRB16KT 9999")
    assert report.wind is not None
    assert isinstance(report.wind.direction, Variable)
    assert report.wind.speed == 16
    assert report.problems == ()


def test_rule_vrb_in_light_wind_has_no_sector():
    """dec-rule-vrb-us-5, FMH-1 ch. 5: at 6 kt or less VRB is permitted, without a sector."""
    report = observed("VRB05KT 10SM")
    assert report.wind is not None
    assert isinstance(report.wind.direction, Variable)
    assert report.wind.sector is None
    assert report.problems == ()


def test_rule_less_than_three_knots_is_coded_calm_in_the_united_states():
    """dec-rule-calm-us, FMH-1 (from memory, partly seen): 2 kt is coded 00000KT."""
    wind = observed("00000KT 10SM").wind
    assert wind is not None
    assert (wind.direction, wind.speed, wind.gust) == (CALM, 0, None)


@pytest.mark.parametrize("coded", ["260", "270", "360"])
def test_rule_directions_are_coded_in_tens_and_north_is_360(coded):
    """dec-rule-round, ICAO: 264 is coded 260, 265 270, and 355 and 4 both 360."""
    wind = observed(f"{coded}10KT").wind
    assert wind is not None
    assert wind.direction == Steady(DegreesTrue(float(coded)))


def test_rule_000_is_only_used_with_calm():
    """dec-rule-round, note: 000 with a speed is no direction, and is said."""
    reading = read_odd_group("00010KT", "", "XLKS")
    assert reading is not None
    assert reading.wind is not None
    assert isinstance(reading.wind.direction, Missing)
    assert reading.doubtful


def test_rule_no_wind_shift_is_made_of_two_winds():
    """dec-rule-wshft-no, AFMAN 15-111 7.4.5 and FMH-1: 50 degrees in 12 minutes at 8 kt is no
    wind shift (it takes 10 kt throughout). windwatch takes a shift from the remarks alone."""
    before = decode_report("XLKS 091941Z 20008KT 10SM RMK AO2", NOW)
    after = decode_report("XLKS 091953Z 25008KT 10SM RMK AO2", NOW)
    assert before.wind_shift_at is after.wind_shift_at is None


def test_rule_no_squall_is_made_of_two_speeds():
    """dec-rule-squall-no, FMH-1: a rise from 4 to 21 kt for 90 s is no squall (it takes 22 kt
    for a minute). windwatch takes a squall from the present weather alone."""
    assert not observed("20004KT 10SM").weather.squall
    assert not observed("20021KT 10SM").weather.squall
    assert observed("20022G38KT 3SM SQ").weather.squall
