"""Whatever a feed replies: the watch goes on, and nobody hears an all-clear that is not true.

The replies are real ones, cut, mixed and bent, and rubbish. They come within an hour of the
crossing, so that no word of *back within limits* could be true (parked aircraft: 60 minutes).
"""

import gzip
import json
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.servers.feed_server import PlayedFeed
from tests.watch.little_watch import QUIET, START, STORM, bench, config_text, metar, recording, said
from windwatch.assessment.values import Level
from windwatch.clock import HandClock

# Generated histories take seconds each.
pytestmark = pytest.mark.long

MINUTE = timedelta(minutes=1)
FALSE = {"back", "ended", "data_back"}
LOWS = [
    metar(START + k * MINUTE, wind) for k in (12, 24, 36) for wind in (QUIET, "00000KT", "VRB02KT")
]
ODD = [
    "METAR XLKS NIL",
    "METAR XLKS 221530Z /////KT",
    "SPECI XLKS 221530Z ///02KT 10SM",
    "METAR XBRN 221530Z 00000KT 10SM SKC 20/10 A3000",
    "METAR XLKS 229999Z 00000KT",
    "METAR XLKS 211530Z 00000KT 10SM SKC 20/10 A3000",
    "TAF XLKS 221500Z 2215/2315 00000KT P6SM SKC",
    "METAR XLKS 221530Z 2700\N{FULLWIDTH DIGIT SIX}KT",
    "\N{RIGHT-TO-LEFT OVERRIDE}METAR XLKS 221530Z 00000KT",
    "METAR XLKS 221530Z 00000KT " + "A" * 3000,
    "METAR XLKS 221530Z 00000KT 00000KT 00000KT =",
]

texts = st.sampled_from([*LOWS, *ODD])


@st.composite
def bent(draw, whole):
    """A text with a piece taken out, doubled or replaced."""
    text = draw(whole)
    for _ in range(draw(st.integers(0, 3))):
        at = draw(st.integers(0, len(text)))
        to = min(len(text), at + draw(st.integers(0, 6)))
        piece = draw(st.one_of(st.just(""), st.just(text[at:to] * 2), st.text(max_size=4)))
        text = text[:at] + piece + text[to:]
    return text


records = st.fixed_dictionaries(
    {"rawOb": st.one_of(bent(texts), st.none(), st.integers(), st.just({}))},
    optional={
        "icaoId": st.one_of(
            st.sampled_from(["XLKS", "XBRN", "xlks", ""]), st.none(), st.integers()
        ),
        "obsTime": st.one_of(
            st.integers(-(2**63), 2**63),
            st.integers(0, 7200).map(lambda s: int(START.timestamp()) + s),
            st.floats(),
            st.text(max_size=5),
            st.none(),
        ),
        "metarType": st.one_of(st.sampled_from(["METAR", "SPECI", "TAF"]), st.none()),
        "receiptTime": st.one_of(st.text(max_size=24), st.none(), st.just("2026-09-22T15:30:00Z")),
    },
)
values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | records,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner),
    max_leaves=8,
)
bodies = st.one_of(
    st.lists(records, max_size=5).map(lambda found: json.dumps(found).encode()),
    st.lists(bent(texts), max_size=5).map(
        lambda found: "\n".join(found).encode("utf-8", "replace")
    ),
    values.map(lambda found: json.dumps(found).encode()),
    bent(st.lists(records, max_size=3).map(json.dumps)).map(
        lambda text: text.encode("utf-8", "surrogatepass")
    ),
    st.binary(max_size=200),
    st.sampled_from([b"", b"[]", b"{}", b"null", b"[" * 5000, b"<html><body>log in</body></html>"]),
)
headers = st.fixed_dictionaries(
    {},
    optional={
        "Content-Type": st.sampled_from(
            ["application/json", "text/plain", "text/html; charset=utf-16", "image/png", ";"]
        ),
        "ETag": st.sampled_from(['W/"1"', "rubbish", '"'])
        | st.text(st.characters(min_codepoint=33, max_codepoint=126), max_size=9),
        "Content-Encoding": st.sampled_from(["gzip", "br", "gzip, gzip", "identity"]),
        "Retry-After": st.sampled_from(["1", "-5", "soon", "99999999999999"]),
        "Cache-Control": st.sampled_from(["max-age=60", "no-store", "max-age=x"]),
        "Location": st.sampled_from(["http://127.0.0.1:1/", "file:///etc/hosts"]),
    },
)
statuses = st.sampled_from([200, 200, 200, 200, 204, 206, 301, 304, 401, 403, 404, 429, 500, 503])


@st.composite
def replies(draw):
    status, head, body = draw(statuses), draw(headers), draw(bodies)
    if head.get("Content-Encoding", "").startswith("gzip") and draw(st.booleans()):
        body = gzip.compress(body)[: draw(st.sampled_from([None, -1, -9, 12]))]
    return status, head, body


def play(folder: Path, form: str, played) -> None:
    for old in folder.iterdir():
        if old.is_file():
            old.unlink()
    clock = HandClock(START)
    day = recording(folder / "day.txt", [(START, metar(START, STORM))])
    with PlayedFeed(day, clock) as feed:
        text = config_text(feed=feed.url).replace("[store]", f'format = "{form}"\n[store]', 1)
        with bench(folder, text, clock) as here:
            assert said(here.watch.poll()) == [("desk", "opened")]
            for reply in played:
                clock.move(5 * MINUTE)
                feed.faults[:] = [reply]
                report = here.watch.poll()
                assert not report.failed
                assert not FALSE & {step for _, step in said(report)}, report.judged
            track = next(t for t in here.watch.books["XLKS"].folded.tracks if t.key.quantity)
            assert track.level is Level.OVER


def any_replies(examples: int):
    def fuzzed(test):
        test = given(played=st.lists(replies(), min_size=3, max_size=10))(test)
        return settings(
            max_examples=examples,
            deadline=None,
            derandomize=True,
            database=None,
            suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
        )(test)

    return fuzzed


@pytest.mark.promise(7, 16)
@pytest.mark.parametrize("form", ["json", "raw"])
@any_replies(20)
def test_no_reply_stops_the_watch_or_ends_an_episode(tmp_path: Path, form: str, played) -> None:
    play(tmp_path, form, played)


@pytest.mark.long
@pytest.mark.parametrize("form", ["json", "raw"])
@any_replies(150)
def test_none_of_many_replies_stops_the_watch(tmp_path: Path, form: str, played) -> None:
    play(tmp_path, form, played)
