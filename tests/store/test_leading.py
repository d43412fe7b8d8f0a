"""One leads, the others stand by; who slept through the lease can change nothing any more."""

import os
import signal
import subprocess
import sys
import threading
from contextlib import contextmanager
from datetime import timedelta

import pytest

from tests.servers.samples import GUST_FRONT, a_content, a_notice
from windwatch.clock import HandClock, SystemClock
from windwatch.errors import LeadLost, StoreError, StoreHeld
from windwatch.notices.outbox import DeliveryState, Outcome
from windwatch.store import postgres as postgres_store
from windwatch.store.leading import LOOK_EVERY, RENEW_EVERY, TTL, wait_to_lead
from windwatch.store.postgres import SLEEPERS_END
from windwatch.store.store import open_database, open_store

NOW = GUST_FRONT
SHORT = timedelta(milliseconds=300)
LEASE = timedelta(seconds=60)
ACCEPTED = Outcome(DeliveryState.ACCEPTED, "250 taken")
FAILED = Outcome(DeliveryState.WAITING, "450 later", NOW + timedelta(seconds=5))


@pytest.fixture(params=["sqlite", "postgres"])
def open_again(request, tmp_path, clock):
    """Open the same store as another process would."""
    if request.param == "sqlite":
        path = tmp_path / "watch.db"
        return lambda: open_store(path, clock, durable=False)
    url = request.getfixturevalue("database")
    return lambda: open_database(url, None, clock)


def lead_when_free(store, owner="the one that stood by", within_s=20.0):
    """Look again and again until the lead is free."""
    clock, pause = SystemClock(), threading.Event()
    ends = clock.monotonic() + within_s
    while clock.monotonic() < ends:
        leadership = store.lead(owner)
        if leadership is not None:
            return leadership
        pause.wait(0.02)
    raise AssertionError("the lead did not become free")


def enqueue(store, *notices):
    with store.transaction() as books:
        for notice in notices:
            books.enqueue(notice, a_content(), ["email"])


def states(store):
    return [d.state.value for n in store.notices() for d in n.deliveries]


# --- in both databases --------------------------------------------------------


@pytest.mark.fault("F36")
@pytest.mark.promise(19)
def test_one_leads_and_the_other_is_told_who(open_again):
    with open_again() as one, open_again() as other:
        with one.hold("the first watcher") as leadership:
            assert leadership.still_leads()
            assert leadership.renew()
            assert other.lead("the second") is None
            with pytest.raises(StoreHeld, match="is in use by the first watcher"):
                other.hold("the second")
        with other.hold("the second") as second:
            assert second.number == leadership.number + 1
            assert not leadership.still_leads()
            assert one.lead("the first again") is None
        assert other.leader().owner == "the second"


@pytest.mark.promise(19)
def test_who_led_before_writes_and_claims_nothing(open_again):
    with open_again() as old, open_again() as new:
        old.hold("the old").release()
        enqueue(old, a_notice("a"))
        with new.hold("the new"):
            with pytest.raises(LeadLost, match="the new, since"), old.transaction() as books:
                books.save_event("tick", NOW, {})
            with pytest.raises(LeadLost) as refused:
                old.claim_due(NOW, 10, LEASE)
            assert refused.value.kind == "lost"
            assert old.events() == ()
            assert len(new.claim_due(NOW, 10, LEASE)) == 1


def test_what_was_accepted_is_written_down_whoever_leads_and_nothing_else(open_again):
    with open_again() as old, open_again() as new:
        leadership = old.hold("the old")
        enqueue(old, a_notice("a"), a_notice("b"))
        one, two = old.claim_due(NOW, 10, LEASE)
        leadership.release()
        with new.hold("the new"):
            old.finish([(one, ACCEPTED), (two, FAILED)], NOW)
            assert states(new) == ["accepted", "sending"]
            old.renew([two], NOW + 10 * LEASE)
            (again,) = new.claim_due(NOW + LEASE, 10, LEASE)
            assert (again.id, again.attempt) == (two.id, 2)


def test_a_command_beside_the_watch_is_not_fenced(open_again):
    with open_again() as watch, open_again() as command, watch.hold("the watch"):
        with command.transaction() as books:
            books.acknowledge("episode-1", "instructor", NOW)
        assert len(watch.acknowledgements()) == 1


def test_standing_by_ends_with_the_lead_or_with_the_stop(open_again):
    clock, stop, said = HandClock(NOW), threading.Event(), []
    with open_again() as one, open_again() as other:
        first = one.hold("the first")
        looks = []

        class Waiting(HandClock):
            def wait(self, event, seconds):
                looks.append(seconds)
                if len(looks) == 2:
                    first.release()
                return event.is_set()

        leadership = wait_to_lead(other, "the second", Waiting(NOW), stop, said=said.append)
        assert leadership.still_leads()
        assert looks == [LOOK_EVERY.total_seconds()] * 2
        assert said == ["standing by; the first leads"]
        stop.set()
        assert wait_to_lead(one, "the first", clock, stop) is None


# --- PostgreSQL alone -----------------------------------------------------------


@pytest.mark.promise(19)
def test_the_times_add_up_to_a_take_over_within_a_minute():
    """Promise 19. A dead leader's lease runs out, and the next look takes it."""
    assert (TTL + LOOK_EVERY).total_seconds() < 60
    # Two renewals may fail before the lease is lost.
    assert 2 * RENEW_EVERY < TTL
    # One who sleeps in a transaction has been thrown out before anybody may take the lead.
    assert SLEEPERS_END < TTL


def test_a_lease_runs_out_by_the_servers_clock_and_not_by_ours(database):
    years = HandClock(NOW + timedelta(days=3650))
    with (
        open_database(database, None, HandClock(NOW)) as one,
        open_database(database, None, years) as other,
    ):
        first = one.lead("the first", ttl=timedelta(seconds=30))
        assert other.lead("one from the future") is None
        # Given a lease that is over at once.
        first.release()
        short = one.lead("the first", ttl=timedelta(0))
        assert not short.still_leads()
        assert other.lead("one from the future") is not None


def test_a_lease_that_ran_out_is_renewed_where_nobody_wanted_it(database, clock):
    with open_database(database, None, clock) as one:
        leadership = one.lead("the first", ttl=timedelta(0))
        assert not leadership.still_leads()
        with one.transaction() as books:
            books.save_event("tick", NOW, {})
        assert leadership.renew()


def test_two_who_ask_at_once_do_not_both_lead(database, clock):
    with open_database(database, None, clock) as store:
        store.hold("before").release()
    found = []
    barrier = threading.Barrier(6)

    def ask(name):
        with open_database(database, None, clock) as store:
            barrier.wait()
            found.append(store.lead(name))

    threads = [threading.Thread(target=ask, args=(f"watcher {n}",)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == 6
    assert len([one for one in found if one is not None]) == 1


# The other process: it leads, says so, and does what it is told, line by line.
LEADER = """
import sys
from contextlib import ExitStack
from datetime import timedelta
from tests.servers.samples import GUST_FRONT as NOW, a_content, a_notice
from windwatch.clock import SystemClock
from windwatch.errors import StoreError
from windwatch.store.store import open_database

url, sleepers_end_ms = sys.argv[1:]
ms = timedelta(milliseconds=1)
store = open_database(url, None, SystemClock(), sleepers_end=int(sleepers_end_ms) * ms)
leadership = store.lead("the sleeper", ttl=300 * ms)
print("leads", leadership.number, flush=True)
for line in sys.stdin:
    try:
        match line.strip():
            case "write":
                with store.transaction() as books:
                    books.save_event("tick", NOW, {"by": "the sleeper"})
            case "claim":
                store.claim_due(NOW, 10, timedelta(seconds=60))
            case "renew":
                if not leadership.renew():
                    print("no", flush=True)
                    continue
            case "send":
                if not leadership.still_leads():
                    print("no", flush=True)
                    continue
            case "sleep in a transaction":
                with store.transaction() as books:
                    books.save_event("tick", NOW, {"by": "the sleeper"})
                    print("inside", flush=True)
                    sys.stdin.readline()
        print("done", flush=True)
    except StoreError as error:
        print(error.kind, flush=True)
"""


class Sleeper:
    """A leading process that can be put to sleep."""

    def __init__(self, process):
        self._process = process

    def __call__(self, order):
        self._process.stdin.write(order + "\n")
        self._process.stdin.flush()
        return self._process.stdout.readline().strip()

    def sleep(self):
        os.kill(self._process.pid, signal.SIGSTOP)

    def wake(self):
        os.kill(self._process.pid, signal.SIGCONT)

    def kill(self):
        self._process.kill()
        self._process.wait()


@contextmanager
def a_sleeper(database, root, sleepers_end=SLEEPERS_END):
    with subprocess.Popen(
        [sys.executable, "-c", LEADER, database, str(sleepers_end // timedelta(milliseconds=1))],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=root,
    ) as process:
        try:
            assert process.stdout.readline().startswith("leads ")
            yield Sleeper(process)
        finally:
            process.kill()


@pytest.mark.promise(19)
@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")
def test_a_sleeper_that_wakes_can_neither_write_nor_claim_nor_send(database, clock, root):
    with open_database(database, None, clock) as store, a_sleeper(database, root) as sleeper:
        enqueue(store, a_notice())
        assert sleeper("write") == "done"
        sleeper.sleep()
        leadership = lead_when_free(store)
        sleeper.wake()
        answers = {order: sleeper(order) for order in ("write", "claim", "send", "renew")}
        assert answers == {"write": "lost", "claim": "lost", "send": "no", "renew": "no"}
        assert leadership.still_leads() or leadership.renew()
        assert len(store.events()) == 1
        assert states(store) == ["queued"]


@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")
def test_one_who_falls_asleep_in_a_transaction_holds_nobody_up(database, clock, root):
    with (
        open_database(database, None, clock) as store,
        a_sleeper(database, root, sleepers_end=timedelta(milliseconds=500)) as sleeper,
    ):
        assert sleeper("sleep in a transaction") == "inside"
        sleeper.sleep()
        leadership = lead_when_free(store)
        sleeper.wake()
        # What it wrote before it slept was undone by the server.
        assert sleeper("go on") in ("busy", "unreachable")
        assert store.events() == ()
        assert sleeper("write") == "lost"
        assert leadership.still_leads()


@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")
def test_a_killed_leader_is_followed_when_its_lease_has_run_out(database, clock, root):
    with open_database(database, None, clock) as store, a_sleeper(database, root) as sleeper:
        assert sleeper("renew") == "done"
        sleeper.kill()
        assert lead_when_free(store, within_s=5).number == 2


def test_while_the_server_is_away_nobody_leads_and_it_goes_on_after(postgres, database, clock):
    with open_database(database, None, clock) as store:
        leadership = store.hold("the first")
        name = database.rpartition("/")[2]
        postgres.run(f"ALTER DATABASE {name} ALLOW_CONNECTIONS false")
        postgres.cut(database)
        with pytest.raises(StoreError):
            leadership.renew()
        postgres.run(f"ALTER DATABASE {name} ALLOW_CONNECTIONS true")
        assert leadership.renew()


def test_nobody_takes_over_while_a_leader_commits(database, clock, monkeypatch):
    """Between the look at the fence and the commit no newer number can appear."""
    monkeypatch.setattr(postgres_store, "_LOCK_WAIT", timedelta(milliseconds=50))
    with (
        open_database(database, None, clock) as old,
        open_database(database, None, clock) as new,
    ):
        old.lead("the old", ttl=timedelta(0))
        with old.transaction() as books:
            books.save_event("tick", NOW, {})
            assert new.lead("the new") is None
        assert new.lead("the new") is not None
        assert len(new.events()) == 1
