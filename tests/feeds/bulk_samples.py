"""Invented bulk files: a cache of any number of stations, and what else comes in one stream."""

import csv
import gzip
import io
import string
from datetime import UTC, datetime

from windwatch.feeds.bulk import BulkReader
from windwatch.feeds.bulk_stream import pieces_of

NOW = datetime(2026, 9, 22, 19, 9, tzinfo=UTC)
# The header of 2026 (reference/feeds.md section 2): 44 columns, some names four times.
HEADER = (
    "raw_text,station_id,observation_time,latitude,longitude,temp_c,dewpoint_c,wind_dir_degrees,"
    "wind_speed_kt,wind_gust_kt,visibility_statute_mi,altim_in_hg,sea_level_pressure_mb,corrected,"
    "auto,auto_station,maintenance_indicator_on,no_signal,lightning_sensor_off,"
    "freezing_rain_sensor_off,present_weather_sensor_off,wx_string,sky_cover,cloud_base_ft_agl,"
    "sky_cover,cloud_base_ft_agl,sky_cover,cloud_base_ft_agl,sky_cover,cloud_base_ft_agl,"
    "flight_category,three_hr_pressure_tendency_mb,maxT_c,minT_c,maxT24hr_c,minT24hr_c,precip_in,"
    "pcp3hr_in,pcp6hr_in,pcp24hr_in,snow_in,vert_vis_ft,metar_type,elevation_m"
)
LETTERS = string.ascii_uppercase


def station(number):
    """Name an invented station: XAAA, XAAB, ..."""
    return "X" + "".join(LETTERS[number // 26**power % 26] for power in (2, 1, 0))


def report_of(name, number, minute=53):
    """Make up a report, no two alike."""
    direction = number % 36 * 10 + 10
    speed, gust = 5 + number % 20, f"G{20 + number % 30}" if number % 3 == 0 else ""
    return (
        f"METAR {name} 2218{minute:02}Z {direction:03}{speed:02}{gust}KT 10SM FEW{number % 90:03} "
        f"22/12 A29{number % 90 + 10} RMK AO2 SLP{number % 900 + 100} T0{number % 300:03}0122"
    )


def row(text, name, moment="2026-09-22T18:53:00.000Z", kind="METAR"):
    """Write one row of the cache."""
    cells = [text, name, moment, "42.9300", "-76.0200", "22", "12", "0", "5", "", "10+", "29.92"]
    cells += [""] * 10 + ["FEW", "3700", "", "", "", "", "", "", "VFR"]
    cells += [""] * (HEADER.count(",") - 1 - len(cells)) + [kind, "292"]
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(cells)
    # The station's text is quoted whether it needs it or not.
    line = out.getvalue()
    return line if line.startswith('"') else f'"{text}"' + line[len(text) :]


def cache(count, *, minute=53):
    """Write a cache of so many stations."""
    rows = [row(report_of(station(n), n, minute), station(n)) for n in range(count)]
    return (HEADER + "\n" + "".join(rows)).encode()


def cache_of(texts):
    """Write a cache of these reports, under the station each names."""
    rows = []
    for text in texts:
        words = text.split()
        rows.append(row(text, words[words[0] in ("METAR", "SPECI")]))
    return (HEADER + "\n" + "".join(rows)).encode()


def cycle(blocks):
    """Write an hourly file of (date, report) pairs."""
    return "".join(f"{date}\n{text}\n\n" for date, text in blocks).encode()


def zipped(body):
    return gzip.compress(body, mtime=0)


def monster():
    """A line of a megabyte: NULs, byte order marks, right-to-left marks, bad UTF-8, quotes."""
    return (b'\x00\xef\xbb\xbf\xe2\x80\xae\xff\xfe"",METAR XAAB ' * 60_000)[:1_000_000]


def read(body, stations=None, **options):
    """Read a body; return its reports, and the reader with what it has to say."""
    reader = BulkReader(pieces_of(body), stations, NOW, source="bulk", **options)
    return list(reader), reader


def texts(body, stations=None, **options):
    return [report.text for report in read(body, stations, **options)[0]]
