"""A field's own anemometer or aggregator."""

import json
from datetime import UTC, datetime, timedelta

import pytest
import responses

from windwatch.clock import HandClock
from windwatch.errors import FeedError
from windwatch.feeds.build import build_feed
from windwatch.feeds.values import FeedSettings, JsonMapping

NOW = datetime(2026, 9, 22, 10, 53, 30, tzinfo=UTC)
URL = "https://mast.larkspur.example/now.json"
MAPPING = {
    "station": "XLKS",
    "observed_at": "time",
    "wind_from": "wind.from",
    "speed": "wind.mean",
    "gust": "wind.peak",
    "unit": "kt",
    "reference": "true",
    "averaging_period": timedelta(minutes=2),
}
READING = {"time": "2026-09-22T10:53:00Z", "wind": {"from": 223, "mean": 14.6, "peak": 25.2}}


@pytest.fixture
def web():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


def made(clock=None, **mapping):
    settings = FeedSettings(
        "json",
        url=URL,
        contact="ops@larkspur.example",
        every=timedelta(seconds=30),
        mapping=JsonMapping(**(MAPPING | mapping)),
    )
    return build_feed(settings, clock or HandClock(NOW))


def fetch(web, document, *stations, now=NOW, **mapping):
    web.get(URL, body=document if isinstance(document, bytes) else json.dumps(document))
    feed = made(**mapping)
    try:
        return feed.fetch(stations or ("XLKS",), now)
    finally:
        feed.close()


def test_a_reading_becomes_a_report_with_its_own_time(web):
    (report,) = fetch(web, READING).reports
    assert report.text == "METAR XLKS 221053Z AUTO 22015G25KT"
    assert report.observed_at == datetime(2026, 9, 22, 10, 53, tzinfo=UTC)
    assert (report.station_asked, report.source, report.kind) == ("XLKS", "json", "METAR")


@pytest.mark.parametrize(
    ("unit", "mean", "group"),
    [("m/s", 7.5, "22015KT"), ("km/h", 27.8, "22015KT"), ("mph", 17.3, "22015KT")],
)
def test_other_units_become_knots(web, unit, mean, group):
    reading = READING | {"wind": {"from": 223, "mean": mean}}
    assert fetch(web, reading, unit=unit).reports[0].text.endswith(group)


@pytest.mark.parametrize(
    ("magnetic", "variation", "coded"),
    [(232.0, -11.9, "220"), (5.0, -11.9, "350"), (350.0, 14.0, "360")],
)
def test_magnetic_directions_become_true_with_east_variation_added(web, magnetic, variation, coded):
    reading = READING | {"wind": {"from": magnetic, "mean": 15}}
    result = fetch(web, reading, reference="magnetic", variation_deg=variation)
    assert result.reports[0].text.endswith(f"{coded}15KT")


@pytest.mark.parametrize(
    ("wind", "group", "problem"),
    [
        ({"from": 223}, "/////KT", None),
        ({"from": None, "mean": None, "peak": None}, "/////KT", None),
        ({"mean": 15, "peak": 25}, "///15G25KT", None),
        ({"from": 223, "mean": "14.6"}, "22015KT", None),
        ({"from": 0, "mean": 0}, "00000KT", None),
        ({"from": 223, "mean": -999}, "/////KT", "speed"),
        ({"from": 223, "mean": 65535}, "/////KT", "speed"),
        ({"from": 223, "mean": "calm"}, "/////KT", "speed"),
        ({"from": 223, "mean": True}, "/////KT", "speed"),
        ({"from": 223, "mean": 1e999}, "/////KT", "no JSON number"),
        ({"from": 361, "mean": 15}, "///15KT", "direction"),
        ({"from": 223, "mean": 15, "peak": 999}, "22015KT", "gust"),
        (None, "/////KT", None),
    ],
)
def test_what_was_not_measured_is_missing_and_never_calm(web, wind, group, problem):
    if problem == "no JSON number":
        with pytest.raises(FeedError, match=problem):
            fetch(web, READING | {"wind": wind})
        return
    result = fetch(web, READING | {"wind": wind})
    assert result.reports[0].text == f"METAR XLKS 221053Z AUTO {group}"
    assert [problem in said for said in result.problems] == ([True] if problem else [])


def test_a_list_of_records_gives_a_report_each_and_bad_ones_are_said(web):
    document = {
        "data": [
            {"id": "XBRN", **READING},
            {"id": "XXXX", **READING},
            {"id": "XLKS", **READING, "time": "2026-09-22 10:53"},
            {"id": "XLKS", **READING, "time": 1790074380},
            {"id": "XALD", **READING, "time": 1790074380000},
            "nothing",
        ]
    }
    result = fetch(
        web,
        document,
        "XLKS",
        "XBRN",
        "XALD",
        station="",
        station_key="id",
        records="data",
    )
    assert sorted(report.text for report in result.reports) == [
        f"METAR {station} 221053Z AUTO 22015G25KT" for station in ("XALD", "XBRN", "XLKS")
    ]
    assert [said.split(": ", 1)[1] for said in result.problems] == [
        'record 2: "XXXX" was not asked for',
        'record 3: the observation time "2026-09-22 10:53" has no zone',
        'record 6: it is no JSON object but "nothing"',
    ]


def test_a_path_may_pick_from_a_list(web):
    document = {"sensors": [{}, READING]}
    (report,) = fetch(web, document, records="sensors.1").reports
    assert report.text.endswith("22015G25KT")


def test_a_whole_report_under_a_key_is_taken_as_it_is(web):
    text = "SPECI XLKS 221053Z 22015G25KT 190V260 10SM"
    result = fetch(web, {"metar": text, "time": READING["time"]}, report="metar")
    (report,) = result.reports
    assert (report.text, report.kind) == (text, None)
    assert report.observed_at == datetime(2026, 9, 22, 10, 53, tzinfo=UTC)


def test_a_station_that_is_not_this_feeds_is_not_asked_for(web):
    result = fetch(web, READING, "XBRN")
    assert (result.reports, result.asked) == ((), ())
    assert len(web.calls) == 0


@pytest.mark.parametrize(
    ("document", "records", "words"),
    [
        (b"<html>router login</html>", "", "no JSON"),
        (b"[]", "", "no records at 'the top'"),
        (b'{"data": {}}', "data.x", "no records at 'data.x'"),
        (b'{"data": [1]}', "data.1", "no records at 'data.1'"),
        (b"[1, 2]", "", "none of 2 records can be used; json: record 1: it is no JSON object"),
        (b'{"time":"2026-09-22T10:53:00Z","time":"2026-09-22T10:54:00Z"}', "", "'time' twice"),
        (b'{"time":"2026-09-22T10:53:00Z","wind":{"mean":1,"mean":2}}', "", '"mean" comes twice'),
        (b'{"wind": {"from": 223, "mean": 15}}', "", 'observation time "None" is none'),
    ],
)
def test_another_format_is_an_error_that_names_what_came(web, document, records, words):
    with pytest.raises(FeedError, match=words) as failed:
        fetch(web, document, records=records)
    assert f"json {URL}: HTTP 200" in str(failed.value)


# --- momentary values ------------------------------------------------------


def momentary(web, readings, every=timedelta(seconds=30), **mapping):
    """Poll a device as often as `readings` say; give back every fetch's result."""
    clock = HandClock(NOW)
    feed = made(clock, averaging_period=timedelta(0), **mapping)
    results = []
    for wind in readings:
        web.reset()
        stamp = (clock.now()).isoformat()
        web.get(URL, json={"time": stamp, "wind": wind})
        results.append(feed.fetch(("XLKS",), clock.now()))
        clock.move(every)
    feed.close()
    return results


def test_momentary_values_are_collected_until_there_is_a_mean(web):
    results = momentary(web, [{"from": 220, "mean": speed} for speed in (10, 12, 14, 30, 14)])
    assert [len(result.reports) for result in results] == [0, 0, 1, 1, 1]
    assert results[0].problems == (
        "json: record 1: XLKS: collecting samples for the two-minute mean",
    )
    assert results[2].reports[0].text == "METAR XLKS 221054Z AUTO 22012G14KT"
    assert results[3].reports[0].text == "METAR XLKS 221055Z AUTO 22017G30KT"
    # 12, 14, 30 and 14 lie in the newest two minutes.
    assert results[4].reports[0].text == "METAR XLKS 221055Z AUTO 22018G30KT"


def test_the_peak_is_forgotten_after_ten_minutes(web):
    results = momentary(web, [{"from": 220, "mean": 40}] + [{"from": 220, "mean": 10}] * 22)
    assert results[19].reports[0].text.endswith("22010G40KT")
    assert results[20].reports[0].text.endswith("22010KT")


def test_a_sensor_that_is_lost_is_said_at_once_and_not_hidden_behind_the_mean(web):
    results = momentary(web, [{"from": 220, "mean": 20}] * 4 + [{"from": 220, "mean": None}])
    assert results[4].reports[0].text.endswith("/////KT")


def test_a_device_whose_clock_stands_still_keeps_its_old_time(web):
    web.get(URL, json=READING)
    clock = HandClock(NOW)
    feed = made(clock, averaging_period=timedelta(0))
    for _ in range(5):
        clock.move(timedelta(seconds=30))
        result = feed.fetch(("XLKS",), clock.now())
    feed.close()
    assert result.reports == ()


@pytest.mark.fault("F14")
def test_f14_a_sample_of_the_future_is_handed_on_and_takes_part_in_no_mean(web):
    clock = HandClock(NOW)
    feed = made(clock, averaging_period=timedelta(0))
    texts = []
    for ahead in (0, 0, 0, 7200, 0):
        web.reset()
        at = clock.now() + timedelta(seconds=ahead)
        speed = 60 if ahead else 10
        web.get(URL, json={"time": at.isoformat(), "wind": {"from": 220, "mean": speed}})
        texts += [report.text for report in feed.fetch(("XLKS",), clock.now()).reports]
        clock.move(timedelta(seconds=30))
    feed.close()
    assert texts == [
        "METAR XLKS 221054Z AUTO 22010KT",
        "METAR XLKS 221255Z AUTO 22060KT",
        "METAR XLKS 221055Z AUTO 22010KT",
    ]


def test_a_report_without_a_place_for_its_time_is_dated_by_its_text(web):
    found = fetch(web, {"raw": "METAR XLKS 221053Z 30028G41KT"}, report="raw", observed_at="")
    (report,) = found.reports
    assert report.text == "METAR XLKS 221053Z 30028G41KT"
    assert report.observed_at is None
    assert found.problems == ()


def test_a_device_without_a_place_for_gusts_is_no_problem(web):
    found = fetch(web, READING, gust="")
    assert found.reports[0].text.endswith("22015KT")
    assert found.problems == ()
