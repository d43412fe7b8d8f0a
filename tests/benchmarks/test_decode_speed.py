"""How fast reports are decoded, against a general-purpose library and against the floor.

One process, one core, the same 5,000 recorded reports. Every field of every result is made and
compared with what it should be inside the timing: nothing is lazy, nothing is remembered from
one round to the next. The floor is one compiled expression for the wind group alone, and the
same with its figures converted.
"""

import re
import time
import warnings
from datetime import UTC, datetime

import pytest

from windwatch.reports.decode import decode_report, read_wind

pytestmark = pytest.mark.benchmark

NOW = datetime(2024, 8, 31, 23, 59, tzinfo=UTC)
ROUNDS = 7
REPORTS = 5000

WIND_GROUP = re.compile(
    r"""
    (?P<direction>\d{3}|VRB|///)
    (?P<speed>\d{2,3}|//)
    (?:G(?P<gust>\d{2,3}))?
    (?P<unit>KT|MPS|KMH)
    """,
    re.VERBOSE,
)


def floor(text):
    found = WIND_GROUP.search(text)
    return None if found is None else found.span()


def floor_with_conversion(text):
    found = WIND_GROUP.search(text)
    if found is None:
        return None
    direction, speed, gust, unit = found.groups()
    return (
        float(direction) if direction[0] not in "V/" else None,
        float(speed) if speed != "//" else None,
        None if gust is None else float(gust),
        unit,
    )


def wind_path(text):
    return read_wind(text, NOW)


def full_decode(text):
    return decode_report(text, NOW)


def metar_library(text):
    from metar.Metar import Metar, ParserError  # noqa: PLC0415

    try:
        found = Metar(text, strict=False)
    except ParserError:
        return None
    return (
        found.station_id,
        found.type,
        found.time,
        found.mod,
        found.wind_dir and found.wind_dir.value(),
        found.wind_speed and found.wind_speed.value("KT"),
        found.wind_gust and found.wind_gust.value("KT"),
        found.wind_dir_from and found.wind_dir_from.value(),
        found.wind_dir_to and found.wind_dir_to.value(),
        found.temp and found.temp.value("C"),
        found.dewpt and found.dewpt.value("C"),
        found.press and found.press.value("HPA"),
        found.wind_dir_peak and found.wind_dir_peak.value(),
        found.wind_speed_peak and found.wind_speed_peak.value("KT"),
    )


def seconds(decoder, texts, expected):
    """Time of one round in which every result is made and compared."""
    started = time.perf_counter()
    for text, result in zip(texts, expected, strict=True):
        if decoder(text) != result:
            raise AssertionError(text)
    return time.perf_counter() - started


def test_the_decoder_is_as_fast_as_promised(reference, capsys):
    lines = (reference / "reports" / "metar.txt").read_text(encoding="utf-8").splitlines()
    texts = [line for line in lines if line and not line.startswith("#")][:REPORTS]
    decoders = [floor, floor_with_conversion, wind_path, full_decode, metar_library]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library warns about itself
        expected = {decoder: [decoder(text) for text in texts] for decoder in decoders}
        best = dict.fromkeys(decoders, float("inf"))
        for number in range(ROUNDS):
            for decoder in decoders:
                if decoder is metar_library and number > 2:
                    continue
                best[decoder] = min(best[decoder], seconds(decoder, texts, expected[decoder]))
    figures = [
        f"{name.__name__:24}{REPORTS / took:12,.0f} reports/s" for name, took in best.items()
    ]
    figures += [
        f"wind path / floor time   {best[wind_path] / best[floor]:.2f}",
        f"wind path / library      {best[metar_library] / best[wind_path]:.1f} times",
        f"full decode / library    {best[metar_library] / best[full_decode]:.1f} times",
    ]
    with capsys.disabled():
        print("", *figures, sep="\n")  # noqa: T201  # a benchmark tells its figures
    assert best[wind_path] <= 4 * best[floor]
    assert best[metar_library] >= 10 * best[wind_path]
    assert best[metar_library] >= 3 * best[full_decode]
