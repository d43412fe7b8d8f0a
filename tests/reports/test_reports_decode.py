"""Whole reports: header, identity, and what happens to text that is none."""

import time
from datetime import UTC, datetime, timedelta, timezone

import pytest

from tests.reports.one_report import DAY, NOW, at, decode
from windwatch.reports.decode import identity, read_wind
from windwatch.reports.taf import decode_forecast
from windwatch.reports.text import normalise, split_reports
from windwatch.wind import DegreesTrue, Steady

# --- header ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "kind", "correction", "automatic"),
    [
        (f"METAR {DAY} 31019G31KT", "METAR", 0, False),
        (f"SPECI {DAY} 31019G31KT", "SPECI", 0, False),
        (f"{DAY} 31019G31KT", "METAR", 0, False),
        (f"METAR COR {DAY} 31019G31KT", "METAR", 1, False),
        (f"{DAY} COR 31019G31KT", "METAR", 1, False),
        (f"{DAY} COR AUTO 31019G31KT", "METAR", 1, True),
        (f"{DAY} AUTO COR 31019G31KT", "METAR", 1, True),
        (f"COR SPECI {DAY} 31019G31KT", "SPECI", 1, False),
        (f"{DAY} CCA 31019G31KT", "METAR", 1, False),
        (f"{DAY} CCC 31019G31KT", "METAR", 3, False),
        (f"METAR {DAY} CCB AUTO 31019G31KT", "METAR", 2, True),
        (f"{DAY} RTD 31019G31KT", "METAR", 0, False),
        (f"METAR METAR {DAY} AUTO 31019G31KT", "METAR", 0, True),
        ("METAR XLKS XLKS 221953Z 31019G31KT", "METAR", 0, False),
        ("XLKS 221953Z 221953Z 31019G31KT", "METAR", 0, False),
        ("xlks  221953z\tauto\n 31019g31kt =", "METAR", 0, True),
        ("\ufeffXLKS 221953Z\x00 31019G31KT=", "METAR", 0, False),
    ],
)
def test_the_header_is_read_in_every_order_that_is_sent(text, kind, correction, automatic):
    for found in (decode(text), read_wind(text, NOW)):
        assert found.station == "XLKS"
        assert found.observed_at == at(19, 53)
        assert (found.kind, found.correction, found.automatic) == (kind, correction, automatic)
        assert found.wind is not None
        assert (found.wind.direction, found.wind.speed) == (Steady(DegreesTrue(310.0)), 19)
        assert found.wind.gust == 31
        assert found.problems == ()
    assert decode(text).corrected is (correction > 0)


def test_the_kind_a_feed_gives_counts_where_the_text_has_none():
    assert decode(f"{DAY} 31019KT", kind="SPECI").kind == "SPECI"
    assert decode(f"METAR {DAY} 31019KT", kind="SPECI").kind == "METAR"


def test_a_day_that_does_not_exist_leaves_no_time_and_is_said():
    found = decode("XLKS 321953Z 31019KT")
    assert found.observed_at is None
    assert found.problems == ("time 321953Z: no such day, hour or minute",)
    assert found.wind is not None


def test_a_time_without_z_is_read_and_flagged():
    found = decode("XLKS 221953 31019KT")
    assert found.observed_at == at(19, 53)
    assert found.problems == ("time 221953: no Z, read as UTC",)


def test_the_feed_s_full_date_settles_month_and_year():
    observed_at = datetime(2021, 2, 22, 19, 53, tzinfo=UTC)
    found = decode(f"{DAY} 31019KT", observed_at=observed_at)
    assert found.observed_at == observed_at
    assert found.problems == ()


def test_the_text_s_own_time_wins_over_the_feed_s_and_the_disagreement_is_said():
    found = decode(f"{DAY} 31019KT", observed_at=at(20, 53))
    assert found.observed_at == at(19, 53)
    assert found.problems == ("time 221953Z in the text, but the feed says 22 Sep 20:53Z",)


def test_the_feed_s_time_stands_in_where_the_text_has_none():
    found = decode("METAR XLKS 31019KT", observed_at=at(20, 53))
    assert found.observed_at == at(20, 53)
    assert found.problems == ("no day and time (ddhhmmZ)",)


def test_a_feed_s_time_in_another_zone_is_the_same_time():
    local = at(19, 53).astimezone(timezone(timedelta(hours=-4)))
    assert decode(f"{DAY} 31019KT", observed_at=local).problems == ()


@pytest.mark.parametrize("text", ["XLKS 221953Z NIL", "XLKS 221953Z AUTO NIL=", "METAR XLKS NIL"])
def test_nil_is_no_wind_and_no_weather(text):
    found = decode(text)
    assert (found.station, found.nil, found.wind) == ("XLKS", True, None)
    assert not found.weather.reported
    assert "NIL: no report was made" in found.problems


@pytest.mark.parametrize(
    "text",
    ["", " ", "=", "hello", "WIND FROM THE WEST", "12345", "ÄÖÜ 221953Z", "ZZ 221953Z 31019KT"],
)
def test_what_is_no_report_has_no_station_and_says_so(text):
    found = decode(text)
    assert found.station == ""
    assert found.wind is None
    assert found.problems[0].startswith("no report: ")


@pytest.mark.parametrize(
    "text",
    [
        "TAF XLKS 221730Z 2218/2318 19017G25KT P6SM",
        "TAF AMD XLKS 222047Z 2221/2318 31015G24KT P6SM",
        "XLKS 221730Z 2218/2318 19017G25KT P6SM",
        "XLKS 010528Z 010606 00000KT 6SM BR SKC",
    ],
)
def test_a_forecast_is_never_an_observed_wind(text):
    found = decode(text, kind="METAR")
    assert (found.kind, found.wind) == ("TAF", None)
    assert "a forecast (TAF), not an observation" in found.problems


# --- text ------------------------------------------------------------------


def test_two_reports_in_one_text_are_parted():
    text = "EFUT 060620Z 01009KT CAVOK Q1021= METAR COR EFUT 060620Z 01008KT CAVOK Q1021="
    first, second = split_reports(text)
    assert first == "EFUT 060620Z 01009KT CAVOK Q1021"
    assert second == "METAR COR EFUT 060620Z 01008KT CAVOK Q1021"
    assert not decode(first).corrected
    assert decode(second).corrected


def test_of_two_reports_decoded_as_one_the_first_is_read_and_the_second_is_said():
    for found in (
        decode("XLKS 221953Z 9999= METAR COR XLKS 221953Z 01008KT"),
        read_wind("XLKS 221953Z 9999= METAR COR XLKS 221953Z 01008KT", NOW),
    ):
        assert found.wind is None
        assert "more than one report in the text: only the first is read" in found.problems


@pytest.mark.parametrize(
    ("text", "normal"),
    [
        (" metar  xlks\t221953z \n31019kt=\r\n", "METAR XLKS 221953Z 31019KT"),
        ("\ufeffXLKS\x00221953Z\u00a031019KT", "XLKS 221953Z 31019KT"),
        ("XLKS 221953Z 31019KT =", "XLKS 221953Z 31019KT"),
        ("\ud800XLKS", "XLKS"),
    ],
)
def test_text_is_put_in_order(text, normal):
    assert normalise(text) == normal
    assert normalise(normal) == normal


def test_a_text_longer_than_any_report_is_cut_and_said():
    found = decode(f"{DAY} 31019KT 9999 " + "FEW020 " * 1000)
    assert found.problems == ("text longer than 2000 characters: the rest is not read",)
    assert len(found.raw) <= 2000
    assert found.wind is not None


@pytest.mark.parametrize(
    "piece",
    ["XLKS 221953Z ", "22030G40KT ", "TSTSTSTSTS", "RMK PK WND 31046/1911 ", "0", "/", "CB/",
     "TSB04E41", " 31046/11", "=", "\x00", "A", "AUTO ", "TEMPO 31019KT ", "RWY03 23006KT ",
     "FM2030 ", "LTG DSNT N AND ", "\ud800"],
)  # fmt: skip
def test_a_megabyte_of_near_matches_takes_no_longer_than_it_should(piece):
    """`reliability.md` section 5: 50 ms, here of processor time, for CI shares its machine."""
    text = f"{DAY} " + piece * (1_000_000 // len(piece))
    for read in (
        decode,
        lambda text: read_wind(text, NOW),
        lambda text: decode_forecast(text, NOW),
        split_reports,
    ):
        assert min(processor_seconds(read, text) for _ in range(5)) <= 0.050


def processor_seconds(read, text):
    started = time.process_time()
    read(text)
    return time.process_time() - started


# --- identity --------------------------------------------------------------


def test_the_same_report_has_the_same_id_from_every_feed():
    ids = {
        identity(decode(text))
        for text in (f"METAR {DAY} 31019KT 9999=", f"{DAY}  31019kt 9999", f"{DAY} 31019KT 9999")
    }
    assert len(ids) == 1


def test_another_kind_time_or_text_is_another_report():
    ids = {
        identity(decode(text))
        for text in (
            f"METAR {DAY} 31019KT",
            f"SPECI {DAY} 31019KT",
            "METAR XLKS 221954Z 31019KT",
            f"METAR {DAY} COR 31019KT",
            f"METAR {DAY} 31018KT",
            "METAR XBRN 221953Z 31019KT",
        )
    }
    assert len(ids) == 6


def test_a_speci_named_by_the_feed_is_the_same_as_one_named_in_the_text():
    assert identity(decode(f"{DAY} 31019KT", kind="SPECI")) == identity(
        decode(f"SPECI {DAY} 31019KT")
    )
