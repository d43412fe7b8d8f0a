"""Forecasts of the feeds: sample payloads of reference/feeds, and answers that hold none."""

import json
from datetime import UTC, datetime, timedelta

import pytest
import responses

from tests.servers.feed_server import PlayedFeed
from windwatch.clock import HandClock
from windwatch.errors import FeedBusy, FeedError
from windwatch.feeds.forecasts import FORECAST_KINDS, build_forecasts, forecast_station
from windwatch.feeds.values import KINDS, FeedSettings
from windwatch.settings.schema_rim import FORECAST_FEEDS

NOW = datetime(2026, 5, 20, 9, 0, tzinfo=UTC)
AWC = "https://aviationweather.gov/api/data/taf"
NOAA = "https://tgftp.nws.noaa.gov/data/forecasts/taf/stations"
TAF = "TAF XBRN 221730Z 2218/2318 19017G25KT P6SM SCT045 FM222000 20018G25KT P6SM VCTS"
RECORD = {"icaoId": "XBRN", "issueTime": "2026-09-22T17:30:00.000Z", "mostRecent": 1, "rawTAF": TAF}


@pytest.fixture
def web():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


def feed_of(kind, clock=None, **more):
    settings = FeedSettings(kind, contact="ops@larkspur.example", **more)
    return build_forecasts(settings, clock or HandClock(NOW))


def fetch(kind, *stations, **asked):
    feed = feed_of(kind)
    try:
        return feed.fetch(stations, NOW, **asked)
    finally:
        feed.close()


def test_the_settings_name_the_kinds_that_have_forecasts():
    assert set(FORECAST_FEEDS) == set(FORECAST_KINDS)
    assert set(FORECAST_KINDS) < set(KINDS)


@pytest.mark.parametrize("kind", sorted(set(KINDS) - set(FORECAST_KINDS)))
def test_every_other_kind_has_none(kind):
    assert feed_of(kind) is None


@pytest.mark.parametrize(
    ("line", "station"),
    [
        (TAF, "XBRN"),
        ("TAF AMD XBRN 222047Z 2221/2318 31015G24KT", "XBRN"),
        ("TAF TAF COR XBRN 222047Z 2221/2318 31015G24KT", "XBRN"),
        ("XBRN 222047Z 2221/2318 31015G24KT", "XBRN"),
        ("METAR XLKS 221853Z 20018G25KT", None),
        ("TAF", None),
        ("", None),
    ],
)
def test_whose_a_forecast_is(line, station):
    assert forecast_station(line) == station


# --- awc -------------------------------------------------------------------


def test_all_stations_go_into_one_request(web):
    web.get(AWC, json=[RECORD])
    result = fetch("awc", "xbrn", "XLKS")
    assert web.calls[0].request.url == f"{AWC}?ids=XBRN,XLKS&format=json"
    assert "windwatch/" in web.calls[0].request.headers["User-Agent"]
    assert result.asked == ("XBRN", "XLKS")


def test_many_stations_go_into_batches(web):
    web.get(AWC, json=[])
    stations = tuple(f"X{number:03d}" for number in range(250))
    assert fetch("awc", *stations).asked == stations
    assert len(web.calls) == 3


def test_every_real_record_of_2026_gives_its_forecast(reference, web):
    """Source: reference/feeds/awc/taf_real_2026.json, live objects captured in 2026."""
    body = (reference / "feeds/awc/taf_real_2026.json").read_bytes()
    web.get(AWC, body=body, content_type="application/json; charset=utf-8")
    result = fetch("awc", "KORD", "KBOS", "KMCI")
    assert result.problems == ()
    assert [each.text for each in result.reports] == [r["rawTAF"] for r in json.loads(body)]
    kord = result.reports[0]
    assert (kord.station_asked, kord.kind, kord.source) == ("KORD", "TAF", "awc")
    assert kord.observed_at == datetime(2026, 5, 20, 8, 52, tzinfo=UTC)
    assert kord.received_at == NOW


def test_the_constructed_cases_give_theirs(reference, web):
    """Source: reference/feeds/awc/taf_cases_constructed.json."""
    web.get(AWC, body=(reference / "feeds/awc/taf_cases_constructed.json").read_bytes())
    result = fetch("awc", "KSFB", "EGTK")
    assert [each.station_asked for each in result.reports] == ["KSFB", "EGTK"]
    assert result.problems == ()


def test_no_forecast_is_an_answer(reference, web):
    """Source: reference/feeds/awc/taf_empty_200.json; 200 with an empty list (feeds.md 1.3)."""
    web.get(AWC, body=(reference / "feeds/awc/taf_empty_200.json").read_bytes())
    result = fetch("awc", "XBRN")
    assert (result.reports, result.problems, result.asked) == ((), (), ("XBRN",))


def test_nothing_at_all_is_an_answer_too(web):
    web.get(AWC, status=204)
    assert fetch("awc", "XBRN").reports == ()


def test_one_that_was_superseded_is_left_out(web):
    older = RECORD | {"mostRecent": 0, "rawTAF": TAF.replace("221730Z", "221130Z")}
    web.get(AWC, json=[older, RECORD])
    assert [each.text for each in fetch("awc", "XBRN").reports] == [TAF]


def dated(number, minute=None):
    """A record with a text of its own; None: without a time of issue."""
    at = "" if minute is None else f"2026-09-22T17:{minute:02d}:00Z"
    return RECORD | {"issueTime": at, "rawTAF": f"{TAF} FM{number:06d} 20018KT"}


def test_of_each_station_only_the_newest_four_are_given_those_without_a_time_last(web):
    other = RECORD | {"icaoId": "XLKS", "rawTAF": TAF.replace("XBRN", "XLKS")}
    records = [dated(0), dated(1, 20), dated(2, 50), dated(3, 10), dated(4, 30), dated(5, 40)]
    web.get(AWC, json=[other, *records, dated(6), records[2]])
    result = fetch("awc", "XBRN", "XLKS")
    expected = [other, *(records[n] for n in (1, 2, 4, 5))]
    assert [each.text for each in result.reports] == [each["rawTAF"] for each in expected]
    assert result.problems == ("awc forecasts: XBRN: 3 more than the newest 4 are left out",)


def test_an_answer_of_any_size_leaves_little_behind(web):
    """A faulty or hostile server: neither its forecasts nor its faults pile up."""
    good = [dated(number, 30) for number in range(3000)]
    bad = [RECORD | {"icaoId": f"Y{number}"} for number in range(3000)]
    web.get(AWC, json=good + bad)
    result = fetch("awc", "XBRN")
    assert [each.text for each in result.reports] == [each["rawTAF"] for each in good[-4:]]
    assert len(result.problems) == 12
    assert result.problems[1] == "awc forecasts: 3000 records hold no forecast"


def test_without_a_time_of_issue_the_texts_own_counts(web):
    web.get(AWC, json=[RECORD | {"issueTime": "soon"}])
    assert fetch("awc", "XBRN").reports[0].observed_at is None


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"icaoId": "XQUA"}, '"XQUA" was not asked for'),
        ({"rawTAF": TAF.replace("XBRN", "XQUA")}, '"XBRN": a forecast of XQUA'),
        ({"rawTAF": "METAR XBRN 221753Z 19017KT"}, '"XBRN": no TAF'),
        ({"rawTAF": None}, '"XBRN": no text of a forecast'),
        ({"rawTAF": TAF + " " + "BKN035 " * 400}, "a report of 2,"),
        ({"rawTAF": TAF + "\x1b[2J"}, "control characters"),
        ({"rawTAF": ""}, "a report without text"),
    ],
)
def test_what_is_no_forecast_of_the_station_is_a_problem_and_loses_no_other(web, change, said):
    web.get(
        AWC,
        json=[RECORD | change, RECORD | {"icaoId": "XLKS", "rawTAF": TAF.replace("XBRN", "XLKS")}],
    )
    result = fetch("awc", "XBRN", "XLKS")
    assert [each.station_asked for each in result.reports] == ["XLKS"]
    (problem,) = result.problems
    assert said in problem
    assert problem.isprintable()
    assert len(problem) < 250


@pytest.mark.parametrize(
    "body",
    [
        b"<!doctype html><title>Sign in</title>",
        json.dumps([RECORD]).encode()[:-20],
        b'{"status":"error","error":"Must specify station IDs"}',
        b"{}",
        b"",
        json.dumps([RECORD | {"icaoId": "XQUA"}]).encode(),
    ],
)
def test_an_answer_that_is_none_says_what_came(web, body):
    web.get(AWC, body=body)
    with pytest.raises(FeedError, match="HTTP 200"):
        fetch("awc", "XBRN")


@pytest.mark.fault("F10")
def test_a_refusal_is_minded(web):
    web.get(AWC, status=429, headers={"Retry-After": "600"})
    clock = HandClock(NOW)
    feed = feed_of("awc", clock)
    for _ in range(2):
        with pytest.raises(FeedBusy):
            feed.fetch(("XBRN",), NOW)
        clock.move(timedelta(minutes=5))
    assert len(web.calls) == 1
    feed.close()


def test_what_is_known_is_asked_for_conditionally_and_fresh_without(web):
    web.get(AWC, json=[RECORD], headers={"ETag": 'W/"f1"'})
    clock = HandClock(NOW)
    feed = feed_of("awc", clock)
    for fresh in (False, False, True):
        feed.fetch(("XBRN",), clock.now(), fresh=fresh)
        clock.move(timedelta(minutes=10))
    asked = [call.request.headers.get("If-None-Match") for call in web.calls]
    assert asked == [None, 'W/"f1"', None]
    feed.close()


def test_a_server_on_loopback_that_plays_the_day_gives_what_holds(root):
    clock = HandClock(datetime(2026, 9, 22, 17, 35, tzinfo=UTC))
    with PlayedFeed(root / "recorded_reports/front_day.txt", clock) as server:
        feed = feed_of(
            "awc",
            clock,
            url=server.url,
            allow_http=True,
            allow_networks=("127.0.0.0/8",),
        )
        (first,) = feed.fetch(("XBRN", "XLKS"), clock.now()).reports
        clock.set(datetime(2026, 9, 22, 21, 0, tzinfo=UTC))
        (amended,) = feed.fetch(("XBRN", "XLKS"), clock.now()).reports
        feed.close()
    assert first.text.startswith("TAF XBRN 221730Z")
    assert amended.text.startswith("TAF AMD XBRN 222047Z")


# --- noaa-text -------------------------------------------------------------


def test_a_stations_file_is_joined_and_dated_by_its_first_line(reference, web):
    """Source: reference/feeds/tgftp/taf_stations_KBOS.TXT."""
    body = (reference / "feeds/tgftp/taf_stations_KBOS.TXT").read_bytes()
    web.get(f"{NOAA}/KBOS.TXT", body=body)
    (found,) = fetch("noaa-text", "kbos").reports
    assert found.text.startswith("TAF AMD KBOS 200846Z 2009/2112 23007KT P6SM FEW250 FM201400")
    assert found.text.endswith("FM210600 34010KT P6SM SCT150")
    assert found.observed_at == datetime(2026, 5, 20, 8, 46, tzinfo=UTC)
    assert (found.source, found.kind) == ("noaa-text", "TAF")


def test_a_station_without_a_file_does_not_lose_the_others(reference, web):
    """Source: reference/feeds/tgftp/error_404.html."""
    body = (reference / "feeds/tgftp/taf_stations_KBOS.TXT").read_bytes()
    web.get(
        f"{NOAA}/XBRN.TXT", status=404, body=(reference / "feeds/tgftp/error_404.html").read_bytes()
    )
    web.get(f"{NOAA}/KBOS.TXT", body=body)
    result = fetch("noaa-text", "XBRN", "KBOS")
    assert [each.station_asked for each in result.reports] == ["KBOS"]
    assert any("HTTP 404" in problem for problem in result.problems)


@pytest.mark.parametrize(
    "body",
    [
        b"<html>Sign in</html>",
        b"2026/05/20 08:46\n",
        b"2026/13/40 08:46\nTAF XBRN 200846Z 2009/2112 23007KT\n",
        b"2026/05/20 08:46\nTAF XQUA 200846Z 2009/2112 23007KT\n",
    ],
)
def test_a_file_that_is_none_is_refused(web, body):
    web.get(f"{NOAA}/XBRN.TXT", body=body)
    with pytest.raises(FeedError, match="HTTP 200"):
        fetch("noaa-text", "XBRN")


# --- recorded --------------------------------------------------------------


def test_a_recorded_forecast_is_given_from_its_receipt_until_it_cannot_hold(root):
    feed = feed_of("recorded", files=(root / "recorded_reports/front_day.txt",))
    asked = ("XBRN",)
    at = datetime(2026, 9, 22, 17, 34, tzinfo=UTC)
    assert feed.fetch(asked, at - timedelta(seconds=1)).reports == ()
    (first,) = feed.fetch(asked, at).reports
    assert (first.source, first.kind, first.received_at) == ("recorded", "TAF", at)
    assert len(feed.fetch(asked, at + timedelta(hours=4)).reports) == 2
    assert feed.fetch(("XLKS",), at + timedelta(hours=4)).reports == ()
    assert feed.fetch(asked, at + timedelta(days=60)).reports == ()
    feed.close()
