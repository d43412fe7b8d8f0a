"""The Data API: sample payloads of reference/feeds/awc, and answers that are none."""

import json
import re
from datetime import UTC, datetime, timedelta

import pytest
import responses

from windwatch.clock import HandClock
from windwatch.errors import FeedBusy, FeedError
from windwatch.feeds.awc import batches, hours_back
from windwatch.feeds.build import build_feed
from windwatch.feeds.values import FeedSettings

NOW = datetime(2026, 10, 14, 18, 5, tzinfo=UTC)
BASE = "https://aviationweather.gov/api/data/metar"
RECORD = {
    "icaoId": "XLKS",
    "obsTime": 1790104020,
    "receiptTime": "2026-09-22T19:09:00.000Z",
    "reportTime": "2026-09-22T20:00:00.000Z",
    "metarType": "SPECI",
    "rawOb": "SPECI XLKS 221907Z 30028G41KT 2SM +TSRA SQ BKN028CB 22/19 A2972",
}


@pytest.fixture
def web():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


def fetch(*stations, now=NOW, form="json", **asked):
    settings = FeedSettings("awc", contact="ops@larkspur.example", format=form)
    feed = build_feed(settings, HandClock(NOW))
    try:
        return feed.fetch(stations, now, **asked)
    finally:
        feed.close()


def answer_with(web, *records, **more):
    web.get(BASE, json=list(records), **more)


# --- what is asked ---------------------------------------------------------


def test_all_stations_go_into_one_request_with_a_window_of_two_hours(web):
    answer_with(web, RECORD)
    result = fetch("xlks", "XBRN")
    assert web.calls[0].request.url == f"{BASE}?ids=XLKS,XBRN&format=json&hours=2"
    assert result.asked == ("XLKS", "XBRN")


@pytest.mark.parametrize(
    ("gap", "hours"),
    [
        (timedelta(minutes=1), 2),
        (timedelta(minutes=95), 3),
        (timedelta(hours=6), 7),
        (timedelta(days=30), 100),
    ],
)
def test_a_gap_in_watching_is_asked_for_with_half_an_hour_to_spare(gap, hours):
    assert hours_back(NOW, NOW - gap) == hours


def test_a_gap_too_long_for_one_answer_is_said(web):
    answer_with(web, RECORD)
    result = fetch("XLKS", since=NOW - timedelta(days=30))
    assert result.problems == (
        "awc: asked for the last 100 h only; the feed gives no more at once",
    )


def test_no_batch_can_need_more_than_400_entries():
    stations = tuple(f"X{number:03d}" for number in range(200))
    for hours in (1, 2, 7, 30, 100):
        parts = batches(stations, hours)
        assert sum(parts, ()) == stations
        assert all(len(part) * hours * 4 <= 400 for part in parts)


def test_a_batch_that_fails_does_not_lose_the_others(web):
    stations = tuple(f"X{number:03d}" for number in range(60))
    record = RECORD | {"icaoId": "X059", "rawOb": "METAR X059 221907Z 30028KT"}
    web.get(BASE, status=400, body='{"status":"error","error":"no"}')
    web.get(BASE, json=[record])
    result = fetch(*stations)
    assert [report.station_asked for report in result.reports] == ["X059"]
    assert result.asked == stations[50:]
    assert any("HTTP 400" in problem for problem in result.problems)


def test_after_a_refusal_the_remaining_batches_are_left_in_peace(web):
    web.get(BASE, status=429)
    with pytest.raises(FeedBusy):
        fetch(*(f"X{number:03d}" for number in range(120)))
    assert len(web.calls) == 1


# --- JSON ------------------------------------------------------------------


def test_the_text_and_the_time_of_observation_are_taken_not_the_nominal_hour(web):
    answer_with(web, RECORD)
    (report,) = fetch("XLKS").reports
    assert report.text == RECORD["rawOb"]
    assert report.observed_at == datetime(2026, 9, 22, 19, 7, tzinfo=UTC)
    assert report.received_at == NOW
    assert (report.kind, report.station_asked, report.source) == ("SPECI", "XLKS", "awc")


def test_every_real_record_of_2026_gives_its_report(reference, web):
    """Source: reference/feeds/awc/metar_real_2026.json, live objects captured Jan to Sep 2026."""
    body = (reference / "feeds/awc/metar_real_2026.json").read_bytes()
    records = json.loads(body)
    web.get(BASE, body=body, content_type="application/json; charset=utf-8")
    result = fetch("KJFK", "KBOS", "KMCI", "KORD", "KTYS", "KEDU", "ZUCK")
    assert result.problems == ()
    assert {report.text for report in result.reports} == {record["rawOb"] for record in records}
    times = [report.observed_at for report in result.reports]
    assert times == sorted(times)
    zuck = next(report for report in result.reports if report.station_asked == "ZUCK")
    assert "08004MPS 010V140" in zuck.text
    assert zuck.observed_at == datetime(2026, 7, 15, 9, 0, tzinfo=UTC)


def test_every_constructed_case_gives_its_report(reference, web):
    """Source: reference/feeds/awc/metar_cases_constructed.json: VRB, calm, missing wind, COR."""
    body = (reference / "feeds/awc/metar_cases_constructed.json").read_bytes()
    records = json.loads(body)
    web.get(BASE, body=body)
    result = fetch(*(record["icaoId"] for record in records))
    assert len(result.reports) == 12
    assert result.problems == ()
    missing = next(report for report in result.reports if report.station_asked == "KCOF")
    assert missing.text == "METAR KCOF 141755Z 10SM SCT045 29/20 A3003 RMK AO2A"


def test_the_schema_before_2025_with_its_nulls_is_read_too(reference, web):
    """Source: reference/feeds/awc/metar_real_pre2025_schema.json, October 2023."""
    web.get(BASE, body=(reference / "feeds/awc/metar_real_pre2025_schema.json").read_bytes())
    (report,) = fetch("LEJR").reports
    assert report.text == "LEJR 271530Z 24011KT 220V280 9999 FEW050 22/13 Q1015"
    assert report.kind == "METAR"


def test_a_correction_comes_after_what_it_corrects(reference, web):
    """Source: reference/feeds/awc/metar_history_constructed.json, newest first."""
    web.get(BASE, body=(reference / "feeds/awc/metar_history_constructed.json").read_bytes())
    texts = [report.text[:22] for report in fetch("KSFB").reports]
    assert texts == [
        "METAR KSFB 141553Z VRB",
        "METAR KSFB 141653Z 150",
        "SPECI KSFB 141722Z 260",
        "METAR KSFB 141753Z 240",
        "METAR KSFB 141753Z COR",
    ]


@pytest.mark.fault("F21")
@pytest.mark.parametrize(
    ("odd", "words"),
    [
        ({"rawOb": None}, "no rawOb"),
        ({"rawOb": ""}, "without text"),
        ({"rawOb": "METAR XBRN " + "X" * 1_000_000}, "of 1,000,011 characters"),
        ({"rawOb": "METAR XBRN 221853Z \x00 22015KT"}, r"control characters: .*\\x00"),
        ({"rawOb": "METAR XBRN 221853Z \u202e22015KT"}, r"control characters: .*\\u202e"),
        ({"metarType": "SYNOP"}, "neither METAR nor SPECI"),
        ({"icaoId": "XXXX"}, "was not asked for"),
    ],
)
def test_f21_one_bad_record_does_not_lose_the_others(web, odd, words):
    answer_with(web, RECORD | {"icaoId": "XBRN"} | odd, RECORD)
    result = fetch("XLKS", "XBRN")
    assert [report.station_asked for report in result.reports] == ["XLKS"]
    (problem,) = result.problems
    assert problem.startswith("awc: record 1")
    assert re.search(words, problem)
    assert len(problem) < 250


def test_a_record_that_is_no_object_or_has_a_key_twice_does_not_lose_the_others(web):
    good = json.dumps(RECORD)
    twice = '{"icaoId": "XLKS", "rawOb": "METAR XLKS 221853Z 20018KT", "rawOb": "METAR XLKS"}'
    web.get(BASE, body=f"[17, {twice}, {good}]")
    result = fetch("XLKS")
    assert [report.text for report in result.reports] == [RECORD["rawOb"]]
    assert result.problems == (
        "awc: record 1: it is no JSON object but 17",
        "awc: record 2: it has the key 'rawOb' twice",
    )


@pytest.mark.parametrize("odd", [None, "1790104020", True, -1, 10**15, 1790104020.5])
def test_an_odd_observation_time_is_said_and_the_text_kept(web, odd):
    answer_with(web, RECORD | {"obsTime": odd})
    result = fetch("XLKS")
    assert result.reports[0].observed_at is None
    assert "obsTime" in result.problems[0]


def test_a_bad_byte_in_one_record_does_not_lose_the_others(web):
    body = json.dumps([RECORD, RECORD | {"icaoId": "XBRN"}]).encode()
    web.get(BASE, body=b"\xef\xbb\xbf" + body.replace(b"+TSRA", b"+TS\xff\xfeRA", 1))
    assert len(fetch("XLKS", "XBRN").reports) == 2


def test_an_answer_at_its_limit_is_said_to_be_cut(web):
    answer_with(web, *[RECORD] * 400)
    assert "400 records, the most that come" in fetch("XLKS").problems[-1]


# --- no reports, and no answers --------------------------------------------


def test_204_means_no_report_in_the_window(web):
    web.get(BASE, status=204)
    result = fetch("XLKS")
    assert (result.reports, result.problems, result.asked) == ((), (), ("XLKS",))


def test_304_means_nothing_new(web):
    answer_with(web, RECORD, headers={"ETag": 'W/"1"'})
    web.get(BASE, status=304)
    clock = HandClock(NOW)
    feed = build_feed(FeedSettings("awc", contact="ops@larkspur.example"), clock)
    assert not feed.fetch(("XLKS",), NOW).not_modified
    clock.move(timedelta(minutes=2))
    result = feed.fetch(("XLKS",), NOW)
    feed.close()
    assert result.not_modified
    assert result.reports == ()
    assert web.calls[1].request.headers["If-None-Match"] == 'W/"1"'


@pytest.mark.fault("F05", "F06")
@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "empty"),
        (b" \n", "empty"),
        (b"[]", "an empty list"),
        (b'{"status":"error","error":"Must specify station IDs"}', "Must specify station IDs"),
        (b"{}", "no JSON list"),
        (b'"METAR"', "no JSON list"),
        (b"<!DOCTYPE html><html><title>Log in</title>", "no JSON: .*line 1"),
        (b"METAR XLKS 221907Z 30028G41KT", "no JSON"),
        (b'[{"icaoId":"XLKS"', "no JSON"),
        (b"[NaN]", "no JSON number"),
        (b"[" + b"9" * 5000 + b"]", "too long"),
        (b"[" * 65 + b"]" * 65, "deeper than 64"),
        (b"[" * 100_000 + b"]" * 100_000, "deeper than 64"),
        (b'[{"a":1,"a":2}]', "none of 1 records holds a report"),
    ],
)
def test_f05_f06_an_answer_in_another_format_is_an_error_that_names_what_came(web, body, words):
    web.get(BASE, body=body, content_type="text/html; charset=utf-8")
    with pytest.raises(FeedError, match=words) as failed:
        fetch("XLKS")
    said = str(failed.value)
    assert f"awc {BASE}: HTTP 200, text/html; charset=utf-8," in said
    assert len(said) < 400


def test_64_levels_are_still_read(web):
    deep = json.loads("[" * 62 + "]" * 62)
    answer_with(web, RECORD | {"clouds": deep})
    assert len(fetch("XLKS").reports) == 1


# --- raw text --------------------------------------------------------------


def test_raw_text_gives_the_same_reports_as_json(reference, web):
    """Source: reference/feeds/awc/metar_cases_constructed(.json|_raw.txt)."""
    body = (reference / "feeds/awc/metar_cases_constructed_raw.txt").read_bytes()
    web.get(BASE, body=body, content_type="text/plain")
    stations = [line.split()[1].decode() for line in body.splitlines()]
    result = fetch(*stations, form="raw")
    assert "format=raw" in web.calls[0].request.url
    assert sorted(report.text for report in result.reports) == sorted(body.decode().splitlines())
    assert result.problems == ()


def test_raw_lines_come_oldest_first_and_continued_lines_are_joined(web):
    body = (
        "SPECI XLKS 221907Z 30028G41KT 2SM +TSRA SQ\n     BKN028CB 22/19 A2972\n"
        "METAR XLKS 221853Z 20018G25KT 10SM\n"
    )
    web.get(BASE, body=body)
    result = fetch("XLKS", form="raw", now=datetime(2026, 9, 22, 19, 9, tzinfo=UTC))
    assert [report.text for report in result.reports] == [
        "METAR XLKS 221853Z 20018G25KT 10SM",
        "SPECI XLKS 221907Z 30028G41KT 2SM +TSRA SQ BKN028CB 22/19 A2972",
    ]


@pytest.mark.fault("F21")
def test_f21_a_monstrous_line_among_good_ones_is_one_problem(web):
    good = [f"METAR X{number:03d} 221853Z 20018KT" for number in range(50)]
    monster = "METAR X007 221853Z \x00\ufeff\u202e" + "A" * 1_000_000
    web.get(BASE, body="\n".join([*good[:20], monster, *good[20:]]).encode() + b"\xff\xfe\n")
    result = fetch(*(f"X{number:03d}" for number in range(50)), form="raw")
    assert len(result.reports) == 50
    (problem,) = result.problems
    assert problem.startswith('awc: line 21: a report of 1,000,022 characters: "METAR X007')
    assert "\\x00\\ufeff\\u202e" in problem


def test_a_raw_line_that_is_no_report_or_of_another_station_is_a_problem(web):
    web.get(BASE, body="no such thing\nMETAR XXXX 221853Z 0KT\nMETAR XLKS 221853Z 20018KT\n")
    result = fetch("XLKS", form="raw")
    assert len(result.reports) == 1
    assert result.problems == (
        'awc: line 1: no METAR or SPECI: "no such thing"',
        "awc: line 2: XXXX was not asked for",
    )


def test_a_raw_page_without_any_report_is_an_error(web):
    web.get(BASE, body="<html>\n<body>Maintenance</body></html>", content_type="text/html")
    with pytest.raises(FeedError, match="no line is a METAR or SPECI"):
        fetch("XLKS", form="raw")
