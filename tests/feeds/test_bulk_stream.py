"""What breaks off, what is damaged, what is too much, and what is no bulk file at all."""

import itertools
import re
import time
import tracemalloc
import zlib

import pytest

from tests.feeds import bulk_samples as made
from tests.feeds.bulk_samples import HEADER, NOW, read, texts, zipped
from windwatch import answers
from windwatch.errors import FeedError
from windwatch.feeds import bulk_stream
from windwatch.feeds.bulk import BulkReader
from windwatch.feeds.bulk_stream import MAX_LINE, Lines


def test_f07_gzip_that_breaks_off_gives_its_whole_rows_and_says_so():
    body = made.cache(400)
    sent = zipped(body)
    reports, reader = read(sent[: len(sent) // 2])
    assert 20 < len(reports) < 400
    assert reports == read(body)[0][: len(reports)]
    assert reader.cut == "its compressed part ends too early"
    assert reader.problems == (
        "bulk: its end is missing (its compressed part ends too early): only what is whole is used",
    )


@pytest.mark.fault("F03", "F07")
def test_f07_a_stream_cut_anywhere_never_gives_half_a_report():
    plain = made.cache(6)
    everything = texts(plain)
    for body, whole in ((zipped(plain), True), (plain, False)):
        for end in range(len(body)):
            reader = BulkReader([body[:end]], None, NOW, source="bulk", whole=whole)
            got = []
            try:
                got = [report.text for report in reader]
            except FeedError:
                continue  # nothing whole was in it
            assert got == everything[: len(got)]
            assert reader.cut or body[:end].endswith(b"\n")


@pytest.mark.fault("F07")
def test_f07_gzip_with_a_wrong_checksum_gives_nothing():
    sent = bytearray(zipped(made.cache(50)))
    sent[-6] ^= 1
    with pytest.raises(FeedError, match=r"bulk: its compressed part is damaged: .*data check"):
        read(bytes(sent))


def test_gzip_with_something_else_behind_it_gives_nothing():
    with pytest.raises(FeedError, match="damaged"):
        read(zipped(made.cache(50)) + b"METAR XLKS")


def test_zeros_behind_gzip_only_fill_it_up():
    assert len(texts(zipped(made.cache(50)) + bytes(300))) == 50


def test_very_many_compressed_parts_are_refused():
    with pytest.raises(FeedError, match="more than 64 compressed parts"):
        read(zipped(b"") * 100_000)


@pytest.mark.fault("F09")
def test_f09_a_gzip_bomb_is_cut_without_ever_being_in_memory():
    packer = zlib.compressobj(9, zlib.DEFLATED, 31)
    bomb = b"".join(packer.compress(bytes(1 << 20)) for _ in range(64)) + packer.flush()
    tracemalloc.start()
    with pytest.raises(FeedError, match="more than 200 times its size"):
        read(bomb)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 2 * 1024 * 1024


@pytest.mark.fault("F08")
def test_f08_a_stream_without_end_is_cut():
    def endless():
        while True:
            yield (b"METAR XLKS 221853Z 24018KT RMK" + b" A" * 200 + b"=\n") * 100

    with pytest.raises(FeedError, match="longer than 1,000,000 bytes"):
        list(BulkReader(endless(), ("XBRN",), NOW, source="bulk", most=1_000_000))


def test_f08_lines_without_end_are_cut_before_they_take_long():
    lines = itertools.repeat(b"\n" * 10_000)
    started = time.process_time()
    with pytest.raises(FeedError, match="more than 335,544 lines"):
        list(BulkReader(lines, ("XBRN",), NOW, source="bulk", form="bulletin"))
    assert time.process_time() - started < 2


def test_the_limits_are_those_of_every_other_answer():
    assert bulk_stream.MAX_DECODED == answers.MAX_DECODED
    assert bulk_stream.MAX_RATIO == answers.MAX_RATIO


def test_memory_does_not_grow_with_the_stream():
    block = made.cache(200).partition(b"\n")[2]

    def peak(times):
        tracemalloc.start()
        pieces = (block for _ in range(times))
        reader = BulkReader(_after(HEADER.encode() + b"\n", pieces), ("XLKS",), NOW, source="bulk")
        assert sum(1 for _ in reader) == 0
        assert reader.records == 200 * times
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return most

    peak(1)
    assert peak(200) < peak(10) + 100_000


def _after(first, rest):
    yield first
    yield from rest


def test_a_line_is_never_kept_beyond_its_limit():
    lines = list(Lines([b"a" * 100_000] * 10 + [b"\nb"], "bulk"))
    assert len(lines) == 2
    assert MAX_LINE < len(lines[0]) <= MAX_LINE + 100_001
    assert lines[1] == b"b"


@pytest.mark.fault("F05", "F06")
@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "no known form of reports; it is empty"),
        (b"\n\n", "it is empty"),
        (b"hello\n" * 60 + b"XLKS 221853Z 24018KT=\n", 'it begins "hello"'),
        (b"<!DOCTYPE html>\n<p>Log in</p>", 'it begins "<!DOCTYPE html>"'),
        (b"\x1f\x8b", "its compressed part ends too early"),
        (HEADER.encode() + b"\n", "no report in it; it is empty"),
        (HEADER.encode() + b"\n<p>", "no report in it; it begins at line 2"),
        (b"raw_text,observation_time\n", "no column station_id"),
        (b"\xff\xfe\x00" * 100, "no known form"),
    ],
)
def test_f05_f06_what_holds_no_report_is_an_error_that_shows_it(body, words):
    with pytest.raises(FeedError, match=re.escape(words)) as failed:
        read(body)
    assert str(failed.value).startswith("bulk: ")


def test_a_form_that_is_named_is_not_guessed():
    with pytest.raises(FeedError, match='no line begins "raw_text,"; it begins "XLKS'):
        read(b"XLKS 221853Z 24018KT=", form="cache")
    with pytest.raises(FeedError, match="no report in it; it begins at line 1"):
        read(HEADER.encode(), form="cycle")
