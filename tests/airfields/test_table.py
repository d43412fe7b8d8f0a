import gzip
from datetime import date

import pytest

from tests.airfields.conftest import AIRPORTS, COPIED, RUNWAYS
from windwatch.airfields.form import head, write_row
from windwatch.airfields.rebuild import rebuild, table_bytes, write_table
from windwatch.airfields.table import (
    AmbiguousAirfield,
    UnknownAirfield,
    find_airfield,
    nearest,
    open_table,
    station_of,
    suggestions,
)
from windwatch.airfields.values import Basis, Zone
from windwatch.errors import NoUsableReports, UsageError

DAY = date(2026, 9, 22)


# --- by identifier ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "kind"),
    [("XLKS", "ident"), ("xlks", "ident"), (" XLKS ", "ident"), ("LKS", "iata"), ("lks", "iata")],
)
def test_an_airfield_is_found_by_any_of_its_identifiers(small, typed, kind):
    found = find_airfield(typed, DAY, small)
    assert found.row.name == "Larkspur"
    assert found.asked_kind == kind
    assert found.namesakes == ()


def test_the_first_airfield_of_the_table_is_found_too(small):
    assert find_airfield("US-9001", DAY, small).row.name == "Furze Meadow East"


def test_an_identifier_of_two_airfields_is_not_chosen_in_silence(small):
    with pytest.raises(AmbiguousAirfield) as raised:
        find_airfield("9X9", DAY, small)
    assert {row.ident for row in raised.value.candidates} == {"XBRN", "US-9001"}
    assert "9X9 stands for several airfields: US-9001 (Furze Meadow East, US)" in str(raised.value)
    assert isinstance(raised.value, UsageError)


def test_a_namesake_of_a_lesser_kind_is_named_beside_the_answer(files, tmp_path):
    airports = [dict(row) for row in AIRPORTS]
    airports[2]["iata_code"] = ""
    airports[2]["local_code"] = "XBRN"
    made = rebuild(*files(airports), COPIED)
    write_table(tmp_path / "t", table_bytes(made.rows, made.provenance))
    found = find_airfield("XBRN", DAY, open_table(tmp_path / "t"))
    assert found.asked_kind == "ident"
    assert [row.ident for row in found.namesakes] == ["US-9001"]


@pytest.mark.parametrize(
    "typed", ["", "X", "XLKT", "Larkspur", "XL KS", "\n", "US", "960", "%s" * 99]
)
def test_what_is_no_identifier_is_not_found(small, typed):
    with pytest.raises(UnknownAirfield) as raised:
        find_airfield(typed, DAY, small)
    assert isinstance(raised.value, NoUsableReports)
    assert "in the table of 2026-09-22" in str(raised.value)


def test_a_near_miss_gets_suggestions(small):
    with pytest.raises(UnknownAirfield) as raised:
        find_airfield("XLSK", DAY, small)
    assert [row.ident for row in raised.value.suggestions] == ["XLKS"]
    for typed in ("XKLS", "XLS", "XLKSS", "XLKZ", "LKSX", "larks"):
        assert "XLKS" in [row.ident for row in suggestions(typed, small)], typed
    assert suggestions("ZZZZZZ", small) == ()


# --- what is found --------------------------------------------------------------------


def test_what_is_found_is_checked_and_named(small):
    found = find_airfield("XLKS", DAY, small)
    runway, closed = found.runways
    assert (runway.name, runway.length_ft, runway.width_ft) == ("10/28", 4000, 75)
    assert (runway.surface, runway.surface_as_written) == ("asphalt", "ASPH-G")
    assert runway.lighted
    assert not runway.doubtful
    assert [end.heading_true for end in runway.ends] == pytest.approx([91.4, 271.4])
    assert closed.closed
    assert closed.ends[0].basis is Basis.NUMBER
    # WMM2025 at that place: the same figure as `windwatch variation 42.93 -76.02`.
    assert found.variation.variation_deg == pytest.approx(-11.9, abs=0.1)
    assert found.variation.model == "WMM2025"
    assert found.time_zone == Zone("America/New_York", sure=True)
    assert found.station == "XLKS"
    assert found.station_nearby is None


def test_an_airfield_that_cannot_report_gets_the_nearest_that_can(small):
    found = find_airfield("US-9001", DAY, small)
    assert found.station == ""
    assert found.station_nearby is not None
    assert found.station_nearby.row.ident == "XLKS"
    assert found.station_nearby.distance_nm == pytest.approx(7.85, abs=0.05)
    assert found.station_nearby.bearing_true == pytest.approx(353, abs=1)


def test_a_missing_elevation_is_taken_from_a_threshold_or_not_at_all(files, tmp_path, small):
    assert find_airfield("XBRN", DAY, small).elevation_ft is None
    runways = [dict(row) for row in RUNWAYS]
    runways[3]["he_elevation_ft"] = "712"
    made = rebuild(*files(runways=runways), COPIED)
    write_table(tmp_path / "t", table_bytes(made.rows, made.provenance))
    assert find_airfield("XBRN", DAY, open_table(tmp_path / "t")).elevation_ft == 712


def test_an_end_without_a_name_is_named_after_the_other(files, tmp_path):
    runways = [dict(row) for row in RUNWAYS]
    runways[3] |= {"le_ident": "16L", "he_ident": ""}
    made = rebuild(*files(runways=runways), COPIED)
    write_table(tmp_path / "t", table_bytes(made.rows, made.provenance))
    runway = find_airfield("XBRN", DAY, open_table(tmp_path / "t")).runways[0]
    assert runway.name == "16L/34R"
    assert runway.remarks == ("the end 34R is not named in the table: it is taken from 16L",)


def test_only_four_signs_that_begin_with_a_letter_can_report(small):
    stations = {
        each: station_of(find_airfield(each, DAY, small).row) for each in ("XBRN", "US-9001")
    }
    assert stations == {"XBRN": "XBRN", "US-9001": ""}


# --- by place -------------------------------------------------------------------------


def test_the_nearest_come_first(small):
    found = nearest(42.93, -76.02, 5, small)
    assert [each.row.ident for each in found] == ["XLKS", "US-9001", "XBRN"]
    assert found[0].distance_nm == 0
    assert nearest(42.93, -76.02, 1, small) == found[:1]


def test_across_the_date_line_is_near(files, tmp_path):
    airports = [dict(row) for row in AIRPORTS]
    airports[0] |= {"latitude_deg": "52", "longitude_deg": "179.9"}
    made = rebuild(*files(airports), COPIED)
    write_table(tmp_path / "t", table_bytes(made.rows, made.provenance))
    found = nearest(52, -179.9, 1, open_table(tmp_path / "t"))[0]
    assert found.row.ident == "XLKS"
    assert found.distance_nm == pytest.approx(7.4, abs=0.1)
    assert found.bearing_true == pytest.approx(270, abs=1)


# --- tables that are none --------------------------------------------------------------


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"no gzip at all",
        gzip.compress(b"windwatch airfields, form 2\n\n"),
        gzip.compress(b"windwatch airfields, form 1\ncopied\tyesterday\n\n"),
        gzip.compress(b"\xff\xfe" * 100),
        gzip.compress(b"x" * 100_000)[:50],
    ],
)
def test_another_file_is_refused_in_words(tmp_path, content):
    path = tmp_path / "t"
    path.write_bytes(content)
    with pytest.raises(UsageError, match="windwatch airfields rebuild"):
        open_table(path)


def test_a_missing_file_is_refused_in_words(tmp_path):
    with pytest.raises(UsageError, match="cannot be read"):
        open_table(tmp_path / "none")


def test_a_file_that_unpacks_without_end_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("windwatch.airfields.table._LARGEST", 1_000_000)
    path = tmp_path / "t"
    path.write_bytes(gzip.compress(b"\n" * 5_000_000))
    with pytest.raises(UsageError, match="no compressed table"):
        open_table(path)


def test_a_damaged_line_is_refused_in_words(files, tmp_path):
    made = rebuild(*files(), COPIED)
    text = head(made.provenance) + write_row(made.rows[2]).replace("4000", "4x00") + "\n"
    path = tmp_path / "t"
    path.write_bytes(gzip.compress(text.encode()))
    with pytest.raises(UsageError, match="a line is damaged"):
        find_airfield("XLKS", DAY, open_table(path))
