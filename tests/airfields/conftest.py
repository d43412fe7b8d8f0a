"""Two small files as the open data have them, with invented airfields."""

import csv
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from windwatch.airfields.rebuild import rebuild, table_bytes, write_table
from windwatch.airfields.table import Table, open_table

AIRPORT_COLUMNS = """
id ident type name latitude_deg longitude_deg elevation_ft continent iso_country
iso_region municipality scheduled_service icao_code iata_code gps_code local_code
home_link wikipedia_link keywords
""".split()  # noqa: SIM905 - the first line of the file
RUNWAY_COLUMNS = """
id airport_ref airport_ident length_ft width_ft surface lighted closed le_ident
le_latitude_deg le_longitude_deg le_elevation_ft le_heading_degT le_displaced_threshold_ft
he_ident he_latitude_deg he_longitude_deg he_elevation_ft he_heading_degT
he_displaced_threshold_ft
""".split()  # noqa: SIM905 - the first line of the file
COPIED = date(2026, 9, 22)

AIRPORTS = [
    {"ident": "XLKS", "type": "medium_airport", "name": "Larkspur", "latitude_deg": "42.93",
     "longitude_deg": "-76.02", "elevation_ft": "960", "iso_country": "US", "iso_region": "US-NY",
     "municipality": "Larkspur", "icao_code": "XLKS", "iata_code": "LKS", "gps_code": "XLKS",
     "local_code": "LKS"},
    {"ident": "XBRN", "type": "small_airport", "name": "Bracken Strip", "latitude_deg": "43.10",
     "longitude_deg": "-76.30", "iso_country": "US", "iso_region": "US-NY", "local_code": "9X9"},
    {"ident": "US-9001", "type": "small_airport", "name": "Furze; Meadow | East",
     "latitude_deg": "42.80", "longitude_deg": "-76.00", "elevation_ft": "1010",
     "iso_country": "US", "iso_region": "US-NY", "local_code": "9X9", "iata_code": "XBR"},
    {"ident": "XHEL", "type": "heliport", "latitude_deg": "42", "longitude_deg": "-76"},
    {"ident": "XOLD", "type": "closed", "latitude_deg": "42", "longitude_deg": "-76"},
    {"ident": "XEMP", "type": "small_airport", "name": "Empty", "latitude_deg": "42",
     "longitude_deg": "-76"},
]  # fmt: skip
RUNWAYS = [
    {"airport_ident": "XLKS", "length_ft": "4000", "width_ft": "75", "surface": "ASPH-G",
     "lighted": "1", "closed": "0", "le_ident": "10", "le_heading_degT": "91.4", "he_ident": "28"},
    {"airport_ident": "XLKS", "length_ft": "2000", "surface": "Turf", "closed": "1",
     "le_ident": "04", "he_ident": "22"},
    {"airport_ident": "XLKS", "length_ft": "60", "le_ident": "H1"},
    {"airport_ident": "XBRN", "length_ft": "1800", "surface": "grassed red clay", "closed": "0",
     "le_ident": "1", "he_ident": "19"},
    {"airport_ident": "US-9001", "length_ft": "0", "surface": "WATER", "closed": "0",
     "le_ident": "n", "he_ident": "s"},
    {"airport_ident": "XHEL", "le_ident": "H1", "he_ident": "H1"},
    {"airport_ident": "XOLD", "length_ft": "2000", "le_ident": "09", "he_ident": "27"},
]  # fmt: skip

Files = Callable[..., tuple[Path, Path]]


def write_csv(path: Path, columns: list[str], rows: list[dict[str, Any]]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="")
        writer.writeheader()
        writer.writerows(rows)
    return path


@pytest.fixture
def files(tmp_path: Path) -> Files:
    def make(airports=AIRPORTS, runways=RUNWAYS) -> tuple[Path, Path]:
        return (
            write_csv(tmp_path / "airports.csv", AIRPORT_COLUMNS, airports),
            write_csv(tmp_path / "runways.csv", RUNWAY_COLUMNS, runways),
        )

    return make


@pytest.fixture
def small_file(files: Files, tmp_path: Path) -> Path:
    """A rebuilt table of the invented airfields."""
    made = rebuild(*files(), COPIED)
    out = tmp_path / "airfields.txt.gz"
    write_table(out, table_bytes(made.rows, made.provenance))
    return out


@pytest.fixture
def small(small_file: Path) -> Table:
    return open_table(small_file)
