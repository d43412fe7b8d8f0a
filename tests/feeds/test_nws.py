"""Observations of the NWS API: reference/feeds/nws and section 3 of reference/feeds.md."""

import json
from datetime import UTC, datetime, timedelta

import pytest
import responses

from windwatch.clock import HandClock
from windwatch.errors import FeedBusy, FeedError
from windwatch.feeds.build import build_feed
from windwatch.feeds.values import FeedSettings

NOW = datetime(2026, 7, 15, 20, 5, tzinfo=UTC)
BASE = "https://api.weather.gov/stations"


@pytest.fixture
def web():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


@pytest.fixture
def feed():
    settings = FeedSettings("nws", contact="ops@larkspur.example")
    made = build_feed(settings, HandClock(NOW))
    yield made
    made.close()


def row(text, at="2026-07-15T19:53:00+00:00"):
    return {"type": "Feature", "properties": {"timestamp": at, "rawMessage": text}}


def rows(*features):
    return {"type": "FeatureCollection", "features": list(features)}


def test_the_raw_message_counts_where_the_decoded_gust_is_lost(reference, web, feed):
    """Source: reference/feeds/nws/observations_KDAL_real_2024_gust_null_but_in_raw.json."""
    name = "feeds/nws/observations_KDAL_real_2024_gust_null_but_in_raw.json"
    web.get(f"{BASE}/KDAL/observations", body=(reference / name).read_bytes())
    (report,) = feed.fetch(("KDAL",), NOW).reports
    assert "15013G19KT" in report.text
    assert report.observed_at == datetime(2024, 5, 6, 16, 53, tzinfo=UTC)
    assert (report.source, report.station_asked, report.kind) == ("nws", "KDAL", None)


@pytest.mark.parametrize(
    ("name", "station", "newest"),
    [
        ("observations_KALB_real_2026_rawMessage_empty.json", "KALB", "19:50Z"),
        ("observations_KTAN_real_2026.json", "KTAN", "19:40Z"),
    ],
)
def test_a_five_minute_row_without_text_is_a_problem_and_no_invented_report(
    reference, web, feed, name, station, newest
):
    web.get(f"{BASE}/{station}/observations", body=(reference / "feeds/nws" / name).read_bytes())
    result = feed.fetch((station,), NOW)
    assert result.reports == ()
    (problem,) = result.problems
    assert problem == (
        f"nws: {station}: no report text in 1 of 1 rows (newest {newest});"
        " their values are not used"
    )


@pytest.mark.parametrize(
    ("name", "station", "wind"),
    [
        ("latest_KVRB_constructed_vrb.json", "KVRB", "VRB04KT"),
        ("latest_KSFB_constructed_gust.json", "KSFB", "24018G31KT"),
    ],
)
def test_a_single_feature_is_read_like_a_collection(reference, web, feed, name, station, wind):
    web.get(f"{BASE}/{station}/observations", body=(reference / "feeds/nws" / name).read_bytes())
    (report,) = feed.fetch((station,), NOW).reports
    assert wind in report.text


def test_an_empty_collection_says_that_the_station_has_nothing(reference, web, feed):
    name = "feeds/nws/observations_empty_constructed.json"
    web.get(f"{BASE}/KTAN/observations", body=(reference / name).read_bytes())
    assert feed.fetch(("KTAN",), NOW).problems == ("nws: KTAN: no observations",)


def test_rows_come_oldest_first_and_one_bad_row_does_not_lose_the_others(web, feed):
    web.get(
        f"{BASE}/XLKS/observations",
        json=rows(
            row("XLKS 151953Z 24018KT"),
            row("XLKS 151953Z 24018KT", at="yesterday"),
            row("XLKS 151953Z 24018KT", at="2026-07-15T19:53:00"),
            17,
            {"properties": None},
            row("XLKS 151853Z \x07 24018KT"),
            row("XLKS 151853Z 22015KT", at="2026-07-15T14:53:00-04:00"),
        ),
    )
    result = feed.fetch(("XLKS",), NOW)
    assert [report.text for report in result.reports] == [
        "XLKS 151853Z 22015KT",
        "XLKS 151953Z 24018KT",
    ]
    assert [problem.split(":")[2] for problem in result.problems] == [
        f" row {number}" for number in (2, 3, 4, 5, 6)
    ]


def test_the_window_begins_on_the_hour_so_that_not_modified_is_possible(web):
    web.get(f"{BASE}/XLKS/observations", json=rows(row("XLKS 151953Z 24018KT")))
    clock = HandClock(NOW)
    feed = build_feed(FeedSettings("nws", contact="ops@larkspur.example"), clock)
    feed.fetch(("XLKS",), NOW)
    clock.move(timedelta(minutes=2))
    feed.fetch(("XLKS",), NOW + timedelta(minutes=2))
    clock.move(timedelta(minutes=2))
    feed.fetch(("XLKS",), NOW, since=NOW - timedelta(hours=5))
    feed.close()
    starts = [call.request.params["start"] for call in web.calls]
    assert starts == ["2026-07-15T18:00:00Z", "2026-07-15T18:00:00Z", "2026-07-15T15:00:00Z"]


def test_errors_of_the_api_name_what_came(reference, web, feed):
    """Source: reference/feeds/nws/error_404_constructed.json and error_500_constructed.json."""
    for station, status, kind in (("XXXX", 404, FeedError), ("XLKS", 500, FeedBusy)):
        web.get(
            f"{BASE}/{station}/observations",
            status=status,
            body=(reference / f"feeds/nws/error_{status}_constructed.json").read_bytes(),
            content_type="application/problem+json",
        )
        with pytest.raises(kind, match=rf"HTTP {status}, application/problem\+json, .*correlation"):
            feed.fetch((station,), NOW)


@pytest.mark.parametrize(
    "body", [b"[]", b"{}", b'{"features": 3}', b'{"features": [3, 4]}', b"<html>", b"null"]
)
def test_another_format_is_an_error(web, feed, body):
    web.get(f"{BASE}/XLKS/observations", body=body)
    with pytest.raises(FeedError, match="HTTP 200"):
        feed.fetch(("XLKS",), NOW)


def test_a_strange_station_stays_inside_its_part_of_the_address(web, feed):
    web.get(f"{BASE}/X%2F..%2FY/observations", body=json.dumps(rows()))
    feed.fetch(("x/../y",), NOW)
    assert len(web.calls) == 1
