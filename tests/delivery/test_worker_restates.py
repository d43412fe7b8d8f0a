"""The worker: what has become old is not sent; the state as it is then is."""

from collections import Counter
from datetime import timedelta

import pytest

from tests.delivery.little_worker import (
    MINUTE,
    NOW,
    SECOND,
    Scripted,
    enqueue,
    play,
    state_now,
    states,
    worker,
)
from tests.servers.samples import a_notice
from windwatch.delivery.retry import Rule

# --- what has become old ----------------------------------------------------------------


def test_a_newer_step_supersedes_a_waiting_older_one(store, clock):
    channel = Scripted(Rule.AGAIN, Rule.AGAIN)
    enqueue(store, a_notice(number=1))
    one = worker(store, clock, {("owner of X-WREN", "email"): channel}, state_now)
    one.drain()
    clock.move(2 * SECOND)
    enqueue(store, a_notice(number=2))
    report = one.drain()
    assert report.restated == 1
    play(one, store, clock, NOW + 10 * MINUTE)
    # The first text that is accepted is the present state, and it says what it replaces.
    (taken,) = channel.taken
    assert taken.kind == "state now"
    assert taken.replaces == (a_notice(number=1).id, a_notice(number=2).id)
    assert states(store) == ["superseded", "superseded", "accepted"]


@pytest.mark.promise(13)
def test_what_expired_is_replaced_by_one_notice_of_the_state_then(store, clock):
    channel = Scripted(*[Rule.AGAIN] * 12)
    enqueue(store, a_notice(valid_for=10 * MINUTE))
    one = worker(store, clock, {("owner of X-WREN", "email"): channel}, state_now)
    play(one, store, clock, NOW + timedelta(hours=1))
    assert states(store) == ["expired", "accepted"]
    assert all(at < NOW + 10 * MINUTE for at, n in channel.tried if n.kind == "alert")
    (taken,) = channel.taken
    assert (taken.kind, taken.at) == ("state now", NOW + 10 * MINUTE)


@pytest.mark.fault("F78")
def test_three_openings_and_two_clears_without_a_network_become_one_notice(store, clock):
    """F78: per contact and airfield one notice of the state now, and what happened."""
    channel = Scripted(*[Rule.AGAIN] * 10_000)
    one = worker(store, clock, {("owner of X-WREN", "email"): channel}, state_now)
    for number in range(5):
        enqueue(store, a_notice(number=number, at=clock.now()))
        play(one, store, clock, NOW + (number + 1) * timedelta(hours=1))
        clock.set(NOW + (number + 1) * timedelta(hours=1))
    channel.answers.clear()
    play(one, store, clock, NOW + timedelta(hours=7))
    assert [notice.kind for notice in channel.taken] == ["state now"]
    assert Counter(states(store))["accepted"] == 1


@pytest.mark.promise(12)
def test_nobody_gets_the_end_of_what_they_could_not_know_the_beginning_of(store, clock):
    channel = Scripted(Rule.REFUSED)
    enqueue(store, a_notice(number=1))
    one = worker(store, clock, {("owner of X-WREN", "email"): channel}, state_now)
    one.drain()
    enqueue(store, a_notice(number=2, kind="cancel"))
    one.drain()
    (taken,) = channel.taken
    assert taken.replaces == (a_notice(number=1).id, a_notice(number=2, kind="cancel").id)
    assert states(store) == ["refused", "superseded", "accepted"]
    # And after that all is as usual.
    enqueue(store, a_notice(number=3))
    one.drain()
    assert channel.taken[1:] == [a_notice(number=3)]


def test_one_channel_restates_and_the_other_goes_on(store, clock):
    bad, good = Scripted(Rule.AGAIN, host="bad"), Scripted(host="good")
    enqueue(store, a_notice(number=1), channels=("email", "webhook"))
    routes = {("owner of X-WREN", "email"): bad, ("owner of X-WREN", "webhook"): good}
    one = worker(store, clock, routes, state_now)
    one.drain()
    enqueue(store, a_notice(number=2), channels=("email", "webhook"))
    one.drain()
    assert good.taken == [a_notice(number=1), a_notice(number=2)]
    assert [notice.kind for notice in bad.taken] == ["state now"]


def test_where_nothing_more_is_to_be_said_the_order_stays(store, clock):
    channel = Scripted(Rule.AGAIN)
    enqueue(store, a_notice(number=1), a_notice(number=2))
    one = worker(store, clock, {("owner of X-WREN", "email"): channel}, lambda *_: None)
    play(one, store, clock, NOW + MINUTE)
    assert channel.taken == [a_notice(number=1), a_notice(number=2)]


def test_a_restatement_that_breaks_leaves_the_old_ones_in_their_order(store, clock):
    channel = Scripted(Rule.AGAIN)
    enqueue(store, a_notice(number=1), a_notice(number=2))

    def broken(*_):
        raise ZeroDivisionError

    one = worker(store, clock, {("owner of X-WREN", "email"): channel}, broken)
    play(one, store, clock, NOW + MINUTE)
    assert channel.taken == [a_notice(number=1), a_notice(number=2)]


def test_a_restatement_that_breaks_after_expiry_is_asked_for_again(store, clock):
    channel = Scripted(Rule.AGAIN)
    enqueue(store, a_notice(valid_for=SECOND))
    answers = [ZeroDivisionError(), ZeroDivisionError()]

    def broken_twice(*arguments):
        if answers:
            raise answers.pop()
        return state_now(*arguments)

    one = worker(store, clock, {("owner of X-WREN", "email"): channel}, broken_twice)
    play(one, store, clock, NOW + 10 * MINUTE)
    assert [notice.kind for notice in channel.taken] == ["state now"]
    assert states(store) == ["expired", "accepted"]


@pytest.mark.promise(22)
@pytest.mark.guard("secrets")
def test_a_mistakes_message_stays_out_of_the_log(store, clock, caplog):
    channel = Scripted(KeyError("ops@larkspur.example hunter2"))
    enqueue(store, a_notice())
    with caplog.at_level("DEBUG"):
        worker(store, clock, {("owner of X-WREN", "email"): channel}).drain()
    assert "delivery_broke" in caplog.messages
    told = " ".join(str(vars(record)) for record in caplog.records)
    assert "hunter2" not in told
    assert "ops@larkspur" not in told


def test_an_expired_test_notice_is_not_restated(store, clock):
    channel = Scripted(Rule.AGAIN)
    enqueue(store, a_notice(airfield="", kind="test", valid_for=SECOND))
    one = worker(store, clock, {("owner of X-WREN", "email"): channel})
    play(one, store, clock, NOW + MINUTE)
    assert states(store) == ["expired"]
