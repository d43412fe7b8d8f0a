"""The outbox: claimed once, in order, urgent first, and never lost."""

import threading
from datetime import timedelta

import pytest

from tests.servers.samples import GUST_FRONT, a_content, a_notice
from windwatch.errors import StoreError
from windwatch.notices.outbox import DeliveryState, Outbox, Outcome, Route, delivery_id

NOW = GUST_FRONT
LEASE = timedelta(seconds=60)
SECOND = timedelta(seconds=1)
MINUTE = timedelta(minutes=1)
ACCEPTED = Outcome(DeliveryState.ACCEPTED, "250 taken")
REFUSED = Outcome(DeliveryState.REFUSED, "550 nobody here")
PUT_OFF = Outcome(DeliveryState.WAITING, "the channel is down", NOW + MINUTE, spent=False)


def again(after=5 * SECOND):
    return Outcome(DeliveryState.WAITING, "450 later", NOW + after)


def enqueue(store, *notices, channels=("email",)):
    with store.transaction() as books:
        for notice in notices:
            books.enqueue(notice, a_content(), list(channels))


def claim(store, now=NOW, limit=100, **kwargs):
    return store.claim_due(now, limit, LEASE, **kwargs)


def states(store):
    return [d.state.value for n in store.notices() for d in n.deliveries]


def test_the_store_is_an_outbox(store):
    outbox: Outbox = store
    assert outbox.next_due(NOW) is None


def test_what_is_claimed_carries_its_notice_and_has_its_attempt_written(store):
    notice = a_notice()
    enqueue(store, notice)
    (delivery,) = claim(store)
    assert (delivery.id, delivery.notice, delivery.content) == (
        delivery_id(notice.id, "email"),
        notice,
        a_content(),
    )
    assert (delivery.state, delivery.attempt, delivery.tries) == (DeliveryState.SENDING, 1, 1)
    (attempt,) = store.attempts(delivery.id)
    assert (attempt.number, attempt.outcome, attempt.ended_at) == (1, "under way", None)


def test_what_is_claimed_is_nobody_elses(store):
    enqueue(store, a_notice())
    assert len(claim(store)) == 1
    assert claim(store) == ()
    assert claim(store, NOW + LEASE - SECOND) == ()


@pytest.mark.promise(2)
def test_an_expired_lease_is_uncertain_and_claimed_again_with_the_same_id(store):
    enqueue(store, a_notice())
    (first,) = claim(store)
    (second,) = claim(store, NOW + LEASE)
    assert (second.id, second.attempt, second.tries) == (first.id, 2, 2)
    assert [a.outcome for a in store.attempts(first.id)] == ["uncertain", "under way"]


def test_a_renewed_lease_holds(store):
    enqueue(store, a_notice())
    store.renew(claim(store), NOW + 10 * MINUTE)
    assert claim(store, NOW + 9 * MINUTE) == ()


def test_the_late_word_of_an_attempt_that_lost_its_lease_is_ignored_unless_it_arrived(store):
    enqueue(store, a_notice())
    (first,) = claim(store)
    (second,) = claim(store, NOW + LEASE)
    store.finish([(first, REFUSED)], NOW + LEASE)
    assert states(store) == ["sending"]
    store.finish([(first, ACCEPTED)], NOW + LEASE)
    assert states(store) == ["accepted"]
    store.finish([(second, REFUSED)], NOW + LEASE)
    assert states(store) == ["accepted"]
    assert [a.outcome for a in store.attempts(first.id)] == ["accepted", "failed"]


@pytest.mark.promise(12)
def test_a_lane_has_one_delivery_in_flight_and_keeps_its_order(store):
    enqueue(store, *(a_notice(number=n) for n in (1, 2, 3)))
    for number in (1, 2, 3):
        (delivery,) = claim(store)
        assert delivery.notice == a_notice(number=number)
        assert claim(store) == ()
        store.finish([(delivery, ACCEPTED)], NOW)


def test_a_waiting_delivery_is_not_overtaken_in_its_lane(store):
    enqueue(store, a_notice(number=1), a_notice(number=2))
    store.finish([(claim(store)[0], again())], NOW)
    assert claim(store) == ()
    (due,) = claim(store, NOW + 5 * SECOND)
    assert due.notice == a_notice(number=1)


def test_lanes_do_not_block_one_another(store):
    enqueue(store, a_notice(number=1), channels=("email", "webhook"))
    enqueue(store, a_notice(number=2), channels=("email", "webhook"))
    enqueue(store, a_notice(number=1, airfield="XBRN"), a_notice("instructor on duty"))
    assert len(claim(store)) == 4


def test_urgent_ones_come_first_but_not_before_older_ones_of_their_lane(store):
    enqueue(
        store,
        a_notice("a", 1, urgent=False),
        a_notice("a", 2),
        a_notice("b", 1, urgent=False),
        a_notice("c", 1),
    )
    assert [d.contact for d in claim(store)] == ["c", "a", "b"]


def test_routes_to_a_busy_host_are_left_alone(store):
    enqueue(store, a_notice("a"), a_notice("b"), channels=("email", "webhook"))
    found = claim(store, except_for=[Route("", "email"), Route("a", "webhook")])
    assert [(d.contact, d.channel) for d in found] == [("b", "webhook")]


def test_many_excepted_routes_fit_into_one_question(store):
    enqueue(store, a_notice("b"))
    found = claim(store, except_for=[Route(f"c{n}", "email") for n in range(1_000)])
    assert len(found) == 1


def test_a_channel_that_is_down_spends_no_tries(store):
    enqueue(store, a_notice())
    store.finish([(claim(store)[0], PUT_OFF)], NOW)
    (again_,) = claim(store, NOW + MINUTE)
    assert (again_.attempt, again_.tries) == (2, 1)


def test_what_has_expired_is_not_claimed(store):
    enqueue(store, a_notice(valid_for=MINUTE))
    assert claim(store, NOW + MINUTE) == ()


@pytest.mark.parametrize("outcome", [None, again(15 * MINUTE)], ids=["new", "waiting"])
def test_a_clock_set_back_holds_nothing_up(store, outcome):
    enqueue(store, a_notice())
    if outcome is not None:
        store.finish([(claim(store)[0], outcome)], NOW)
    assert len(claim(store, NOW - timedelta(hours=1))) == 1


def test_the_next_work_is_known(store):
    assert store.next_due(NOW) is None
    enqueue(store, a_notice())
    assert store.next_due(NOW) == NOW
    (delivery,) = claim(store)
    assert store.next_due(NOW) == NOW + LEASE
    store.finish([(delivery, again(30 * SECOND))], NOW)
    assert store.next_due(NOW) == NOW + 30 * SECOND
    # One that stands behind another is no work yet.
    enqueue(store, a_notice(number=2))
    assert store.next_due(NOW) == NOW + 30 * SECOND


def test_a_damaged_notice_still_goes_out_and_holds_up_nobody(store):
    enqueue(store, a_notice("a"), a_notice("b"))
    with store.writing() as connection:
        connection.exec_driver_sql(
            "UPDATE notices SET notice = '{', content = '' WHERE contact = 'a'"
        )
    damaged, whole = claim(store)
    assert (damaged.contact, damaged.notice.id) == ("a", a_notice("a").id)
    assert "XLKS alert of 2026-09-22 19:09Z" in damaged.content.subject
    assert whole.content == a_content()
    assert [n.notice.contact for n in store.notices()] == ["a", "b"]


# --- what has become old ------------------------------------------------------


def test_a_lane_that_runs_well_is_no_backlog(store):
    enqueue(store, a_notice(number=1), a_notice(number=2))
    assert store.backlogs(NOW) == ()
    (delivery,) = claim(store)
    assert store.backlogs(NOW) == ()
    store.finish([(delivery, again())], NOW)
    (backlog,) = store.backlogs(NOW)
    assert [d.notice for d in backlog.waiting] == [a_notice(number=1), a_notice(number=2)]


def test_a_lane_with_one_waiting_delivery_is_no_backlog_until_it_expires(store):
    enqueue(store, a_notice(valid_for=MINUTE))
    store.finish([(claim(store)[0], again())], NOW)
    assert store.backlogs(NOW) == ()
    assert len(store.backlogs(NOW + MINUTE)) == 1


def test_what_is_being_sent_is_left_alone_even_if_it_expires_meanwhile(store):
    enqueue(store, a_notice(number=1, valid_for=SECOND), a_notice(number=2))
    claim(store)
    assert store.backlogs(NOW + 2 * SECOND) == ()
    assert len(store.backlogs(NOW + LEASE)) == 1


@pytest.mark.promise(13)
def test_one_notice_takes_the_place_of_all_that_waits(store):
    enqueue(store, a_notice(number=1), a_notice(number=2))
    store.finish([(claim(store)[0], again())], NOW)
    (backlog,) = store.backlogs(NOW)
    now = a_notice(number=3, kind="state now", replaces=("x", "y"))
    assert store.replace(backlog, (now, a_content("now")), NOW)
    assert states(store) == ["superseded", "superseded", "queued"]
    assert {d.replaced_by for n in store.notices()[:2] for d in n.deliveries} == {
        delivery_id(now.id, "email")
    }
    assert [d.notice for d in claim(store)] == [now]


def test_only_the_expired_ends_where_there_is_nothing_more_to_say(store):
    enqueue(store, a_notice(number=1, valid_for=SECOND), a_notice(number=2))
    store.finish([(claim(store)[0], again())], NOW)
    (backlog,) = store.backlogs(NOW + SECOND)
    assert store.replace(backlog, None, NOW + SECOND)
    assert states(store) == ["expired", "queued"]


def test_a_lane_that_moved_meanwhile_is_not_replaced(store):
    enqueue(store, a_notice(number=1), a_notice(number=2))
    store.finish([(claim(store)[0], again())], NOW)
    (backlog,) = store.backlogs(NOW)
    enqueue(store, a_notice(number=3))
    now = a_notice(number=4, kind="state now", replaces=("x",))
    assert not store.replace(backlog, (now, a_content()), NOW)
    assert states(store) == ["waiting", "queued", "queued"]


def test_a_notice_that_went_by_this_channel_replaces_nothing(store):
    enqueue(store, a_notice(number=1), a_notice(number=2))
    store.finish([(claim(store)[0], again())], NOW)
    (backlog,) = store.backlogs(NOW)
    assert not store.replace(backlog, (a_notice(number=1), a_content()), NOW)
    assert states(store) == ["waiting", "queued"]


def test_a_refused_beginning_is_remembered_until_something_arrives(store):
    enqueue(store, a_notice(number=1))
    store.finish([(claim(store)[0], REFUSED)], NOW)
    assert store.backlogs(NOW) == ()
    enqueue(store, a_notice(number=2))
    (backlog,) = store.backlogs(NOW)
    assert [d.notice for d in backlog.unreached] == [a_notice(number=1)]
    store.finish([(claim(store)[0], ACCEPTED)], NOW)
    enqueue(store, a_notice(number=3))
    assert store.backlogs(NOW) == ()


def test_an_address_that_is_gone_is_remembered_until_it_changes_or_somebody_turns_it_on(store):
    route = Route("operations desk", "webhook")
    store.turn_off(route, "fingerprint", "410 Gone", NOW)
    store.turn_off(route, "fingerprint", "410 Gone", NOW)
    assert store.turned_off(route, "fingerprint")
    assert not store.turned_off(route, "another address")
    store.turn_on(route)
    assert not store.turned_off(route, "fingerprint")


# --- many hands ---------------------------------------------------------------


def test_six_threads_claim_everything_once(store):
    enqueue(store, *(a_notice(f"contact {n}") for n in range(120)))
    claimed = []

    def work():
        while found := store.claim_due(NOW, 7, LEASE):
            claimed.extend(d.id for d in found)
            store.finish([(d, ACCEPTED) for d in found], NOW)

    threads = [threading.Thread(target=work) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(claimed) == len(set(claimed)) == 120
    assert set(states(store)) == {"accepted"}


def test_a_lost_transaction_loses_no_delivery(store, monkeypatch):
    enqueue(store, a_notice())

    def fail(*_):
        raise StoreError("disk full")

    with monkeypatch.context() as patched:
        patched.setattr("windwatch.store.outbox._begin_attempts", fail)
        with pytest.raises(StoreError):
            claim(store)
    assert states(store) == ["queued"]
    assert len(claim(store)) == 1
