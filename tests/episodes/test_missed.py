"""What was missed while nobody watched is told however old; what comes late is not.

Reliability, promise 6, and section 2: *Restart* ("missed reports fetched as far back as the feed
allows, judged at their own times, all in one notice") beside *Identity and order* ("a late
crossing already superseded is told as past if at most 2 h old, else only recorded").
"""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from tests.pipeline.little_field import DESK, THUNDER, Watch, metar, parked_fleet, utc
from windwatch import pipeline
from windwatch.episodes.clock_doubt import ALL_IS_WELL, Conditions, Gap
from windwatch.episodes.missed import catching_up, missed_since
from windwatch.episodes.state import Seen
from windwatch.fleet import Contact, TellAbout
from windwatch.reports.raw import RawReport
from windwatch.rules import USUAL

HOUR = timedelta(hours=1)
DEAF_TO_UNKNOWN = Contact("over only", ("folder",), TellAbout(levels=("over",)))


def missed(watching: Watch, until: datetime, *winds: tuple[datetime, str]) -> pipeline.Outcome:
    """The first poll after a gap: the reports of the gap in one reply, then a tick."""
    gap = Gap(utc("1300"), until)
    raws = tuple(RawReport(metar(at, wind), until, "test") for at, wind in winds)
    conditions = Conditions(not_watched=gap)
    first = pipeline.step(
        watching.setup, watching.books, pipeline.ReportsCame(raws), until, conditions
    )
    # Whoever was told has been; where nobody hears of gaps, the same is true at the tick.
    told = any(step.track.quantity == "watch" for step in first.steps)
    after = pipeline.step(
        watching.setup,
        first.books,
        pipeline.Tick(),
        until,
        ALL_IS_WELL if told else conditions,
    )
    assert after.notices == (), "all in one notice"
    watching.books = after.books
    return first


def past(outcome: pipeline.Outcome) -> list[tuple[str, float]]:
    return [
        (notice.contact, step.worst.figure)
        for notice, _ in outcome.notices
        for step in notice.steps
        if step.past and step.worst is not None
    ]


@pytest.mark.parametrize("hours", [3, 5, 9, 20])
def test_a_crossing_that_began_and_ended_while_nobody_watched_is_told_once_as_past(hours: int):
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253")
    winds = [(utc("1353"), "18041KT")]
    winds += [(utc("1353") + n * HOUR, "18010KT") for n in range(1, hours)]
    outcome = missed(watching, utc("1300") + hours * HOUR, *winds)
    assert past(outcome) == [("desk", 41.0)]
    assert len(outcome.notices) == 1
    now = utc("1300") + hours * HOUR
    for minute in range(1, 200):
        watching.step(pipeline.Tick(), now + timedelta(minutes=minute))
    assert [s.name.value for s in watching.steps if s.past] == [], "and never again"


def test_each_of_two_crossings_of_a_long_gap_is_told():
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253")
    high = {2: "18041KT", 14: "18047KT"}
    winds = [(utc("1253") + n * HOUR, high.get(n, "18010KT")) for n in range(1, 22)]
    outcome = missed(watching, utc("1300") + 21 * HOUR, *winds)
    assert past(outcome) == [("desk", 41.0), ("desk", 47.0)]


def test_it_is_told_once_also_to_whoever_does_not_hear_of_gaps():
    watching = Watch(replace(parked_fleet(), contacts=(DEAF_TO_UNKNOWN,)))
    watching.report("18010KT", "1253")
    winds = [(utc("1353"), "18041KT")]
    winds += [(utc("1353") + n * HOUR, "18010KT") for n in range(1, 9)]
    assert past(missed(watching, utc("1300") + 9 * HOUR, *winds)) == [("over only", 41.0)]


def test_a_report_that_was_observed_just_before_the_gap_was_missed_too():
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1250")
    winds = [(utc("1258"), "18041KT")]
    winds += [(utc("1358") + n * HOUR, "18010KT") for n in range(8)]
    assert past(missed(watching, utc("1300") + 9 * HOUR, *winds)) == [("desk", 41.0)]


def test_what_is_still_over_after_the_gap_is_opened_with_its_own_beginning_and_worst():
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253")
    winds = [(utc("1353") + n * HOUR, f"180{30 + (7 - n) * 3}KT") for n in range(8)]
    outcome = missed(watching, utc("2100"), *winds)
    [opened] = [s for s in outcome.steps if s.name == "opened"]
    assert (opened.since, opened.worst.figure) == (utc("1353"), 51.0)


def test_reports_that_merely_come_late_keep_the_two_hours_and_the_six():
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253")
    winds = {"1353": "18041KT", "1453": "18010KT", "1553": "18010KT"}
    watching.raw(*(metar(utc(at), wind) for at, wind in winds.items()), now=utc("1800"))
    assert "opened" not in watching.told()
    assert [told.closed_at for told in watching.state.ledger] == [utc("1553")], "recorded"
    watching.step(
        pipeline.ReportsCame((RawReport(metar(utc("1853"), "18041KT"), utc("0054", 23), "test"),)),
        utc("0054", 23),
    )
    assert watching.last.judged[0].reason == "older than 6 hours: recorded only"


# --- the pure figures ---------------------------------------------------------------


def test_missed_is_what_was_observed_after_the_newest_that_was_known():
    watching = Watch(parked_fleet())
    gap = Gap(utc("1300"), utc("1900"))
    assert missed_since(watching.state, None) is None
    assert missed_since(watching.state, gap) == utc("1300")
    watching.report("18010KT", "1253")
    assert missed_since(watching.state, gap) == utc("1253")
    seen = watching.state.wind
    assert seen is not None
    later = replace(watching.state, wind=Seen(utc("1400"), seen.ref), weather=None)
    assert missed_since(later, gap) == utc("1300")


@pytest.mark.parametrize(("hours", "told_for"), [(1, 2), (2, 2), (7, 7)])
def test_catching_up_tells_what_ended_since_the_gap_began(hours: int, told_for: int):
    found = catching_up(USUAL, utc("1300"), utc("1300") + hours * HOUR)
    assert found.still_told == told_for * HOUR
    assert catching_up(USUAL, None, utc("1300")) is USUAL


def test_thunder_of_a_gap_is_told_as_past_too():
    watching = Watch(replace(parked_fleet(), contacts=(DESK,)))
    watching.report("18010KT", "1253")
    gap = Gap(utc("1300"), utc("1900"))
    rests = ["2SM TSRA BKN030CB 18/17 A2980", *["10SM CLR 18/12 A2980"] * 4]
    raws = tuple(
        RawReport(metar(utc("1353") + n * HOUR, "18010KT", rest), gap.until, "test")
        for n, rest in enumerate(rests)
    )
    outcome = pipeline.step(
        watching.setup,
        watching.books,
        pipeline.ReportsCame(raws),
        gap.until,
        Conditions(not_watched=gap),
    )
    assert [(s.track, s.past) for s in outcome.steps if s.name == "opened"] == [(THUNDER, True)]
