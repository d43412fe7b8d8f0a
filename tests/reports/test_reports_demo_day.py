"""The reports of the demo day decode without a doubt, but for what the day is about."""

from datetime import UTC, datetime

import pytest

from windwatch.reports.decode import decode_report
from windwatch.reports.remarks import read_remarks

NOW = datetime(2026, 9, 23, 2, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def day(reference):
    lines = (reference / "demo_day.md").read_text(encoding="utf-8").splitlines()
    texts = [line for line in lines if line.startswith(("METAR X", "SPECI X"))]
    reports = [decode_report(text, NOW) for text in texts]
    return {(report.station, f"{report.observed_at:%H%M}", report.correction): report
            for report in reports}  # fmt: skip


def test_all_twenty_four_reports_decode_and_one_has_no_wind(day):
    assert len(day) == 24
    flagged = {key: report.problems for key, report in day.items() if report.problems}
    assert flagged == {("XLKS", "2053", 0): ("no wind group",)}
    assert all(report.undecoded == () for report in day.values())
    assert not any(report.wind_doubtful for report in day.values())


def test_the_mistyped_report_and_its_correction_are_two_reports_of_one_time(day):
    assert day["XLKS", "1453", 0].wind.speed == 31
    assert day["XLKS", "1453", 1].wind.speed == 13
    assert day["XLKS", "1453", 1].corrected


def test_the_gust_front_has_squall_thunder_shift_and_peak(day):
    report = day["XLKS", "1907", 0]
    assert report.kind == "SPECI"
    assert report.weather.thunderstorm
    assert report.weather.squall
    assert report.weather.cumulonimbus
    assert report.weather.groups == ("+TSRA", "SQ", "BR")
    assert report.wind_shift_at == datetime(2026, 9, 22, 18, 56, tzinfo=UTC)
    assert report.peak_wind == (300, 41, datetime(2026, 9, 22, 19, 3, tzinfo=UTC), False)


def test_the_lull_says_that_the_thunder_ended(day):
    report = day["XLKS", "1941", 0]
    assert not report.weather.thunderstorm
    assert report.weather.thunder_ended_at == datetime(2026, 9, 22, 19, 41, tzinfo=UTC)


def test_thunder_in_the_vicinity_is_not_at_the_field(day):
    weather = day["XLKS", "1853", 0].weather
    assert weather.thunder_in_vicinity
    assert not weather.thunderstorm
    assert weather.cumulonimbus


def test_the_report_without_a_wind_still_has_its_peak_and_its_maintenance_sign(day):
    report = day["XLKS", "2053", 0]
    assert report.wind is None
    assert report.peak_wind.speed == 37
    assert report.maintenance


def test_remarks_without_a_time_of_report_date_nothing():
    remarks = read_remarks(" PK WND 31046/1911 WSHFT 1856 TSE41", None, "XLKS")
    assert (remarks.peak_wind, remarks.wind_shift_at, remarks.thunder_times) == (None, None, ())
    assert remarks.problems == (
        "peak wind cannot be read: PK WND 31046/1911",
        "wind shift cannot be read: WSHFT 1856",
    )
