"""`now`: every airfield in a supposed wind, in a supposed report, or as the feed has it."""

import json
import shlex
import shutil
from datetime import UTC, datetime, timedelta

import pytest

from tests.servers.feed_server import PlayedFeed
from tests.watch.little_watch import config_text, recording
from windwatch.clock import SystemClock, utc_now

SHOWER = (
    "SPECI XBRN 221817Z AUTO 29026G38KT 1 1/2SM +TSRA SQ BKN028 OVC060 21/18 A2973 "
    "RMK AO2 PK WND 29038/1812 WSHFT 1805"
)


@pytest.fixture
def demo(root, tmp_path, monkeypatch):
    for folder in ("config", "recorded_reports"):
        shutil.copytree(root / folder, tmp_path / folder)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def live(demo):
    """The demo's field with a recording that a test fills with reports of just now."""
    path = demo / "config" / "demo.toml"
    text = path.read_text().replace("../recorded_reports/front_day.txt", "../live.txt")
    (demo / "config" / "live.toml").write_text(text)

    def fill(**minutes_and_winds):
        lines = []
        for station_age, wind in minutes_and_winds.items():
            station, age = station_age.split("_")
            at = utc_now() - timedelta(minutes=int(age))
            received = at + timedelta(seconds=30)
            lines.append(
                f"{received:%Y-%m-%dT%H:%M:%SZ} METAR {station} {at:%d%H%M}Z {wind} 10SM CLR "
                "20/10 A2990"
            )
        (demo / "live.txt").write_text("\n".join(lines))
        return "config/live.toml"

    return fill


# --- supposing ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wind", "says"),
    [
        ("27012KT", "Wind from 270 true (282 magnetic), 12 kt"),
        ("00000KT", "Wind calm"),
        ("VRB03KT", "Wind variable, 3 kt"),
        ("///10KT", "Wind 10 kt, direction not reported"),
        ("24018G30KT 190V290", "Varying from 190 to 290 true; judged at its worst"),
        ("180P99KT", "at least 99 kt"),
        ("24010MPS", "19.4 kt"),
        ("36010KMH", "5.4 kt"),
    ],
)
def test_a_supposed_wind_is_shown_for_every_aircraft(run, demo, caution, flat, wind, says):
    result = run("now", "config/demo.toml", "--wind", wind)
    assert result.exit_code == 0
    said = flat(result.stdout)
    assert says in said
    assert "Supposed, not observed:" in said
    for aircraft in ("X-LARK", "X-TERN", "X-WREN"):
        assert aircraft in said
    assert "apron to hold 28" in said
    assert said.endswith(caution)


def test_no_gust_is_never_put_as_no_gusts(run, demo, flat):
    said = flat(run("now", "config/demo.toml", "--wind", "27012KT").stdout)
    assert "Gust spread: not reported, which does not mean a steady wind" in said
    assert "no gusts" not in said


def test_the_figures_of_a_supposed_wind(answer, demo):
    """180/20 on runway 28 (271.4 true): the crosswind is 20 × sin 88.6° = 20.0 kt."""
    found = answer("now", "config/demo.toml", "--wind", "18020KT")
    [field] = found["airfields"]
    assert field["supposed"] is True
    lark = next(r for r in field["runways"] if r["pilot_limits"] == "dual")
    cross = {runway["runway"]: runway for runway in lark["runways"]}["10/28"]
    end = next(e for e in cross["ends"] if e["end"] == "28")
    assert end["crosswind_kt"] == -20.0
    assert end["level"] == "over"
    assert lark["level"] == "within", "runway 19 remains"


def test_json_has_the_documented_shape(answer, demo, caution):
    found = answer("now", "config/demo.toml", "--wind", "27012KT")
    assert set(found) == {"at", "airfields", "caution"}
    assert found["caution"] == caution
    [field] = found["airfields"]
    assert set(field) == {
        "airfield",
        "wind_known",
        "supposed",
        "station",
        "observed_at",
        "age_min",
        "raw",
        "wind",
        "runways",
        "ground",
        "thunder",
    }
    assert set(field["ground"][0]) == {
        "aircraft",
        "quantity",
        "figure_kt",
        "nominal_kt",
        "limit_kt",
        "whose",
        "of",
        "level",
        "last_known_level",
        "at_least",
    }


def test_a_supposed_report_of_the_fall_back_station_is_judged_here(run, demo, flat):
    result = run("now", "config/demo.toml", "--report", SHOWER)
    assert result.exit_code == 0
    said = flat(result.stdout)
    assert "Supposed report of XBRN (fall-back station), not observed:" in said
    assert "Thunder: over (thunderstorm at the field; squall at the field)" in said
    assert "tie-down over 38 kt > 22 kt" in said


def test_exit_level_tells_that_something_is_over(run, demo):
    assert run("now", "config/demo.toml", "--wind", "27045KT", "--exit-level").exit_code == 1
    assert run("now", "config/demo.toml", "--wind", "00000KT", "--exit-level").exit_code == 0
    assert run("now", "config/demo.toml", "--wind", "27045KT").exit_code == 0


def test_thunder_alone_is_over(run, demo):
    calm = "METAR XLKS 221853Z 00000KT 10SM TS SCT045CB 29/19 A2965"
    assert run("now", "config/demo.toml", "--report", calm, "--exit-level").exit_code == 1


@pytest.mark.parametrize("wind", ["rubbish", "/////KT", "P99KT", "270", "", "27012KT rubbish"])
def test_a_wind_that_is_none_is_refused(run, demo, flat, wind):
    result = run("now", "config/demo.toml", "--wind", wind)
    assert result.exit_code == 2
    assert "--wind" in result.stderr
    assert "22030G40KT 190V250" in flat(result.stderr), "a line that works"


@pytest.mark.parametrize("report", ["rubbish", "", "METAR", "METAR XLKS"])
def test_a_report_that_is_none_is_refused(run, demo, report):
    result = run("now", "config/demo.toml", "--report", report)
    assert result.exit_code == 2
    assert "--report" in result.stderr


def test_a_report_without_wind_is_no_usable_data_and_never_calm(run, demo, flat):
    result = run("now", "config/demo.toml", "--report", "METAR XLKS 221853Z /////KT 10SM")
    assert result.exit_code == 3
    assert "unknown: no wind is known; that is not calm and not within limits" in flat(
        result.stdout
    )


def test_two_ways_of_supposing_are_one_too_many(run, demo):
    result = run("now", "config/demo.toml", "--wind", "27012KT", "--report", SHOWER)
    assert result.exit_code == 2


def test_faults_of_a_configuration_are_listed(run, demo):
    (demo / "bad.toml").write_text('[feed]\nkind = "radio"\nevry = "60s"\n')
    result = run("now", "bad.toml", "--wind", "27012KT")
    assert result.exit_code == 2
    assert "bad.toml:2" in result.stderr
    assert "bad.toml:3" in result.stderr


# --- polling -----------------------------------------------------------------------


def test_the_newest_report_of_the_field_is_shown_with_its_age(run, live, flat):
    result = run("now", live(XLKS_70="27030G45KT", XLKS_12="27012KT"))
    assert result.exit_code == 0
    said = flat(result.stdout)
    assert "XLKS, observed" in said
    assert "12 min old" in said
    assert "Wind from 270 true (282 magnetic), 12 kt" in said
    assert "Report: METAR XLKS" in said


def test_the_fall_back_station_stands_in_and_is_named(run, live, flat):
    result = run("now", live(XLKS_100="27030G45KT", XBRN_12="27012KT"))
    said = flat(result.stdout)
    assert result.exit_code == 0
    assert "XBRN, observed" in said
    assert "From the fall-back station: XLKS gives no fresh wind" in said


def test_what_is_too_old_is_unknown_with_the_last_level_beside_it(run, live, flat):
    config = live(XLKS_200="27030G45KT")
    result = run("now", config)
    said = flat(result.stdout)
    assert result.exit_code == 3
    assert "unknown now: that is too old to count" in said
    assert "unknown (was over)" in said
    assert " over " not in said.replace("(was over)", ""), "no level as if it were known"
    document = json.loads(run("now", config, "--json").stdout)
    [field] = document["airfields"]
    assert field["wind_known"] is False
    assert {r["level"] for r in field["runways"]} == {"unknown"}
    assert {r["last_known_level"] for r in field["runways"]} == {"over"}


def test_a_feed_without_any_report_is_no_usable_data(run, live, demo):
    config = live(XLKS_12="27012KT")
    later = datetime.now(UTC) + timedelta(hours=1)
    (demo / "live.txt").write_text(
        f"{later:%Y-%m-%dT%H:%M:%SZ} METAR XLKS {later:%d%H%M}Z 27012KT 10SM CLR 20/10 A2990"
    )
    result = run("now", config)
    assert result.exit_code == 3
    assert "no report came; nothing is known, which is not calm" in result.stderr


@pytest.mark.parametrize(
    ("headers", "again"),
    [({}, "after 90 seconds"), ({"Retry-After": "240"}, "after 4 minutes")],
    ids=["down", "busy"],
)
def test_a_feed_that_gives_nothing_is_told_with_what_can_be_done(
    run, tmp_path, monkeypatch, flat, headers, again
):
    monkeypatch.chdir(tmp_path)
    with PlayedFeed(recording(tmp_path / "day.txt", []), SystemClock()) as feed:
        feed.faults = [(503, headers, b"later")] * 3
        text = config_text(feed=feed.url).replace('"60s"', '"90s"')
        (tmp_path / "field.toml").write_text(text)
        result = run("now", "field.toml")
    assert result.exit_code == 3
    said = flat(result.stderr)
    assert "503" in said
    assert "Look at [feed] in the configuration, and at the network of this machine" in said
    assert f"A watch that runs asks again by itself, here {again}" in said
    [line] = [line for line in result.stderr.splitlines() if "--wind" in line]
    offered = shlex.split(line.partition("windwatch ")[2])
    assert offered[:2] == ["now", "field.toml"]
    assert run(*offered).exit_code == 0, "what is offered works"
    assert all(len(line) <= 80 for line in result.stderr.splitlines())


def test_recorded_files_that_are_gone_are_told_with_what_can_be_done(run, live, demo, flat):
    result = run("now", live(XLKS_5="27012KT"))
    assert result.exit_code == 0
    (demo / "live.txt").write_text("not a line of a recording\n")
    result = run("now", "config/live.toml")
    assert result.exit_code == 3
    assert "Look at [feed] in the configuration, and at the files that it names" in flat(
        result.stderr
    )


def test_nothing_is_stored_or_sent(run, live, demo):
    before = sorted(path for path in demo.rglob("*"))
    config = live(XLKS_12="27030G45KT")
    before = sorted(path for path in demo.rglob("*"))
    run("now", config)
    assert sorted(path for path in demo.rglob("*")) == before
