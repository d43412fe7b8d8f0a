"""A configuration that changes while the watch runs: the feed, the files, the clock."""

import logging
import socket
import threading
import urllib.error
import urllib.request
from contextlib import nullcontext
from datetime import timedelta

import pytest

from tests.servers.webhook_server import SECRET, WebhookReceiver
from tests.watch.little_watch import MINUTE, START, STORM, config_text
from tests.watch.reloaded import PEOPLE, USUAL, Feed, events, limit, running
from windwatch.clock import HandClock
from windwatch.errors import StoreError
from windwatch.logs import JsonLines
from windwatch.reload import LOOK_EVERY_S, QUIET_S
from windwatch.schedule import _Polls
from windwatch.upkeep.watchdog import Watchdog, limits
from windwatch.wiring import status_path

EVERYWHERE = "0.0.0.0"  # noqa: S104 - on a port of the test's own, for a moment

# --- the rim ----------------------------------------------------------------------------


@pytest.mark.promise(18)
def test_the_feed_stays_unless_its_own_settings_change_and_is_closed_between_two_polls(r):
    r.write(limit(24))
    r.look()
    r.watch.poll()
    asked = len(r.feed.asked)
    r.write(limit(24).replace('"60s"', '"90s"').replace("[store]", 'format = "raw"\n[store]'))
    r.look()
    assert r.watch.settings.feed.every == timedelta(seconds=90)
    assert r.health().interval == timedelta(seconds=90)
    assert not r.feed.closed, "a request may be under way"
    r.watch._asking.feed.fetch = Feed().fetch
    r.watch.poll()
    assert r.feed.closed
    assert len(r.feed.asked) == asked


@pytest.mark.promise(18)
def test_a_port_that_cannot_be_had_is_a_fault_like_any_other(r, caplog):
    pytest.importorskip("prometheus_client")
    with WebhookReceiver() as other:
        port = int(other.url.rpartition(":")[2].partition("/")[0])
        text = limit(18, config_text(people=PEOPLE, rim=f"[watch]\nmetrics_port = {port}\n"))
        r.take("27015G20KT")
        r.write(text)
        r.look()
        assert "watch.metrics_port: port" in r.health().config_problem
        assert r.told("desk") == [], "the limit of the same file was not taken either"
    r.look()
    assert [name for name, _ in r.told("desk")] == ["opened"]
    assert r.health().config_problem == ""
    r.write(limit(18))
    r.look()
    assert r.watch.keeper._outward.metrics is None


def figures_at(address, port):
    with urllib.request.urlopen(f"http://{address}:{port}/metrics", timeout=5) as answer:
        return answer.status


@pytest.fixture
def measured(tmp_path):
    """A watch with figures on a port of its own, and what its configuration is made of."""
    pytest.importorskip("prometheus_client")
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]

    def text(address, kt=25):
        rim = f'[watch]\nmetrics_port = {port}\nmetrics_address = "{address}"\n'
        return limit(kt, config_text(people=PEOPLE, rim=rim))

    with running(tmp_path, text("127.0.0.1")) as r:
        yield r, port, text


@pytest.mark.promise(18)
def test_figures_move_to_another_address_of_the_same_port(measured, caplog):
    r, port, text = measured
    assert figures_at("127.0.0.1", port) == 200
    r.write(text(EVERYWHERE))
    r.look()
    assert r.health().config_problem == ""
    assert events(caplog, "config_adopted")[0].changed == ["watch"]
    assert figures_at("127.0.0.2", port) == 200, "every address of this machine"
    kept = r.watch.keeper._outward.metrics
    r.write(text(EVERYWHERE, kt=24))
    r.look()
    assert r.watch.keeper._outward.metrics is kept, "nothing of it has changed"
    r.write(text("127.0.0.1", kt=24))
    r.look()
    assert figures_at("127.0.0.1", port) == 200
    with pytest.raises(urllib.error.URLError):
        figures_at("127.0.0.2", port)


@pytest.mark.promise(18)
@pytest.mark.parametrize("answer", ["not now", "refused", "broken"])
def test_figures_stay_where_they_are_if_the_change_is_not_taken(measured, monkeypatch, answer):
    r, port, text = measured

    def adopt(*_):
        if answer == "refused":
            raise StoreError("the disk is full", "full")
        if answer == "broken":
            raise ZeroDivisionError
        return False

    monkeypatch.setattr(r.watch, "adopt", adopt)
    before = r.watch.settings
    r.write(text(EVERYWHERE))
    with pytest.raises(ZeroDivisionError) if answer == "broken" else nullcontext():
        r.look()
    assert r.watch.settings is before
    assert figures_at("127.0.0.1", port) == 200
    with pytest.raises(urllib.error.URLError):
        figures_at("127.0.0.2", port)
    monkeypatch.undo()
    r.look()
    assert figures_at("127.0.0.2", port) == 200, "taken once it can be"


@pytest.mark.promise(18)
def test_figures_stay_where_they_are_if_the_other_address_cannot_be_had(measured):
    r, port, text = measured
    r.take("27015G20KT")
    # Nobody's address: set aside for examples in texts, RFC 5737 section 3.
    r.write(text("192.0.2.1", kt=18))
    r.look()
    assert f"port {port} of 192.0.2.1 cannot be had" in r.health().config_problem
    assert r.told("desk") == [], "the limit of the same file was not taken either"
    assert figures_at("127.0.0.1", port) == 200


@pytest.mark.promise(18)
def test_another_store_waits_for_a_restart_which_is_said_and_the_rest_is_taken(r, caplog):
    r.take("27015G20KT")
    r.write(limit(18).replace('"watch.db"', '"other.db"'))
    r.look()
    assert [name for name, _ in r.told("desk")] == ["opened"]
    assert r.watch.settings.store.path == r.b.folder / "watch.db"
    assert not (r.b.folder / "other.db").exists()
    problem = r.health().config_problem
    assert problem == (
        f"{r.path}: store.path: what is changed counts from the next start of the watch on"
    )
    [told] = r.operator()
    assert told.subject.endswith("A part of the changed configuration waits for a restart")
    r.look()
    assert len(r.operator()) == 1
    r.write(limit(18))
    r.look()
    assert r.health().config_problem == ""
    assert r.operator()[-1].payload["trouble"]["over"]


@pytest.mark.promise(18)
def test_the_state_moves_to_the_file_that_is_named_and_leaves_none_behind(r):
    old = status_path(r.watch.settings)
    assert old.exists()
    r.write(config_text(people=PEOPLE, rim='[watch]\nstatus_file = "elsewhere.json"\n'))
    r.look()
    assert not old.exists()
    assert (r.b.folder / "elsewhere.json").exists()


@pytest.mark.promise(18)
def test_troubles_with_people_who_are_gone_are_gone(tmp_path):
    broken = '\n[[contact]]\nname = "hook"\nwebhook = { url = "https://nowhere.invalid/x", '
    broken += 'secret_env = "XS" }\n'
    with running(tmp_path, config_text(people=PEOPLE + broken), {"XS": SECRET}) as r:
        r.take(STORM)
        for _ in range(8):
            r.b.clock.move(MINUTE)
            r.watch.poll()
            r.watch.deliver(patience=timedelta(seconds=2))
        if not any("hook" in headline for _, headline, _ in r.health().troubles):
            pytest.fail(f"no trouble with hook: {r.health().troubles}")
        r.write(USUAL)
        r.look()
        assert not any("hook" in headline for _, headline, _ in r.health().troubles)


@pytest.mark.promise(18, 22)
def test_what_must_not_be_read_in_the_log_is_hidden_from_the_change_on(r):
    handler = logging.StreamHandler()
    handler.setFormatter(JsonLines(()))
    logging.getLogger("windwatch").addHandler(handler)
    r.write(USUAL.replace("ops@larkspur.example", "duty@xfield.example"))
    r.look()
    record = logging.makeLogRecord({"msg": "x", "said": "to duty@xfield.example"})
    assert "duty" not in handler.formatter.format(record)


# --- by the clock -------------------------------------------------------------------------


def test_it_looks_at_once_then_four_times_a_minute_and_again_a_second_after_a_change(r):
    stop, waits = threading.Event(), []

    class Clock(HandClock):
        def wait(self, event, seconds):
            waits.append(seconds)
            if len(waits) == 3:
                r.write(limit(24))
            if len(waits) == 5:
                event.set()  # SIGHUP
            if len(waits) == 6:
                stop.set()
            return super().wait(event, seconds)

    adopted = []
    r.reload._clock = Clock(START)
    r.reload.look_on(stop, lambda: adopted.append(r.watch.settings))
    assert waits == [0, LOOK_EVERY_S, LOOK_EVERY_S, QUIET_S, LOOK_EVERY_S, LOOK_EVERY_S]
    assert len(adopted) == 1


def test_a_failing_look_is_told_and_the_next_one_tried(r, monkeypatch, caplog):
    stop, looks = threading.Event(), []

    def look():
        looks.append(1)
        if len(looks) == 3:
            stop.set()
        raise RuntimeError("a mistake of ours")

    monkeypatch.setattr(r.reload, "look", look)
    r.reload.look_on(stop, lambda: None)
    assert len(looks) == 3
    assert caplog.text.count("turn_failed") == 3


class Job:
    def reschedule(self, trigger, *, seconds):
        self.every = seconds

    def modify(self, *, next_run_time):
        self.next = next_run_time


@pytest.mark.parametrize(("since", "wait"), [(10, 50), (70, 0)])
def test_after_a_change_the_feed_is_asked_soon_but_never_twice_a_minute(r, since, wait):
    polls, job = _Polls(r.watch, r.b.clock), Job()
    polls.poll()
    r.write(USUAL.replace('"60s"', '"600s"'))
    r.look()
    r.b.clock.move(timedelta(seconds=since))
    dog = Watchdog(r.b.clock, limits(timedelta(minutes=1)))
    polls.move(job, dog)
    assert job.every == 600
    assert job.next == r.b.clock.now() + timedelta(seconds=wait)
    # Ten minutes between polls are no hanging now.
    for _ in range(20):
        r.b.clock.move(MINUTE)
        assert dog.look() == ""
