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
from windwatch.episodes.clock_doubt import Conditions, Gap
from windwatch.episodes.entries import Judged
from windwatch.episodes.missed import catching_up, feed_answered, note_gap
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
    after = pipeline.step(watching.setup, first.books, pipeline.Tick(), until)
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


@pytest.mark.promise(6)
@pytest.mark.parametrize(
    ("after", "step"), [(["18030KT"], "worsened"), (["18010KT", "18010KT"], "back")]
)
def test_a_new_worst_that_came_and_went_in_the_gap_is_named_whether_it_goes_on_or_has_ended(
    after: list[str], step: str
):
    watching = Watch(parked_fleet())
    watching.report("18030KT", "1253")
    winds = ["18045KT", *after]
    outcome = missed(
        watching,
        utc("1300") + len(winds) * HOUR,
        *((utc("1253") + n * HOUR, wind) for n, wind in enumerate(winds, start=1)),
    )
    [found] = [s for s in outcome.steps if s.name == step]
    assert found.worst is not None
    assert found.worst.figure == 45.0
    assert [notice.contact for notice, _ in outcome.notices] == ["desk"]


@pytest.mark.promise(6)
def test_a_worst_is_named_too_where_the_episode_ended_in_the_gap_and_another_has_begun():
    watching = Watch(parked_fleet())
    watching.report("18030KT", "1253")
    winds = ["18048KT", "18010KT", "18010KT", "18028KT"]
    outcome = missed(
        watching,
        utc("1700"),
        *((utc("1253") + n * HOUR, wind) for n, wind in enumerate(winds, start=1)),
    )
    [told] = [s for s in outcome.steps if s.track.name.startswith("tie_down")]
    assert told.name == "worsened", "to people it is one episode, which never ended"
    assert told.worst is not None
    assert told.worst.figure == 48.0
    assert told.since == utc("1253")
    assert [ref.observed_at for ref in told.reports] == [utc("1353")]


def not_watched(watching: Watch, begins: str, ends: str) -> None:
    """The first turn after a gap, at which the feed says nothing."""
    conditions = Conditions(not_watched=Gap(utc(begins), utc(ends)))
    outcome = pipeline.step(watching.setup, watching.books, pipeline.Tick(), utc(ends), conditions)
    watching.books = outcome.books


@pytest.mark.promise(6)
def test_what_was_told_before_the_gap_is_not_told_again_however_late_the_feed_answers():
    watching = Watch(parked_fleet())
    for at, wind in {"1253": "18041KT", "1353": "18010KT", "1453": "18010KT"}.items():
        watching.report(wind, at)
    assert watching.told() == ["opened", "back"]
    not_watched(watching, "1500", "1900")
    # Of what has ended so long ago nothing late is looked for any more.
    watching.tick_until("2200", "2330")
    watching.report("18010KT", "2353", day=22, received="2356")
    assert "opened" not in watching.told()[2:]
    assert watching.state.missed_since is None


@pytest.mark.promise(6)
def test_a_feed_that_answers_with_what_is_known_has_not_answered():
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253")
    not_watched(watching, "1300", "1900")
    watching.report("18010KT", "1253", received="1901")
    assert watching.state.missed_since == utc("1253")
    winds = {utc("1353"): "18041KT"} | {utc("1353") + n * HOUR: "18010KT" for n in range(1, 7)}
    watching.raw(*(metar(at, wind) for at, wind in winds.items()), now=utc("2000"))
    assert past(watching.last) == [("desk", 41.0)]


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
    assert note_gap(watching.state, None) is watching.state
    assert note_gap(watching.state, gap).missed_since == utc("1300")
    watching.report("18010KT", "1253")
    noted = note_gap(watching.state, gap)
    assert noted.missed_since == utc("1253")
    assert note_gap(noted, Gap(utc("2000"), utc("2300"))) is noted, "the earlier one goes on"
    seen = watching.state.wind
    assert seen is not None
    later = replace(watching.state, wind=Seen(utc("1400"), seen.ref), weather=None)
    assert note_gap(later, gap).missed_since == utc("1300")


def judged(watching: Watch, wind: str, at: str, **how: str) -> tuple[Judged, ...]:
    watching.report(wind, at, **how)
    return watching.last.judged


def test_a_feed_has_answered_with_a_report_of_the_main_station_that_was_not_known():
    watching = Watch(parked_fleet())
    known = judged(watching, "18010KT", "1253")
    assert not feed_answered(known, utc("1253"))
    assert not feed_answered(known, None)
    assert not feed_answered((), utc("1253"))
    assert not feed_answered(judged(watching, "18010KT", "1253"), utc("1200")), "a duplicate"
    assert not feed_answered(judged(watching, "18010KT", "1353", station="XBRN"), utc("1253"))
    assert feed_answered(judged(watching, "/////KT", "1453"), utc("1253")), "it answered"


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
