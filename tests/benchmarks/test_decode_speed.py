"""How fast reports are decoded, against general-purpose libraries and against the floor.

One process, one core, the same 5,000 recorded reports. Every field of every result is made and
compared with what it should be inside the timing: nothing is lazy, nothing is remembered from
one round to the next. The floor is one compiled expression for the wind group alone, and the
same with its figures converted. Time is that of the processor, for others share the machine.
"""

import re
import time
import warnings
from datetime import UTC, datetime

import pytest

from windwatch.reports.decode import decode_report, read_wind

pytestmark = pytest.mark.benchmark

NOW = datetime(2024, 8, 31, 23, 59, tzinfo=UTC)
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


def metar(text):
    """`metar` 2.0.2."""
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


def mivek(text):
    """metar-taf-parser-mivek 1.13; it takes no kind and no end mark."""
    from metar_taf_parser.parser.parser import MetarParser  # noqa: PLC0415

    try:
        found = MIVEK.setdefault("parser", MetarParser()).parse(
            text.removeprefix("METAR ").removeprefix("SPECI ").rstrip("=")
        )
    except Exception:  # noqa: BLE001  # it raises what it likes on a report it cannot read
        return None
    wind = found.wind
    return (
        found.station,
        found.day,
        found.time,
        found.auto,
        found.amendment,
        wind
        and (
            wind.degrees,
            wind.speed,
            wind.gust,
            wind.unit,
            wind.min_variation,
            wind.max_variation,
        ),
        found.temperature,
        found.dew_point,
        found.altimeter,
    )


MIVEK = {}


def avwx(text):
    """avwx-engine 1.9."""
    from avwx import Metar  # noqa: PLC0415

    try:
        found = Metar.from_report(
            text.removeprefix("METAR ").removeprefix("SPECI ").rstrip("="), issued=NOW.date()
        )
    except Exception:  # noqa: BLE001  # as above
        return None
    values = found and found.data
    return values and (
        values.station,
        values.time and values.time.dt,
        values.wind_direction and values.wind_direction.value,
        values.wind_speed and values.wind_speed.value,
        values.wind_gust and values.wind_gust.value,
        tuple(each.value for each in values.wind_variable_direction),
        values.temperature and values.temperature.value,
        values.dewpoint and values.dewpoint.value,
        values.altimeter and values.altimeter.value,
    )


# Every so many rounds a library that takes seconds; the quick ones vary more, and are told apart.
ROUNDS_OF = {floor: 9, floor_with_conversion: 9, wind_path: 9, full_decode: 9, metar: 5}
SLOW = (mivek, avwx)


def seconds(decoder, texts, expected):
    """Time of one round in which every result is made and compared."""
    started = time.process_time()
    for text, result in zip(texts, expected, strict=True):
        if decoder(text) != result:
            raise AssertionError(text)
    return time.process_time() - started


@pytest.fixture(scope="module")
def texts(reference):
    lines = (reference / "reports" / "metar.txt").read_text(encoding="utf-8").splitlines()
    return [line for line in lines if line and not line.startswith("#")][:REPORTS]


def best_of(rounds, texts):
    """The best round of each decoder; they take turns, so that a busy moment meets them all."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the libraries warn about themselves
        expected = {decoder: [decoder(text) for text in texts] for decoder in rounds}
        best = dict.fromkeys(rounds, float("inf"))
        for number in range(max(rounds.values())):
            for decoder in rounds:
                if number < rounds[decoder]:
                    best[decoder] = min(best[decoder], seconds(decoder, texts, expected[decoder]))
    return best


def tell(capsys, figures):
    with capsys.disabled():
        print("", *figures, sep="\n")  # noqa: T201  # a benchmark tells its figures


def reports_per_second(best, number):
    return [f"{name.__name__:24}{number / took:12,.0f} reports/s" for name, took in best.items()]


def test_the_decoder_is_as_fast_as_promised(texts, capsys):
    best = best_of(ROUNDS_OF, texts)
    figures = [
        *reports_per_second(best, len(texts)),
        f"wind path / floor time   {best[wind_path] / best[floor]:.2f}",
        f"wind path / metar        {best[metar] / best[wind_path]:.1f} times",
        f"full decode / metar      {best[metar] / best[full_decode]:.1f} times",
    ]
    tell(capsys, figures)
    assert best[wind_path] <= 4 * best[floor]
    assert best[metar] >= 10 * best[wind_path]
    assert best[metar] >= 3 * best[full_decode]


def test_the_other_libraries_are_slower_still(texts, capsys):
    best = best_of({full_decode: 3, mivek: 2, avwx: 2}, texts)
    tell(capsys, reports_per_second(best, len(texts)))
    assert all(best[library] >= 10 * best[full_decode] for library in SLOW)
