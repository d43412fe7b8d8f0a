"""Somebody takes note of an episode in another process: reminders stop, nothing else does."""

from datetime import timedelta

import pytest

from tests.watch.little_watch import MINUTE, START, STORM, bench, config_text, metar, said
from windwatch.reports.raw import RawReport
from windwatch.store.store import open_store

HOUR = timedelta(hours=1)


def acknowledge(b, episode, by="operations desk"):
    """As the command does: with a store of its own."""
    with open_store(b.folder / "watch.db", b.clock) as other, other.transaction() as books:
        books.acknowledge(episode, by, b.clock.now())


def hours_of_storm(b, hours, wind=STORM, again=lambda: None):
    """A report an hour, and a tick every ten minutes."""
    told = []
    for _ in range(6 * hours):
        b.clock.move(10 * MINUTE)
        if (b.clock.now() - START) % HOUR == timedelta(0):
            told += said(b.take(wind))
        again()
        told += said(b.watch.tick())
    return [step for _, step in told]


def test_without_it_a_parked_aircraft_is_reminded_of_every_three_hours(tmp_path):
    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        assert hours_of_storm(b, 7) == ["reminder", "reminder"]


def test_it_is_taken_at_the_next_tick_and_stops_reminders_for_six_hours(tmp_path):
    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        episode = b.watch.books["XLKS"].state.ledger[0].episode
        acknowledge(b, episode)
        b.watch.tick()
        assert [(a.episode, a.by) for a in b.watch.books["XLKS"].state.acknowledged] == [
            (episode, "operations desk")
        ]
        assert hours_of_storm(b, 5) == []
        assert hours_of_storm(b, 2) == ["reminder"], "it lapses after six hours"
        kept = [event for event in b.store.events() if event.kind == "acknowledge"]
        assert [event.detail["by"] for event in kept] == ["operations desk"]


def test_a_new_worst_is_told_all_the_same(tmp_path):
    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        acknowledge(b, b.watch.books["XLKS"].state.ledger[0].episode)
        b.clock.move(2 * MINUTE)
        b.watch.tick()
        b.clock.move(10 * MINUTE)
        assert said(b.take("27035G60KT")) == [("desk", "worsened")]


def test_missing_data_is_told_all_the_same(tmp_path):
    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        acknowledge(b, b.watch.books["XLKS"].state.ledger[0].episode)
        b.watch.tick()
        b.at(START + b.settings.fleet.airfields[0].stale_after)
        assert ("desk", "no_data") in said(b.watch.tick())


def test_one_that_was_made_while_no_watch_ran_is_taken_by_the_next(tmp_path):
    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        acknowledge(b, b.watch.books["XLKS"].state.ledger[0].episode)
        b.again()
        b.watch.tick()
        assert len(b.watch.books["XLKS"].state.acknowledged) == 1


def test_a_restart_does_not_take_it_a_second_time(tmp_path):
    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        acknowledge(b, b.watch.books["XLKS"].state.ledger[0].episode)
        assert hours_of_storm(b, 5, again=b.again) == []
        assert hours_of_storm(b, 2, again=b.again) == ["reminder"], "and it lapses in time"
        kept = [event for event in b.store.events() if event.kind == "acknowledge"]
        assert len(kept) == 1


@pytest.mark.parametrize("episode", ["no such episode", ""])
def test_one_about_nothing_changes_nothing(tmp_path, episode):
    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        before = b.watch.books["XLKS"]
        acknowledge(b, episode)
        assert b.watch.tick().failed == []
        assert b.watch.books["XLKS"] is before


def test_it_never_ends_an_episode(tmp_path):
    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        acknowledge(b, b.watch.books["XLKS"].state.ledger[0].episode)
        b.clock.move(MINUTE)
        assert said(b.watch.tick()) == []
        assert b.watch.books["XLKS"].state.ledger[0].open
        b.watch.take([RawReport(metar(b.clock.now(), "00000KT"), b.clock.now(), "test")])
        assert b.watch.books["XLKS"].state.ledger[0].open
