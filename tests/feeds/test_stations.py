"""Who reports near a place: asked of a local server in the Data API's own format."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from tests.servers.stations_server import StationsServer, a_record
from windwatch.clock import HandClock
from windwatch.errors import FeedBusy, FeedError
from windwatch.feeds.stations import Box, find_stations
from windwatch.feeds.values import FeedSettings

NOW = datetime(2026, 9, 22, 19, 9, tzinfo=UTC)
AROUND = Box(42.1, -77.1, 43.8, -74.9)
XLKS = a_record("XLKS", (42.93, -76.02), NOW - timedelta(minutes=16), elev=292.6)
XBRN = a_record("XBRN", (42.95, -76.6), NOW - timedelta(minutes=34))
XFAR = a_record("XFAR", (50.0, -76.6), NOW)


def find(server, *names, boxes=(AROUND,)):
    settings = FeedSettings(
        "awc",
        url=server.url,
        contact="ops@larkspur.example",
        allow_http=True,
        allow_networks=("127.0.0.0/8",),
    )
    return find_stations(settings, HandClock(NOW), boxes, names)


def test_a_station_has_position_elevation_in_feet_and_the_age_of_its_report():
    with StationsServer(XLKS, XBRN, XFAR) as server:
        found = find(server)
    assert [station.id for station in found.stations] == ["XLKS", "XBRN"]
    first = found.stations[0]
    assert first.name == "XLKS Field, NY, US"
    assert (first.latitude, first.longitude) == (42.93, -76.02)
    assert first.elevation_ft == pytest.approx(960, abs=0.1)  # 292.6 m
    assert first.observed_at == NOW - timedelta(minutes=16)
    assert found.problems == ()


def test_the_area_is_asked_with_south_west_north_east_and_our_contact():
    with StationsServer(XLKS) as server:
        find(server)
    assert server.asked == ["/api/data/metar?bbox=42.100,-77.100,43.800,-74.900&format=json"]
    assert "(ops@larkspur.example)" in server.agents[0]


def test_what_the_area_thins_away_is_asked_for_by_name():
    with StationsServer(XLKS, XBRN, thinned=("XBRN",)) as server:
        found = find(server, "XLKS", "XBRN", "XNON", "9X9", "XBRN")
    assert [station.id for station in found.stations] == ["XLKS", "XBRN"]
    # Those that answered, and what is no identifier of a station, are not asked for again.
    assert server.asked[1] == "/api/data/metar?ids=XBRN,XNON&format=json"


def test_nobody_is_asked_by_name_where_the_area_gave_all():
    with StationsServer(XLKS) as server:
        find(server, "XLKS")
    assert len(server.asked) == 1


def test_no_more_than_a_hundred_names_go_into_a_request():
    names = [f"X{number:03d}" for number in range(150)]
    with StationsServer(XLKS) as server:
        find(server, *names)
    assert server.asked[1].count("X") == 100


def test_two_areas_across_the_180th_meridian_are_one_answer():
    west = a_record("XWST", (10.0, -179.9), NOW)
    east = a_record("XEST", (10.0, 179.9), NOW)
    with StationsServer(west, east) as server:
        found = find(server, boxes=(Box(9, 179, 11, 180), Box(9, -180, 11, -179)))
    assert {station.id for station in found.stations} == {"XWST", "XEST"}


def test_of_two_reports_of_a_station_the_newest_counts():
    older = a_record("XLKS", (42.93, -76.02), NOW - timedelta(hours=1))
    with StationsServer(older, XLKS, older) as server:
        (station,) = find(server).stations
    assert station.observed_at == NOW - timedelta(minutes=16)


def test_silence_is_an_empty_answer_and_no_error():
    with StationsServer() as server:
        assert find(server, "XLKS") == ((), ())


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"lat": None}, "no position"),
        ({"lat": -99.99, "lon": -99.99}, "no position"),
        ({"lat": "42.93"}, "no position"),
        ({"lat": True}, "no position"),
        ({"icaoId": "XL"}, '"XL" is no station'),
        ({"icaoId": 7}, '"7" is no station'),
    ],
)
def test_a_record_that_cannot_be_used_is_named_and_loses_no_other(change, said):
    with StationsServer() as server:
        body = json.dumps([XLKS | change, XBRN]).encode()
        server.answers["/api/data/metar"] = (200, body)
        found = find(server)
    assert [station.id for station in found.stations] == ["XBRN"]
    (problem,) = found.problems
    assert problem.startswith("awc: record 1: ")
    assert said in problem


@pytest.mark.parametrize("metres", [9999, -9999, None, "290", True, float("1e9")])
def test_a_withheld_elevation_is_not_known(metres):
    with StationsServer(XLKS | {"elev": metres}) as server:
        assert find(server).stations[0].elevation_ft is None


@pytest.mark.parametrize("seconds", [None, "1790104020", -1, 10**12, True])
def test_an_odd_time_is_not_known(seconds):
    with StationsServer(XLKS | {"obsTime": seconds}) as server:
        assert find(server).stations[0].observed_at is None


def test_a_name_with_control_characters_is_made_visible():
    with StationsServer(XLKS | {"name": "Lark\x1b[31mspur"}) as server:
        assert find(server).stations[0].name == "Lark\\x1b[31mspur"


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b"<html>login</html>", "no JSON"),
        (b'{"status":"error","error":"bad box"}', 'the feed reports an error: "bad box"'),
        (b'{"XLKS": 1}', "no JSON list of METAR objects"),
        (b"", "no JSON"),
    ],
)
def test_an_answer_in_another_format_is_named(body, said):
    with StationsServer() as server:
        server.answers["/api/data/metar"] = (200, body)
        with pytest.raises(FeedError, match=said):
            find(server)


def test_a_feed_that_asks_to_be_left_alone_is():
    with StationsServer() as server:
        server.answers["/api/data/metar"] = (429, b"too many")
        with pytest.raises(FeedBusy):
            find(server)


def test_where_only_the_asking_by_name_fails_the_area_still_counts():
    with StationsServer(XLKS) as server:
        answer = server.answer

        def failing(target):
            return (400, b'{"status":"error"}') if "ids=" in target else answer(target)

        server.answer = failing
        found = find(server, "XBRN")
    assert [station.id for station in found.stations] == ["XLKS"]
    assert "HTTP 400" in found.problems[0]
