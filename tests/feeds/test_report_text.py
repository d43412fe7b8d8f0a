"""Text from outside: quoted harmlessly, joined, dated."""

import time
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from windwatch.feeds.report_text import in_minutes, observed_near, quoted, report_text, station_of


@given(st.text())
def test_a_quotation_is_short_and_printable_whatever_it_quotes(text):
    said = quoted(text)
    assert said.isprintable()
    # 80 characters, each at most a ten-digit escape, and the marks.
    assert len(said) <= 80 * 10 + 3


def test_a_long_text_is_cut_with_a_mark():
    assert quoted("METAR " * 100, 10) == '"METAR META…"'
    assert quoted("METAR", 10) == '"METAR"'


@pytest.mark.parametrize("framed", ["\x01\r\r\n{}\r\r\n\x03", "\ufeff{}", " {} \n", "{}\r\n\r\n"])
def test_frames_of_the_wire_are_taken_off(framed):
    text = "METAR XLKS 221053Z AUTO 00000KT"
    assert report_text(framed.format(text)) == (text, None)


def test_a_megabyte_of_anything_is_judged_in_no_time():
    """reliability.md section 5: 1 MB of near-matches within 50 ms."""
    for text in ("METAR " * 200_000, " " * 1_200_000, "\x00" * 1_200_000, "A" * 1_200_000):
        began = time.perf_counter()
        report_text(text)
        quoted(text)
        station_of(text)
        assert time.perf_counter() - began < 0.05


@pytest.mark.parametrize(
    ("line", "station"),
    [
        ("METAR XLKS 221053Z AUTO 00000KT", "XLKS"),
        ("SPECI XLKS 221053Z", "XLKS"),
        ("XLKS 221053Z 22015KT", "XLKS"),
        ("METAR COR K1X5 221053Z 22015KT", "K1X5"),
        ("TAF XLKS 221730Z 2218/2318 19017G25KT", None),
        ("METAR XLKS", None),
        ("<html>", None),
        ("METAR XLKS ２２１０５３Z 22015KT", None),
    ],
)
def test_a_line_begins_like_a_report_or_it_does_not(line, station):
    assert station_of(line) == station


@pytest.mark.fault("F26")
@pytest.mark.parametrize(
    ("received", "group", "observed"),
    [
        ("2026-11-01T00:03+00:00", "312353Z", "2026-10-31T23:53+00:00"),  # F26: month
        ("2027-01-01T00:03+00:00", "312353Z", "2026-12-31T23:53+00:00"),  # year
        ("2028-03-01T00:03+00:00", "292353Z", "2028-02-29T23:53+00:00"),  # leap day
        ("2027-03-01T00:03+00:00", "282353Z", "2027-02-28T23:53+00:00"),  # no leap day
        ("2026-09-30T23:58+00:00", "010000Z", "2026-10-01T00:00+00:00"),  # just ahead
        ("2026-09-22T19:09+00:00", "221907Z", "2026-09-22T19:07+00:00"),
    ],
)
def test_f26_a_day_and_hour_get_the_nearest_month_and_year(received, group, observed):
    found = observed_near(f"METAR XLKS {group} 22015KT", datetime.fromisoformat(received))
    assert found == datetime.fromisoformat(observed)


@pytest.mark.parametrize("group", ["000000Z", "322353Z", "012460Z", "012400Z"])
def test_a_time_that_does_not_exist_is_none(group):
    assert observed_near(f"METAR XLKS {group} 22015KT", datetime(2026, 9, 22, tzinfo=UTC)) is None


@given(
    st.datetimes(datetime(2001, 1, 1), datetime(2099, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001
    st.timedeltas(timedelta(days=-13), timedelta(days=13)),
)
def test_an_observation_within_a_fortnight_gets_its_own_date_back(observed, lag):
    observed = observed.replace(second=0, microsecond=0)
    line = f"METAR XLKS {observed:%d%H%M}Z 22015KT"
    assert observed_near(line, observed + lag) == observed


def test_lengths_of_time_are_said_in_seconds_or_minutes():
    assert in_minutes(timedelta(seconds=48)) == "48 s"
    assert in_minutes(timedelta(minutes=15)) == "15 min"
