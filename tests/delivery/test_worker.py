"""The worker: nothing lost, nothing twice, in order, and nobody holds up another."""

import random
import subprocess
import sys
import textwrap
import threading
import time
from collections import Counter
from datetime import timedelta

import pytest

from tests.servers.mail_server import MailServer as Server
from tests.servers.samples import GUST_FRONT, a_content, a_notice
from tests.servers.webhook_server import SECRET, WebhookReceiver
from windwatch.clock import HandClock
from windwatch.delivery.channels import (
    Accepted,
    ChannelBook,
    MailAddress,
    MailServer,
    WebhookTarget,
)
from windwatch.delivery.email import EmailChannel
from windwatch.delivery.retry import Rule, SendFailed
from windwatch.delivery.webhook import WebhookChannel
from windwatch.delivery.worker import Worker, drain
from windwatch.errors import StoreError
from windwatch.notices.outbox import Route
from windwatch.store.store import open_store

NOW = GUST_FRONT
SECOND = timedelta(seconds=1)
MINUTE = timedelta(minutes=1)


class Scripted:
    """A channel that does what a test says: each answer is a rule to fail by, or None."""

    def __init__(self, *answers, host="scripted", fingerprint="address"):
        self.answers = list(answers)
        self.host = host
        self.fingerprint = fingerprint
        self.tried = []
        self.taken = []
        self.at_once = 0
        self.most_at_once = 0
        self.hold = None
        self._lock = threading.Lock()

    def send(self, delivery, now):
        with self._lock:
            self.tried.append((now, delivery.notice))
            self.at_once += 1
            self.most_at_once = max(self.most_at_once, self.at_once)
            answer = self.answers.pop(0) if self.answers else None
        try:
            if self.hold is not None:
                self.hold.wait()
            if isinstance(answer, Exception):
                raise answer
            if isinstance(answer, Rule):
                raise SendFailed(f"no: {answer.name}", answer)
            self.taken.append(delivery.notice)
            return Accepted("taken")
        finally:
            with self._lock:
                self.at_once -= 1


class Even(random.Random):
    """Draws the middle of every range: waits are those of the table."""

    def uniform(self, a, b):
        return (a + b) / 2


def no_restate(*_):
    raise AssertionError("nothing was to be restated")


def state_now(contact, airfield, old, now):
    notice = a_notice(
        contact,
        99,
        airfield=airfield,
        at=now,
        kind="state now",
        replaces=tuple(notice.id for notice in old),
    )
    return notice, a_content("how it stands now")


@pytest.fixture
def clock():
    return HandClock(NOW)


@pytest.fixture
def store(tmp_path, clock):
    with open_store(tmp_path / "watch.db", clock, durable=False) as store:
        yield store


def enqueue(store, *notices, channels=("email",)):
    with store.transaction() as books:
        for notice in notices:
            books.enqueue(notice, a_content(), list(channels))


def worker(store, clock, channels, restate=no_restate, **kwargs):
    book = ChannelBook({Route(*route): channel for route, channel in channels.items()})
    return Worker(store, book, clock, restate, Even(), **kwargs)


def states(store):
    return [d.state.value for n in store.notices() for d in n.deliveries]


def play(worker, store, clock, until):
    """Drain whenever there is work, moving the clock from one to the next."""
    while True:
        worker.drain()
        due = store.next_due(clock.now())
        if due is None or due > until:
            return
        clock.set(max(due, clock.now()))


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


# --- against a real mail server -------------------------------------------------------------


def mail_routes(server, names):
    ours = MailServer(
        server.host,
        server.port,
        "starttls",
        "windwatch <wind@larkspur.example>",
        "windwatch",
        "correct horse",
        server.ca_file,
    )
    return {
        (name, "email"): EmailChannel(
            ours, MailAddress(f"{name.replace(' ', '-')}@faraway.example")
        )
        for name in names
    }


@pytest.mark.fault("F62")
def test_one_refused_recipient_of_thirty(store, clock):
    """F62: 29 accepted, one refused and shown."""
    names = [f"owner {n}" for n in range(30)]
    enqueue(store, *(a_notice(name) for name in names))
    with Server() as server:
        server.script("rcpt owner-7@faraway.example", "550 5.1.1 nobody here")
        report = worker(store, clock, mail_routes(server, names)).drain()
    assert (report.accepted, report.refused) == (29, 1)
    assert report.for_operator == ["owner 7, email: 550 5.1.1 nobody here"]
    assert Counter(states(store)) == {"accepted": 29, "refused": 1}


@pytest.mark.fault("F61")
def test_a_greylisting_server_takes_it_once_after_ten_minutes(store, clock):
    """F61: 450 for ten minutes, then 250: delivered once."""
    enqueue(store, a_notice())
    with Server() as server:
        server.script("rcpt", "450 4.7.1 greylisted", "450 4.7.1 greylisted")
        one = worker(store, clock, mail_routes(server, ["owner of X-WREN"]))
        play(one, store, clock, NOW + timedelta(hours=1))
        assert clock.now() == NOW + 6 * MINUTE
        assert len(server.messages) == 1
        assert server.sessions == 3
    assert states(store) == ["accepted"]


@pytest.mark.fault("F63")
def test_a_password_that_was_changed_is_tried_once_a_minute_and_then_all_goes_out(store, clock):
    """F63: the channel is down, nobody's tries are spent, no lock-out by retries."""
    names = ["owner of X-WREN", "instructor on duty"]
    enqueue(store, a_notice(names[0]))
    with Server(password="new horse") as server:
        one = worker(store, clock, mail_routes(server, names))
        one.drain()
        enqueue(store, a_notice(names[1]))
        play(one, store, clock, NOW + 5 * MINUTE)
        sessions = server.sessions
        assert sessions <= 1 + 5
        server.password = "correct horse"
        play(one, store, clock, NOW + 8 * MINUTE)
        assert len(server.messages) == 2
    assert set(states(store)) == {"accepted"}
