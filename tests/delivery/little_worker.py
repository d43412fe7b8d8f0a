"""A worker on a store that tests turn by hand, and channels that do what a test says."""

import random
import threading
from datetime import timedelta

from tests.servers.samples import GUST_FRONT, a_content, a_notice
from windwatch.delivery.channels import Accepted, ChannelBook, MailAddress, MailServer
from windwatch.delivery.email import EmailChannel
from windwatch.delivery.retry import Rule, SendFailed
from windwatch.delivery.worker import Worker
from windwatch.notices.outbox import Route

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
