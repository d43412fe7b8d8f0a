"""Two-line station files: reference/feeds/tgftp and section 4 of reference/feeds.md."""

from datetime import UTC, datetime, timedelta

import pytest
import responses

from tests.servers.trick_server import TrickServer, http, says
from windwatch.clock import HandClock
from windwatch.errors import FeedBusy, FeedError
from windwatch.feeds.build import build_feed
from windwatch.feeds.values import FeedSettings

NOW = datetime(2026, 10, 14, 18, 5, tzinfo=UTC)
BASE = "https://tgftp.nws.noaa.gov/data/observations/metar/stations"
FILE = "2026/10/14 17:53\nXLKS 141753Z 24018G31KT 200V280 6SM -RA BKN025 24/21 A2998\n"


@pytest.fixture
def web():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


@pytest.fixture
def clock():
    return HandClock(NOW)


@pytest.fixture
def feed(clock):
    made = build_feed(FeedSettings("noaa-text", contact="ops@larkspur.example"), clock)
    yield made
    made.close()


def test_the_first_line_dates_the_report_of_the_second(reference, web, feed):
    """Source: reference/feeds/tgftp/stations_EGLC.TXT, report text real, August 2026."""
    web.get(f"{BASE}/EGLC.TXT", body=(reference / "feeds/tgftp/stations_EGLC.TXT").read_bytes())
    (report,) = feed.fetch(("EGLC",), datetime(2026, 8, 5, 22, 24, tzinfo=UTC)).reports
    assert report.text == "EGLC 052220Z AUTO 27012KT 9999 NCD 19/10 Q1018"
    assert report.observed_at == datetime(2026, 8, 5, 22, 20, tzinfo=UTC)
    assert report.station_asked == "EGLC"
    assert report.source == "noaa-text"


def test_each_station_has_its_own_file_and_condition(web, feed, clock):
    modified = {"Last-Modified": "Wed, 14 Oct 2026 17:55:10 GMT"}
    web.get(f"{BASE}/XLKS.TXT", body=FILE, headers=modified)
    web.get(f"{BASE}/XBRN.TXT", body=FILE.replace("XLKS", "XBRN"))
    assert feed.fetch(("xlks", "XBRN"), NOW).asked == ("xlks", "XBRN")
    clock.move(timedelta(minutes=2))
    feed.fetch(("xlks", "XBRN"), NOW)
    conditions = [call.request.headers.get("If-Modified-Since") for call in web.calls]
    assert conditions == [None, None, modified["Last-Modified"], None]


@pytest.mark.fault("F12")
def test_f12_a_closed_station_keeps_its_old_date_and_is_said_to_be_old(reference, web, feed):
    """Source: reference/feeds/tgftp/stations_stale.TXT."""
    web.get(f"{BASE}/ZZZZ.TXT", body=(reference / "feeds/tgftp/stations_stale.TXT").read_bytes())
    result = feed.fetch(("ZZZZ",), NOW)
    assert result.reports[0].observed_at == datetime(2019, 3, 2, 14, 0, tzinfo=UTC)
    assert result.problems == (
        "noaa-text: ZZZZ: its last report is of 2019-03-02 14:00Z; the station may be closed",
    )


def test_a_report_over_several_lines_is_joined(web, feed):
    web.get(f"{BASE}/XLKS.TXT", body="2026/10/14 17:53\nMETAR XLKS 141753Z\n  24018KT 6SM\n\n")
    assert feed.fetch(("XLKS",), NOW).reports[0].text == "METAR XLKS 141753Z 24018KT 6SM"


def test_a_first_line_that_is_rounded_gives_the_date_and_the_text_the_minute(web, feed):
    web.get(f"{BASE}/XLKS.TXT", body="2026/11/01 00:00\nXLKS 312353Z 24018KT\n")
    (report,) = feed.fetch(("XLKS",), datetime(2026, 11, 1, 0, 5, tzinfo=UTC)).reports
    assert report.observed_at == datetime(2026, 10, 31, 23, 53, tzinfo=UTC)


def test_a_first_line_that_contradicts_the_text_is_said_and_left_to_be_judged(web, feed):
    web.get(f"{BASE}/XLKS.TXT", body="2026/10/13 17:53\nXLKS 141753Z 24018KT\n")
    result = feed.fetch(("XLKS",), NOW)
    assert result.reports[0].observed_at == datetime(2026, 10, 13, 17, 53, tzinfo=UTC)
    assert result.problems[0].startswith("noaa-text: XLKS: dated 2026/10/13 17:53 but")


def test_bytes_that_are_not_utf_8_are_read_as_latin_1(web, feed):
    web.get(f"{BASE}/XLKS.TXT", body=FILE.strip().encode() + b" RMK 5\xb0\n")
    assert feed.fetch(("XLKS",), NOW).reports[0].text.endswith("RMK 5°")


def test_an_unknown_station_is_a_problem_beside_the_others(reference, web, feed):
    """Source: reference/feeds/tgftp/error_404.html."""
    page = (reference / "feeds/tgftp/error_404.html").read_bytes()
    web.get(f"{BASE}/XXXX.TXT", status=404, body=page, content_type="text/html")
    web.get(f"{BASE}/XLKS.TXT", body=FILE)
    result = feed.fetch(("XXXX", "XLKS"), NOW)
    assert [report.station_asked for report in result.reports] == ["XLKS"]
    assert result.asked == ("XLKS",)
    assert len(result.problems) == 1
    assert "XXXX.TXT: HTTP 404, text/html" in result.problems[0]


def test_a_host_that_refuses_is_left_alone_for_the_other_stations(web, feed):
    web.get(f"{BASE}/XLKS.TXT", status=503)
    with pytest.raises(FeedBusy):
        feed.fetch(("XLKS", "XBRN"), NOW)
    assert len(web.calls) == 1


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("", "empty"),
        ("<html>Log in</html>", "no date like"),
        ("XLKS 141753Z 24018KT\n", "no date like"),
        ("2026/10/14 17:53\n", "a date without a report"),
        ("2026/13/14 17:53\nXLKS 141753Z 24018KT\n", "is no date: month"),
        ("2026/10/14 17:53\nXLKS " + "A" * 3000 + "\n", "of 3,005 characters"),
    ],
)
def test_a_file_in_another_format_is_an_error_that_names_what_came(web, feed, body, words):
    web.get(f"{BASE}/XLKS.TXT", body=body)
    with pytest.raises(FeedError, match=words) as failed:
        feed.fetch(("XLKS",), NOW)
    assert "XLKS.TXT: HTTP 200" in str(failed.value)


@pytest.mark.fault("F03")
def test_f03_a_file_that_may_be_cut_is_not_used():
    cut = FILE.encode()[:30]
    with TrickServer(says(http("200 OK", cut, length=False))) as server:
        settings = FeedSettings(
            "noaa-text",
            url=server.url,
            contact="ops@larkspur.example",
            allow_http=True,
            allow_networks=("127.0.0.0/8",),
        )
        feed = build_feed(settings, HandClock(NOW))
        with pytest.raises(FeedError, match="may be cut"):
            feed.fetch(("XLKS",), NOW)
        feed.close()


def test_where_time_runs_out_the_next_fetch_begins_with_those_not_asked(web):
    clock = HandClock(NOW)

    def slow(request):
        clock.move(timedelta(seconds=10))
        station = request.url[-8:-4]
        return 200, {}, FILE.replace("XLKS", station)

    for station in ("XLKS", "XBRN", "XALD"):
        web.add_callback("GET", f"{BASE}/{station}.TXT", callback=slow)
    feed = build_feed(FeedSettings("noaa-text", contact="ops@larkspur.example"), clock)
    first = feed.fetch(("XLKS", "XBRN", "XALD"), NOW)
    assert first.asked == ("XLKS", "XBRN")
    assert first.problems == ("noaa-text: no time left for XALD",)
    clock.move(timedelta(minutes=2))
    assert feed.fetch(("XLKS", "XBRN", "XALD"), NOW).asked == ("XALD", "XLKS")
    feed.close()


def test_one_file_that_fails_does_not_hide_the_others_for_ever(web):
    web.get(f"{BASE}/XLKS.TXT", status=503)
    web.get(f"{BASE}/XBRN.TXT", body=FILE.replace("XLKS", "XBRN"))
    clock = HandClock(NOW)
    feed = build_feed(FeedSettings("noaa-text", contact="ops@larkspur.example"), clock)
    with pytest.raises(FeedBusy):
        feed.fetch(("XLKS", "XBRN"), NOW)
    clock.move(timedelta(minutes=2))
    result = feed.fetch(("XLKS", "XBRN"), NOW)
    feed.close()
    assert result.asked == ("XBRN",)
    assert "XLKS.TXT: HTTP 503" in result.problems[0]
