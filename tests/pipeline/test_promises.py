"""Promises 3 to 8 of reliability section 1, as far as they belong to the pure step."""

import pytest
from pydantic import TypeAdapter

from tests.pipeline.little_field import (
    TIE_DOWN,
    Watch,
    flying_fleet,
    metar,
    parked_fleet,
    utc,
)
from windwatch import pipeline
from windwatch.assessment.assess import assess
from windwatch.assessment.plan import plan_airfield
from windwatch.episodes.state import AirfieldState
from windwatch.episodes.values import computed_id
from windwatch.reports.decode import decode_report

STATE = TypeAdapter(AirfieldState)
STORM = "2SM TSRA BKN030CB 20/18 A2980 RMK AO2 PK WND 22541/1245 WSHFT 1240"


def restart(watching: Watch) -> None:
    kept = STATE.validate_json(STATE.dump_json(watching.state))
    watching.reload(watching.fleet)
    watching.books = pipeline.restore(watching.setup, watching.fleet.airfields[0], kept)


@pytest.mark.promise(3)
def test_promise_3_ids_are_computed_from_what_they_name() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    notice, step = watching.notices[0], watching.steps[0]
    assert step.episode == computed_id(str(TIE_DOWN), "", "over", step.reports[0].id)
    assert step.id == computed_id(step.episode, "1")
    assert notice.id == computed_id("desk", step.id)


@pytest.mark.promise(3)
def test_promise_3_the_same_reports_give_the_same_ids_elsewhere() -> None:
    one, other = Watch(parked_fleet()), Watch(parked_fleet())
    for watching in (one, other):
        watching.report("18031KT", "1253")
        watching.report("18037KT", "1353")
    assert [n.id for n in one.notices] == [n.id for n in other.notices]
    assert one.notices == other.notices


@pytest.mark.promise(3)
def test_promise_3_an_episode_keeps_its_id_whatever_arrives_late() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18029KT", "1240", kind="SPECI", received="1300")
    watching.report("COR 18027KT", "1253", received="1305")
    watching.report("18037KT", "1353")
    assert len({s.episode for s in watching.steps}) == 1


@pytest.mark.promise(5)
def test_promise_5_every_step_names_its_report_figure_and_limit() -> None:
    watching = Watch(flying_fleet())
    watching.report("22531KT", "1253", STORM)
    for step in watching.steps:
        assert [ref.raw for ref in step.reports] == [watching.state.entries[-1].text]
        if step.track.kind.value == "thunder":
            continue
        assert step.finding is not None
        assert step.finding.limit.whose == "X-LARK"
        assert step.reason


@pytest.mark.promise(5)
def test_promise_5_the_raw_text_gives_the_same_figure_again() -> None:
    watching = Watch(flying_fleet())
    watching.report("22519G31KT 200V260", "1253")
    step = next(s for s in watching.steps if s.name == "opened")
    assert step.finding is not None
    ref = step.reports[0]
    plan = plan_airfield(watching.fleet, watching.fleet.airfields[0], ref.observed_at.date())
    again = assess(plan, decode_report(ref.raw, ref.received_at))
    ends = {end.end: end.deciding for runway in again.runways[0].runways for end in runway.ends}
    assert ends[step.end] == step.finding


@pytest.mark.promise(6)
def test_promise_6_opened_and_ended_while_away_is_told_once_as_past() -> None:
    watching = Watch(parked_fleet(taxi=30))
    watching.report("18010KT", "1153")
    restart(watching)
    missed = [
        metar(utc(at), wind)
        for at, wind in (("1253", "18035KT"), ("1353", "18010KT"), ("1423", "18010KT"))
    ]
    watching.raw(*missed, now=utc("1426"))
    assert [(s.name.value, s.past) for n in watching.notices for s in n.steps] == [("opened", True)]
    restart(watching)
    assert watching.raw(*missed, now=utc("1430")) == []


@pytest.mark.promise(7)
def test_promise_7_what_is_not_fresh_and_complete_ends_nothing() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1153")
    for hour in range(12, 18):
        watching.raw(
            f"METAR XLKS 22{hour}53Z NIL",
            f"METAR XLKS 22{hour}54Z /////KT 10SM CLR 20/10 A2992",
            f"METAR XLKS 22{hour}55Z ///05KT 10SM CLR 20/10 A2992",
            f"METAR XLKS 22{hour}56Z 1800OKT 10SM CLR 20/10 A2992",
            f"METAR XELM 22{hour}53Z 18005KT 10SM CLR 20/10 A2992",
            f"METAR XLKS 23{hour}53Z 18005KT 10SM CLR 20/10 A2992",
            "not a report",
            now=utc(f"{hour}57"),
        )
        watching.step(
            pipeline.Acknowledged(tuple(t.episode for t in watching.state.ledger), "R"),
            utc(f"{hour}58"),
        )
        restart(watching)
        watching.reload(parked_fleet(tie_down=25, taxi=90))
        watching.tick(f"{hour}59")
    assert watching.level() == "over"
    assert not {"back", "withdrawn", "ended"} & set(watching.told())


def test_a_restart_repeats_nothing() -> None:
    watching = Watch(flying_fleet())
    watching.report("22531KT", "1253", STORM)
    told = len(watching.notices)
    restart(watching)
    assert watching.tick("1257") == []
    assert watching.report("22531KT", "1253", STORM, received="1258") == []
    assert len(watching.notices) == told


def test_the_state_of_a_full_day_survives_json() -> None:
    watching = Watch(flying_fleet())
    watching.report("22531KT", "1253", STORM)
    watching.report("18010KT", "1353")
    watching.report("18040KT", "1445", station="XBRN")
    watching.tick_until("1446", "1512")
    watching.step(pipeline.Acknowledged(("x",), "R. Novak"), utc("1513"))
    again = STATE.validate_json(STATE.dump_json(watching.state))
    assert again == watching.state
    assert type(again.checkpoint) is type(watching.state.checkpoint)


def test_an_event_that_changes_nothing_gives_back_the_same_books() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.tick("1300")
    before = watching.books
    watching.tick("1301")
    assert watching.books is before


def test_the_books_stay_small_over_two_days() -> None:
    watching = Watch(parked_fleet(), utc("0000"))
    for day in (22, 23):
        for hour in range(24):
            watching.report("18031KT" if hour % 3 == 0 else "18010KT", f"{hour:02d}53", day=day)
            watching.tick(f"{hour:02d}57", day)
    assert len(watching.state.entries) <= 7
    assert len(watching.state.ledger) <= 20
    assert len(STATE.dump_json(watching.state)) < 60_000
