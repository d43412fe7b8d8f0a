"""Decoding takes time and memory in proportion to the text, whatever stands in it.

A text is read up to 2,000 characters. Here that limit is lifted, so that what grows faster than
the text would show; and each expression of the grammar is tried alone.
"""

import gc
import re
import time
import tracemalloc
from datetime import UTC, datetime
from pathlib import Path

import pytest

from windwatch.reports import grammar
from windwatch.reports.decode import decode_report, read_wind
from windwatch.reports.taf import decode_forecast
from windwatch.reports.text import split_reports

pytestmark = pytest.mark.benchmark

NOW = datetime(2026, 9, 22, 22, 0, tzinfo=UTC)
HEADS = [
    "", "XLKS 221953Z ", "XLKS 221953Z 31019KT ", "XLKS 221953Z 31019KT RMK ",
    "XLKS 221953Z 31019KT NOSIG ", "TAF XLKS 221730Z 2218/2318 31019KT ",
]  # fmt: skip
PIECES = [
    "X ", "0", "/ ", "FEW020 ", "31019KT ", "280V350 ", "NOSIG ", "FM2030 ", "BECMG ",
    "TEMPO 31019KT ", "BLU ", "RMK ", "RWY03 23006KT ", "WIND SKEID 07011KT ", "TSB04E41 ",
    "OCNL LTGICCG DSNT N AND ", "PK WND 31046/1911 ", "AUTO ", "XLKS ", "221953Z ", "2218/2318 ",
    "WS R23 ", "PROB40 ", "TL2400 ", "TS", "CB/", "CC", "WIND ", "EST ", " M",
]  # fmt: skip
SHORT, LONG = 6_000, 24_000
# Four times the text in four times the time; in the square of it, it would be sixteen.
MOST_TIMES_LONGER = 8
# Below this the clock's own steps count.
WORTH_COMPARING = 0.002
KIB = 1024
READERS_FOLDER = Path(grammar.__file__).parent

READERS = {
    "full decode": lambda text: decode_report(text, NOW),
    "wind path": lambda text: read_wind(text, NOW),
    "forecast": lambda text: decode_forecast(text, NOW),
    "parting": split_reports,
}


def least(read, text, rounds=4):
    times = []
    for _ in range(rounds):
        started = time.process_time()
        read(text)
        times.append(time.process_time() - started)
    return min(times)


def grows_too_fast(read, head, piece):
    short, long = (head + piece * (length // len(piece)) for length in (SHORT, LONG))
    took = least(read, long, 2)
    if took < WORTH_COMPARING:
        return None
    times = least(read, long) / least(read, short)
    return f"{piece!r} after {head!r}: {times:.1f} times" if times > MOST_TIMES_LONGER else None


@pytest.mark.parametrize("reader", READERS)
def test_four_times_the_text_takes_four_times_the_time(reader, monkeypatch):
    monkeypatch.setattr("windwatch.reports.text.LONGEST_REPORT", LONG * 2)
    found = [grows_too_fast(READERS[reader], head, piece) for head in HEADS for piece in PIECES]
    assert [each for each in found if each] == []


EXPRESSIONS = {
    name: value for name, value in vars(grammar).items() if isinstance(value, re.Pattern)
}


@pytest.mark.guard("parsers")
@pytest.mark.parametrize("name", EXPRESSIONS)
def test_each_expression_alone_takes_time_in_proportion(name):
    expression = EXPRESSIONS[name]

    def read(text):
        expression.match(text)
        expression.fullmatch(text)
        for _ in expression.finditer(text):
            pass

    found = [grows_too_fast(read, "", piece) for piece in PIECES]
    assert [each for each in found if each] == []


@pytest.mark.parametrize("reader", ["full decode", "wind path", "forecast"])
def test_a_megabyte_takes_no_memory_beyond_what_is_read_of_it(reader):
    for head in HEADS:
        for piece in PIECES:
            text = head + piece * (1_000_000 // len(piece))
            tracemalloc.start()
            READERS[reader](text)
            peak = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
            assert peak < 512 * KIB, (head, piece)


def test_nothing_is_remembered_from_one_report_to_the_next(reference):
    lines = (reference / "reports" / "metar.txt").read_text(encoding="utf-8").splitlines()[:12_000]
    for line in lines[:2_000]:
        decode_report(line, NOW)
    # Only what the readers themselves allocate: other threads of this process go on beside.
    ours = tracemalloc.Filter(inclusive=True, filename_pattern=str(READERS_FOLDER / "*"))
    gc.collect()
    tracemalloc.start()
    for line in lines[2_000:]:
        decode_report(line, NOW)
        read_wind(line, NOW)
    gc.collect()
    kept = tracemalloc.take_snapshot().filter_traces([ours])
    tracemalloc.stop()
    assert sum(trace.size for trace in kept.traces) < 64 * KIB, kept.statistics("lineno")[:5]
