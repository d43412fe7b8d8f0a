"""Hourly collective files and bulletins: reference/feeds.md section 4, and its samples."""

import gzip
from datetime import UTC, datetime

from tests.feeds import bulk_samples as made
from tests.feeds.bulk_samples import read, texts, zipped

# --- hourly collective files -----------------------------------------------


def test_an_hourly_file_is_dates_reports_and_blank_lines(reference):
    """Source: reference/feeds/tgftp/cycles_22Z.TXT, constructed: a correction, another hour."""
    body = (reference / "feeds/tgftp/cycles_22Z.TXT").read_bytes()
    reports, reader = read(body, ("KORD", "KTIX"))
    assert [(r.text[:12], r.observed_at) for r in reports] == [
        ("KORD 142153Z", datetime(2026, 10, 14, 21, 53, tzinfo=UTC)),
        ("KORD 142153Z", datetime(2026, 10, 14, 21, 53, tzinfo=UTC)),
        ("KTIX 142208Z", datetime(2026, 10, 14, 22, 8, tzinfo=UTC)),
    ]
    assert ["COR" in report.text for report in reports] == [False, True, False]
    assert (reader.records, reader.problems) == (5, ())


def test_a_wrong_date_is_said_and_left_to_be_judged():
    body = made.cycle(
        [("2026/09/12 18:53", "XLKS 221853Z 24018KT"), ("2026/13/22 18:53", "XBRN 1")]
    )
    reports, reader = read(body, ("XLKS", "XBRN"))
    assert [report.observed_at for report in reports] == [
        datetime(2026, 9, 12, 18, 53, tzinfo=UTC),
        None,
    ]
    assert reader.problems == (
        'bulk: XLKS: dated 2026/09/12 18:53 but "XLKS 221853Z 24018KT"',
        'bulk: XBRN: dated "2026/13/22 18:53", which is no date',
    )


def test_a_report_of_an_hourly_file_may_wrap_be_framed_or_lack_its_blank_line():
    body = (
        b"2026/09/22 18:53\r\nMETAR XLKS 221853Z\r\n     24018KT 6SM\r\n"
        b"2026/09/22 18:54\nSPECI COR XBRN 221854Z 24019KT\n\n\n"
        b"2026/09/22 18:55\nXALD 221855Z 24020KT \xb0"
    )
    assert texts(body) == [
        "METAR XLKS 221853Z 24018KT 6SM",
        "SPECI COR XBRN 221854Z 24019KT",
        "XALD 221855Z 24020KT °",
    ]


def test_the_last_block_of_an_hourly_file_that_broke_off_is_not_used():
    body = made.cycle([("2026/09/22 18:53", "XLKS 221853Z 24018G31KT 6SM")] * 2)
    reports, reader = read(zipped(body)[:-12])
    assert len(reports) < 2
    assert reader.cut
    assert texts(body[:-8], whole=False) == ["XLKS 221853Z 24018G31KT 6SM"]


def test_lines_between_the_blocks_of_an_hourly_file_are_one_problem():
    good = made.cycle([("2026/09/22 18:53", "XLKS 221853Z 24018KT")])
    reports, reader = read(good + made.monster() + b"\nlost\n\n" + good)
    assert len(reports) == 2
    assert reader.problems[0].startswith("bulk: no report in 2 lines; the first is line 4: ")


def test_a_forecast_in_a_dated_file_is_no_report(reference):
    """Source: reference/feeds/tgftp/taf_stations_KBOS.TXT."""
    assert texts((reference / "feeds/tgftp/taf_stations_KBOS.TXT").read_bytes()) == []


# --- bulletins -------------------------------------------------------------

BULLETIN = b"""\x01
123
SAUS31 KWBC 221900
MTRLKS
METAR
XLKS 221853Z 24018G31KT 200V280 6SM -RA BKN025 24/21 A2998 RMK AO2
     PK WND 25036/1831=
XBRN 221853Z AUTO 25012KT 10SM CLR 22/12 A2999= XALD 221853Z 00000KT=
METAR COR XELM 221850Z NIL=
\x03
SPXX40 KWBC 221910 CCA
XLKS 221907Z 30028G41KT
1 1/2SM +TSRA A2972
XBRN 221908Z 29015KT
NNNN
FTUS43 KWBC 221720
TAF
XLKS 221720Z 2218/2318 24015G25KT P6SM
  FM222100 30012KT=
NOXX99 KWBC 221900
XLKS 221900Z IS NOT A REPORT
"""


def test_a_bulletin_is_parted_into_its_reports():
    reports, reader = read(BULLETIN)
    assert [(report.kind, report.text) for report in reports] == [
        (
            "METAR",
            "XLKS 221853Z 24018G31KT 200V280 6SM -RA BKN025 24/21 A2998 RMK AO2 PK WND 25036/1831",
        ),
        ("METAR", "XBRN 221853Z AUTO 25012KT 10SM CLR 22/12 A2999"),
        ("METAR", "XALD 221853Z 00000KT"),
        ("METAR", "METAR COR XELM 221850Z NIL"),
        ("SPECI", "XLKS 221907Z 30028G41KT 1 1/2SM +TSRA A2972"),
        ("SPECI", "XBRN 221908Z 29015KT"),
    ]
    assert reader.problems == ()


def test_of_a_bulletin_only_the_stations_asked_for_are_taken():
    assert [text[:4] for text in texts(BULLETIN, ("XALD", "XELM"))] == ["XALD", "METAR"[:4]]


def test_a_report_says_itself_what_it_is():
    body = b"METAR\nSPECI XLKS 221907Z 30028G41KT=\nSPECI 221900Z\nMETAR XLKS 221853Z 24018KT=\n"
    assert [report.kind for report in read(body)[0]] == ["SPECI", "METAR"]


def test_reports_one_a_line_need_no_end_mark():
    body = b"# recorded\nXLKS 221853Z 24018KT\nMETAR XBRN 221853Z 25012KT\n\nXALD 221853Z 00000KT"
    assert [text.split()[-1] for text in texts(body)] == ["24018KT", "25012KT", "00000KT"]


def test_a_bulletin_that_broke_off_does_not_give_its_last_report():
    assert [t[:4] for t in texts(b"XLKS 221853Z 24018KT=\nXBRN 221853Z 2501", whole=False)] == [
        "XLKS"
    ]


def test_a_monstrous_line_in_a_bulletin_is_one_problem():
    lines = [made.report_of(made.station(n), n).encode() + b"=" for n in range(500)]
    lines[250] = made.monster().replace(b"=", b"")
    reports, reader = read(b"\n".join(lines))
    assert len(reports) == 499
    assert len(reader.problems) == 1


def test_the_recorded_reports_are_a_bulletin_too(reference):
    """Source: reference/reports/README.md: 58,743 reports."""
    body = (reference / "reports/metar.txt").read_bytes()
    reports, reader = read(gzip.compress(body, 1))
    assert len(reports) == reader.records == 58_743
    assert reader.problems == ()
