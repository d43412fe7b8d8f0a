"""The cache file of the Aviation Weather Center: reference/feeds.md section 2."""

from datetime import UTC, datetime, timedelta

import pytest
import responses

from tests.feeds import bulk_samples as made
from tests.feeds.bulk_samples import HEADER, NOW, row, zipped
from tests.servers.trick_server import TrickServer, http, says, says_in_turn
from windwatch.clock import HandClock
from windwatch.errors import FeedBusy, FeedError
from windwatch.feeds.awc_cache import ADDRESS
from windwatch.feeds.build import build_feed
from windwatch.feeds.bulk_feed import MOST_OF_ONE
from windwatch.feeds.values import FeedSettings

SETTINGS = FeedSettings("awc-cache", contact="ops@larkspur.example")
PLAIN_TYPE = "application/octet-stream"


@pytest.fixture
def web():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


@pytest.fixture
def clock():
    return HandClock(NOW)


@pytest.fixture
def feed(clock):
    made_feed = build_feed(SETTINGS, clock)
    yield made_feed
    made_feed.close()


def local_feed(server, clock):
    return build_feed(
        FeedSettings(
            "awc-cache",
            url=f"{server.url}/metars.cache.csv.gz",
            contact="ops@larkspur.example",
            allow_http=True,
            allow_networks=("127.0.0.0/8",),
        ),
        clock,
    )


def test_the_compressed_file_is_read_though_nothing_says_that_it_is(web, feed):
    web.get(ADDRESS, body=zipped(made.cache(300)), content_type=PLAIN_TYPE)
    result = feed.fetch(("XAAB", "xaac"), NOW)
    assert [report.text for report in result.reports] == [
        made.report_of("XAAB", 1),
        made.report_of("XAAC", 2),
    ]
    assert {report.source for report in result.reports} == {"awc-cache"}
    assert result.reports[0].received_at == NOW
    assert result.reports[0].observed_at == datetime(2026, 9, 22, 18, 53, tzinfo=UTC)
    assert (result.asked, result.problems) == (("XAAB", "xaac"), ())


def test_the_real_rows_come_through_the_feed(reference, web, feed):
    """Source: reference/feeds/awc/metars.cache_real_rows_2026.csv."""
    body = (reference / "feeds/awc/metars.cache_real_rows_2026.csv").read_bytes()
    web.get(ADDRESS, body=body)
    result = feed.fetch(("PAVD", "KAWO", "XLKS"), datetime(2026, 9, 16, 10, 12, tzinfo=UTC))
    # Oldest first, whatever the file's order.
    assert [report.station_asked for report in result.reports] == ["KAWO", "PAVD"]
    assert {report.kind for report in result.reports} == {"SPECI"}


@pytest.mark.fault("F24")
def test_f24_a_station_that_is_left_out_is_asked_for_and_not_there(web, feed):
    web.get(ADDRESS, body=made.cache(30))
    result = feed.fetch(("XAAB", "XLKS"), NOW)
    assert [report.station_asked for report in result.reports] == ["XAAB"]
    assert (result.asked, result.problems) == (("XAAB", "XLKS"), ())


def test_it_is_asked_once_a_minute_whoever_is_asked_for(web, feed):
    web.get(ADDRESS, body=made.cache(30))
    feed.fetch(("XAAB",), NOW)
    with pytest.raises(FeedBusy, match="asked less than 60 s ago"):
        feed.fetch(("XAAC",), NOW)
    assert len(web.calls) == 1


def test_what_did_not_change_is_not_sent_again(web, feed, clock):
    web.get(ADDRESS, body=made.cache(30), headers={"ETag": 'W/"7"'})
    feed.fetch(("XAAB", "XAAC"), NOW)
    web.replace("GET", ADDRESS, status=304)
    clock.move(timedelta(minutes=1))
    result = feed.fetch(("XAAC",), NOW)
    assert web.calls[1].request.headers["If-None-Match"] == 'W/"7"'
    assert (result.not_modified, result.reports, result.asked) == (True, (), ("XAAC",))


def test_a_station_that_was_not_read_before_is_asked_for_without_conditions(web, feed, clock):
    """The address says nobody: "not modified" would hide the new station's report."""
    web.get(ADDRESS, body=made.cache(30), headers={"ETag": 'W/"7"'})
    feed.fetch(("XAAB",), NOW)
    clock.move(timedelta(minutes=1))
    result = feed.fetch(("XAAB", "XAAC"), NOW)
    assert "If-None-Match" not in web.calls[1].request.headers
    assert len(result.reports) == 2


@pytest.mark.fault("F03", "F07")
def test_f03_f07_a_file_that_breaks_off_looked_up_only_what_was_in_it():
    sent = zipped(made.cache(400))
    clock = HandClock(NOW)
    broken = http("200 OK", sent[: len(sent) // 2], 'ETag: "7"', length=False)
    whole = http("200 OK", sent, 'ETag: "8"')
    with TrickServer(says_in_turn(broken, whole)) as server:
        feed = local_feed(server, clock)
        result = feed.fetch(("XAAB", made.station(399), "XLKS"), NOW)
        assert [report.station_asked for report in result.reports] == ["XAAB"]
        assert result.asked == ("XAAB",)
        (problem,) = result.problems
        assert problem.startswith("awc-cache: its end is missing (its compressed part ends too")
        clock.move(timedelta(minutes=1))
        again = feed.fetch(("XAAB", made.station(399), "XLKS"), NOW)
        # Nobody will be told that what was never read is not modified.
        assert "If-None-Match" not in server.heads[1]
        assert len(again.reports) == 2
        feed.close()


@pytest.mark.fault("F03")
def test_f03_a_file_shorter_than_its_length_is_not_used():
    sent = zipped(made.cache(400))
    answer = http("200 OK", sent)[:-500]
    with TrickServer(says(answer)) as server:
        feed = local_feed(server, HandClock(NOW))
        with pytest.raises(FeedError, match="broke off"):
            feed.fetch(("XAAB",), NOW)
        feed.close()


def test_a_server_that_says_that_it_is_compressed_is_understood_too():
    body = zipped(made.cache(30))
    with TrickServer(says(http("200 OK", body, "Content-Encoding: gzip"))) as server:
        feed = local_feed(server, HandClock(NOW))
        assert len(feed.fetch(("XAAB",), NOW).reports) == 1
        feed.close()


@pytest.mark.fault("F05", "F06", "F07")
@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "an empty answer says nothing of the stations"),
        (b"<html>Log in</html>", 'no line begins "raw_text,"; it begins "<html>'),
        (HEADER.encode() + b"\n", "no report in it"),
        (zipped(made.cache(3))[:-6] + b"\0" * 6, "its compressed part is damaged"),
    ],
)
def test_f05_f06_f07_what_is_no_such_file_is_an_error(web, feed, body, words):
    web.get(ADDRESS, body=body)
    with pytest.raises(FeedError) as failed:
        feed.fetch(("XAAB",), NOW)
    assert words in str(failed.value)
    assert str(failed.value).startswith("awc-cache")


def test_the_same_report_many_times_is_one_and_a_flood_of_others_is_cut(web, feed):
    same = row(made.report_of("XLKS", 1), "XLKS") * 500
    flood = "".join(
        row(f"METAR XBRN 221853Z 240{n % 90 + 10}KT RMK {n}", "XBRN") for n in range(500)
    )
    web.get(ADDRESS, body=f"{HEADER}\n{same}{flood}".encode())
    result = feed.fetch(("XLKS", "XBRN"), NOW)
    stations = [report.station_asked for report in result.reports]
    assert (stations.count("XLKS"), stations.count("XBRN")) == (1, MOST_OF_ONE)
    assert result.problems == (f"awc-cache: 500 reports of XBRN; {MOST_OF_ONE} are used",)
