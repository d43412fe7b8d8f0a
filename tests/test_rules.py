"""The figures of judgement: defaults as the reliability page has them, each in its range."""

from datetime import timedelta
from pathlib import Path

import pytest

from windwatch.fleet import Fleet, Limit
from windwatch.rules import Rules, changed, figures, in_words
from windwatch.wind import Knots

# Reliability section 2 and 3; the figure of each row as it stands there.
MINUTES = {
    "stale_margin": 15,
    "told_margin": 30,
    "often_stale_after": 10,
    "often_told_after": 20,
    "clock_step": 0.5,
    "clock_apart": 5,
    "low_apart": 10,
    "runway_hold": 30,
    "parked_hold": 60,
    "convective_hold": 60,
    "peak_within": 60,
    "unsettled_within": 360,
    "unsettled_hold": 120,
    "main_gone": 120,
    "stuck_after": 180,
    "late_after": 360,
    "future_by": 10,
    "still_told": 120,
    "gather": 1,
    "remind_every": 180,
    "standing_after": 1440,
    "acknowledged_for": 360,
    "pass_on_after": 15,
    "tried_at_least": 10,
    "state_valid_for": 360,
    "withdrawn_valid_for": 1440,
    "urgent_tries_apart": 5,
    "other_tries_apart": 30,
    "retry_after_most": 5,
    "channel_down_for": 1,
    "fall_back_after": 1,
}
NUMBERS = {
    "near_at": 0.8,
    "deadband_kt": 2,
    "deadband_share": 0.05,
    "deadband_most_share": 0.2,
    "near_deadband_kt": 1,
    "near_deadband_share": 0.05,
    "worsen_kt": 3,
    "worsen_share": 0.2,
    "clock_agreeing": 2,
    "low_reports": 2,
    "unsettled_openings": 3,
    "stuck_beside_kt": 10,
    "notices_an_hour": 6,
}


def test_the_usual_figures_are_those_of_the_reliability_page():
    usual = Rules()
    assert {name: getattr(usual, name) / timedelta(minutes=1) for name in MINUTES} == MINUTES
    assert {name: getattr(usual, name) for name in NUMBERS} == NUMBERS
    assert set(figures()) == set(MINUTES) | set(NUMBERS)


@pytest.mark.parametrize("name", figures())
def test_every_figure_has_a_range_with_its_default_in_it_and_a_sentence(name):
    about = figures()[name]
    assert about.least <= getattr(Rules(), name) <= about.most
    assert about.least < about.most
    assert about.what.endswith(".")


def test_what_is_changed_is_told_with_what_is_usual():
    assert changed(Rules()) == {}
    assert changed(Rules(low_reports=3)) == {"low_reports": (3, 2)}


def test_closed_spans_are_kept_for_late_reports_and_to_count_openings():
    assert Rules().remembered_for == timedelta(hours=8)
    assert Rules(unsettled_within=timedelta(hours=12)).remembered_for == timedelta(hours=12)


def test_a_fleet_goes_by_the_usual_figures():
    assert Fleet((), ()).rules == Rules()
    assert Limit("crosswind", Knots(10), "X-LARK").near_at == Rules().near_at


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (60, "1 minute"),
        (600, "10 minutes"),
        (3600, "60 minutes"),
        (5400, "90 minutes"),
        (7200, "2 hours"),
        (9000, "150 minutes"),
        (86400, "24 hours"),
        (90, "90 seconds"),
    ],
)
def test_lengths_of_time_in_words(seconds, words):
    assert in_words(timedelta(seconds=seconds)) == words


def test_no_figure_of_judgement_stands_elsewhere(root: Path):
    """The rooms that judge name no length of time of their own but the hour and what is zero."""
    rooms = ("assessment", "episodes/gauge", "episodes/fold", "episodes/track", "episodes/entries")
    rooms += ("episodes/clock_doubt", "episodes/missed", "episodes/reporting")
    rooms += ("episodes/ledger", "episodes/intake", "notices/routing", "notices/restate")
    rooms += ("notices/rate", "notices/escalation", "notices/owed", "pipeline")
    for room in rooms:
        path = root / "windwatch" / room
        for file in sorted(path.glob("*.py")) or [path.with_suffix(".py")]:
            text = file.read_text(encoding="utf-8")
            named = [line for line in text.splitlines() if "timedelta(minutes=" in line]
            named += [line for line in text.splitlines() if "timedelta(hours=" in line]
            # A unit to count in, and the hour that a rate is by, are no judgement.
            ours = [line for line in named if "=1)" not in line]
            assert ours == [], file
