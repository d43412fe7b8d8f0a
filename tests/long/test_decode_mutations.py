"""Recorded reports and forecasts, mutated at random: nothing raises, and nothing takes long.

`WINDWATCH_MUTATIONS` sets how many inputs are made, in an hour at most; `WINDWATCH_SEED` where
the chance begins. Without the first it goes on for twenty seconds.
"""

import os
import random
import resource
import time
from datetime import UTC, datetime

import pytest

from windwatch.reports.decode import decode_report, identity, read_wind
from windwatch.reports.taf import decode_forecast
from windwatch.reports.text import split_reports
from windwatch.wind import Calm, Steady

pytestmark = pytest.mark.long

NOW = datetime(2024, 8, 31, 23, 59, tzinfo=UTC)
SECONDS = 20.0
SECONDS_AT_MOST = 3600.0
# A text is read up to 2,000 characters; what is longer must not be slower.
SLOWEST_ALLOWED = 0.05
MIB = 1024

WORDS = [
    "METAR", "SPECI", "TAF", "AMD", "COR", "AUTO", "NIL", "CNL", "CCA", "XLKS", "221953Z",
    "2218/2318", "22030G40KT", "VRB03KT", "00000KT", "///10KT", "/////KT", "090//KT", "180P99KT",
    "E20011KT", "000V360", "190V250", "VRBG", "KT", "MPS", "G", "CAVOK", "+TSRA", "VCTS", "VCBLDU",
    "SQ", "+FC", "BKN020CB", "//////CB", "M02/M05", "A2972", "Q1013", "WS R23", "WS ALL RWY",
    "NOSIG", "BECMG", "TEMPO", "INTER", "PROB40", "FM2030", "FM222030", "TL2400", "AT1900", "FM",
    "BLU", "BLACKRED", "RMK", "PK WND 31046/1911", "PK WND", "WSHFT 1856 FROPA", "TSB04E41", "TSE",
    "OCNL LTGICCG OHD", "LTG DSNT N THRU SE", "RWY03 23006KT", "WIND THR28 06006KT",
    "R06/08003MPS", "WIND ESTD", "T02220189", "$", "=", "\x00", "\ufeff", "é", "٣", "\ud800", "  ",
    "\n",
]  # fmt: skip
LETTERS = "0123456789/GKTVRBMPSZ =+-$XABCDEFHIJLNOQUWY\x00\t\x7f\xa0éß٣"


def flip(chance, text, other):
    at = chance.randrange(len(text))
    return text[:at] + chance.choice(LETTERS) + text[at + 1 :]


def drop(chance, text, other):
    at = chance.randrange(len(text))
    return text[:at] + text[at + chance.randrange(1, 6) :]


def put_in(chance, text, other):
    at = chance.randrange(len(text))
    return text[:at] + chance.choice(LETTERS) + text[at:]


def put_in_word(chance, text, other):
    words = text.split(" ")
    words.insert(chance.randrange(len(words) + 1), chance.choice(WORDS))
    return " ".join(words)


def replace_word(chance, text, other):
    words = text.split(" ")
    words[chance.randrange(len(words))] = chance.choice(WORDS)
    return " ".join(words)


def move_word(chance, text, other):
    words = text.split(" ")
    word = words.pop(chance.randrange(len(words)))
    words.insert(chance.randrange(len(words) + 1), word)
    return " ".join(words)


def splice(chance, text, other):
    return text[: chance.randrange(len(text))] + other[chance.randrange(len(other)) :]


def cut(chance, text, other):
    return text[: chance.randrange(1, len(text) + 1)]


def repeat(chance, text, other):
    at = chance.randrange(len(text))
    piece = text[at : at + chance.randrange(1, 12)]
    return text[:at] + piece * chance.choice((2, 3, 10, 40, 400)) + text[at:]


MUTATIONS = [
    flip, flip, drop, put_in, put_in_word, put_in_word, replace_word, move_word, splice, cut,
    repeat,
]  # fmt: skip


def mutated(chance, lines):
    text = chance.choice(lines)
    for _ in range(chance.choice((1, 1, 2, 3, 6))):
        text = chance.choice(MUTATIONS)(chance, text, chance.choice(lines)) or "X"
    return text


def read_all(text):
    """Read a text in every way, and look whether what came out is possible."""
    report = decode_report(text, NOW)
    fast = read_wind(text, NOW)
    assert fast == (
        report.station, report.kind, report.observed_at, report.correction, report.automatic,
        report.nil, report.wind, fast.problems, fast.wind_doubtful, fast.wind_estimated,
    )  # fmt: skip
    assert report.station or report.problems
    assert report.wind is not None or report.problems
    for wind in (report.wind, *(trend.wind for trend in report.trends)):
        if wind is None:
            continue
        assert wind.speed >= 0
        if isinstance(wind.direction, Steady):
            assert 1 <= wind.direction.wind_from <= 360
        elif isinstance(wind.direction, Calm):
            assert wind.strongest == 0
    if "TAF" in text or "/" in text[18:30]:
        forecast = decode_forecast(text, NOW)
        assert all(spell.from_at < spell.to_at for spell in forecast.spells)


def seconds_of(text):
    """The least of three, for other processes share the machine."""
    times = []
    for _ in range(3):
        started = time.perf_counter()
        read_all(text)
        times.append(time.perf_counter() - started)
    return min(times)


def recorded(reference):
    lines = []
    for name in ("metar.txt", "taf.txt"):
        text = (reference / "reports" / name).read_text(encoding="utf-8")
        lines += [line for line in text.splitlines() if line.strip() and line[0] != "#"]
    return lines


@pytest.mark.promise(16)
def test_no_mutated_report_raises_or_takes_long(reference, capsys):
    lines = recorded(reference)
    seed = int(os.environ.get("WINDWATCH_SEED", "20260922"))
    wanted = int(os.environ.get("WINDWATCH_MUTATIONS", "0"))
    chance = random.Random(seed)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    began = time.monotonic()
    count, raised, slowest, slowest_text, stations = 0, [], 0.0, "", 0
    until = began + (SECONDS_AT_MOST if wanted else SECONDS)
    while time.monotonic() < until and (count < wanted or not wanted):
        text = mutated(chance, lines)
        count += 1
        started = time.process_time()
        try:
            read_all(text)
        except Exception as problem:  # noqa: BLE001  # whatever it is, it is told with its text
            raised.append((text, repr(problem)))
            if len(raised) == 20:
                break
        took = time.process_time() - started
        if took > slowest and (again := seconds_of(text) if not raised else took) > slowest:
            slowest, slowest_text = again, text
        if count % 1000 == 0:
            identity(decode_report(text, NOW))
            stations += len(split_reports(text))
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / MIB
    with capsys.disabled():
        print(  # noqa: T201  # a long run tells its figures
            f"\n{count:,} inputs in {time.monotonic() - began:,.0f} s, seed {seed}; "
            f"{len(raised)} raised; slowest {slowest * 1000:.2f} ms "
            f"({len(slowest_text)} characters: {slowest_text[:60]!r} ...); "
            f"memory grew by {grown:.1f} MiB"
        )
    assert raised == []
    assert slowest < SLOWEST_ALLOWED
    assert grown < 64
    assert stations
