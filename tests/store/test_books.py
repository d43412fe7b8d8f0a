"""What is written into the books, and read from them, in either database."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.servers.samples import FINDING, GUST_FRONT, REPORT, TIE_DOWN, a_content, a_notice, a_step
from tests.store.samples import save_report
from windwatch.errors import StoreError

NOW = GUST_FRONT


@pytest.mark.promise(1)
def test_a_transaction_that_fails_leaves_nothing(store):
    def commit(then):
        with store.transaction() as books:
            save_report(books)
            books.save_steps([a_step()])
            books.enqueue(a_notice(steps=(a_step(),)), a_content(), ["email"])
            then()

    def power_cut():
        raise RuntimeError("between two lines")

    with pytest.raises(RuntimeError):
        commit(power_cut)
    assert not store.report_known("r1")
    assert store.notices() == ()
    assert store.steps("episode-1") == ()


def test_one_report_has_one_effect_however_often_it_is_saved(store):
    for status in ("accepted", "quarantined"):
        with store.transaction() as books:
            save_report(books, status=status)
    assert [report.status for report in store.reports(["r1"])] == ["accepted"]
    with store.transaction() as books:
        books.mark_report("r1", "superseded", "corrected by r2")
    (found,) = store.reports_of("XLKS", REPORT.observed_at)
    assert (found.status, found.reason, found.observed_at) == (
        "superseded",
        "corrected by r2",
        REPORT.observed_at,
    )


def test_an_episode_keeps_its_opening_and_changes_its_ending(store):
    opening = {"id": "e1", "track": TIE_DOWN, "opened_at": NOW, "opened_by": "r1"}
    with store.transaction() as books:
        books.save_episode(**opening, worst=FINDING, last_step="s1")
    assert [e.id for e in store.episodes(open_only=True)] == ["e1"]
    end = NOW + timedelta(hours=4)
    with store.transaction() as books:
        books.save_episode(
            **opening | {"opened_by": "r9"}, closed_at=end, closing="back", last_step="s2"
        )
    assert store.episodes(open_only=True) == ()
    found = store.episode("e1")
    assert (found.opened_by, found.closed_at, found.closing) == ("r1", end, "back")
    assert store.episodes(since=end) == (found,)
    assert store.episodes(since=end + timedelta(seconds=1)) == ()


def test_the_same_notice_is_kept_once(store):
    notice = a_notice(steps=(a_step(),))
    with store.transaction() as books:
        assert books.enqueue(notice, a_content(), ["email", "webhook"])
    with store.transaction() as books:
        assert not books.enqueue(notice, a_content(), ["email", "webhook"])
    (found,) = store.notices()
    assert found.notice == notice
    assert found.content == a_content()
    assert [d.channel for d in found.deliveries] == ["email", "webhook"]


@pytest.mark.promise(3)
def test_judging_again_tells_nobody_the_same_step_twice(store):
    with store.transaction() as books:
        books.enqueue(a_notice(number=1, steps=(a_step(1),)), a_content(), ["email"])
    with store.transaction() as books:
        assert not books.enqueue(a_notice(number=2, steps=(a_step(1),)), a_content(), ["email"])
        assert books.enqueue(
            a_notice("instructor on duty", 3, steps=(a_step(1),)), a_content(), ["email"]
        )
    assert len(store.notices()) == 2
    assert store.untold("owner of X-WREN", [a_step(1).id, a_step(2).id]) == (a_step(2).id,)


def test_a_notice_with_one_step_told_and_one_new_goes_out(store):
    with store.transaction() as books:
        books.enqueue(a_notice(number=1, steps=(a_step(1),)), a_content(), ["email"])
        both = a_notice(number=2, steps=(a_step(1), a_step(2)))
        assert books.enqueue(both, a_content(), ["email"])


def test_a_notice_that_replaces_others_may_tell_their_steps_again(store):
    with store.transaction() as books:
        books.enqueue(a_notice(number=1, steps=(a_step(1),)), a_content(), ["email"])
        now = a_notice(number=2, kind="state now", steps=(a_step(1),), replaces=("x",))
        assert books.enqueue(now, a_content(), ["email"])


def test_notices_are_found_by_episode_contact_time_and_beginning(store):
    first = a_notice(number=1, steps=(a_step(1),))
    second = a_notice(number=2, at=NOW + timedelta(minutes=6), steps=(a_step(2),))
    other = a_notice("instructor on duty", 3, at=NOW + timedelta(minutes=7))
    with store.transaction() as books:
        books.save_steps([a_step(1), a_step(2)])
        for notice in (first, second, other):
            books.enqueue(notice, a_content(), ["email"])
    assert store.notices_about("owner of X-WREN", ["episode-1"]) == (first.id, second.id)
    assert [n.notice.id for n in store.notices_of("episode-1")] == [first.id, second.id]
    assert [n.notice.id for n in store.notices(contact="instructor on duty")] == [other.id]
    assert [n.notice.id for n in store.notices(limit=2)] == [second.id, other.id]
    assert [n.notice.id for n in store.notices(since=other.at)] == [other.id]
    assert [(f.kind, f.id) for f in store.find(first.id[:10])] == [("notice", first.id)]
    assert store.find("%") == ()
    assert store.steps("episode-1") == (a_step(1), a_step(2))
    assert store.steps_since(NOW, "XBRN") == ()


def test_events_settings_and_acknowledgements_keep_their_order(store):
    with store.transaction() as books:
        books.save_event("config", NOW, {"fingerprint": "f1"})
        # A clock that was set back changes no order.
        books.save_event("tick", NOW - timedelta(hours=1), {"n": 1})
        books.save_settings("f1", NOW, {"files": ["larkspur.toml"]})
        books.acknowledge("e1", "instructor on duty", NOW, "seen")
        books.acknowledge("e1", "instructor on duty", NOW, "seen")
    assert [event.kind for event in store.events()] == ["config", "tick"]
    assert [event.detail for event in store.events(after=1)] == [{"n": 1}]
    assert store.last_settings().detail == {"files": ["larkspur.toml"]}
    (note,) = store.acknowledgements("e1")
    assert (note.by, note.at, note.note) == ("instructor on duty", NOW, "seen")


def test_a_moment_without_a_zone_is_never_stored(store):
    with pytest.raises(StoreError, match="no time zone"), store.transaction() as books:
        books.save_event("tick", datetime(2026, 9, 22, 19, 9), {})  # noqa: DTZ001 - the mistake


def test_moments_come_back_in_utc_to_the_millisecond(store):
    moment = datetime(1969, 12, 31, 23, 59, 59, 123456, tzinfo=UTC)
    with store.transaction() as books:
        books.save_event("tick", moment, {})
    (event,) = store.events()
    assert event.at == datetime(1969, 12, 31, 23, 59, 59, 123000, tzinfo=UTC)
