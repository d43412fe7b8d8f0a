"""Archives: reference/feeds.md section 5, its samples, and the recorded years."""

import re
from datetime import UTC, datetime

import pytest

from tests.feeds.bulk_samples import NOW, read
from windwatch.errors import FeedError
from windwatch.feeds.bulk import BulkReader


def test_an_archive_files_a_us_station_without_its_k(reference):
    """Source: reference/feeds/iem/asos_SFB_constructed.csv."""
    reports, reader = read(
        (reference / "feeds/iem/asos_SFB_constructed.csv").read_bytes(), ["KSFB"]
    )
    assert len(reports) == 52
    assert {report.station_asked for report in reports} == {"KSFB"}
    assert reports[0].text == "KSFB 140453Z 00000KT 10SM SCT045 27/20 A3001 RMK AO2"
    assert reports[0].observed_at == datetime(2026, 10, 14, 4, 53, tzinfo=UTC)
    assert reader.problems == ()


@pytest.mark.parametrize(
    ("name", "station", "count", "first"),
    [
        ("asos_real_rows_full_columns.csv", "KCXY", 2, "KCXY 010000Z 36005KT 3SM DZ"),
        ("asos_real_rows_missing_null.csv", "OTHH", 3, "OTHH 140000Z 36009KT 4500 HZ"),
    ],
)
def test_the_real_rows_of_the_archive_are_read(reference, name, station, count, first):
    """Source: reference/feeds/iem, real rows, with missing=M and missing=null."""
    reports, reader = read((reference / "feeds/iem" / name).read_bytes(), (station,))
    assert len(reports) == count
    assert reports[0].text.startswith(first)
    assert reader.problems == ()


@pytest.mark.parametrize(
    "name",
    ["asos_MSP_2010_real.csv", "asos_debug_header_constructed.csv", "asos_no_rows_constructed.csv"],
)
def test_an_archive_without_the_reports_text_says_how_to_ask_for_it(reference, name):
    """Source: reference/feeds/iem."""
    with pytest.raises(FeedError, match="no column metar in its header"):
        read((reference / "feeds/iem" / name).read_bytes())


@pytest.mark.parametrize("name", ["400_all_stations", "400_too_much", "422", "503"])
def test_an_error_of_the_archive_is_quoted(reference, name):
    """Source: reference/feeds/iem, bodies as in the service's published source."""
    said = (reference / f"feeds/iem/error_{name}.txt").read_text(encoding="utf-8")
    with pytest.raises(FeedError, match=re.escape(said[:60])):
        read(said.encode(), form="archive")


def test_a_year_of_an_archive_is_read_as_a_stream(reference):
    """Source: reference/reports/README.md: 11,280 and 17,482 reports; one has a wrong day."""
    for name, station, count, problems in (
        ("archive_KJFK_2019-11_2020-12.csv.gz", "KJFK", 11_280, ()),
        (
            "archive_LEBL_2016-12_2017-11.csv.gz",
            "LEBL",
            17_482,
            ("bulk: 1 rows whose report says another day than valid",),
        ),
    ):
        with (reference / "reports" / name).open("rb") as file:
            pieces = iter(lambda file=file: file.read(65_536), b"")
            reader = BulkReader(pieces, (station,), NOW, source="bulk")
            assert sum(1 for _ in reader) == count
        assert reader.problems == problems


def test_comments_tabs_odd_headers_and_rows_without_text_of_an_archive():
    body = (
        b"#DEBUG: Time Zone     -> UTC\n station\tValid \t drct\tmetar\n"
        b"LKS\t2026-09-22 18:53\tM\tKLKS 221853Z VRB04KT\n"
        b"LKS\t2026-09-22 19:00\t150.00\tM\n"
        b"LKS\t2026-09-22 19:05\t150.00\tnull\n"
        b"#DEBUG: end\n"
        b"BRN\t2026-09-22 19:00\t150.00\tKBRN 221900Z 15004KT\n"
        b"LKS\t2026-09-22 19:10\n"
        b"LKS\tsoon\tM\tKLKS 221953Z VRB05KT\n"
    )
    reports, reader = read(body, ("KLKS",))
    assert [(report.text, report.observed_at) for report in reports] == [
        ("KLKS 221853Z VRB04KT", datetime(2026, 9, 22, 18, 53, tzinfo=UTC)),
        ("KLKS 221953Z VRB05KT", None),
    ]
    assert reader.problems == (
        "bulk: 2 rows without a report text",
        "bulk: 1 rows whose valid is no time; the text's own time is used",
        'bulk: no report at line 8: "LKS 2026-09-22 19:10"',
    )


def test_an_unclosed_quotation_mark_costs_one_row_of_an_archive():
    good = b"LKS,2026-09-22 18:53,KLKS 221853Z 24018KT\n"
    bad = b'LKS,2026-09-22 18:53,"KLKS 221853Z 24018KT\n'
    reports, reader = read(b"station,valid,metar\n" + bad + good + good, ("KLKS",))
    assert len(reports) == 2
    assert reader.problems[0].startswith("bulk: no report at line 2: ")


def test_an_archive_in_local_time_is_noticed_and_the_reports_own_time_used():
    body = b"station,valid,metar\nLKS,2026-09-30 23:53,KLKS 010353Z 24018KT\n"
    reports, reader = read(body, ("KLKS",))
    assert reports[0].observed_at == datetime(2026, 10, 1, 3, 53, tzinfo=UTC)
    assert "tz=UTC" in reader.problems[0]


def test_an_archive_without_rows_is_an_answer():
    assert read(b"station,valid,metar\n")[0] == []
