"""Subjects over time: unsettled, thunder, peaks, fall-backs, doubt (reliability section 2)."""

import pytest

from tests.pipeline.little_field import (
    RUNWAYS,
    TAXI,
    THUNDER,
    TIE_DOWN,
    Watch,
    a_fleet,
    an_aircraft,
    flying_fleet,
    parked_fleet,
    utc,
)
from windwatch.fleet import Limit, Of
from windwatch.wind import Knots

STORM = "2SM TSRA BKN030CB 20/18 A2980"


# --- holds by quantity ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("quantity", "third", "back"),
    [("tie_down", "1352", False), ("tie_down", "1353", True), ("shelter", "1353", True)],
)
def test_parked_aircraft_wait_an_hour_since_the_last_report_over(
    quantity: str, third: str, back: bool
) -> None:
    watching = Watch(parked_fleet(**{quantity: 25}))
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1323", kind="SPECI")
    assert (watching.report("18010KT", third) == ["back"]) is back


def test_taxiing_waits_half_an_hour() -> None:
    watching = Watch(parked_fleet(taxi=30))
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1313", kind="SPECI")
    assert watching.report("18010KT", "1322", kind="SPECI") == []
    assert watching.report("18010KT", "1323") == ["back"]


# --- weather that holds ------------------------------------------------------------------


@pytest.mark.parametrize("weather", ["VCTS BKN040", "BKN040CB", "TSRA BKN040"])
def test_a_low_report_with_thunder_or_cumulonimbus_does_not_count(weather: str) -> None:
    watching = Watch(parked_fleet(taxi=30))
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353", f"10SM {weather} 20/10 A2990")
    watching.report("18010KT", "1453")
    assert watching.level(TAXI) == "over"


def test_an_hour_is_kept_after_a_wind_shift_by_its_stated_time() -> None:
    watching = Watch(parked_fleet(taxi=30))
    watching.report("18031KT", "1253", "10SM CLR 20/10 A2990 RMK AO2 WSHFT 1240")
    watching.report("18010KT", "1323", kind="SPECI")
    watching.report("18010KT", "1339", kind="SPECI")
    assert watching.level(TAXI) == "over"
    assert watching.report("18010KT", "1340", kind="SPECI") == ["back"]


# --- thunder ------------------------------------------------------------------------------


def test_thunder_opens_and_goes_back_an_hour_later_without_any_wind() -> None:
    watching = Watch(parked_fleet())
    assert watching.report("18010KT", "1253", STORM) == ["opened"]
    assert watching.report("", "1352", kind="SPECI") == []
    assert watching.report("", "1353") == ["back"]


def test_thunder_counts_to_its_stated_end() -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253", STORM)
    watching.report("18010KT", "1353", "10SM BKN040 20/10 A2990 RMK AO2 TSB1240E1320")
    watching.report("18010KT", "1419", kind="SPECI")
    assert watching.level(THUNDER) == "over"
    assert watching.report("18010KT", "1420", kind="SPECI") == ["back"]


def test_thunder_between_two_reports_opens_at_its_end() -> None:
    watching = Watch(parked_fleet())
    assert watching.report("18010KT", "1353", "10SM BKN040 20/10 A2990 RMK AO2 TSB05E20") == [
        "opened"
    ]
    assert watching.steps[0].since == utc("1320")


def test_thunder_that_began_and_whose_end_is_not_told_counts_from_its_beginning() -> None:
    watching = Watch(parked_fleet())
    rest = "10SM BKN040 20/10 A2990 RMK AO2 TSB05E20B40"
    assert watching.report("18010KT", "1353", rest) == ["opened"]
    assert watching.steps[0].since == utc("1340")
    assert watching.report("18010KT", "1439", kind="SPECI") == []
    assert watching.report("18010KT", "1440", kind="SPECI") == ["back"]


def test_a_stated_end_that_was_counted_does_not_open_again() -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1320", STORM, kind="SPECI")
    said = "10SM BKN040 20/10 A2990 RMK AO2 TSB1305E1353"
    watching.report("18010KT", "1353", said)
    assert watching.report("18010KT", "1453", "10SM BKN040 20/10 A2990") == ["back"]
    assert watching.report("18012KT", "1453", said, kind="SPECI", received="1457") == []


@pytest.mark.parametrize("weather", ["VCTS BKN040", "BKN040CB"])
def test_thunder_nearby_keeps_the_episode(weather: str) -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253", STORM)
    assert watching.report("18010KT", "1453", f"10SM {weather} 20/10 A2990") == []
    assert watching.report("18010KT", "1553") == ["back"]


def test_from_nearby_to_overhead_is_opened() -> None:
    watching = Watch(parked_fleet())
    assert watching.report("18010KT", "1253", "10SM VCTS BKN040 20/10 A2990") == ["near"]
    assert watching.report("18010KT", "1353", STORM) == ["opened"]


def test_weather_not_reported_neither_opens_nor_clears_thunder() -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253", STORM)
    watching.raw("METAR XLKS 221453Z NIL", now=utc("1456"))
    assert watching.level(THUNDER) == "over"


def test_a_fall_back_never_moves_the_thunder_track() -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253")
    watching.report("18010KT", "1400", STORM, station="XBRN")
    watching.tick("1408")  # it covers from here on
    assert watching.level(THUNDER) == "within"


# --- peaks -----------------------------------------------------------------------------------


def peak(knots: int, at: str) -> str:
    return f"10SM CLR 20/10 A2990 RMK AO2 PK WND 180{knots}/{at}"


def test_a_peak_opens_even_without_a_wind_group() -> None:
    watching = Watch(parked_fleet(), utc("1300"))
    assert watching.report("", "1353", peak(31, "1320")) == ["opened"]
    assert watching.steps[0].since == utc("1320")


def test_the_same_peak_in_later_reports_does_nothing() -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1330", peak(31, "1320"), kind="SPECI")
    watching.report("18010KT", "1353", peak(31, "1320"))
    # An hour after the peak itself; the repeat at 13:53 does not hold.
    assert watching.report("18010KT", "1420", kind="SPECI") == ["back"]


def test_a_peak_does_not_hide_another() -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1353", peak(20, "1340"))
    # Earlier than the one counted, and another: it counts.
    assert "opened" in watching.report("18010KT", "1400", peak(31, "1310"), kind="SPECI")


def test_a_peak_may_worsen() -> None:
    watching = Watch(parked_fleet())
    watching.report("18027KT", "1253")
    assert watching.report("18027KT", "1353", peak(32, "1330")) == ["worsened"]


def test_a_corrected_peak_is_withdrawn() -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1353", peak(81, "1330"))
    assert "withdrawn" in watching.report("COR 18010KT", "1353", peak(18, "1330"), received="1400")


# --- several limits on one figure -----------------------------------------------------------


def both_limits() -> Watch:
    own = (
        Limit("tie_down", Knots(25), "X-LARK"),
        Limit("tie_down", Knots(20), "X-LARK", Of.MEAN),
    )
    return Watch(a_fleet(an_aircraft(own=own)))


def test_gust_and_mean_limits_of_one_quantity_are_one_track() -> None:
    watching = both_limits()
    # Gust over, mean low: not one low report in it.
    assert watching.report("18012G27KT", "1253") == ["opened"]
    assert watching.steps[0].finding is not None
    assert watching.steps[0].finding.figure == 27.0
    assert watching.report("18012KT", "1353") == []
    assert watching.report("18012KT", "1453") == ["back"]


def test_the_limit_that_is_over_is_the_one_that_is_told() -> None:
    watching = both_limits()
    watching.report("18022KT", "1253")
    found = watching.steps[0].finding
    assert found is not None
    assert (found.figure, found.limit.of) == (22.0, Of.MEAN)


# --- unsettled -------------------------------------------------------------------------------


def swinging() -> Watch:
    """Two openings that went back, at 12:00 and 14:00, and a third at 16:00."""
    watching = Watch(parked_fleet(taxi=30), utc("1100"))
    for hour in (12, 14):
        watching.report("18035KT", f"{hour}00")
        watching.report("18010KT", f"{hour}30")
        watching.report("18010KT", f"{hour + 1}00")
    watching.report("18035KT", "1600")
    return watching


def test_the_third_opening_within_six_hours_is_unsettled() -> None:
    assert swinging().told() == ["opened", "back", "opened", "back", "unsettled"]


def test_unsettled_stays_open_until_two_hours_without_a_crossing() -> None:
    watching = swinging()
    for at in ("1630", "1700", "1730", "1759"):
        assert watching.report("18010KT", at) == []
    assert watching.report("18010KT", "1800") == ["back"]


def test_unsettled_does_not_open_anew_at_every_crossing() -> None:
    watching = swinging()
    watching.report("18010KT", "1700")
    assert watching.report("18035KT", "1730") == []
    assert watching.report("18010KT", "1830") == []
    assert watching.report("18010KT", "1930") == ["back"]


def test_unsettled_is_still_told_when_it_worsens() -> None:
    assert swinging().report("18042KT", "1630") == ["worsened"]


def test_openings_longer_than_six_hours_ago_do_not_count() -> None:
    watching = Watch(parked_fleet(taxi=30), utc("0800"))
    for hour in (9, 13):
        watching.report("18035KT", f"{hour:02d}00")
        watching.report("18010KT", f"{hour:02d}30")
        watching.report("18010KT", f"{hour + 1:02d}00")
    assert watching.report("18035KT", "1501") == ["opened"]


def test_a_withdrawn_opening_does_not_count_towards_unsettled() -> None:
    watching = Watch(parked_fleet(taxi=30), utc("1100"))
    watching.report("18035KT", "1200")
    watching.report("COR 18010KT", "1200", received="1205")
    watching.report("18035KT", "1230")
    watching.report("18010KT", "1300")
    watching.report("18010KT", "1330")
    assert watching.report("18035KT", "1430") == ["opened"]


def test_a_runways_track_swings_too() -> None:
    watching = Watch(flying_fleet(), utc("1100"))
    for hour in (12, 14):
        watching.report("22530KT", f"{hour}00")
        watching.report("18005KT", f"{hour}30")
        watching.report("18005KT", f"{hour + 1}00")
    assert "unsettled" in watching.report("22530KT", "1600")
    watching.report("18005KT", "1630")
    watching.report("18005KT", "1730")
    assert watching.level(RUNWAYS) == "over"
    assert "back" in watching.report("18005KT", "1800")


# --- the fall-back station ----------------------------------------------------------------------


def test_a_fall_back_has_no_effect_while_the_main_station_is_fresh() -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253")
    assert watching.report("18040KT", "1300", station="XBRN") == []
    assert watching.level() == "within"


def test_a_fall_back_is_judged_from_the_overdue_time_on() -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253")
    watching.report("18040KT", "1350", station="XBRN")
    assert [step for step in watching.tick_until("1400", "1410") if step[1] == "opened"] == [
        ("1408", "opened")
    ]
    opening = next(step for step in watching.steps if step.name == "opened")
    assert [(ref.station, ref.fall_back) for ref in opening.reports] == [("XBRN", True)]


def gone_main(over_at: str = "1253") -> Watch:
    """An episode that the main station opened before it fell silent."""
    watching = Watch(parked_fleet(taxi=30))
    watching.report("18035KT", over_at)
    return watching


def test_a_fall_back_does_not_clear_what_the_main_station_opened() -> None:
    watching = gone_main()
    watching.report("18005KT", "1356", station="XBRN")
    watching.tick("1410")
    watching.report("18005KT", "1426", station="XBRN")
    assert watching.level(TAXI) == "over"


def test_a_fall_back_may_clear_after_two_hours_without_the_main_station() -> None:
    watching = gone_main()
    for at in ("1356", "1456", "1526"):
        watching.report("18005KT", at, station="XBRN")
    # 14:53 is two hours after 12:53: of these only 14:56 and 15:26 count.
    assert watching.level(TAXI) == "within"
    assert watching.told()[-1] == "back"
    assert all(ref.fall_back for ref in watching.steps[-1].reports)


def test_a_fall_back_clears_what_it_opened() -> None:
    watching = Watch(parked_fleet(taxi=30))
    watching.report("18010KT", "1253")
    watching.report("18035KT", "1356", station="XBRN")
    watching.tick("1408")
    watching.report("18005KT", "1431", station="XBRN")
    assert watching.level(TAXI) == "over"
    watching.report("18005KT", "1446", station="XBRN")
    assert watching.level(TAXI) == "within"


def test_the_main_station_goes_on_from_its_own_count() -> None:
    watching = gone_main()
    watching.report("18028KT", "1400", station="XBRN")
    watching.tick("1408")  # stands, but neither clears nor restarts the count
    assert watching.level(TAXI) == "over"
    watching.report("18005KT", "1355", received="1412")
    assert watching.report("18005KT", "1453") == ["back"]
    assert [ref.observed_at for ref in watching.steps[-1].reports] == [utc("1355"), utc("1453")]


@pytest.mark.promise(7)
def test_a_fall_back_that_may_not_clear_bridges_no_silence_of_the_main_station() -> None:
    watching = gone_main()
    watching.report("18005KT", "1323", kind="SPECI")
    watching.report("18005KT", "1426", station="XBRN")
    watching.tick("1440")
    watching.report("18005KT", "1450")  # 87 minutes after its own last one
    assert watching.level(TAXI) == "over"
    assert "back" in watching.report("18005KT", "1500", kind="SPECI")
    back = next(step for step in watching.steps if step.name == "back")
    assert [ref.observed_at for ref in back.reports] == [utc("1450"), utc("1500")]


def test_a_fall_back_without_wind_does_not_cover() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18040KT", "1340", station="XBRN")
    watching.report("", "1359", station="XBRN")
    watching.tick("1410")
    assert [e.station for e in watching.state.entries] == ["XLKS", "XBRN"]
    assert watching.state.entries[-1].observed_at == utc("1340")


def test_a_corrected_fall_back_report_is_withdrawn_even_when_the_main_station_is_back() -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253")
    watching.report("18040KT", "1356", station="XBRN")
    watching.tick("1408")
    assert watching.level() == "over"
    watching.report("18010KT", "1410")
    assert "withdrawn" in watching.report("COR 18004KT", "1356", station="XBRN", received="1414")
    assert watching.level() == "within"


def test_the_first_fall_back_with_a_fresh_report_is_used() -> None:
    watching = Watch(parked_fleet())
    watching.report("18040KT", "1250", station="XBRN")
    assert watching.level() == "over"  # nothing was ever heard of the main station


def test_nothing_is_known_of_a_track_that_no_report_has_judged() -> None:
    assert Watch(parked_fleet()).level(TIE_DOWN) == "within"
