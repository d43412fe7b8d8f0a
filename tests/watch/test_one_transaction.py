"""A report, what it moved and what must be said are stored together, or it never happened."""

import sqlite3
from datetime import timedelta

import pytest

from tests.servers.feed_server import PlayedFeed
from tests.watch.little_watch import (
    MINUTE,
    QUIET,
    START,
    STORM,
    bench,
    config_text,
    ids,
    metar,
    recording,
    said,
)
from windwatch.clock import HandClock

GUST = START + 10 * MINUTE


@pytest.fixture
def played(tmp_path):
    clock = HandClock(START)
    day = [(START, metar(START - 3 * MINUTE, QUIET)), (GUST, metar(GUST, STORM))]
    with PlayedFeed(recording(tmp_path / "day.txt", day), clock) as feed:
        yield feed, clock


def refuse(path, table):
    """Have the store refuse every new row of a table: the last word of a transaction."""
    with sqlite3.connect(path) as raw:
        raw.execute(
            f"CREATE TRIGGER full BEFORE INSERT ON {table} "
            "BEGIN SELECT RAISE(ABORT, 'the disk is full'); END"
        )
    raw.close()


def allow(path):
    with sqlite3.connect(path) as raw:
        raw.execute("DROP TRIGGER full")
    raw.close()


@pytest.mark.promise(1, 3)
@pytest.mark.parametrize("table", ["deliveries", "notices", "steps", "reports", "episodes"])
def test_what_cannot_be_stored_whole_is_judged_again_with_the_same_ids(tmp_path, played, table):
    feed, clock = played
    (tmp_path / "control").mkdir()
    text = config_text(feed=feed.url)
    with bench(tmp_path / "control", text, HandClock(GUST)) as control:
        undisturbed = ids(control.watch.take([r for r in feed._reports if r.received_at == GUST]))
    with bench(tmp_path, text, clock) as b:
        b.watch.poll()
        before = b.watch.books["XLKS"]
        refuse(tmp_path / "watch.db", table)
        clock.set(GUST)
        failed = b.watch.poll()
        assert any("the disk is full" in problem for problem in failed.failed)
        assert failed.notices == []
        assert failed.judged == []
        assert b.watch.books["XLKS"] is before, "what is not stored is not true"
        assert b.store.notices() == ()
        assert b.store.episodes() == ()
        assert [r.raw for r in b.store.reports_of("XLKS", START - timedelta(days=1))] == [
            metar(START - 3 * MINUTE, QUIET)
        ], "the report itself was undone, too"
        assert not b.watch.work.is_set()

        allow(tmp_path / "watch.db")
        clock.move(MINUTE)
        again = b.watch.poll()
        # The answer was the same as before: had we asked with its ETag, nothing would have come.
        assert again.fetched == 2
        assert again.failed == []
        assert said(again) == [("desk", "opened")]
        assert ids(again) == undisturbed
        clock.move(MINUTE)
        after = b.watch.poll()
        assert after.fetched == 0, "all is stored: asked with the ETag again"
        assert after.notices == []


def test_a_store_that_cannot_be_written_does_not_stop_the_polls(tmp_path, played):
    feed, clock = played
    with bench(tmp_path, config_text(feed=feed.url), clock) as b:
        b.watch.poll()
        refuse(tmp_path / "watch.db", "airfield_states")
        clock.set(GUST)
        for _ in range(3):
            assert b.watch.poll().failed
            clock.move(MINUTE)
        assert len(feed.asked) == 4


def test_a_damaged_store_is_told_in_words_and_nothing_is_adopted(tmp_path):
    with bench(tmp_path, config_text()) as b:
        b.take(QUIET)
        b.clock.move(MINUTE)
        with sqlite3.connect(tmp_path / "watch.db") as other:
            other.execute("DROP TABLE airfield_states")
        other.close()
        report = b.take(STORM)
        assert len(report.failed) == 1
        assert report.failed[0].startswith("XLKS: ")
        assert b.watch.books["XLKS"].state.ledger == ()
        assert b.store.notices() == ()


def test_an_acknowledgement_that_could_not_be_stored_is_taken_at_the_next_tick(tmp_path):
    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        episode = b.watch.books["XLKS"].state.ledger[0].episode
        with b.store.transaction() as books:
            books.acknowledge(episode, "operations desk", b.clock.now())
        refuse(tmp_path / "watch.db", "airfield_states")
        b.clock.move(MINUTE)
        assert b.watch.tick().failed
        assert b.watch.books["XLKS"].state.acknowledged == ()
        allow(tmp_path / "watch.db")
        b.clock.move(MINUTE)
        assert b.watch.tick().failed == []
        assert [a.episode for a in b.watch.books["XLKS"].state.acknowledged] == [episode]
