"""A small table of invented airfields as the commands take it, and stations around them."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from tests.servers.stations_server import a_record
from windwatch.airfields.rebuild import rebuild, table_bytes, write_table

AIRPORTS = """\
ident,type,name,latitude_deg,longitude_deg,elevation_ft,iso_country,iso_region,municipality,\
icao_code,iata_code,gps_code,local_code
XLKS,medium_airport,Larkspur,42.93,-76.02,960,US,US-NY,Larkspur,XLKS,LKS,XLKS,LKS
XBRN,medium_airport,Bracken,42.95,-76.6,1010,US,US-NY,Bracken,XBRN,,XBRN,
XALD,small_airport,Alder Strip,43.10,-76.30,,US,US-NY,,,,,9X8
US-9001,small_airport,Furze Meadow,42.80,-76.00,1010,US,US-NY,,,,,9X9
US-9002,small_airport,Sedge Meadow,42.70,-76.10,1100,US,US-NY,,,,,9X9
XNOR,small_airport,Normandy Water,42.60,-76.10,1000,US,US-NY,,XNOR,,,
"""
RUNWAYS = """\
airport_ident,length_ft,width_ft,surface,lighted,closed,le_ident,le_latitude_deg,\
le_longitude_deg,le_elevation_ft,le_heading_degT,le_displaced_threshold_ft,he_ident,\
he_latitude_deg,he_longitude_deg,he_elevation_ft,he_heading_degT,he_displaced_threshold_ft
XLKS,4000,75,ASPH-G,1,0,10,,,,91.4,,28,,,,,
XBRN,5000,100,ASPH-G,1,0,9,,,,78.2,,27,,,,,
XALD,1800,,clay,0,0,1,,,,75,,19,,,,,
US-9001,900,,,0,0,N,,,,,,S,,,,,
US-9002,1900,,,0,0,9,,,,78,,27,,,,,
XNOR,900,,WATER,0,0,ALL,,,,,,WAY,,,,,
"""


def make_table(folder: Path) -> Path:
    """Write the table, and return where."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "airports.csv").write_text(AIRPORTS, encoding="utf-8")
    (folder / "runways.csv").write_text(RUNWAYS, encoding="utf-8")
    made = rebuild(folder / "airports.csv", folder / "runways.csv", date(2026, 9, 22))
    write_table(folder / "airfields.txt.gz", table_bytes(made.rows, made.provenance))
    return folder / "airfields.txt.gz"


def stations_now() -> tuple[dict, ...]:
    """What the feed knows around Larkspur, by the machine's own clock."""
    now = datetime.now(UTC)
    return (
        a_record("XLKS", (42.93, -76.02), now - timedelta(minutes=16), elev=292.6),
        a_record("XBRN", (42.95, -76.6), now - timedelta(minutes=34), elev=307.8),
        a_record("XFAR", (50.0, -76.6), now),
    )
