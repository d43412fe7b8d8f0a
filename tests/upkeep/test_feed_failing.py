"""From when on a feed that gives nothing is told to operators."""

from datetime import UTC, datetime, timedelta

import pytest

from windwatch.errors import FeedBusy, FeedError
from windwatch.upkeep.feed_failing import FeedFailing

NOW = datetime(2026, 9, 22, 12, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
REFUSED = FeedError("awc", "connection refused")


def fails(failing: FeedFailing, minute: int, problem: str = "connection refused") -> bool:
    return failing.failed(REFUSED, problem, "••••••", NOW + minute * MINUTE)


def test_it_is_told_when_it_has_failed_for_a_quarter_of_an_hour() -> None:
    failing = FeedFailing()
    assert [fails(failing, minute) for minute in (0, 14, 15, 16)] == [False, False, True, True]
    assert failing.problem == "••••••"


def test_an_answer_in_between_begins_the_wait_anew() -> None:
    failing = FeedFailing()
    fails(failing, 0)
    failing.answered("")
    assert failing.problem == ""
    assert [fails(failing, minute) for minute in (14, 28, 29)] == [False, False, True]


@pytest.mark.parametrize(
    "problem", ["certificate has expired", "HTTP 403: the feed refuses this address"]
)
def test_what_only_a_person_can_mend_is_told_at_once(problem: str) -> None:
    assert fails(FeedFailing(), 0, problem)


@pytest.mark.fault("F10")
@pytest.mark.parametrize(("minutes", "told"), [(9, False), (10, True), (60, True)])
def test_a_ban_is_told_at_once_and_a_short_wait_is_not(minutes: int, told: bool) -> None:
    busy = FeedBusy("awc", "busy", minutes * MINUTE)
    assert FeedFailing().failed(busy, "HTTP 429", "HTTP 429", NOW) is told
