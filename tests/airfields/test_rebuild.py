import gzip
import re
from pathlib import Path

import pytest

from tests.airfields.conftest import (
    AIRPORT_COLUMNS,
    AIRPORTS,
    COPIED,
    RUNWAY_COLUMNS,
    RUNWAYS,
    write_csv,
)
from windwatch.airfields import rebuild as making
from windwatch.airfields.form import read_row, write_row
from windwatch.airfields.rebuild import rebuild, table_bytes, write_table
from windwatch.airfields.table import open_table
from windwatch.airfields.values import RowEnd
from windwatch.errors import UsageError


def changed(rows, which, key="ident", /, **fields):
    return [{**row, **fields} if row[key] == which else row for row in rows]


def test_only_open_airfields_with_runways_are_kept(files):
    made = rebuild(*files(), COPIED)
    assert [row.ident for row in made.rows] == ["US-9001", "XBRN", "XLKS"]
    assert made.problems == ()
    assert made.left_out == {
        "airfields without a runway": 1,
        "closed aerodromes": 1,
        "heliports": 1,
        "helipads": 2,
    }
    assert (made.provenance.airfields, made.provenance.runways) == (3, 4)
    assert made.provenance.copied == COPIED


def test_closed_runways_are_kept_and_come_last(files):
    runways = rebuild(*files(), COPIED).rows[2].runways
    assert [(runway.ends[0].name, runway.closed) for runway in runways] == [
        ("10", False),
        ("04", True),
    ]


def test_a_length_of_0_is_not_known_and_names_are_capitals(files):
    runway = rebuild(*files(), COPIED).rows[0].runways[0]
    assert runway.length_ft is None
    assert runway.ends == (RowEnd("N"), RowEnd("S"))


def test_signs_that_part_the_table_do_not_get_into_it(files):
    airports = changed(AIRPORTS, "XLKS", name="Lark\tspur\n|;\u202e\x00 Field")
    row = rebuild(*files(airports), COPIED).rows[2]
    assert row.name == "Lark spur Field"
    assert read_row(write_row(row)) == row


def test_what_is_written_is_read_back(files):
    runways = changed(
        RUNWAYS, "XBRN", "airport_ident", le_latitude_deg="43.1001", le_longitude_deg="-76.3",
        he_latitude_deg="43.105", he_longitude_deg="-76.299999", le_elevation_ft="-12",
        le_heading_degT="0", he_heading_degT="180.126", he_displaced_threshold_ft="310",
    )  # fmt: skip
    row = rebuild(*files(runways=runways), COPIED).rows[1]
    first, second = row.runways[0].ends
    assert first == RowEnd("1", 43.1001, -76.3, -12, 360.0, None)
    assert second == RowEnd("19", 43.105, -76.3, None, 180.13, 310)
    assert read_row(write_row(row)) == row


def test_the_same_rows_give_the_same_bytes(files):
    made = rebuild(*files(), COPIED)
    again = rebuild(*files(AIRPORTS[::-1], RUNWAYS[::-1]), COPIED)
    packed = table_bytes(made.rows, made.provenance)
    assert packed == table_bytes(again.rows, again.provenance)
    assert gzip.decompress(packed).startswith(b"windwatch airfields, form 1\nsource\t")


@pytest.mark.parametrize(
    ("ident", "fields", "words"),
    [
        ("XBRN", {"le_heading_degT": "362"}, "XBRN: end 1, heading '362' is not from 0 to 360"),
        ("XBRN", {"width_ft": "-1"}, "XBRN: width '-1' is not from 1 to 9000"),
        ("XBRN", {"length_ft": "nan"}, "XBRN: length 'nan' is not from 1 to 60000"),
        ("XBRN", {"he_latitude_deg": "x"}, "XBRN: end 19, latitude 'x' is not from -90 to 90"),
        ("XBRN", {"airport_ident": "XNIX"}, "'XNIX': a runway of no known airfield"),
    ],
)
def test_a_figure_that_cannot_be_is_named_and_the_rest_is_kept(files, ident, fields, words):
    runways = changed(RUNWAYS, ident, "airport_ident", **fields)
    made = rebuild(*files(runways=runways), COPIED)
    assert len(made.problems) == 1
    assert words in made.problems[0]
    assert made.problems[0].startswith("runways.csv")
    assert "XLKS" in [row.ident for row in made.rows]


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"latitude_deg": "91"}, "no position; left out"),
        ({"ident": "X/Y"}, "its key is no identifier"),
        ({"type": "moonbase"}, "type 'moonbase' is not known; left out"),
        ({"ident": "XLKS"}, "stands twice; the second is left out"),
        ({"iata_code": "???"}, "'???' is no identifier; taken as not stated"),
    ],
)
def test_an_airfield_that_cannot_be_is_named(files, fields, words):
    airports = changed(AIRPORTS, "XBRN", **fields)
    runways = changed(RUNWAYS, "XBRN", "airport_ident", airport_ident=fields.get("ident", "XBRN"))
    problems = rebuild(*files(airports, runways), COPIED).problems
    assert any(words in problem for problem in problems)


def test_a_row_of_the_wrong_length_is_skipped_and_named(files):
    airports, runways = files()
    with runways.open("a", encoding="utf-8") as file:
        file.write("1,2,XBRN\n")
    made = rebuild(airports, runways, COPIED)
    assert made.problems == ("runways.csv:9: 3 fields instead of 20; left out",)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda path: path.unlink(), "cannot be read"),
        (lambda path: path.write_text("a,b\n1,2\n"), "no column airport_ident"),
        (lambda path: path.write_bytes(b""), "no column"),
        (lambda path: path.write_text('a,"b\n'), "is the file whole?"),
        (lambda path: path.write_text("x" * 30_000), "is the file whole?"),
    ],
)
def test_a_wrong_file_is_refused_in_words(files, spoil, words):
    airports, runways = files()
    spoil(runways)
    with pytest.raises(UsageError, match=re.escape(words)):
        rebuild(airports, runways, COPIED)


def test_the_files_the_wrong_way_round_are_refused(files):
    airports, runways = files()
    with pytest.raises(UsageError, match="is it the right file"):
        rebuild(runways, airports, COPIED)


def test_sizes_are_limited(files, monkeypatch):
    monkeypatch.setattr(making, "_LARGEST_FILE", 500)
    with pytest.raises(UsageError, match="is larger than"):
        rebuild(*files(), COPIED)
    monkeypatch.undo()
    monkeypatch.setattr(making, "_MOST_ROWS", 3)
    with pytest.raises(UsageError, match="more than 3 rows"):
        rebuild(*files(), COPIED)
    monkeypatch.undo()
    many = [RUNWAYS[0]] * 100
    made = rebuild(*files(runways=many), COPIED)
    assert len(made.rows[0].runways) == 60
    assert len(made.problems) == 40


def test_nothing_in_the_files_is_refused(tmp_path):
    airports = write_csv(tmp_path / "airports.csv", AIRPORT_COLUMNS, [])
    runways = write_csv(tmp_path / "runways.csv", RUNWAY_COLUMNS, [])
    with pytest.raises(UsageError, match="no airfield with a runway"):
        rebuild(airports, runways, COPIED)


def test_writing_replaces_a_table_in_one_go_and_leaves_nothing_beside_it(tmp_path):
    out = tmp_path / "t.gz"
    out.write_bytes(b"old")
    write_table(out, b"new")
    assert out.read_bytes() == b"new"
    assert list(tmp_path.iterdir()) == [out]


def test_a_table_that_cannot_be_written_is_said_and_leaves_nothing(tmp_path: Path):
    out = tmp_path / "t.gz"
    out.mkdir()
    with pytest.raises(UsageError, match="cannot be written"):
        write_table(out, b"new")
    assert list(tmp_path.iterdir()) == [out]
    with pytest.raises(UsageError, match="cannot be written"):
        write_table(tmp_path / "none" / "t.gz", b"new")


def test_the_recorded_sample_of_the_open_data_is_understood(reference, tmp_path):
    folder = reference / "feeds" / "ourairports"
    made = rebuild(folder / "airports_sample.csv", folder / "runways_sample.csv", COPIED)
    assert made.problems == ()
    assert made.left_out == {"heliports": 1, "helipads": 1}
    assert len(made.rows) == 15
    write_table(tmp_path / "t.gz", table_bytes(made.rows, made.provenance))
    assert open_table(tmp_path / "t.gz").provenance.airfields == 15
