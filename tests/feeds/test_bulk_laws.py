"""Laws of the bulk reader, whatever the bytes: bounded, and nothing raised but FeedError."""

import random
import time
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.feeds import bulk_samples as made
from tests.feeds.bulk_samples import HEADER, NOW, texts, zipped
from windwatch.errors import FeedError
from windwatch.feeds.bulk import READERS, BulkReader

WORDS = [
    HEADER.encode() + b"\n",
    made.row("METAR XLKS 221853Z 24018KT, A2992", "XLKS").encode(),
    b"station,valid,metar\n",
    b"LKS,2026-09-22 18:53,KLKS 221853Z 24018KT\n",
    b"2026/09/22 18:53\n",
    b"XLKS 221853Z 24018KT",
    b"SAUS31 KWBC 221900\n",
    b"SPECI\n",
    b"METAR COR ",
    b"=",
    b'"',
    b",",
    b"\n\n",
    b"\r\n",
    b"\t",
    b"\x00",
    b"\xef\xbb\xbf",
    b"\xe2\x80\xae",
    b"\x1f\x8b\x08",
    b"#",
    b"NIL",
]
STREAMS = st.lists(
    st.sampled_from(WORDS) | st.binary(max_size=20) | st.text(max_size=10).map(str.encode),
    max_size=30,
).map(b"".join)


def outcome(pieces, form=None, *, whole=True):
    """Everything a reader gives and says, or its error."""
    reader = BulkReader(pieces, None, NOW, source="bulk", form=form, whole=whole)
    reports = []
    try:
        for report in reader:
            reports.append(report)  # noqa: PERF402 - kept also if it fails half way
    except FeedError as error:
        return reports, str(error)
    return reports, reader.problems, reader.records, reader.cut


@settings(deadline=2000)
@given(STREAMS, st.sampled_from([None, *READERS]), st.booleans(), st.data())
def test_the_pieces_make_no_difference_and_nothing_else_is_raised(body, form, whole, data):
    found = outcome([body], form, whole=whole)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(body)), max_size=8)))
    pieces = [body[a:b] for a, b in zip([0, *cuts], [*cuts, len(body)], strict=True)]
    assert outcome(pieces, form, whole=whole) == found
    assert outcome([bytes([byte]) for byte in body], form, whole=whole) == found
    for report in found[0]:
        assert 0 < len(report.text) <= 2000
        assert "\n" not in report.text


@given(st.binary(max_size=300))
def test_any_bytes_behind_the_signs_of_gzip_are_survived(body):
    for start in (b"\x1f\x8b", zipped(made.cache(3))[:-9], zipped(made.cache(3))):
        outcome([start + body])


@pytest.mark.parametrize("kind", ["cache", "cycle", "archive", "bulletin"])
def test_asking_for_some_gives_those_of_all(kind):
    names = [made.station(n) for n in range(40)]
    reports = [made.report_of(name, n) for n, name in enumerate(names)]
    body = {
        "cache": made.cache(40),
        "cycle": made.cycle([("2026/09/22 18:53", text) for text in reports]),
        "archive": b"station,valid,metar\n"
        + "".join(
            f"{n},2026-09-22 18:53,{t}\n" for n, t in zip(names, reports, strict=True)
        ).encode(),
        "bulletin": "=\n".join(reports).encode(),
    }[kind]
    asked = frozenset(names[::3])
    everybody = texts(body)
    assert everybody == reports
    assert texts(body, asked) == [
        text for name, text in zip(names, reports, strict=True) if name in asked
    ]


HARD = {
    "quotes": b'"',
    "commas": b",",
    "spaces": b" ",
    "kinds": b"METAR ",
    "tafs": b"TAF TAF ",
    "ends": b"=",
    "dates": b"2026/09/22 18:53",
    "starts": b"XLKS 221853Z ",
    "stations": b"XLKS ",
    "corrections": b"COR ",
    "digits": b"2",
    "numbers and commas": b"a,1,",
    "line feeds": b"\n",
    "empty rows": b",\n",
    "half dates": b"2026/\n",
    "half reports": b"XLKS 221853Z\n",
    "headers": HEADER.encode() + b"\n",
    "quoted quotes": b'""",\n',
}


@pytest.mark.guard("parsers")
@pytest.mark.parametrize("form", list(READERS))
@pytest.mark.parametrize("name", list(HARD))
def test_a_megabyte_of_near_matches_takes_time_by_its_length_only(form, name):
    start = {
        "cache": HEADER.encode() + b"\n",
        "archive": b"station,valid,metar\n",
        "cycle": b"2026/09/22 18:53\n",
        "bulletin": b"METAR\n",
    }[form]
    unit = HARD[name]

    def seconds(size):
        body = start + unit * (size // len(unit)) + b"\n"
        best = float("inf")
        for _ in range(2):
            started = time.process_time()
            with suppress(FeedError):
                list(BulkReader([body], ("XLKS",), NOW, source="bulk", form=form))
            best = min(best, time.process_time() - started)
        return best

    # Four times the length, not sixteen times the time; a floor against the clock's grain.
    assert seconds(200_000) < 8 * seconds(50_000) + 0.02


def test_broken_rows_among_good_ones_lose_no_good_one():
    chance = random.Random(3)
    for _ in range(30):
        rows = made.cache(30).splitlines(keepends=True)
        broken = chance.sample(range(1, 31), 8)
        for number in broken:
            line = bytearray(rows[number].rstrip(b"\n"))
            for _ in range(chance.randrange(1, 6)):
                line[chance.randrange(len(line))] = chance.choice(b'",\x00\xff= \r')
            rows[number] = bytes(line) + b"\n"
        good = [made.report_of(made.station(n), n) for n in range(30) if n + 1 not in broken]
        found = texts(b"".join(rows))
        assert [text for text in found if text in good] == good
