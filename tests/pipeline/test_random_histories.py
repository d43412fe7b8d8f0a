"""Random histories against the promises and against a slow, simple model of the rules."""

import os
from collections.abc import Iterable
from datetime import timedelta
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from tests.pipeline import slow_model
from tests.pipeline.little_field import RUNWAYS, TAXI, THUNDER, TIE_DOWN, Watch
from tests.pipeline.random_histories import (
    CROSSWIND,
    HEADINGS,
    START,
    TAILWIND,
    days,
    text_of,
    the_fleet,
)
from tests.pipeline.random_histories import TAXI as TAXI_LIMIT
from tests.pipeline.random_histories import TIE_DOWN as TIE_DOWN_LIMIT
from tests.pipeline.slow_model import Said
from windwatch import pipeline
from windwatch.episodes.state import AirfieldState
from windwatch.episodes.track import Folded
from windwatch.reports.decode import decode_report, identity

# Generated histories take seconds each.
pytestmark = pytest.mark.long

# More by hand: WINDWATCH_EXAMPLES=5000.
EXAMPLES = int(os.environ.get("WINDWATCH_EXAMPLES", "40"))
SOME = settings(
    max_examples=EXAMPLES,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=True,
)
LATER = timedelta(minutes=3)
STATE = TypeAdapter(AirfieldState)


def ids(reports: Iterable[Said]) -> dict[Said, str]:
    return {r: identity(decode_report(text_of(r), r.at)) for r in reports}


def opened_and_closed(folded: Folded, of: object) -> list[tuple[object, object]]:
    track = next(t for t in folded.tracks if t.key == of)
    return [(s.opened_at, s.closed_at) for s in track.spans if s.level.word == "over"]


def watch() -> Watch:
    return Watch(the_fleet(), START)


def hear(watching: Watch, reports: Iterable[Said], *, now_at_end: bool = False) -> None:
    for n, report in enumerate(reports):
        now = START + timedelta(hours=5, minutes=30, seconds=n) if now_at_end else report.at + LATER
        watching.raw(text_of(report), now=now)


@pytest.mark.promise(4)
@SOME
@given(days(hours=5), st.integers(0, 2**32))
def test_promise_4_final_levels_and_spans_do_not_depend_on_the_order_of_arrival(
    history: list[Said], seed: int
) -> None:
    shuffled = list(history)
    Random(seed).shuffle(shuffled)
    one, other, together = watch(), watch(), watch()
    hear(one, history, now_at_end=True)
    hear(other, shuffled, now_at_end=True)
    together.raw(*map(text_of, shuffled), now=START + timedelta(hours=5, minutes=30))

    def tracks(watching: Watch) -> dict[object, object]:
        return {t.key: t for t in watching.books.folded.tracks}

    assert tracks(one) == tracks(other) == tracks(together)


@SOME
@given(days(hours=5))
def test_every_opening_and_closing_is_that_of_the_slow_model(history: list[Said]) -> None:
    watching = watch()
    hear(watching, history, now_at_end=True)
    reports = slow_model.in_order(history, ids(history))
    if not reports:
        return
    folded = watching.books.folded
    tie_down = slow_model.ground(reports, TIE_DOWN_LIMIT, parked=True)
    taxi = slow_model.ground(reports, TAXI_LIMIT, parked=False)
    modelled = slow_model.runways(reports, HEADINGS, CROSSWIND, TAILWIND)
    for key, figure in ((TIE_DOWN, tie_down.history), (TAXI, taxi.history)):
        track = folded.track(key)
        assert int(track.level) == figure.level
        spans = [s for s in track.spans if s.level.word == "over"]
        assert [s.opened_at for s in spans] == figure.openings
        assert [s.closed_at for s in spans if s.closed_at is not None] == figure.closings
    track = folded.track(RUNWAYS)
    assert int(track.level) == modelled.track.level
    spans = [s for s in track.spans if s.level.word == "over"]
    assert [s.opened_at for s in spans] == modelled.track.openings
    assert [s.closed_at for s in spans if s.closed_at is not None] == modelled.track.closings
    for name, figure in modelled.each.items():
        assert int(track.gauge(name).level) == figure.history.level


@pytest.mark.promise(7)
@SOME
@given(days(hours=16, most=40))
def test_promise_7_people_hear_back_only_when_the_rule_is_met(history: list[Said]) -> None:
    watching = watch()
    for n, report in enumerate(history):
        now = report.at + LATER
        watching.raw(text_of(report), now=now)
        # The model sees the whole day in its order; a correction finds its place.
        known = slow_model.in_order(history[: n + 1], ids(history[: n + 1]))
        newest = [r for r in known if r.wind_from is not None]
        if not newest or now - newest[-1].at >= timedelta(minutes=75):
            assert not [s for s in watching.last.steps if s.name == "back" and s.track != THUNDER]
            continue
        levels = {
            TIE_DOWN: slow_model.ground(known, TIE_DOWN_LIMIT, parked=True).history.level,
            TAXI: slow_model.ground(known, TAXI_LIMIT, parked=False).history.level,
            RUNWAYS: slow_model.runways(known, HEADINGS, CROSSWIND, TAILWIND).track.level,
        }
        believed_over = {
            told.track
            for told in watching.state.ledger
            if told.open and told.level.word == "over" and not told.runway
        }
        for key, level in levels.items():
            # No false all-clear, and no missed or lingering alert.
            assert (key in believed_over) == (level == 2), (key, report)
        for step in watching.last.steps:
            if step.name == "back" and step.track in levels:
                assert levels[step.track] != 2


@SOME
@given(days(hours=10, most=30), st.integers(0, 29))
def test_a_restart_anywhere_gives_the_same_as_going_on(history: list[Said], at: int) -> None:
    straight, restarted = watch(), watch()
    for n, report in enumerate(history):
        now = report.at + LATER
        if n == at:
            kept = STATE.validate_json(STATE.dump_json(restarted.state))
            assert kept == restarted.state
            restarted.reload(the_fleet())
            airfield = restarted.fleet.airfields[0]
            restarted.books = pipeline.restore(restarted.setup, airfield, kept)
            assert restarted.books == straight.books
        for each in (straight, restarted):
            each.step(pipeline.Tick(), now - timedelta(minutes=1))  # settles what is old
        straight.raw(text_of(report), now=now)
        restarted.raw(text_of(report), now=now)
    assert [n.id for n in restarted.notices] == [n.id for n in straight.notices]
    assert restarted.books == straight.books


@pytest.mark.promise(3)
@SOME
@given(days(hours=10, most=30))
def test_promise_3_nobody_is_told_the_same_step_twice(history: list[Said]) -> None:
    watching = watch()
    for report in history:
        watching.raw(text_of(report), now=report.at + LATER)
        watching.step(pipeline.Tick(), report.at + LATER + timedelta(minutes=1))
    told = [(n.contact, step.id) for n in watching.notices for step in n.steps]
    assert len(told) == len(set(told))


@SOME
@given(days(hours=5))
def test_replaying_the_same_reports_says_nothing_new(history: list[Said]) -> None:
    watching = watch()
    hear(watching, history, now_at_end=True)
    before = watching.books
    now = START + timedelta(hours=5, minutes=31)
    settled = watching.step(pipeline.Tick(), now)
    assert set(settled) <= {"no_data", "data_back"}
    before = watching.books
    for report in history:
        assert watching.raw(text_of(report), now=now) == []
    assert watching.books is before


@pytest.mark.promise(7)
@SOME
@given(days(hours=5))
def test_promise_7_time_alone_ends_nothing(history: list[Said]) -> None:
    watching = watch()
    hear(watching, history)
    if not history:
        return
    now = history[-1].at + LATER
    over = {t.key for t in watching.books.folded.tracks if t.level.word == "over"}
    ended: set[str] = set()
    for minutes in range(1, 60 * 30, 17):
        ended.update(watching.step(pipeline.Tick(), now + timedelta(minutes=minutes)))
    assert not ended & {"back", "withdrawn", "ended", "runway_back", "opened"}
    assert over == {t.key for t in watching.books.folded.tracks if t.level.word == "over"}
