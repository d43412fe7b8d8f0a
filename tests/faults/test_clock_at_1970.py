"""A machine without a clock of its own starts in 1970, and nothing encrypted works: fault F31.

Every certificate is then "not yet valid", so that the feed's own time is not heard either.
"""

import ssl
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

import pytest

from tests.faults.test_feed_on_the_wire import answer, at, wired
from tests.servers.certificates import server_context
from tests.servers.trick_server import http
from tests.watch.little_watch import MINUTE, QUIET, START, STORM, metar
from windwatch.clock import SystemClock
from windwatch.episodes import clock_doubt

BOOT = datetime(1970, 1, 1, 0, 0, 20, tzinfo=UTC)


def dated(world, *texts):
    """An answer with the feed's own time."""
    date = f"Date: {world():%a, %d %b %Y %H:%M:%S} GMT"
    return lambda call, _: call.sendall(http("200 OK", answer(*texts), date))


@contextmanager
def not_yet_valid(wire):
    """Certificates of tomorrow: by a clock that is behind, as all are by one at 1970."""
    tomorrow = SystemClock().now() + timedelta(days=1)
    good, wire.server._tls = wire.server._tls, server_context("feed.example", not_before=tomorrow)
    yield
    wire.server._tls = good


def of_the_clock(wire):
    return [
        (n.notice.contact, n.content.payload["trouble"]["over"])
        for n in wire.bench.store.notices()
        if n.notice.kind == "operator" and n.content.payload["trouble"]["key"] == "clock"
    ]


def test_what_tls_says_of_a_certificate_of_tomorrow_is_what_is_looked_for(tmp_path):
    with wired(tmp_path, tls=server_context("feed.example")) as wire:
        wire.resolver = at("127.0.0.1")
        with not_yet_valid(wire):
            assert "certificate is not yet valid" in wire.poll().feed_failed
    assert ssl.OPENSSL_VERSION


@pytest.mark.fault("F31")
@pytest.mark.promise(7, 21)
def test_f31_the_doubt_is_stated_nothing_is_purged_and_the_alert_comes_with_the_feeds_time(
    tmp_path,
):
    with wired(tmp_path, tls=server_context("feed.example")) as wire:
        b, began = wire.bench, START

        # The last run left an open alert; then the power failed, and the machine woke in 1970.
        wire.shows(metar(START, STORM))
        wire.poll()
        assert wire.heard("desk") == ["opened"]
        b.clock.set(BOOT)
        b.again()
        wire.told.clear()

        class Untouched:
            def __getattr__(self, name):
                raise AssertionError(f"{name}: no purge while the clock is in doubt")

        with not_yet_valid(wire):
            for _ in range(12):
                b.clock.move(MINUTE)
                assert "not yet valid" in wire.poll().feed_failed
            keeper = b.watch.keeper
            assert keeper.clock.trust.in_doubt
            store, keeper._store = keeper._store, Untouched()
            keeper.housekeep()
            keeper._store = store
            assert of_the_clock(wire) == [("technician", False), ("desk", False)], "stated, once"
            health = keeper.health(b.watch.books)
            assert "not yet valid" in health.clock_problem
            assert health.last_cycle_at is None, "no heartbeat by such a clock"
        assert wire.told == [], "nothing is called off, stale or over"
        assert len(b.store.reports_of("XLKS", START - timedelta(days=1))) == 1

        # A crossing: the feed is heard again, though the clock is as wrong as before.
        def world():
            return began + timedelta(minutes=30)

        wire.resolver = at("127.0.0.1")
        wire.trick = dated(world, metar(world(), "27035G60KT"))
        b.clock.move(MINUTE)
        wire.poll()
        assert wire.heard("desk") == ["worsened"]
        told = [n for n in b.store.notices(contact="desk") if n.notice.kind == "alert"]
        assert told[-1].notice.at == world(), "by the feed's time"
        assert b.watch.deliver().accepted, "and nothing expires by the wrong one"
        assert b.watch.keeper.clock.trust.in_doubt, "the doubt goes on"


@pytest.mark.fault("F31")
@pytest.mark.promise(9, 21)
def test_f31_once_the_clock_is_set_it_goes_on_and_tells_no_gap_of_half_a_century(tmp_path):
    with wired(tmp_path, tls=server_context("feed.example")) as wire:
        b = wire.bench
        wire.shows(metar(START, QUIET))
        wire.poll()
        b.clock.set(BOOT)
        b.again()
        with not_yet_valid(wire):
            for _ in range(3):
                b.clock.move(MINUTE)
                wire.poll()
        # The network sets the clock, and the watch is started anew as well.
        for minute in (5, 6, 7):
            b.at(START + minute * MINUTE)
            if minute == 5:
                b.again()
            wire.trick = dated(b.clock.now, metar(START, QUIET))
            wire.poll()
        assert wire.told == []
        assert not b.watch.keeper.clock.trust.in_doubt
        assert b.store.notices(contact="desk") == ()


@pytest.mark.fault("F31")
def test_f31_the_clock_of_a_running_watch_is_set_and_two_polls_agree(tmp_path):
    with wired(tmp_path, tls=server_context("feed.example")) as wire:
        b = wire.bench
        b.clock.set(BOOT)
        b.again()
        wire.resolver = at("127.0.0.1")
        with not_yet_valid(wire):
            b.clock.move(MINUTE)
            wire.poll()
        assert b.watch.keeper.clock.trust.in_doubt
        b.clock._now = START  # the wall clock alone, as the network sets it
        for minute in range(2):
            b.clock.move(MINUTE)
            wire.trick = dated(b.clock.now, metar(START, QUIET))
            wire.poll()
            assert b.watch.keeper.clock.trust.in_doubt is (minute == 0)
        assert b.watch.keeper.clock.now() == b.clock.now()
        told = of_the_clock(wire)
        assert told[-1] == ("technician", True), "and its end is told"
        assert told[:-1] == [("technician", False)] * 2, "once by each of the two times"


def test_a_suspicion_stands_until_the_feeds_clock_takes_it_back():
    found = clock_doubt.suspect(clock_doubt.begin(BOOT, 0.0), BOOT, "a reason")
    assert (found.since, found.reason, found.told) == (BOOT, "a reason", True)
    for _ in range(5):
        found = clock_doubt.hear(found, BOOT, None)
    assert found.in_doubt, "silence takes nothing back"
    found = clock_doubt.hear(clock_doubt.hear(found, BOOT, BOOT), BOOT, BOOT)
    assert not found.in_doubt


def test_a_suspicion_of_a_clock_in_doubt_keeps_its_reason():
    trust = clock_doubt.hear(clock_doubt.begin(BOOT, 0.0), BOOT, START)
    assert clock_doubt.suspect(trust, BOOT, "another").reason == trust.reason
