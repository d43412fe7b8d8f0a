"""A watch whose feed is reached by real sockets on loopback, over a wire that a test spoils."""

import json
import socket
import time
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field

from tests.servers.certificates import ca_file
from tests.servers.trick_server import TrickServer, http
from tests.watch.little_watch import START, Bench, bench, config_text, said
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
