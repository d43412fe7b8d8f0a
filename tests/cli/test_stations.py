"""`windwatch stations`: real commands against a local server in the Data API's format."""

import json
import socket
from datetime import timedelta

import pytest

from tests.cli.field_table import make_table, stations_now
from tests.servers.stations_server import StationsServer
from windwatch.cli.stations_seen import age_words, boxes_around, seen_from
from windwatch.errors import FeedError


@pytest.fixture
def table(tmp_path, monkeypatch):
    path = make_table(tmp_path / "table")
    monkeypatch.setenv("WINDWATCH_AIRFIELDS", str(path))
    return path


@pytest.fixture
def asks(root, tmp_path):
    """A configuration whose feed is the local server."""

    def make(url, kind="awc"):
        minimal = (root / "config" / "minimal.toml").read_text(encoding="utf-8")
        added = (
            f'kind = "{kind}"\nurl = "{url}"\nallow_http = true\nallow_networks = ["127.0.0.0/8"]'
        )
        path = tmp_path / "field.toml"
        path.write_text(minimal.replace('kind = "awc"', added), encoding="utf-8")
        return str(path)

    return make


def test_stations_are_listed_nearest_first_with_what_changes_the_wind(run, table, asks, flat):
    with StationsServer(*stations_now()) as server:
        shown = run("stations", "--at", "lks", "--config", asks(server.url))
    assert shown.exit_code == 0, shown.stderr
    rows = [line.split() for line in shown.stdout.splitlines() if line.startswith("X")]
    assert [row[0] for row in rows] == ["XLKS", "XBRN"]
    words = flat(shown.stdout)
    assert "25.5 273 true 1010 +50 ft 34 min" in words
    assert "0.0 here 960 +0 ft 16 min" in words
    assert "reports its own wind, not yours" in words


def test_near_a_place_the_difference_in_elevation_is_not_known(answer, table, asks):
    with StationsServer(*stations_now()) as server:
        found = answer("stations", "--near", "42.9,-76.0", "--within", "10", "--config",
                       asks(server.url))  # fmt: skip
    assert found["near"] == {
        "airfield": None, "latitude": 42.9, "longitude": -76.0, "elevation_ft": None,
    }  # fmt: skip
    (station,) = found["stations"]
    assert station["id"] == "XLKS"
    assert station["distance_nm"] == pytest.approx(2.0, abs=0.1)
    assert station["elevation_ft"] == 960
    assert station["higher_by_ft"] is None
    assert 16 <= station["age_min"] < 17
    assert found["source"] == "awc"


def test_the_configured_contact_is_said_to_the_feed(run, table, asks):
    with StationsServer(*stations_now()) as server:
        run("stations", "--at", "XLKS", "--config", asks(server.url))
    assert all("(ops@larkspur.example)" in agent for agent in server.agents)


def test_stations_of_the_table_are_asked_for_by_name_where_the_area_was_thinned(run, table, asks):
    with StationsServer(*stations_now(), thinned=("XBRN",)) as server:
        shown = run("stations", "--at", "XLKS", "--config", asks(server.url))
    assert "XBRN" in shown.stdout


def test_nobody_near_ends_with_3(run, table, asks, flat):
    with StationsServer() as server:
        shown = run("stations", "--near", "10,10", "--config", asks(server.url))
        assert shown.exit_code == 3
        assert "nobody has reported within 50 NM in the last hour and a half" in flat(shown.stderr)
        document = run("stations", "--near", "10,10", "--config", asks(server.url), "--json")
    assert document.exit_code == 3
    assert json.loads(document.stdout)["stations"] == []


def test_a_feed_that_is_not_there_ends_with_3_and_says_so(run, table, asks, flat):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    shown = run("stations", "--at", "XLKS", "--config", asks(f"http://127.0.0.1:{port}/api/data"))
    assert shown.exit_code == 3
    assert f"awc http://127.0.0.1:{port}/api/data/metar" in flat(shown.stderr)


@pytest.mark.parametrize(
    ("options", "status", "said"),
    [
        ((), 2, "name one place: --at XLKS for an airfield, or --near 42.93,-76.02"),
        (("--at", "XLKS", "--near", "1,1"), 2, "--near and --at are both given; keep one"),
        (("--near", "here"), 2, "--near 'here' is no place"),
        (("--near", "1,1", "--within", "500"), 2, "500.0 is not in the range"),
        (("--at", "XLSK"), 3, "XLKS"),
    ],
)
def test_what_cannot_be_asked_is_refused_with_the_mend(run, table, flat, options, status, said):
    shown = run("stations", *options)
    assert shown.exit_code == status
    assert said in flat(shown.stderr)


def test_a_feed_that_knows_no_positions_is_named_and_the_public_one_asked(run, root, monkeypatch,
                                                                          flat):  # fmt: skip
    asked = []
    monkeypatch.setattr(
        "windwatch.cli.stations.stations_near",
        lambda settings, *_: asked.append(settings) or _raise(),
    )
    run("stations", "--near", "1,1", "--config", str(root / "config" / "demo.toml"))
    assert asked[0].kind == "awc"
    assert asked[0].url == ""


def _raise():
    raise FeedError("awc", "not asked in a test")


def test_the_area_is_wider_in_degrees_of_longitude_the_further_north():
    (box,) = boxes_around(60.0, 0.0, 60.0)
    assert (box.south, box.north) == (59.0, 61.0)
    assert box.east == pytest.approx(1 / 0.4848, abs=0.01)  # cos 61°


@pytest.mark.parametrize(
    ("place", "count"),
    [((0.0, 179.9), 2), ((0.0, -179.9), 2), ((89.9, 0.0), 1), ((-90.0, 0.0), 1), ((0.0, 0.0), 1)],
)
def test_the_area_never_leaves_the_globe(place, count):
    boxes = boxes_around(*place, 50.0)
    assert len(boxes) == count
    for box in boxes:
        assert -90 <= box.south < box.north <= 90
        assert -180 <= box.west < box.east <= 180


def test_an_age_in_the_future_is_said():
    assert age_words(timedelta(minutes=12, seconds=59)) == "12 min old"
    assert "check the clock" in age_words(timedelta(minutes=-5))


def test_nobody_is_seen_beyond_the_distance():
    assert seen_from((0.0, 0.0), None, (), 10.0, None) == ()
