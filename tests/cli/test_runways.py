import json
import tomllib

import pytest

from windwatch.cli.airfields import _date
from windwatch.errors import UsageError

AIRPORTS = """\
ident,type,name,latitude_deg,longitude_deg,elevation_ft,iso_country,iso_region,municipality,\
icao_code,iata_code,gps_code,local_code
XLKS,medium_airport,Larkspur,42.93,-76.02,960,US,US-NY,Larkspur,XLKS,LKS,XLKS,LKS
XBRN,small_airport,Bracken Strip,43.10,-76.30,,US,US-NY,,,,,9X9
US-9001,small_airport,Furze Meadow,42.80,-76.00,1010,US,US-NY,,,LKS,,9X9
"""
RUNWAYS = """\
airport_ident,length_ft,width_ft,surface,lighted,closed,le_ident,le_latitude_deg,\
le_longitude_deg,le_elevation_ft,le_heading_degT,le_displaced_threshold_ft,he_ident,\
he_latitude_deg,he_longitude_deg,he_elevation_ft,he_heading_degT,he_displaced_threshold_ft
XLKS,4000,75,ASPH-G,1,0,10,,,,91.4,,28,,,,,
XLKS,2000,,Turf,0,1,04,,,,,,22,,,,,
XBRN,1800,,clay,0,0,1,,,,75,,19,,,,,
US-9001,900,,,0,0,N,,,,,,S,,,,,
US-9001,9xx,,,0,0,09,,,,,,27,,,,,
"""


@pytest.fixture
def files(tmp_path):
    (tmp_path / "airports.csv").write_text(AIRPORTS)
    (tmp_path / "runways.csv").write_text(RUNWAYS)
    return tmp_path


@pytest.fixture
def table(run, files):
    result = run(
        "airfields", "rebuild", "--airports", str(files / "airports.csv"),
        "--runways", str(files / "runways.csv"), "--out", str(files / "t.gz"),
        "--dated", "2026-09-22",
    )  # fmt: skip
    assert result.exit_code == 0, result.stderr
    return str(files / "t.gz")


def test_rebuild_says_what_it_made_and_what_it_left_out(run, files, flat):
    result = run(
        "airfields", "rebuild", "--airports", str(files / "airports.csv"),
        "--runways", str(files / "runways.csv"), "--out", str(files / "t.gz"),
        "--dated", "2026-09-22",
    )  # fmt: skip
    assert "3 airfields with 5 runways in " in flat(result.stdout)
    assert "copy of 2026-09-22" in flat(result.stdout)
    assert "runways.csv:6: US-9001: length '9xx' is not from 1 to 60000" in flat(result.stderr)


def test_runways_are_shown_with_what_their_headings_rest_on(run, table, flat):
    result = run("runways", "xlks", "--table", table)
    assert result.exit_code == 0
    shown = flat(result.stdout)
    assert "XLKS Larkspur, Larkspur, US (medium airport)" in shown
    assert "10/28 91.4° / 271.4° as stated 4000 × 75" in shown
    assert "asphalt (ASPH-G)" in shown
    assert "CLOSED" in shown
    assert "public domain, copy of 2026-09-22" in shown
    assert "[[airfield]]" in shown


def test_a_doubt_is_said_with_both_figures(run, table, flat):
    shown = flat(run("runways", "XBRN", "--table", table).stdout)
    assert "1/19 is doubtful: for 1 the stated heading gives 75° true and the number" in shown
    assert "DOUBTFUL" in shown
    assert "elevation not known" in shown


def test_an_approximate_heading_is_called_so_and_has_no_decimals(run, table, flat):
    shown = flat(run("runways", "US-9001", "--table", table).stdout)
    assert "N/S 360° / 180° approximate: compass point of its name" in shown


def test_toml_alone_is_toml(run, table):
    result = run("runways", "XLKS", "--toml", "--table", table)
    assert tomllib.loads(result.stdout)["airfield"][0]["runway"][0]["ends"][1] == {
        "name": "28",
        "heading_true_deg": 271.4,
    }


def test_json_carries_every_figure(answer, table):
    found = answer("runways", "XLKS", "--table", table)
    field = found["airfield"]
    assert (field["id"], field["latitude"], field["elevation_ft"]) == ("XLKS", 42.93, 960)
    assert field["identifiers"]["iata"] == "LKS"
    assert field["station"] == "XLKS"
    assert field["time_zone"] == "America/New_York"
    runway, closed = field["runways"]
    assert runway["ends"][0] == {
        "name": "10",
        "heading_true_deg": 91.4,
        "basis": "as stated",
        "approximate": False,
        "latitude": None,
        "longitude": None,
        "elevation_ft": None,
        "displaced_threshold_ft": None,
    }
    assert (runway["length_ft"], runway["surface"], runway["doubtful"]) == (4000, "asphalt", False)
    assert closed["closed"]
    assert found["provenance"]["copied"] == "2026-09-22"
    assert tomllib.loads(found["toml"])["airfield"][0]["id"] == "XLKS"


def test_json_of_a_doubt_keeps_both_figures(answer, table):
    runway = answer("runways", "XBRN", "--table", table)["airfield"]["runways"][0]
    assert runway["doubtful"]
    assert not runway["supported"]
    assert "75° true" in runway["doubts"][0]


def test_a_near_miss_ends_with_3_and_tells_what_was_perhaps_meant(run, table, flat):
    result = run("runways", "XLSK", "--table", table)
    assert result.exit_code == 3
    assert result.stdout == ""
    assert "Did you mean one of these? XLKS, LKS: Larkspur" in flat(result.stderr)
    assert "To type it in by hand" in result.stderr
    by_hand = result.stderr.partition("degrees true:")[2].partition("A table from")[0]
    assert tomllib.loads(by_hand)["airfield"][0]["runway"][0]["ends"][0]["name"] == "10"


def test_a_near_miss_as_json_is_a_document_too(run, table):
    result = run("runways", "XLSK", "--json", "--table", table)
    assert result.exit_code == 3
    found = json.loads(result.stdout)
    assert found["airfield"] is None
    assert found["suggestions"][0]["id"] == "XLKS"


def test_an_identifier_of_two_ends_with_2_and_names_both(run, table, flat):
    result = run("runways", "9X9", "--table", table)
    assert result.exit_code == 2
    assert "9X9 stands for several airfields: US-9001 (Furze Meadow, US); XBRN" in flat(
        result.stderr
    )


@pytest.mark.parametrize("name", ["none.gz", "airports.csv"])
def test_a_table_that_is_none_ends_with_2(run, files, name):
    result = run("runways", "XLKS", "--table", str(files / name))
    assert result.exit_code == 2
    assert "windwatch airfields rebuild" in " ".join(result.stderr.split())


def test_the_environment_may_name_the_table(run, table, monkeypatch):
    monkeypatch.setenv("WINDWATCH_AIRFIELDS", table)
    assert run("runways", "XLKS").exit_code == 0
    monkeypatch.delenv("WINDWATCH_AIRFIELDS")
    assert run("runways", "XLKS").exit_code == 3


def test_airfields_near_a_place(run, answer, table, flat):
    shown = flat(run("airfields", "near", "42.9,-76.0", "--table", table).stdout)
    assert shown.index("XLKS") < shown.index("US-9001") < shown.index("XBRN")
    found = answer("airfields", "near", "42.93N,76.02W", "--count", "1", "--table", table)
    assert [each["id"] for each in found["airfields"]] == ["XLKS"]
    assert found["airfields"][0]["distance_nm"] == 0
    assert run("airfields", "near", "42.9,-76.0", "--table", table).exit_code == 0


def test_a_southern_place_is_no_option(run, table):
    assert run("airfields", "near", "-33.9,151.2", "--table", table).exit_code == 0


def test_a_date_that_is_none_ends_with_2(run, files):
    result = run(
        "airfields", "rebuild", "--airports", str(files / "airports.csv"),
        "--runways", str(files / "runways.csv"), "--out", str(files / "t.gz"),
        "--dated", "yesterday",
    )  # fmt: skip
    assert result.exit_code == 2
    assert "write it as 2026-09-23" in result.stderr
    assert not (files / "t.gz").exists()


def test_without_a_date_that_of_the_older_file_counts(files):
    import os  # noqa: PLC0415 - only here

    os.utime(files / "runways.csv", (1_700_000_000, 1_700_000_000))  # 14 November 2023
    assert _date(None, files / "airports.csv", files / "runways.csv").isoformat() == "2023-11-14"
    with pytest.raises(UsageError, match="cannot be read"):
        _date(None, files / "none.csv")
