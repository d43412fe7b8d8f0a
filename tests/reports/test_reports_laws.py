"""Laws that hold whatever the text is."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

from hypothesis import example, given, settings
from hypothesis import strategies as st

from windwatch.reports.decode import decode_report, identity, read_wind
from windwatch.reports.forecast import Change
from windwatch.reports.taf import decode_forecast
from windwatch.reports.text import normalise, split_reports
from windwatch.reports.times import resolve_time
from windwatch.reports.wind_group import read_wind_group
from windwatch.wind import Calm, Steady, Variable

NOW = datetime(2026, 9, 22, 22, 0, tzinfo=UTC)

WORDS = [
    "METAR", "SPECI", "COR", "XLKS", "221953Z", "AUTO", "NIL", "31019G31KT", "VRB03KT", "00000KT",
    "///10KT", "/////KT", "090//KT", "/////G20KT", "280V350", "9999", "10SM", "1", "1/2SM",
    "+TSRA", "VCTS", "RETS", "SQ", "BKN028CB", "//////CB", "22/19", "M02/M05", "A2972", "Q1013",
    "NOSIG", "BECMG", "TEMPO", "FM2030", "BLU", "RMK", "PK", "WND", "31046/1911", "PK WND 31046/11",
    "WSHFT", "1856", "TSB04E41", "T02220189", "$", "=", "TAF", "2218/2318", "CALM", "KT", "36020",
    "2208KT", "360087KT", "P99KT", "E20011KT", "", " ", "\x00", "é", "٣١٠١٩KT", "22030G40KT=",
]  # fmt: skip
texts = st.one_of(
    st.text(max_size=200),
    st.lists(st.sampled_from(WORDS), max_size=20).map(" ".join),
    st.tuples(st.sampled_from(WORDS), st.text(max_size=5), st.sampled_from(WORDS)).map("".join),
    st.lists(st.one_of(st.sampled_from(WORDS), st.text(max_size=8)), max_size=12).map(
        lambda words: "XLKS 221953Z " + " ".join(words)
    ),
)


@settings(max_examples=600, deadline=None)
@given(texts)
@example("XLKS 221953Z \ud800 31019KT")
@example("=" * 3000)
@example("XLKS 221953Z 00000KT 000V000 RMK TSE WSHFT PK WND")
def test_no_text_raises_and_the_two_paths_agree(text):
    report = decode_report(text, NOW)
    fast = read_wind(text, NOW)
    assert (report.station, report.kind, report.wind) == (fast.station, fast.kind, fast.wind)
    assert report.observed_at == fast.observed_at
    assert set(fast.problems) <= set(report.problems)
    assert len(identity(report)) == 32
    assert report.station or report.problems
    if report.wind is None and report.station:
        assert report.problems
    if report.wind is not None:
        assert report.wind.speed >= 0
        assert report.wind.gust is None or report.wind.gust >= 0
        if isinstance(report.wind.direction, Steady):
            assert 1 <= report.wind.direction.wind_from <= 360
        if isinstance(report.wind.direction, Calm):
            assert report.wind.strongest == 0


forecast_texts = st.lists(
    st.sampled_from(
        ["TAF", "AMD", "COR", "XBRN", "221730Z", "2218/2318", "2224/2318", "9999/9999", "010606",
         "19017G25KT", "VRB03KT", "00000KT", "36020", "530009", "P6SM", "FM222000", "FM256300",
         "FM10", "FM1000", "BECMG", "TEMPO", "INTER", "PROB30", "PROB40", "2220/2222", "0610",
         "WS020/24045KT", "WND", "160V230", "CNL", "NIL", "RMK", "=", "+TSRA", "BKN025CB", "é", ""]
    ),
    max_size=25,
).map(" ".join)  # fmt: skip


@settings(max_examples=500, deadline=None)
@given(st.one_of(texts, forecast_texts, forecast_texts.map(lambda t: f"TAF XBRN 2218/2318 {t}")))
def test_no_forecast_raises_and_its_spells_lie_in_order(text):
    forecast = decode_forecast(text, NOW)
    assert all(spell.from_at < spell.to_at for spell in forecast.spells)
    prevailing = [spell for spell in forecast.spells if spell.change is Change.PREVAILING]
    for earlier, later in pairwise(prevailing):
        assert earlier.from_at <= later.from_at
    if forecast.station and not (forecast.nil or forecast.cancelled or forecast.spells):
        assert forecast.problems


@settings(max_examples=300, deadline=None)
@given(texts)
def test_putting_a_text_in_order_twice_changes_nothing_more(text):
    once = normalise(text)
    assert normalise(once) == once
    for part in split_reports(text):
        assert part
        assert "=" not in part


@given(
    direction=st.one_of(st.integers(1, 360), st.just("VRB")),
    speed=st.integers(1, 199),
    over=st.one_of(st.none(), st.integers(1, 80)),
    sector=st.one_of(st.none(), st.tuples(st.integers(0, 150), st.integers(1, 150))),
    unit=st.sampled_from([("KT", 1.0), ("MPS", 3600 / 1852), ("KMH", 1 / 1.852)]),
    state=st.sampled_from(["", "AUTO ", "COR ", "CCB "]),
)
def test_an_encoded_wind_decodes_to_the_same(direction, speed, over, sector, unit, state):
    name, knots = unit
    coded = f"{direction:03}" if isinstance(direction, int) else direction
    group = f"{coded}{speed:02}{'' if over is None else f'G{speed + over:02}'}{name}"
    if sector is not None:
        middle = direction if isinstance(direction, int) else 0
        sector = ((middle - sector[0]) % 360, (middle + sector[1]) % 360)
        group += f" {sector[0]:03}V{sector[1]:03}"
    typed = read_wind_group(group)
    report = decode_report(f"XLKS 221953Z {state}{group} 9999 FEW020 22/11 Q1013", NOW)
    assert report.wind == typed == read_wind(f"XLKS 221953Z {state}{group}", NOW).wind
    assert report.problems == report.undecoded == ()
    assert typed.speed == speed * knots
    assert typed.gust == (None if over is None else (speed + over) * knots)
    assert typed.sector == sector
    if isinstance(direction, int):
        assert typed.direction == Steady(float(direction))
    else:
        assert isinstance(typed.direction, Variable)


@given(
    direction=st.integers(1, 360),
    sector=st.tuples(st.integers(0, 360), st.integers(0, 360)),
    gust=st.integers(0, 99),
    speed=st.integers(1, 99),
)
def test_a_wind_that_contradicts_itself_is_kept_and_its_group_is_named(
    direction, sector, gust, speed
):
    group = f"{direction:03}{speed:02}G{gust:02}KT"
    sector_group = f"{sector[0]:03}V{sector[1]:03}"
    report = decode_report(f"XLKS 221953Z {group} {sector_group} 9999", NOW)
    assert report.wind is not None
    assert (report.wind.speed, report.wind.gust, report.wind.sector) == (speed, gust, sector)
    assert report.wind.strongest == max(speed, gust)
    width = (sector[1] - sector[0]) % 360
    holds = width > 0 and (direction - sector[0]) % 360 <= width
    assert any(sector_group in problem for problem in report.problems) is not holds
    assert any(group in problem for problem in report.problems) is (gust <= speed)
    assert report.wind_doubtful is (gust <= speed)


@given(
    st.datetimes(datetime(2000, 1, 1), datetime(2090, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001
    st.timedeltas(timedelta(hours=-23), timedelta(days=25)),
)
def test_a_time_comes_back_from_its_day_hour_and_minute(moment, later):
    moment = moment.replace(second=0, microsecond=0)
    assert resolve_time(moment.day, moment.hour, moment.minute, moment + later) == moment


@given(st.text(max_size=30))
def test_a_typed_wind_is_read_or_refused_in_words(text):
    try:
        wind = read_wind_group(text)
    except ValueError as refusal:
        assert "for example 22030G40KT" in str(refusal)  # noqa: PT017
    else:
        assert wind.speed >= 0
