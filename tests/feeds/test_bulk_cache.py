"""Cache files of the Aviation Weather Center: reference/feeds.md section 2, and its samples."""

import time
from datetime import UTC, datetime

import pytest

from tests.feeds import bulk_samples as made
from tests.feeds.bulk_samples import HEADER, NOW, read, row, texts, zipped
from windwatch.feeds.bulk import BulkReader
from windwatch.feeds.bulk_asked import MOST_SAID


def test_only_the_stations_asked_for_are_taken_out(reference):
    """Source: reference/feeds/awc/metars.cache_real_rows_2026.csv, real, September 2026."""
    body = (reference / "feeds/awc/metars.cache_real_rows_2026.csv").read_bytes()
    reports, reader = read(body, ("EGLL", "CYZR", "XLKS"))
    assert [report.station_asked for report in reports] == ["EGLL", "CYZR"]
    assert reports[0].text == "METAR EGLL 161010Z AUTO 24008KT 9999 SCT037 20/12 Q1017 NOSIG"
    assert reports[0].observed_at == datetime(2026, 9, 16, 10, 10, tzinfo=UTC)
    assert [report.kind for report in reports] == ["METAR", "SPECI"]
    assert (reader.records, reader.problems, reader.cut) == (7, (), "")


def test_status_lines_before_the_header_and_times_without_milliseconds(reference):
    """Source: reference/feeds/awc/metars.cache_with_preamble_legacy.csv, real, 2016."""
    body = (reference / "feeds/awc/metars.cache_with_preamble_legacy.csv").read_bytes()
    reports, reader = read(body, ("KSFO",))
    assert [report.observed_at for report in reports] == [
        datetime(2016, 1, 31, 4, 56, tzinfo=UTC),
        datetime(2016, 1, 31, 3, 56, tzinfo=UTC),
    ]
    assert reports[0].text.startswith("KSFO 310456Z 28011KT 10SM SCT110 BKN180 11/06 A3001 RMK")
    assert reader.problems == ()


def test_every_row_of_the_sample_is_read_whatever_its_wind_columns_say(reference):
    """A variable wind is VRB in one copy and 0 in another: only the text is used.

    Source: reference/feeds/awc/metars.cache_constructed.csv.
    """
    body = (reference / "feeds/awc/metars.cache_constructed.csv").read_bytes()
    by_station = {report.station_asked: report.text for report in read(body)[0]}
    assert len(by_station) == 19
    assert "VRB03KT" in by_station["KILN"]
    assert "VRB05G11KT" in by_station["K3L4"]
    assert "/////KT" in by_station["KXYZ"]
    assert by_station["KDFW"].endswith("RMK AO2 PK WND 36039/0931, SLP124")
    assert "COR" in by_station["KMLB"]
    assert "34004MPS" in by_station["ZSPD"]


def in_pieces(body, size):
    return [body[start : start + size] for start in range(0, len(body), size)]


@pytest.mark.parametrize("size", [1, 2, 7, 100, 4096])
def test_where_the_pieces_are_cut_makes_no_difference(reference, size):
    for name in ("awc/metars.cache_constructed.csv", "tgftp/cycles_22Z.TXT"):
        plain = (reference / "feeds" / name).read_bytes()
        for body in (plain, zipped(plain), zipped(plain[:700]) + zipped(plain[700:])):
            reader = BulkReader(in_pieces(body, size), None, NOW, source="bulk")
            assert list(reader) == read(plain)[0]
            assert reader.problems == read(plain)[1].problems


def test_gzip_is_known_by_its_first_two_bytes():
    body = made.cache(30)
    assert texts(zipped(body), ("XAAD",)) == texts(body, ("XAAD",)) != []


def test_a_text_of_another_station_is_left_for_quarantine():
    body = f"{HEADER}\n{row('METAR XBRN 221853Z 24018KT', 'XLKS')}".encode()
    (report,) = read(body, ("XLKS",))[0]
    assert (report.station_asked, report.text[6:10]) == ("XLKS", "XBRN")
    assert read(body, ("XBRN",))[0] == []


def test_a_text_with_commas_and_quotation_marks_does_not_hide_its_station():
    text = 'METAR XLKS 221853Z 24018KT RMK "GUSTY", SLP150'
    body = f"{HEADER}\n{row(text, 'XLKS')}".encode()
    assert texts(body, ("xlks",)) == [text]


def test_columns_may_stand_elsewhere_or_be_missing():
    body = b'raw_text,wind_speed_kt,station_id\n"METAR XLKS 221853Z 24018KT, A2992",18,XLKS\n'
    (report,) = read(body, ("XLKS",))[0]
    assert (report.text, report.observed_at, report.kind) == (
        "METAR XLKS 221853Z 24018KT, A2992",
        None,
        None,
    )


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (row("METAR XLKS 221853Z 24018KT", "XLKS", "yesterday"), 'observation_time "yesterday"'),
        (row("", "XLKS"), "XLKS: a report without text"),
        (row("METAR XLKS " + "A" * 3000, "XLKS"), "XLKS: a report of 3,011 characters"),
        (row("METAR XLKS 221853Z \x07 24018KT", "XLKS"), "XLKS: a report with control characters"),
        (row("22183 99429", "XLKS", kind="SYNOP"), 'XLKS: a "SYNOP", neither METAR nor SPECI'),
        ('"METAR XLKS 221853Z 24018KT",XLKS,2026-09-22T18:53:00Z\n', "XLKS: no row of 44 columns"),
        ('"METAR XLKS 221853Z 24018KT\n', "no report at line 3: "),
        ("METAR XLKS 221853Z 24018KT, RMK,XLKS,,\n", "no report at line 3: "),
    ],
)
def test_a_broken_row_is_one_problem_and_the_others_are_read(line, words):
    good = row("METAR XBRN 221853Z 24018KT", "XBRN")
    reports, reader = read(f"{HEADER}\n{good}{line}{good}".encode(), ("XLKS", "XBRN"))
    assert [r.station_asked for r in reports].count("XBRN") == 2
    (problem,) = reader.problems
    assert words in problem


def test_bytes_that_are_not_utf_8_do_not_lose_the_report():
    body = f"{HEADER}\n{row('METAR XLKS 221853Z 24018KT RMK ?', 'XLKS')}".encode()
    (text,) = texts(body.replace(b"?", b"\xff"), ("XLKS",))
    assert text == "METAR XLKS 221853Z 24018KT RMK �"


@pytest.mark.fault("F24")
def test_f24_a_station_that_is_left_out_is_simply_not_there():
    reports, reader = read(made.cache(50), ("XAAB", "XLKS"))
    assert [report.station_asked for report in reports] == ["XAAB"]
    assert reader.problems == ()


@pytest.mark.fault("F21")
def test_f21_one_monstrous_line_costs_one_problem_and_no_time():
    rows = made.cache(5000).split(b"\n")
    rows[2500] = made.monster()
    assert len(rows) == 5002
    body = b"\n".join(rows)

    def seconds(body):
        best = float("inf")
        for _ in range(5):
            started = time.process_time()
            reports, reader = read(body, ("XAAB", made.station(2499)))
            best = min(best, time.process_time() - started)
        return best, reports, reader

    took, reports, reader = seconds(body)
    without, _, _ = seconds(made.cache(5000))
    assert [report.station_asked for report in reports] == ["XAAB"]
    assert reader.records == 4999
    (problem,) = reader.problems
    assert problem.startswith("bulk: no report at line 2501: ")
    assert problem.isprintable()
    assert len(problem) < 700
    assert took - without < 0.05
    assert len(read(body)[0]) == 4999


def test_a_thousand_broken_rows_of_one_station_are_not_a_thousand_problems():
    broken = row("METAR XLKS 221853Z \x07", "XLKS")
    _, reader = read(f"{HEADER}\n{broken * 1000}".encode(), ("XLKS",))
    assert len(reader.problems) == MOST_SAID + 1
    assert reader.problems[-1] == f"bulk: {1000 - MOST_SAID} more problems like these"
