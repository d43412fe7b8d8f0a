"""What goes wrong on the way from a feed: nothing of it is used, and silence is never all-clear.

Faults F01 to F09 and F22, and the certificate of F23, played to a whole watch by real sockets on
loopback. The row that all of them share: other stations unaffected, no state change, `no data`
after `stale_after`.
"""

import gzip
import socket
import struct
import threading
import time
import tracemalloc
from contextlib import ExitStack, contextmanager
from datetime import timedelta

import pytest

from tests.faults.wire import QUICK, SLACK_S, USUAL, answer, at, wired
from tests.servers.certificates import server_context
from tests.servers.trick_server import http
from tests.watch.little_watch import MINUTE, QUIET, START, STORM, metar
from windwatch.feeds.http import Manners

# --- the faults ---------------------------------------------------------------------


def no_such_name(host, port):
    raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")


@contextmanager
def name_not_found(wire):
    wire.resolver = no_such_name
    yield


@contextmanager
def name_server_hangs(wire):
    let_go = threading.Event()
    wire.resolver = lambda *_: let_go.wait(30) and []
    yield
    let_go.set()


@contextmanager
def refused(wire):
    wire.resolver = at("127.0.0.2")  # nobody listens there
    yield


@contextmanager
def syn_swallowed(wire):
    """A listener whose queue is full drops every call without a word."""
    with ExitStack() as stack:
        deaf = stack.enter_context(socket.socket())
        deaf.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        deaf.bind(("127.0.0.3", wire.server.port))
        deaf.listen(0)
        for _ in range(3):
            caller = stack.enter_context(socket.socket())
            caller.setblocking(False)
            caller.connect_ex(("127.0.0.3", wire.server.port))
        wire.resolver = at("127.0.0.3")
        yield


def does(trick):
    @contextmanager
    def spoil(wire):
        wire.trick = trick
        yield

    return spoil


def says(status, body=b"", *headers, length=True):
    return does(lambda call, _: call.sendall(http(status, body, *headers, length=length)))


LOWS = answer(*(metar(START + k * MINUTE, QUIET) for k in (20, 40, 60, 70)))
HALF = LOWS[: len(LOWS) // 2]


def reset(call, head, body):
    """The beginning of an answer, then a reset."""
    call.sendall(head + body)
    time.sleep(0.02)
    call.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    call.close()


def reset_mid_body(call, _):
    reset(call, f"HTTP/1.1 200 OK\r\nContent-Length: {len(LOWS)}\r\n\r\n".encode(), HALF)


def reset_mid_chunk(call, _):
    head = b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n"
    reset(call, head + f"{len(LOWS):x}\r\n".encode(), HALF)


def drip(at_once, rest):
    """One byte at a time, far slower than the whole may take."""

    def trick(call, _):
        call.sendall(at_once)
        for byte in rest:
            call.sendall(bytes([byte]))
            time.sleep(0.05)

    return trick


def without_end(call, _):
    call.sendall(b"HTTP/1.1 200 OK\r\n\r\n[")
    piece = b" " * (1 << 20)
    while True:
        call.sendall(piece)


ZIPPED = gzip.compress(LOWS)
SPOILT = ZIPPED[:-8] + bytes(8)
BOMB = gzip.compress(bytes(1 << 26), 9)
HTML = b"<html><body><form action='/login'>Please log in</form></body></html>"
GZIP = "Content-Encoding: gzip"

FAULTS = [
    pytest.param(name_not_found, "its name was not found", marks=pytest.mark.fault("F01")),
    pytest.param(name_server_hangs, "was not resolved within", marks=pytest.mark.fault("F01")),
    pytest.param(refused, "it refused the connection", marks=pytest.mark.fault("F02")),
    pytest.param(syn_swallowed, "did not answer the call", marks=pytest.mark.fault("F02")),
    pytest.param(does(reset_mid_body), "broke off", marks=pytest.mark.fault("F03")),
    pytest.param(does(reset_mid_chunk), "broke off", marks=pytest.mark.fault("F03")),
    pytest.param(
        does(drip(b"", b"HTTP/1.1 200 OK\r\nX-Long: " + b"x" * 200)),
        "did not answer in time",
        marks=pytest.mark.fault("F04"),
    ),
    pytest.param(
        does(drip(b"HTTP/1.1 200 OK\r\nContent-Length: 999\r\n\r\n", LOWS)),
        "came too slowly and was cut",
        marks=pytest.mark.fault("F04"),
    ),
    pytest.param(
        says("200 OK", HTML, "Content-Type: text/html"),
        "Please log in",
        marks=pytest.mark.fault("F05"),
    ),
    pytest.param(says("200 OK", b""), "an empty answer", marks=pytest.mark.fault("F06")),
    pytest.param(says("200 OK", b"[]"), "empty", marks=pytest.mark.fault("F06")),
    pytest.param(
        says("200 OK", ZIPPED[: len(ZIPPED) // 2], GZIP),
        "ends too early",
        marks=pytest.mark.fault("F07"),
    ),
    pytest.param(says("200 OK", SPOILT, GZIP), "broke off", marks=pytest.mark.fault("F07")),
    pytest.param(does(without_end), "longer than 33,554,432 bytes", marks=pytest.mark.fault("F08")),
    pytest.param(
        says("200 OK", BOMB, GZIP),
        "decompresses to more than 200 times its size",
        marks=pytest.mark.fault("F09"),
    ),
    pytest.param(
        says("200 OK", gzip.compress(ZIPPED), "Content-Encoding: gzip, gzip"),
        "which was not asked for",
        marks=pytest.mark.fault("F09"),
    ),
    pytest.param(
        says("200 OK", LOWS, "Content-Encoding: br"),
        "which was not asked for",
        marks=pytest.mark.fault("F09"),
    ),
    pytest.param(
        says("302 Found", b"", "Location: http://feed.example/other"),
        "not followed",
        marks=pytest.mark.fault("F22"),
    ),
    pytest.param(
        says("301 Moved Permanently", b"", "Location: https://other.example/api/data/metar"),
        "not followed",
        marks=pytest.mark.fault("F22"),
    ),
    pytest.param(
        says("307 Temporary Redirect", b"", "Location: https://127.0.0.1/metar"),
        "not followed",
        marks=pytest.mark.fault("F22"),
    ),
]


@contextmanager
def memory_watched():
    """In the list that it yields, at its end: the most held at once beyond what was; [kB]."""
    # Not ru_maxrss, which is the most that this process ever had, in whatever test.
    found = []
    tracemalloc.start()
    try:
        yield found
        _, most = tracemalloc.get_traced_memory()
        found.append(most / 1024)
    finally:
        tracemalloc.stop()


def play_until_no_data(wire, fault, words):
    """A storm is told; then the fault, until it is told that nothing is known any more."""
    stale_after = wire.bench.settings.fleet.airfields[0].stale_after
    wire.shows(metar(START, STORM))
    wire.poll()
    assert wire.heard("desk") == ["opened"]
    reports = wire.bench.store.reports_of("XLKS", START - timedelta(days=1))
    wire.told.clear()
    wire.took_s.clear()
    threads = threading.active_count()
    begun = len(wire.server.heads)
    with fault(wire), memory_watched() as most_kb:
        for minute in (1, 40, 74):
            wire.bench.at(START + minute * MINUTE)
            report = wire.poll()
            if "staying away for another" not in report.feed_failed:
                assert words in report.feed_failed
            assert report.fetched == 0
            assert wire.told == [], "nothing is called off, nor made up"
        wire.bench.at(START + stale_after)
        wire.poll()
    assert wire.heard("desk") == ["no_data"], "within a minute of stale_after"
    assert max(wire.took_s) < wire.limit_s + SLACK_S, "no fetch outlives its limit"
    assert most_kb[0] < 110_000, "memory stays flat: two copies of the most that is read, and slack"
    assert threading.active_count() <= threads + 8, "no worker is held"
    assert wire.bench.store.reports_of("XLKS", START - timedelta(days=1)) == reports
    [told] = [t for t in wire.bench.watch.books["XLKS"].state.ledger if t.open]
    assert told.level.word == "over"
    return begun


@pytest.mark.promise(7, 8, 16)
@pytest.mark.parametrize(("fault", "words"), FAULTS)
def test_a_fault_on_the_wire_is_no_state_change_and_then_no_data(tmp_path, fault, words):
    large = words.startswith(("longer", "decompresses"))
    with wired(tmp_path, manners=USUAL if large else QUICK) as wire:
        play_until_no_data(wire, fault, words)
        assert "The feed gives no reports" in wire.operator_heard()
        # It works again: the next poll is on time, and its report is used.
        wire.bench.clock.move(15 * MINUTE)
        wire.shows(metar(wire.bench.clock.now(), STORM))
        assert wire.poll().feed_failed == ""
        assert wire.heard("desk") == ["no_data", "data_back"]


@pytest.mark.fault("F01", "F02")
@pytest.mark.parametrize(
    "fault", [name_not_found, name_server_hangs, refused, syn_swallowed], ids=lambda f: f.__name__
)
def test_where_nobody_was_called_the_next_poll_is_on_time(tmp_path, fault):
    with wired(tmp_path) as wire:
        wire.shows(metar(START, STORM))
        wire.poll()
        with fault(wire):
            wire.bench.clock.move(MINUTE)
            assert wire.poll().feed_failed
        wire.bench.clock.move(MINUTE)
        wire.shows(metar(START + 2 * MINUTE, "27035G60KT"))
        assert wire.poll().fetched == 1
        assert wire.heard("desk") == ["opened", "worsened"]


@pytest.mark.fault("F04")
def test_the_limits_of_a_fetch_are_those_that_are_promised():
    assert Manners().total_s <= 20
    assert Manners().connect_s < Manners().total_s


@pytest.mark.fault("F03", "F07")
@pytest.mark.parametrize("spoil", ["reset", "truncated"])
def test_of_records_that_arrived_whole_in_half_an_answer_none_is_used(tmp_path, spoil):
    """JSON allows no half: a report before the break is not used, and no station is called gone."""
    both = answer(metar(START + MINUTE, "27035G60KT"), metar(START, STORM, "XBRN"))
    first = both.index(b"}") + 3
    with wired(tmp_path) as wire:
        wire.shows(metar(START, STORM))
        wire.poll()
        head = f"HTTP/1.1 200 OK\r\nContent-Length: {len(both)}\r\n\r\n".encode()
        zipped = gzip.compress(both)[:-9]
        wire.trick = {
            "reset": lambda call, _: reset(call, head, both[:first]),
            "truncated": lambda call, _: call.sendall(http("200 OK", zipped, GZIP)),
        }[spoil]
        wire.bench.clock.move(MINUTE)
        report = wire.poll()
        assert report.fetched == 0
        assert not any("missing" in problem for problem in (report.feed_failed, *report.problems))
        assert wire.heard("desk") == ["opened"]


# --- F23: its certificate -------------------------------------------------------------


@pytest.mark.fault("F23")
@pytest.mark.parametrize("how", ["expired", "of another name"])
def test_a_feed_with_a_wrong_certificate_is_refused_told_and_an_unknown_path(tmp_path, how):
    good, bad = (
        server_context("feed.example"),
        server_context("feed.example", expired=True)
        if how == "expired"
        else server_context("other.example"),
    )
    with wired(tmp_path, tls=good) as wire:

        @contextmanager
        def fault(wire):
            wire.server._tls = bad
            yield

        begun = play_until_no_data(wire, fault, "its certificate is not valid")
        assert len(wire.server.heads) == begun, "not even asked"
        assert wire.operator_heard() == [
            "The certificate of the feed is not valid, and it is not used"
        ]
