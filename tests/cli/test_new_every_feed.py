"""Every kind of feed works from a configuration that `config new` has made.

The payloads are those of reference/feeds (its README says which were recorded and which are
constructed from the documented formats), served on loopback at the addresses of the real feeds.
What comes out is judged: a feed works when the wind of the sample is known at the airfield.
"""

import gzip
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.servers.stations_server import StationsServer
from windwatch.assessment.assess import assess
from windwatch.assessment.plan import plan_airfield
from windwatch.clock import HandClock
from windwatch.reports.decode import decode_report
from windwatch.settings.read import read_settings
from windwatch.wind import Steady
from windwatch.wiring import make_feed

OCTOBER = datetime(2026, 10, 14, 18, 5, tzinfo=UTC)
READING = b'{"at": "2026-10-14T18:04:30Z", "wind": {"from": 240, "mean": 9.3, "peak": 15.9}}'
ANEMOMETER = (
    "station=KSFB,observed_at=at,wind_from=wind.from,speed=wind.mean,gust=wind.peak,"
    "unit=m/s,reference=true,averaging_period=2min"
)
# Kind, path on the server, sample, airfield, time, options, and wind (from, speed, gust).
PLAYED = [
    pytest.param(
        "awc", "/api/data/metar", "awc/metar_cases_constructed.json", "KSFB", OCTOBER,
        ("--feed-url", "{root}/api/data"), (240, 18, 31), id="awc, many stations",
    ),
    pytest.param(
        "awc", "/api/data/metar", "awc/metar_history_constructed.json", "KSFB", OCTOBER,
        ("--feed-url", "{root}/api/data"), (240, 18, 31), id="awc, with a correction",
    ),
    pytest.param(
        "awc", "/api/data/metar", "awc/metar_real_2026.json", "KTYS",
        datetime(2026, 9, 14, 23, 0, tzinfo=UTC), ("--feed-url", "{root}/api/data"),
        (210, 12, None), id="awc, recorded",
    ),
    pytest.param(
        "noaa-text", "/data/observations/metar/stations/KSFB.TXT", "tgftp/stations_KSFB.TXT",
        "KSFB", OCTOBER, ("--feed-url", "{root}/data"), (240, 18, 31), id="noaa-text",
    ),
    pytest.param(
        "noaa-text", "/data/observations/metar/stations/EGLC.TXT", "tgftp/stations_EGLC.TXT",
        "EGLC", datetime(2026, 8, 5, 22, 30, tzinfo=UTC), ("--feed-url", "{root}/data"),
        (270, 12, None), id="noaa-text, recorded",
    ),
    pytest.param(
        "nws", "/stations/KSFB/observations", "nws/latest_KSFB_constructed_gust.json", "KSFB",
        OCTOBER, ("--feed-url", "{root}"), (240, 18, 31), id="nws",
    ),
    pytest.param(
        "nws", "/stations/KDAL/observations",
        "nws/observations_KDAL_real_2024_gust_null_but_in_raw.json", "KDAL",
        datetime(2024, 5, 6, 17, 0, tzinfo=UTC), ("--feed-url", "{root}"), (150, 13, 19),
        id="nws, recorded, a gust only in the text",
    ),
    pytest.param(
        "json", "/now", "awc/metar_cases_constructed.json", "KSFB", OCTOBER,
        ("--feed-url", "{root}/now", "--feed-mapping", "station_key=icaoId,report=rawOb"),
        (240, 18, 31), id="json, an aggregator",
    ),
    pytest.param(
        "json", "/now", READING, "KSFB", OCTOBER,
        ("--feed-url", "{root}/now", "--feed-every", "30s", "--feed-mapping",
         ANEMOMETER),
        (240, 18, 31), id="json, an anemometer",
    ),
    pytest.param(
        "awc-cache", "/cache/metars.csv.gz", "awc/metars.cache_constructed.csv", "KDFW",
        datetime(2026, 9, 16, 10, 15, tzinfo=UTC), ("--feed-url", "{root}/cache/metars.csv.gz"),
        (360, 22, 34), id="awc-cache",
    ),
    pytest.param(
        "awc-cache", "/cache/metars.csv.gz", "awc/metars.cache_real_rows_2026.csv", "EGLL",
        datetime(2026, 9, 16, 10, 15, tzinfo=UTC), ("--feed-url", "{root}/cache/metars.csv.gz"),
        (240, 8, None), id="awc-cache, recorded",
    ),
    pytest.param(
        "noaa-cycles", "/data/observations/metar/cycles/22Z.TXT", "tgftp/cycles_22Z.TXT", "KTIX",
        datetime(2026, 10, 14, 22, 12, tzinfo=UTC), ("--feed-url", "{root}/data"), (230, 22, 38),
        id="noaa-cycles",
    ),
]  # fmt: skip


@pytest.fixture(autouse=True)
def _here(tmp_path, monkeypatch):
    monkeypatch.delenv("WINDWATCH_AIRFIELDS", raising=False)
    monkeypatch.chdir(tmp_path)


def made(run, airfield, *options):
    """What the configuration says that `config new` made, after `config check`."""
    result = run(
        "config", "new", "--airfield", airfield, "--station", airfield, "--aircraft",
        "X-LARK,nosewheel,high,crosswind=15,tie_down=25", "--email", "ops@larkspur.example",
        "--yes", *options,
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert run("config", "check", "field.toml").exit_code == 0
    return read_settings([Path("field.toml")], {})


def known_wind(settings, now):
    """Ask the configured feed once, and judge the newest report of the airfield's station."""
    feed = make_feed(settings, HandClock(now))
    (airfield,) = settings.fleet.airfields
    try:
        result = feed.fetch(settings.fleet.stations(), now)
    finally:
        feed.close()
    reports = [
        decode_report(raw.text, raw.received_at, raw.observed_at, raw.kind)
        for raw in result.reports
    ]
    newest = max(
        (r for r in reports if r.station == airfield.station.id),
        key=lambda r: (r.observed_at, r.corrected),
    )
    judged = assess(plan_airfield(settings.fleet, airfield, now.date()), newest)
    assert judged.ground[0].finding.figure is not None
    wind = newest.wind
    assert isinstance(wind.direction, Steady)
    gust = None if wind.gust is None else round(wind.gust)
    return round(wind.direction.wind_from), round(wind.speed), gust


@pytest.mark.parametrize(("kind", "path", "sample", "airfield", "now", "options", "wind"), PLAYED)
def test_a_feed_works_from_a_configuration_made_by_config_new(
    run, reference, kind, path, sample, airfield, now, options, wind
):
    body = sample if isinstance(sample, bytes) else (reference / "feeds" / sample).read_bytes()
    with StationsServer() as server:
        server.answers[path] = (200, gzip.compress(body) if path.endswith(".gz") else body)
        given = [option.format(root=server.root) for option in options]
        settings = made(run, airfield, "--feed", kind, "--feed-network", "127.0.0.0/8", *given)
        assert settings.feed.kind == kind
        assert known_wind(settings, now) == wind
        assert server.asked, "the local server was asked, and nobody else"
        assert all("(ops@larkspur.example)" in agent for agent in server.agents)


def test_recorded_reports_work_from_a_configuration_made_by_config_new(run, root, tmp_path):
    (tmp_path / "day.txt").write_bytes((root / "recorded_reports" / "front_day.txt").read_bytes())
    options = ("--position", "42.93,-76.02", "--elevation", "960", "--runways", "10=91.4/28=271.4")
    settings = made(run, "XLKS", "--feed", "recorded", "--feed-file", "day.txt", *options)
    assert settings.feed.kind == "recorded"
    # The gust front of the demo day.
    assert known_wind(settings, datetime(2026, 9, 22, 19, 9, 30, tzinfo=UTC)) == (300, 28, 41)
    played = run("replay", "field.toml", "--out", "out")
    assert played.exit_code == 0, played.output
    assert list((tmp_path / "out").rglob("*.eml"))
