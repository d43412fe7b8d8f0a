"""Housekeeping keeps what people look up and drops what they do not."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import event

from tests.servers.samples import FINDING, GUST_FRONT, REPORT, TIE_DOWN, a_content, a_notice, a_step
from windwatch.errors import LeadLost
from windwatch.notices.outbox import DeliveryState, Outcome
from windwatch.store import tidy as housekeeping
from windwatch.store.store import open_store
from windwatch.store.tidy import KEEP, Keep

NOW = GUST_FRONT
DAY = timedelta(days=1)
REFUSED = Outcome(DeliveryState.REFUSED, "550 nobody here")
NOTHING = Keep(timedelta(0), timedelta(0), timedelta(0), timedelta(0), at_least=timedelta(0))


def save_report(books, report, received_at, status="accepted"):
    books.save_report(
        id=report,
        station="XLKS",
        kind="METAR",
        observed_at=received_at,
        received_at=received_at,
        raw=REPORT.raw,
        source="awc",
        status=status,
    )


def save_episode(books, episode, opened_at, closed_at=None, opened_by="r"):
    books.save_episode(
        id=episode,
        track=TIE_DOWN,
        opened_at=opened_at,
        opened_by=opened_by,
        closed_at=closed_at,
        worst=FINDING,
    )


def step_at(number, at, episode):
    return replace(a_step(number, episode=episode), at=at)


def fill(store, old):
    """An ended episode of a time, with everything that belongs to it; and one thing of now."""
    step = step_at(1, old, "ended")
    with store.transaction() as books:
        save_report(books, "old report", old)
        books.save_event("report", old, {"n": 1})
        books.save_settings("old settings", old, {})
        books.save_settings("in force", old, {})
        books.save_steps([step])
        save_episode(books, "ended", old, old + timedelta(hours=4), "old report")
        books.acknowledge("ended", "instructor", old)
        books.enqueue(a_notice("a", 1, at=old, steps=(step,)), a_content(), ["email", "webhook"])
        save_report(books, "new report", NOW)
    claimed = store.claim_due(old, 10, timedelta(minutes=1))
    store.finish([(d, REFUSED) for d in claimed], old)


def test_what_is_old_goes_with_all_that_belongs_to_it(store):
    fill(store, NOW - 401 * DAY)
    tidied = store.tidy(NOW)
    assert tidied.dropped == {
        "notices": 1,
        "deliveries": 2,
        "attempts": 2,
        "notice_steps": 1,
        "episodes": 1,
        "steps": 1,
        "acknowledgements": 1,
        "reports": 1,
        "events": 1,
        "settings_seen": 1,
    }
    assert not tidied.over_cap
    assert [r.id for r in store.reports(["old report", "new report"])] == ["new report"]
    assert store.last_settings().fingerprint == "in force"
    assert store.check().problems == ()
    assert store.tidy(NOW).dropped == {}


def test_what_people_look_up_stays(store):
    fill(store, NOW - 89 * DAY)
    assert store.tidy(NOW).dropped == {}
    # Dead letters stay as long as any notice (reliability, section 3: 90 days).
    assert [d.state.value for n in store.notices() for d in n.deliveries] == ["refused"] * 2
    assert KEEP.notices == 90 * DAY


def test_the_words_go_before_the_episode_they_were_about(store):
    fill(store, NOW - 100 * DAY)
    assert set(store.tidy(NOW).dropped) == {"notices", "notice_steps", "deliveries", "attempts"}
    assert store.episode("ended") is not None


def test_an_open_episode_keeps_its_reports_steps_and_notices_however_old(store):
    old = NOW - 500 * DAY
    step = step_at(1, old, "open")
    with store.transaction() as books:
        save_report(books, "opening", old)
        save_report(books, REPORT.id, old)
        save_report(books, "unrelated", old)
        books.save_steps([step])
        save_episode(books, "open", old, opened_by="opening")
        notice = a_notice("a", 1, at=old, steps=(step,))
        books.enqueue(notice, a_content(), ["email"])
        save_report(books, "new", NOW)
    store.finish([(d, REFUSED) for d in store.claim_due(old, 9, DAY)], old)
    store.tidy(NOW, NOTHING)
    kept = store.reports(["opening", REPORT.id, "unrelated"])
    assert [r.id for r in kept] == ["opening", REPORT.id]
    assert store.steps("open") == (step,)
    assert [n.notice for n in store.notices()] == [notice]


def test_a_notice_on_its_way_is_kept_however_old(store):
    with store.transaction() as books:
        books.enqueue(a_notice(at=NOW - 500 * DAY), a_content(), ["email"])
        save_report(books, "new", NOW)
    store.tidy(NOW, NOTHING)
    assert len(store.notices()) == 1


def test_a_step_without_an_episode_goes_too(store):
    with store.transaction() as books:
        books.save_steps([step_at(1, NOW - 401 * DAY, "near only"), step_at(2, NOW, "near now")])
        save_report(books, "new", NOW)
    assert store.tidy(NOW).dropped["steps"] == 1
    assert [s.episode for s in store.steps_since(NOW - 500 * DAY)] == ["near now"]


def test_a_clock_years_ahead_empties_nothing(store):
    fill(store, NOW - 10 * DAY)
    assert store.tidy(NOW + 3650 * DAY).dropped == {}
    # Nor does one that stands at 1970 (F31).
    assert store.tidy(NOW.replace(year=1970)).dropped == {}


def test_an_empty_store_is_tidy(store):
    assert store.tidy(NOW).dropped == {}


def test_each_transaction_is_small(store, monkeypatch):
    monkeypatch.setattr(housekeeping, "BATCH", 10)
    with store.transaction() as books:
        for number in range(35):
            save_report(books, f"r{number}", NOW - 401 * DAY)
        save_report(books, "new", NOW)
    commits = []
    event.listen(store._engine, "commit", commits.append)
    assert store.tidy(NOW).dropped["reports"] == 35
    assert len(commits) >= 4


@pytest.mark.guard("denial by alert")
def test_a_store_larger_than_it_may_be_gives_up_its_oldest_first(store):
    with store.transaction() as books:
        for age in range(400):
            save_report(books, f"r{age}", NOW - age * DAY)
            books.save_event("tick", NOW - age * DAY, {"pad": "x" * 2_000})
    whole = store.tidy(NOW).size_bytes
    tidied = store.tidy(NOW, replace(KEEP, size_bytes=whole // 2))
    assert tidied.size_bytes <= whole // 2
    assert not tidied.over_cap
    left = [r.id for r in store.reports_of("XLKS", NOW - 500 * DAY)]
    assert left == [f"r{age}" for age in range(len(left))]
    assert 40 <= len(left) < 300


@pytest.mark.guard("denial by alert")
def test_a_flood_of_refused_reports_goes_before_anything_else(store):
    """Nobody fills the disk with reports that were never accepted."""
    with store.transaction() as books:
        for number in range(300):
            hours = timedelta(hours=2 + number % 20)
            save_report(books, f"q{number}" + "x" * 40, NOW - hours, "quarantined")
        save_report(books, "fresh", NOW, "quarantined")
        save_report(books, "accepted", NOW - 300 * DAY)
    whole = store.tidy(NOW).size_bytes
    tidied = store.tidy(NOW, replace(KEEP, size_bytes=whole - 1))
    assert tidied.dropped == {"reports": 300}
    assert [r.id for r in store.reports(["fresh", "accepted"])] == ["fresh", "accepted"]


def test_where_everything_is_young_it_is_said_and_nothing_more_goes(store):
    with store.transaction() as books:
        save_report(books, "yesterday", NOW - DAY)
        save_report(books, "now", NOW)
    tidied = store.tidy(NOW, replace(KEEP, size_bytes=1))
    assert tidied.over_cap
    assert len(store.reports(["yesterday", "now"])) == 2


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_room_that_was_freed_is_used_again(store, tmp_path):
    """The file does not grow beyond its cap, month after month."""
    sizes = []
    for month in range(6):
        with store.transaction() as books:
            for number in range(300):
                at = NOW + month * 30 * DAY + number * timedelta(minutes=1)
                books.save_event("tick", at, {"pad": "x" * 1_000})
        store.tidy(at, replace(KEEP, reports=20 * DAY))
        sizes.append((tmp_path / "watch.db").stat().st_size)
    assert sizes[-1] <= sizes[1]


def test_who_lost_the_lead_drops_nothing(tmp_path, clock):
    with (
        open_store(tmp_path / "watch.db", clock) as old,
        open_store(tmp_path / "watch.db", clock) as new,
    ):
        fill(old, NOW - 500 * DAY)
        old.hold("old").release()
        with new.hold("new"), pytest.raises(LeadLost):
            old.tidy(NOW)
        assert len(new.notices()) == 1
