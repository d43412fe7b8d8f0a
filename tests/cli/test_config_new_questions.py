"""`config new` by questions, with stations found nearby, and as a real process."""

import os
import signal
import subprocess
import sys

import pytest

from tests.cli.config_made import LEAST, OFFLINE, REST, fleet, left_behind, written
from tests.cli.field_table import stations_now
from tests.servers.stations_server import StationsServer

pytestmark = pytest.mark.usefixtures("here")

# --- by questions ----------------------------------------------------------------------------


def test_enter_takes_what_is_offered_from_first_to_last(talk, flat):
    result = talk("lks", "", "", "", "", "", "", *REST, options=OFFLINE)
    said = flat(result.stdout)
    assert "XLKS Larkspur, Larkspur, US (medium airport)" in said
    assert "42.93, -76.02; elevation 960 ft" in said
    assert "10/28 91.4° / 271.4° as stated" in said
    assert "public domain, copy of 2026-09-22" in said
    assert "Stations nearby were not asked for." in said
    assert "that it does report was not seen. Ask: windwatch stations --near" in said
    assert "A demonstrated crosswind is what a test pilot happened to find" in said
    assert "Enter takes the figure in brackets, which is common practice, no source" in said
    assert "Wind above which it must be secured now" in said
    assert fleet().airfields[0].station.id == "XLKS"
    assert [craft.name for craft in fleet().aircraft] == ["X-LARK"]


def test_rubbish_is_refused_with_the_mend_and_asked_again(talk, flat):
    result = talk(
        "", "hello world", "XLSK", "no", "lks", "perhaps", "yes",
        "10=91/28=91", "", "Europe/Larkspur", "", "ABC", "", "XLKS", "", "late", "",
        "X-LARK", "skis", "nosewheel", "middle", "high", "-3", "14", "", "", "none", "", "", "",
        "", "", "student solo", "x", "", "", "", "", "",
        "ops@larkspur", "ops@larkspur.example", "everything", "", "", "", "", "", "no",
        options=OFFLINE,
    )  # fmt: skip
    said = flat(result.stdout)
    for mend in (
        "This cannot be left out.",
        '"hello world" is no identifier of an airfield; write 2 to 10',
        "'XLSK' is no airfield with a runway in the table of 2026-09-22. Did you mean",
        '"perhaps" is neither yes nor no; write yes or no',
        "10 and 28 are 180° from opposite",
        '"Europe/Larkspur" is no time zone',
        '"ABC" is no station of reports',
        "XLKS is the station itself",
        '"late" are no hours',
        '"skis" is not known here',
        '"middle" is not known here',
        "-3 would always be exceeded; write a limit in knots, above 0",
        '"x" is no number',
        '"ops@larkspur" is no mail address',
        '"everything" is not known here',
    ):
        assert mend in said, mend
    limits = written()["aircraft"][0]["limits"]
    assert limits["crosswind_kt"] == 14
    assert "gust_spread_kt" not in limits
    assert written()["pilot_limits"][0]["name"] == "student solo"


def test_several_aircraft_pilots_and_contacts_by_questions(talk, flat):
    starters = [""] * 8
    result = talk(
        "lks", "", "", "", "", "", "",
        "X-LARK", "", "", *starters, "X-LARK", "X-WREN", "tail", "low", *starters, "no more",
        "student solo, owner", *[""] * 8, "owner, chief", "owner", "student solo",
        "", "https://desk.larkspur.example/wind", "all", "all",
        "owner", "notices", "ground", "X-WREN", "",
        "ops@larkspur.example", "", "no",
        options=OFFLINE,
    )  # fmt: skip
    said = flat(result.stdout)
    assert "X-LARK is there already; give each its own name" in said
    assert '"chief" is not there; write student solo, owner, or all' in said
    file = written()
    assert [craft["flown_by"] for craft in file["aircraft"]] == [["owner"], ["student solo"]]
    assert file["aircraft"][1]["gear"] == "tailwheel"
    desk, owner = file["contact"]
    assert desk["tell_about"] == {"runways": "each", "levels": ["near", "over", "unknown"]}
    assert owner["folder"] == "notices"
    assert owner["tell_about"] == {"aircraft": ["X-WREN"], "runways": "none"}
    assert file["feed"]["contact"] == "ops@larkspur.example"


def test_an_airfield_typed_in_by_questions(talk, flat):
    result = talk(
        "BURDOCK", "yes", "Burdock strip", "42.85,-76.62", "720", "24=229", "",
        "XBRN", "", "", *REST, options=OFFLINE,
    )  # fmt: skip
    said = flat(result.stdout)
    assert "No: another identifier. Yes: where it lies and its runways are asked next." in said
    assert "Type in BURDOCK yourself? [no]" in said
    field = written()["airfield"][0]
    assert (field["id"], field["name"]) == ("BURDOCK", "Burdock strip")
    assert field["runway"][0]["one_way"] is True
    assert field["station_elevation_ft"] == 1010


def test_the_end_of_the_answers_writes_nothing_and_names_the_option(talk, flat):
    result = talk("lks", "yes", options=OFFLINE, status=2)
    said = flat(result.stderr)
    assert "the answers end at 'Runways [as shown]:', and nothing was written" in said
    assert "give --runways 10=91.4/28=271.4" in said
    assert left_behind() == []


# --- stations nearby ---------------------------------------------------------------------------


def asking(server):
    return ("--feed-url", server.url, "--feed-network", "127.0.0.0/8")


def test_stations_nearby_are_found_by_asking_the_feed(talk, flat):
    with StationsServer(*stations_now()) as server:
        result = talk("lks", "", "", "", "", "", "", *REST, options=asking(server))
    said = flat(result.stdout)
    assert "25.5 273 true 1010 +50 ft 34 min" in said
    assert "reports its own wind, not yours" in said
    assert "no METAR" not in said
    assert "Station [XLKS]" in said
    assert "Fall-backs [XBRN]" in said
    assert "While it is silent, from XBRN, 26 NM away, 273° true, 50 ft higher." in said
    (station,) = written()["airfield"][0]["fall_back_station"]
    assert station == {
        "id": "XBRN", "distance_nm": 25.5, "bearing_true_deg": 273, "elevation_ft": 1010,
    }  # fmt: skip


def test_where_the_field_itself_does_not_report_the_nearest_station_is_offered(talk, flat):
    records = [record for record in stations_now() if record["icaoId"] != "XLKS"]
    with StationsServer(*records) as server:
        result = talk("lks", "", "", "", "", "", "", *REST, options=asking(server))
    assert "Station [XBRN]" in flat(result.stdout)
    assert written()["airfield"][0]["station_distance_nm"] == 25.5


def test_a_feed_that_does_not_answer_is_said_and_the_station_asked_for(talk, flat):
    with StationsServer() as server:
        server.answers["/api/data/metar"] = (503, b"")
        result = talk("lks", "", "", "", "", "", "", *REST, options=asking(server))
    said = flat(result.stdout)
    assert "The feed did not answer" in said
    assert "Type the station yourself" in said
    assert "Many small airfields send none (no METAR)" in said
    assert "Station [XLKS]" in said


def test_nobody_nearby_is_said(talk, flat):
    with StationsServer() as server:
        result = talk("lks", "", "", "", "", "", "", *REST, options=asking(server))
    assert "Nobody has reported within 50 NM" in flat(result.stdout)


def test_with_a_station_given_nobody_is_asked(run):
    with StationsServer(*stations_now()) as server:
        assert run("config", "new", *LEAST, *asking(server)).exit_code == 0
    assert server.asked == []


# --- a real process ------------------------------------------------------------------------------


def process(*args, **more):
    environ = {**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    return subprocess.Popen(
        [sys.executable, "-m", "windwatch", "config", "new", *args],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environ,
        **more,
    )


def test_a_real_process_without_a_terminal_takes_answers_line_by_line():
    answers = "".join(f"{line}\n" for line in ("lks", "", "", "", "", "", "", *REST))
    with process("--offline") as running:
        said, wrong = running.communicate(answers, timeout=60)
    assert running.returncode == 0, wrong
    assert said.endswith("windwatch watch field.toml\n")
    assert written()["airfield"][0]["id"] == "XLKS"


def test_ctrl_c_in_the_middle_writes_nothing():
    with process("--offline") as running:
        running.stdin.write("lks\nyes\n")
        running.stdin.flush()
        seen = ""
        while "Runways [as shown]: " not in seen:
            seen += running.stdout.read(1)
        running.send_signal(signal.SIGINT)
        # Before its input is closed, which would be an answer of its own.
        running.wait(60)
        _, wrong = running.communicate(timeout=60)
    assert running.returncode == 130
    assert wrong.strip() == "Nothing was written."
    assert left_behind() == []


def test_the_guided_start_is_listed_first(run):
    shown = run("config", "--help").stdout
    assert shown.index("  new ") < shown.index("  check ")
    assert run("config", "new", "--help").exit_code == 0
