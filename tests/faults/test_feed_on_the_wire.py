"""What goes wrong on the way from a feed: nothing of it is used, and silence is never all-clear.

Faults F01 to F10, F22 and F23, played to a whole watch by real sockets on loopback. The row that
all of them share: other stations unaffected, no state change, `no data` after `stale_after`.
"""

import gzip
import json
import resource
import socket
import struct
import threading
import time
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import timedelta

import pytest

from tests.servers.certificates import ca_file, server_context
from tests.servers.trick_server import TrickServer, http
from tests.watch.little_watch import (
    AIRFIELD,
    MINUTE,
    QUIET,
    START,
    STORM,
    Bench,
    bench,
    config_text,
    metar,
    said,
)
from windwatch.clock import HandClock
from windwatch.feeds.awc import AwcFeed
from windwatch.feeds.http import FeedClient, Manners
from windwatch.outward import open_session

PEOPLE = (
    '\n[[contact]]\nname = "desk"\nfolder = "dropped"\ntell_about = { thunder = false }\n'
    '\n[[contact]]\nname = "technician"\nfolder = "technician"\noperator = true\n'
    'tell_about = { ground = false, thunder = false, runways = "none" }\n'
)
# The limits themselves are 10 s to connect and 20 s for the whole; these are 80 times as short.
LIMIT_S = 0.25
QUICK = Manners(connect_s=LIMIT_S / 2, read_s=LIMIT_S, total_s=LIMIT_S)
# As they are, for what is large and not slow.
USUAL = Manners()
SLACK_S = 5.0


def answer(*texts):
    """The feed's own form of reports."""
    records = [
        {"icaoId": text.split()[1], "metarType": text.split()[0], "rawOb": text} for text in texts
    ]
    return json.dumps(records).encode()


@dataclass
class Wire:
    """A feed's server whose answers, and a name server whose addresses, a test changes.

    Attributes
    ----------
    trick : callable
        What the server does with a call.
    resolver : callable
        What the name server says.
    """

    bench: Bench = None
    server: TrickServer = None
    limit_s: float = LIMIT_S
    trick: object = None
    resolver: object = None
    told: list = field(default_factory=list)
    asked: list = field(default_factory=list)
    took_s: list = field(default_factory=list)

    def answer(self, call, head):
        self.trick(call, head)

    def resolve(self, host, port):
        return self.resolver(host, port)

    def shows(self, *texts):
        """Answer well."""
        self.resolver = at("127.0.0.1")
        self.trick = lambda call, _: call.sendall(http("200 OK", answer(*texts)))

    def poll(self):
        before = len(self.server.heads)
        began = time.monotonic()
        report = self.bench.watch.poll()
        self.took_s.append(time.monotonic() - began)
        self.asked.append(len(self.server.heads) - before)
        self.told += said(report)
        return report

    def heard(self, contact):
        return [step for who, step in self.told if who == contact]

    def operator_heard(self):
        return [
            n.content.subject.partition(": ")[2]
            for n in self.bench.store.notices(contact="technician")
            if n.notice.kind == "operator"
        ]


def at(address):
    return lambda host, port: [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (address, port))]


@contextmanager
def wired(tmp_path, *, tls=None, manners=QUICK, change=lambda text: text):
    """A watch whose feed is reached by a name, over a wire that tests may spoil."""
    wire = Wire(limit_s=manners.total_s)
    with ExitStack() as stack:
        wire.server = server = stack.enter_context(TrickServer(wire.answer, tls=tls))
        scheme = server.url.partition(":")[0]
        url = f"{scheme}://feed.example:{server.port}/api/data"
        text = change(config_text(feed=url, people=PEOPLE))
        wire.bench = here = stack.enter_context(bench(tmp_path, text, HandClock(START)))
        session = open_session(
            allow_networks=("127.0.0.0/8",),
            connect_timeout_s=manners.connect_s,
            read_timeout_s=manners.read_s,
            total_s=manners.total_s,
            ca_file=ca_file() if tls else None,
            resolver=wire.resolve,
        )
        client = FeedClient(
            here.settings.feed, here.clock, manners=manners, session=session, chance=lambda: 1.0
        )
        here.feed.close()
        here.feed = AwcFeed(here.settings.feed, client)
        here.again()
        yield wire


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
    memory_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    begun = len(wire.server.heads)
    with fault(wire):
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
    grown_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - memory_kb
    assert grown_kb < 110_000, "memory stays flat: two copies of the most that is read, and slack"
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


# --- F10: they ask us to stay away --------------------------------------------------


@pytest.mark.fault("F10")
@pytest.mark.parametrize(
    ("status", "headers", "away"),
    [
        ("429 Too Many Requests", ("Retry-After: 3600",), 60),
        ("503 Service Unavailable", ("Retry-After: 3600",), 60),
        ("403 Forbidden", (), 1),
    ],
)
def test_a_wish_to_be_left_alone_is_honoured_told_at_once_and_the_fall_back_covers(
    tmp_path, status, headers, away
):
    def with_a_fall_back(text):
        return text.replace('id = "XLKS"', 'id = "XLKS"\nfall_back_stations = ["XBRN"]', 1)

    with wired(tmp_path, change=with_a_fall_back) as wire:
        wire.shows(metar(START, STORM), metar(START + 50 * MINUTE, "27035G60KT", "XBRN"))
        wire.bench.at(START + 50 * MINUTE)
        wire.poll()
        assert wire.heard("desk") == ["opened"]
        wire.trick = lambda call, _: call.sendall(http(status, b"", *headers))
        wire.asked.clear()
        banned_at = START + 51 * MINUTE
        wire.bench.at(banned_at)
        assert status[:3] in wire.poll().feed_failed
        assert wire.operator_heard() == ["The feed asks us to stay away"], "at once"
        while wire.bench.clock.now() < START + 110 * MINUTE:
            wire.bench.clock.move(MINUTE)
            wire.poll()
        honoured = [bool(n) for n in wire.asked]
        assert honoured[0]
        assert not any(honoured[1:away]), "no hammering"
        assert sum(honoured) <= 7, "and a wait that grows where they name none"
        # The main station is overdue at 75 min; from then on the last report of XBRN stands in.
        assert sorted(wire.heard("desk")) == ["no_data", "opened", "worsened"]
        [silent] = [
            step
            for kept in wire.bench.store.notices()
            for step in kept.notice.steps
            if step.name.value == "no_data"
        ]
        assert "XBRN is used meanwhile" in silent.reason


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


# --- F24, F11: what is left out, what never changes ------------------------------------


@pytest.mark.fault("F24")
@pytest.mark.promise(8)
def test_a_station_left_out_runs_old_by_itself_and_the_others_are_fine(tmp_path):
    with wired(tmp_path, change=lambda text: text + AIRFIELD.format(id="XBRN")) as wire:
        wire.shows(metar(START, STORM), metar(START, STORM, "XBRN"))
        wire.poll()
        assert wire.heard("desk") == ["opened", "opened"]
        wire.told.clear()
        by_minute = {}
        for minute in range(5, 86, 5):
            now = START + minute * MINUTE
            wire.bench.at(now)
            # Left out three times: that is nothing yet. Then for good.
            texts = [metar(now - minute % 30 * MINUTE, STORM, "XBRN")]
            if minute > 15 and minute <= 20:
                texts.append(metar(START, STORM))
            wire.shows(*texts)
            report = wire.poll()
            assert report.feed_failed == ""
            for notice, _ in report.notices:
                by_minute[minute] = (notice.airfield, notice.steps[0].name.value)
        assert by_minute == {75: ("XLKS", "no_data")}
        seen = {a: b.state.wind.at for a, b in wire.bench.watch.books.items()}
        assert seen["XLKS"] == START
        assert seen["XBRN"] >= START + 60 * MINUTE


@pytest.mark.fault("F11")
def test_a_stale_tag_is_passed_by_once_the_report_ages(tmp_path):
    """A cache that says "not modified" to everything but a request past all caches."""
    newest = metar(START + 50 * MINUTE, "27035G60KT")

    def cache(call, head):
        if "If-None-Match" in head:
            call.sendall(http("304 Not Modified", b"", 'ETag: "old"'))
        elif "Cache-Control: no-cache" in head:
            call.sendall(http("200 OK", answer(newest), 'ETag: "new"'))
        else:
            call.sendall(http("200 OK", answer(metar(START, STORM)), 'ETag: "old"'))

    with wired(tmp_path) as wire:
        wire.resolver, wire.trick = at("127.0.0.1"), cache
        wire.poll()
        for minute in range(1, 54):
            wire.bench.at(START + minute * MINUTE)
            wire.poll()
            known = wire.bench.watch.books["XLKS"].state.wind.at
            assert known == (START if minute <= 50 else START + 50 * MINUTE), minute
        assert wire.heard("desk") == ["opened", "worsened"]
        assert [n for n, head in enumerate(wire.server.heads) if "no-cache" in head] == [51]


@pytest.mark.fault("F11")
@pytest.mark.promise(7, 8)
def test_where_even_that_brings_nothing_new_the_age_counts_from_the_observation(tmp_path):
    def for_ever(call, head):
        if "If-None-Match" in head:
            call.sendall(http("304 Not Modified", b"", 'ETag: "old"'))
        else:
            call.sendall(http("200 OK", answer(metar(START, STORM)), 'ETag: "old"'))

    with wired(tmp_path) as wire:
        wire.resolver, wire.trick = at("127.0.0.1"), for_ever
        for minute in (*range(0, 75, 5), 75):
            wire.bench.at(START + minute * MINUTE)
            assert wire.poll().feed_failed == ""
            assert wire.heard("desk") == (["opened"] if minute < 75 else ["opened", "no_data"])
