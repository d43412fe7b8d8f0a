"""What to do on the demo day: who lost which end, what "more" is, who must not taxi, thunder."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.board.played import Played, played
from windwatch.assessment.values import Mark
from windwatch.board import view
from windwatch.board.page_values import FieldPage
from windwatch.board.shown_first import answers_of

MORNING = datetime(2026, 9, 22, 14, 20, tzinfo=UTC)  # 10:20 local, 170 true at 9 kt
NEAR_THUNDER = datetime(2026, 9, 22, 19, 8, tzinfo=UTC)
EVENING = datetime(2026, 9, 22, 21, 2, tzinfo=UTC)  # 17:02 local, 320 true at 22 gusting 35 kt


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Played]:
    folder: Path = tmp_path_factory.mktemp("todo")
    with played(folder) as found:
        yield found


@pytest.fixture(scope="module")
def pages(day: Played) -> dict[datetime, FieldPage]:
    found = {}
    for moment in (MORNING, NEAR_THUNDER, EVENING):
        day.play(moment)
        found[moment] = view.field_page(day.snapshot(), "XLKS", moment)
    return found


def test_who_lost_a_runway_is_told_every_end_that_is_out(pages: dict[datetime, FieldPage]) -> None:
    """9 kt from 170: across 10/28 8.8 kt > 7, behind on 1 8.8 kt > 8; 19 has it ahead."""
    page = pages[MORNING]
    assert page.todo.outs == ("X-LARK / student solo: not 1, 10 and 28; only 19",)
    assert page.todo.headline == (
        "Within: 19 remains within limits for everybody here; your decision"
    )
    assert page.todo.sentences == ()
    assert "X-LARK / student solo: only 19 remains within limits, not 1, 10 and 28" in (
        page.todo.runways
    )
    assert page.todo.stand.mark is Mark.WITHIN
    student = next(row for row in page.subjects if row.who == "X-LARK / student solo")
    assert [(each.mark, each.text) for each in answers_of(student)] == [
        (Mark.WITHIN, "only 19"), (Mark.OVER, "1, 10 and 28"),
    ]  # fmt: skip
    assert page.taxi_stopped == ()


def test_what_more_there_is_is_told_by_kind(pages: dict[datetime, FieldPage]) -> None:
    assert pages[EVENING].todo.headline == (
        "Over: tie-down X-WREN 35 kt > 22 kt, and 13 more: 4 without a runway, 3 taxi limits, "
        "5 parking limits, thunder"
    )
    # What is only near is told apart.
    _, _, more = pages[NEAR_THUNDER].todo.headline.partition("and 9 more: ")
    assert more == (
        "3 without a runway, 1 taxi limit; "
        "near: 1 runway limit, 1 taxi limit, 2 parking limits, thunder"
    )


def test_nobody_taxis_while_every_limit_for_it_is_over_or_held(
    pages: dict[datetime, FieldPage], day: Played
) -> None:
    """35 kt against 20, 30 and 35: the last is at its limit, and not yet back within it."""
    assert pages[EVENING].taxi_stopped == ("X-LARK", "X-TERN", "X-WREN")
    stop = [said for said in pages[EVENING].todo.sentences if "taxiing" in said]
    assert stop == [
        "Stop taxiing X-WREN and X-LARK.",
        "No taxiing yet for X-TERN: not yet back within limits.",
    ]
    card = view.ramp_card(day.snapshot(), "XLKS", "X-TERN", EVENING)
    assert card.taxi_stopped == ("X-TERN",)


def test_thunder_that_is_near_stops_taxiing_for_all(pages: dict[datetime, FieldPage]) -> None:
    page = pages[NEAR_THUNDER]
    assert page.thunder is not None
    assert page.thunder.stand.mark is Mark.NEAR
    assert page.taxi_stopped == ("X-LARK", "X-TERN", "X-WREN")


def test_thunder_not_reported_any_more_tells_when_it_was_and_what_ends_it(
    pages: dict[datetime, FieldPage],
) -> None:
    thunder = pages[EVENING].thunder
    assert thunder is not None
    assert thunder.stand.mark is Mark.OVER
    assert thunder.reasons == ()
    assert thunder.stand.note == (
        "last reported 16:51 local (20:51Z); counts as over until a report 60 minutes or more "
        "later is free of it"
    )
