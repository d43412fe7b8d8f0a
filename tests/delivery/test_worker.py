"""The worker: nothing lost, nothing twice, in order, and nobody holds up another."""

import subprocess
import sys
import textwrap
import threading
import time
from collections import Counter
from datetime import timedelta

import pytest

from tests.delivery.little_worker import (
    MINUTE,
    NOW,
    SECOND,
    Even,
    Scripted,
    enqueue,
    no_restate,
    play,
    state_now,
    states,
    worker,
)
from tests.servers.samples import a_content, a_notice
from tests.servers.webhook_server import SECRET, WebhookReceiver
from windwatch.delivery.channels import ChannelBook, WebhookTarget
from windwatch.delivery.retry import Rule
from windwatch.delivery.webhook import WebhookChannel
from windwatch.delivery.worker import drain
from windwatch.errors import StoreError
from windwatch.notices.outbox import Route
from windwatch.store.store import open_store

# --- sending ------------------------------------------------------------------------


def test_everything_due_is_sent_and_said_to_be_accepted(store, clock):
    channel = Scripted()
    enqueue(store, *(a_notice(f"contact {n}") for n in range(30)))
    routes = {(f"contact {n}", "email"): channel for n in range(30)}
    report = worker(store, clock, routes).drain()
    assert report.accepted == len(channel.taken) == 30
    assert set(states(store)) == {"accepted"}
    assert report.under_way == 0


@pytest.mark.promise(12)
def test_a_lane_keeps_its_order(store, clock):
    channel = Scripted()
    notices = [a_notice(number=n) for n in range(10)]
    enqueue(store, *notices)
    worker(store, clock, {("owner of X-WREN", "email"): channel}).drain()
    assert channel.taken == notices
    assert channel.most_at_once == 1


def test_a_host_gets_four_calls_at_a_time_and_no_more(store, clock):
    channel = Scripted()
    channel.hold = threading.Event()
    enqueue(store, *(a_notice(f"contact {n}") for n in range(20)))
    routes = {(f"contact {n}", "email"): channel for n in range(20)}
    one = worker(store, clock, routes)
    report = one.drain(patience=timedelta(seconds=0.1))
    assert report.under_way == channel.at_once == 4
    # What was claimed and not begun has been given back.
    assert Counter(states(store)) == {"sending": 4, "queued": 16}
    channel.hold.set()
    one.drain()
    assert set(states(store)) == {"accepted"}
    assert channel.most_at_once == 4
    assert len(channel.tried) == 20


@pytest.mark.fault("F76")
def test_a_hanging_endpoint_holds_up_nobody_else(store, clock):
    hanging, good = Scripted(host="hanging"), Scripted(host="good")
    hanging.hold = threading.Event()
    names = [f"contact {n}" for n in range(100)]
    enqueue(store, *(a_notice(name) for name in names))
    routes = {(name, "webhook"): good for name in names} | {
        (name, "email"): hanging if name == "contact 7" else good for name in names
    }
    one = worker(store, clock, routes)
    started = time.monotonic()
    report = one.drain(patience=timedelta(seconds=0.1))
    assert time.monotonic() - started < 5
    assert (report.accepted, report.under_way) == (99, 1)
    # A new notice to somebody else goes while that one still hangs.
    enqueue(store, a_notice("contact 8", 2))
    assert one.drain(patience=timedelta(seconds=0.1)).accepted == 1
    hanging.hold.set()
    assert one.drain().accepted == 1
    assert hanging.taken == [a_notice("contact 7")]


def test_a_send_that_outlasts_its_lease_is_not_begun_twice_by_the_same_worker(store, clock):
    channel = Scripted()
    channel.hold = threading.Event()
    enqueue(store, a_notice())
    one = worker(store, clock, {("owner of X-WREN", "email"): channel})
    one.drain(patience=timedelta())
    for _ in range(3):
        clock.move(5 * MINUTE)
        one.drain(patience=timedelta())
    channel.hold.set()
    assert one.drain().accepted == 1
    assert len(channel.tried) == 1
    assert states(store) == ["accepted"]


def test_urgent_ones_are_sent_first(store, clock):
    channel = Scripted()
    enqueue(
        store,
        *(a_notice(f"contact {n}", urgent=False) for n in range(5)),
        *(a_notice(f"contact {n}", urgent=True) for n in range(5, 10)),
    )
    routes = {(f"contact {n}", "email"): channel for n in range(10)}
    worker(store, clock, routes, per_host=1).drain()
    assert [notice.urgent for notice in channel.taken] == [True] * 5 + [False] * 5


def test_a_mistake_in_a_channel_is_one_failed_try(store, clock):
    channel = Scripted(KeyError("oops"))
    enqueue(store, a_notice())
    one = worker(store, clock, {("owner of X-WREN", "email"): channel})
    assert one.drain().failed == 1
    clock.move(5 * SECOND)
    assert one.drain().accepted == 1


def test_a_contact_that_is_no_longer_configured_gets_nothing_more(store, clock):
    enqueue(store, a_notice(), a_notice("instructor on duty"))
    channel = Scripted()
    worker(store, clock, {("instructor on duty", "email"): channel}).drain()
    assert states(store) == ["withdrawn", "accepted"]


def test_once_stopped_nothing_more_is_taken(store, clock):
    channel = Scripted()
    enqueue(store, a_notice())
    stop = threading.Event()
    stop.set()
    report = worker(store, clock, {("owner of X-WREN", "email"): channel}).drain(stop)
    assert report.accepted == 0
    assert channel.tried == []
    assert states(store) == ["queued"]


def test_a_new_configuration_is_tried_at_once_where_the_old_one_was_down(store, clock):
    down, good = Scripted(Rule.CHANNEL_DOWN), Scripted()
    enqueue(store, a_notice("a"), a_notice("b"))
    one = worker(store, clock, {("a", "email"): down, ("b", "email"): down}, per_host=1)
    one.drain()
    assert (len(down.tried), down.taken) == (1, [])
    one.replace_channels(ChannelBook({Route(name, "email"): good for name in "ab"}))
    enqueue(store, a_notice("b", airfield="XBRN"))
    assert one.drain().accepted == 1
    play(one, store, clock, NOW + MINUTE)
    assert set(states(store)) == {"accepted"}


# --- trying again ---------------------------------------------------------------------


def test_an_urgent_notice_is_tried_by_the_schedule_until_it_arrives(store, clock):
    channel = Scripted(*[Rule.AGAIN] * 8)
    enqueue(store, a_notice())
    one = worker(store, clock, {("owner of X-WREN", "email"): channel})
    play(one, store, clock, NOW + timedelta(hours=1))
    waited = [(at - NOW).total_seconds() for at, _ in channel.tried]
    assert waited == [0, 5, 20, 50, 110, 230, 470, 770, 1070]
    assert states(store) == ["accepted"]
    (delivery,) = store.notices()[0].deliveries
    outcomes = [attempt.outcome for attempt in store.attempts(delivery.id)]
    assert outcomes == ["failed"] * 8 + ["accepted"]


def test_a_refused_text_goes_once_more_as_plain_text(store, clock):
    channel = Scripted(Rule.PLAIN_ONCE)
    enqueue(store, a_notice())
    one = worker(store, clock, {("owner of X-WREN", "email"): channel})
    one.drain()
    assert states(store) == ["accepted"]
    assert store.notices()[0].deliveries[0].plain


@pytest.mark.fault("F63")
def test_a_channel_that_is_down_is_knocked_at_once_a_minute_whoever_waits(store, clock):
    channel = Scripted(*[Rule.CHANNEL_DOWN] * 40)
    names = [f"contact {n}" for n in range(10)]
    enqueue(store, *(a_notice(name) for name in names))
    one = worker(store, clock, {(name, "email"): channel for name in names})
    one.drain()
    # The first calls were under way together when the first answer came.
    first = len(channel.tried)
    assert first <= 4
    play(one, store, clock, NOW + 10 * MINUTE)
    assert len(channel.tried) - first == 10
    assert all(n.deliveries[0].tries == 0 for n in store.notices())
    channel.answers.clear()
    play(one, store, clock, NOW + 12 * MINUTE)
    assert set(states(store)) == {"accepted"}
    assert len(channel.taken) == 10


def test_other_hosts_go_on_while_one_is_down(store, clock):
    down, good = Scripted(Rule.CHANNEL_DOWN, host="down"), Scripted(host="good")
    enqueue(store, a_notice("a"), a_notice("b"))
    report = worker(store, clock, {("a", "email"): down, ("b", "email"): good}).drain()
    assert (report.accepted, report.put_off) == (1, 1)
    assert report.for_operator == ["a, email: no: CHANNEL_DOWN"]
    assert report.fall_backs == [Route("a", "email")]


@pytest.mark.fault("F72")
def test_an_address_that_is_gone_is_called_no_more_until_it_changes(store, clock):
    gone = Scripted(Rule.GONE)
    enqueue(store, a_notice(number=1))
    route = ("owner of X-WREN", "webhook")
    with store.transaction() as books:
        books.enqueue(a_notice(number=1), a_content(), ["webhook"])
    routes = {route: gone, ("owner of X-WREN", "email"): Scripted()}
    worker(store, clock, routes, state_now).drain()
    enqueue(store, a_notice(number=2), channels=("webhook",))
    worker(store, clock, routes, state_now).drain()
    assert len(gone.tried) == 1
    moved = Scripted(fingerprint="another address")
    enqueue(store, a_notice(number=3), channels=("webhook",))
    worker(store, clock, {route: moved}, state_now).drain()
    assert len(moved.taken) == 1


# --- the store fails, the process dies ----------------------------------------------------


@pytest.mark.parametrize("wait", [SECOND, 2 * MINUTE], ids=["within the lease", "after it"])
def test_what_arrived_is_not_sent_again_where_the_store_would_not_take_it_down(
    store, clock, monkeypatch, wait
):
    channel = Scripted()
    enqueue(store, a_notice())
    one = worker(store, clock, {("owner of X-WREN", "email"): channel})

    def full(*_):
        raise StoreError("the disk is full")

    with monkeypatch.context() as patched:
        patched.setattr(store, "finish", full)
        with pytest.raises(StoreError):
            one.drain()
    assert states(store) == ["sending"]
    clock.move(wait)
    one.drain()
    assert states(store) == ["accepted"]
    assert len(channel.tried) == 1


DRAIN_FOR_REAL = """
    import sys
    from pathlib import Path
    from random import Random
    from windwatch.clock import HandClock
    from windwatch.delivery.channels import ChannelBook, WebhookTarget
    from windwatch.delivery.webhook import WebhookChannel
    from windwatch.delivery.worker import drain
    from windwatch.notices.outbox import Route
    from windwatch.store.store import open_store
    from datetime import datetime
    path, url, secret, now = sys.argv[1:]
    clock = HandClock(datetime.fromisoformat(now))
    target = WebhookTarget(url, (secret,), allow_http=True, allow_networks=("127.0.0.1",))
    book = ChannelBook({Route("operations desk", "webhook"): WebhookChannel(target)})
    drain(open_store(Path(path), clock), book, clock, lambda *_: None, Random(1))
"""


@pytest.mark.promise(2)
def test_a_worker_killed_after_the_receiver_took_it_repeats_once_with_the_same_id(tmp_path, clock):
    path = tmp_path / "watch.db"
    with open_store(path, clock) as store, WebhookReceiver(check_time=False) as receiver:
        enqueue(store, a_notice("operations desk"), channels=("webhook",))
        taken = threading.Event()
        killed = threading.Event()

        def kill_before_the_answer(_):
            taken.set()
            killed.wait(10)

        receiver.on_call = kill_before_the_answer
        script = textwrap.dedent(DRAIN_FOR_REAL)
        arguments = [str(path), receiver.url, SECRET, NOW.isoformat()]
        with subprocess.Popen([sys.executable, "-c", script, *arguments]) as process:
            assert taken.wait(10)
            process.kill()
            process.wait()
        killed.set()
        receiver.on_call = None
        assert states(store) == ["sending"]

        target = WebhookTarget(
            receiver.url, (SECRET,), allow_http=True, allow_networks=("127.0.0.1",)
        )
        book = ChannelBook({Route("operations desk", "webhook"): WebhookChannel(target)})
        drain(store, book, clock, no_restate, Even())
        assert len(receiver.calls) == 1, "the lease of the dead still holds"
        clock.move(MINUTE)
        drain(store, book, clock, no_restate, Even())
        assert [call.headers["webhook-id"] for call in receiver.calls] == [
            a_notice("operations desk").id
        ] * 2
        (delivery,) = store.notices()[0].deliveries
        assert [a.outcome for a in store.attempts(delivery.id)] == ["uncertain", "accepted"]
