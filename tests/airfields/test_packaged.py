"""The table that comes with the program: what it holds, and how well its figures agree.

The sample: of all airfields, the 300 whose key has the smallest SHA-256; nobody chose them.
"""

import gzip
import hashlib
import json
import re
from datetime import date
from importlib import resources
from pathlib import Path

import pytest
from pygeomag import GeoMag

from windwatch.airfields.crosscheck import cross_check
from windwatch.airfields.form import read_row
from windwatch.airfields.table import find_airfield, open_table
from windwatch.airfields.values import Basis
from windwatch.airmanship.variation import variation

DAY = date(2026, 9, 23)  # of the copy
DATA = resources.files("windwatch.airfields") / "data"


def every_key() -> list[str]:
    table = open_table()
    return [
        line.split(b"\t")[0].decode() for line in table.text[table.begins :].split(b"\n") if line
    ]


@pytest.fixture(scope="module")
def sample():
    keys = sorted(every_key(), key=lambda key: hashlib.sha256(key.encode()).hexdigest())
    return [find_airfield(key, DAY) for key in keys[:300]]


def apart(first, second):
    return abs((first - second + 180) % 360 - 180)


# --- the file ---------------------------------------------------------------------------


def test_it_is_small_and_says_where_it_comes_from():
    packed = (DATA / "airfields.txt.gz").read_bytes()
    assert len(packed) < 1_500_000
    provenance = open_table().provenance
    assert provenance.source.startswith("OurAirports")
    assert provenance.licence == "public domain"
    assert provenance.copied == date(2026, 9, 23)
    assert provenance.airfields == len(every_key()) > 29_000
    assert provenance.runways > 35_000
    assert "compare with a current chart" in provenance.words


def test_the_note_beside_it_tells_the_same():
    note = (DATA / "PROVENANCE.md").read_text(encoding="utf-8")
    provenance = open_table().provenance
    assert f"{provenance.copied.day} {provenance.copied:%B %Y}" in note
    assert provenance.licence in note
    assert len(re.findall(r"`[0-9a-f]{64}`", note)) == 2


def test_its_bytes_carry_no_name_or_time_of_a_machine():
    packed = (DATA / "airfields.txt.gz").read_bytes()
    # RFC 1952: no flags (so no file name), and a modification time of 0.
    assert packed[3:8] == b"\0\0\0\0\0"


def test_its_lines_are_sorted_and_every_one_can_be_read():
    keys = every_key()
    assert keys == sorted(set(keys))
    assert not gzip.decompress((DATA / "airfields.txt.gz").read_bytes()).count(b"\r")


# --- 300 airfields ------------------------------------------------------------------------


def test_at_most_one_airfield_in_twenty_has_an_open_runway_in_doubt(sample):
    doubtful = [
        known.row.ident
        for known in sample
        if any(runway.doubtful and not runway.closed for runway in known.runways)
    ]
    assert len(doubtful) <= 15
    runways = [runway for known in sample for runway in known.runways]
    assert sum(runway.doubtful for runway in runways) <= 0.05 * len(runways)


def test_without_doubt_both_ends_are_opposite_within_5_degrees(sample):
    checked = 0
    for known in sample:
        for runway in known.runways:
            first, second = (end.heading_true for end in runway.ends)
            if runway.doubtful or first is None:
                continue
            assert apart(first, second) >= 175, (known.row.ident, runway.name)
            checked += 1
    assert checked > 280


def test_without_doubt_the_number_with_the_variation_is_within_15_degrees(sample):
    """The variation is asked of the model itself, the number read anew."""
    model = GeoMag(coefficients_file="wmm/WMM_2025.COF")
    checked = surveyed = 0
    for known in sample:
        row = known.row
        there = model.calculate(glat=row.latitude, glon=row.longitude, alt=0, time=2026.73).d
        for runway in known.runways:
            for end in runway.ends:
                number = re.fullmatch(r"(\d{1,2})[A-SU-Z]?", end.name)
                if runway.doubtful or number is None or end.heading_true is None:
                    continue
                off = apart(int(number[1]) * 10 + there, end.heading_true)
                assert off <= 15, (row.ident, end.name, off)
                checked += 1
                surveyed += end.basis in {Basis.THRESHOLDS, Basis.STATED}
    assert checked > 500
    assert surveyed > 200, "the others would agree with themselves"


@pytest.mark.long
def test_of_all_airfields_at_most_one_in_twenty_is_in_doubt():
    table = open_table()
    doubtful, every = 0, 0
    for line in table.text[table.begins :].decode().split("\n"):
        if line:
            row = read_row(line)
            there = variation(row.latitude, row.longitude, DAY).variation_deg
            checked = [cross_check(each, there) for each in row.runways if not each.closed]
            doubtful += any(each.doubts for each in checked)
            every += 1
    assert every > 29_000
    assert doubtful <= 0.05 * every


# --- somebody else's answers ------------------------------------------------------------------

# Runway headings in degrees true, published by those who run or chart the airport.
# The tolerance is what the published figure is rounded to, and half a degree.
PUBLISHED = [
    # FAA National Airspace System Resources, APT_RWY_END.csv, TRUE_ALIGNMENT, cycle of
    # 6 August 2026: whole degrees.
    pytest.param("KMDW", "04R", 43, 1.0, id="Chicago Midway 04R, FAA NASR"),
    pytest.param("KMDW", "22L", 223, 1.0, id="Chicago Midway 22L, FAA NASR"),
    pytest.param("KMDW", "13L", 134, 1.0, id="Chicago Midway 13L, FAA NASR"),
    pytest.param("KMDW", "31R", 314, 1.0, id="Chicago Midway 31R, FAA NASR"),
    # London Heathrow: 89.67 and 269.67 as quoted from its chart in the FlightGear wiki,
    # "Airport Tutorial" (read 25 November 2026); UK AIP AD 2.EGLL 2.12 has 089.67 and 269.71
    # (from memory).
    pytest.param("EGLL", "09L", 89.67, 0.5, id="London Heathrow 09L"),
    pytest.param("EGLL", "27R", 269.67, 0.5, id="London Heathrow 27R"),
    # Amsterdam: tracks of the runways in the BlueSky simulator's constants of Schiphol.
    pytest.param("EHAM", "18R", 183, 1.0, id="Amsterdam 18R"),
    pytest.param("EHAM", "09", 87, 1.0, id="Amsterdam 09"),
    # From memory of the AIPs, AD 2.12, true bearings.
    pytest.param("EDDF", "25C", 249.6, 0.5, id="Frankfurt 25C, from memory"),
    pytest.param("KJFK", "04L", 31, 1.0, id="New York Kennedy 04L, FAA 5010, from memory"),
    pytest.param("KJFK", "31L", 301, 1.0, id="New York Kennedy 31L, FAA 5010, from memory"),
    pytest.param("KSFO", "28R", 298, 1.0, id="San Francisco 28R, FAA 5010, from memory"),
]


@pytest.mark.parametrize(("ident", "name", "heading_true", "within"), PUBLISHED)
def test_headings_agree_with_published_ones(ident, name, heading_true, within):
    known = find_airfield(ident, DAY)
    end = next(end for runway in known.runways for end in runway.ends if end.name == name)
    assert end.heading_true is not None
    assert apart(end.heading_true, heading_true) <= within


def test_headings_agree_with_those_that_another_library_carries():
    """Every eighth large airport against `avwx-engine` (data/files/stations.json).

    Its bearings are the stated headings of another copy of the same open data: the thresholds,
    which count here, are a figure apart from them.
    """
    import avwx  # noqa: PLC0415 - only here

    stations = json.loads(
        (Path(avwx.__file__).parent / "data" / "files" / "stations.json").read_text("utf-8")
    )
    table = open_table()
    lines = [line.split(b"\t", 6) for line in table.text[table.begins :].split(b"\n") if line]
    large = [parts[0].decode() for parts in lines if parts[5] == b"L"]
    off = []
    for ident in set(large[::8]) & stations.keys():
        theirs = {
            runway["ident1"]: runway["bearing1"]
            for runway in stations[ident]["runways"] or []
            if runway.get("bearing1")
        }
        off += [
            (apart(runway.ends[0].heading_true, theirs[runway.ends[0].name]), runway.doubtful)
            for runway in find_airfield(ident, DAY).runways
            if runway.ends[0].name in theirs and runway.ends[0].basis is Basis.THRESHOLDS
        ]
    assert len(off) > 120
    assert sum(angle <= 5 for angle, _ in off) >= 0.95 * len(off)
    assert sum(angle <= 10 or doubtful for angle, doubtful in off) >= 0.99 * len(off)
