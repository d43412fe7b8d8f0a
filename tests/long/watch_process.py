"""`windwatch watch` on a clock that a test moves, killed at a named step if asked to.

    python tests/long/watch_process.py CONFIG PAGE

For each line ``go POINT NUMBER`` on its standard input one watch is run in a process of its own
(a fork of this one, which has everything loaded and nothing begun) and ``PID`` is said, then
``ended STATUS``. POINT ``-`` runs until somebody kills it; any other kills itself with SIGKILL
when it passes that point for the NUMBER-th time. The product has no hooks: its functions are
wrapped here.
"""

import contextlib
import os
import signal
import sys
import threading
import traceback
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import apscheduler.schedulers.background
from apscheduler.schedulers.background import BackgroundScheduler

import windwatch.cli.watch
import windwatch.delivery.email
import windwatch.delivery.folder
import windwatch.delivery.webhook
import windwatch.episodes.entries
import windwatch.feeds.awc
import windwatch.feeds.build
import windwatch.notices.compose
import windwatch.settings.read
import windwatch.watch
import windwatch.wiring
from tests.long.shared_page import IDLE, POLLED, REST, TICKED, Page, PageClock
from windwatch.delivery.mail_session import _PlainSession
from windwatch.store.access import Access
from windwatch.store.books import Books
from windwatch.store.outbox import StoredOutbox
from windwatch.store.store import Store
from windwatch.watch import Watch

POINTS = (
    "after fetch",
    "in parse",
    "before commit",
    "after commit",
    "after claim",
    "after connect",
    "after DATA",
    "after 250",
    "before mark",
)
# How often the real scheduler looks whether the moved clock owes a turn.
LOOK_S = 0.01


class Fuse:
    """Counts how often the chosen point is passed, and kills there."""

    def __init__(self, point: str, number: int) -> None:
        self._point, self._left = point, number
        self._lock = threading.Lock()

    def passed(self, point: str) -> None:
        if point != self._point:
            return
        with self._lock:
            self._left -= 1
            if self._left == 0:
                die()


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)
    threading.Event().wait()  # the signal comes before this line ends


class FastScheduler(BackgroundScheduler):
    """Looks at once and often: which turns are owed the moved clock says."""

    def add_job(self, func, trigger=None, **kwargs):
        kwargs["next_run_time"] = datetime.now(UTC)
        kwargs["seconds"] = LOOK_S
        return super().add_job(func, trigger, **kwargs)


def wrap(owner, name: str, around) -> None:
    original = getattr(owner, name)

    def wrapped(*args, **kwargs):
        return around(original, *args, **kwargs)

    setattr(owner, name, wrapped)


def instrument(page: Page, clock: PageClock, fuse: Fuse) -> None:
    """Mark every stage, and every point of F34."""
    _turns(page, clock)
    _reports(page, fuse)
    _store(page, fuse)
    _mail(page, fuse)
    _webhook(page, fuse)


def _turns(page: Page, clock: PageClock) -> None:
    """One poll and one tick for each moment of the clock, and who is through with it."""
    idle = threading.Lock()

    def once_a_moment(slot: int):
        def turn(original, watch):
            now = clock.monotonic()
            if page.read(slot) >= now:
                return None
            with page.stage(REST):
                report = original(watch)
            with idle:
                if watch.work.is_set():
                    page.write(IDLE, 0.0)
            page.write(slot, now)
            return report

        return turn

    def next_due(original, watch):
        now = clock.now()
        with page.stage(REST):
            due = original(watch)
        with idle:
            if not watch.work.is_set() and (due is None or due > now):
                page.write(IDLE, now.timestamp())
        return due

    def deliver(original, watch, *args):
        with idle:
            page.write(IDLE, 0.0)
        with page.stage(REST):
            return original(watch, *args)

    wrap(Watch, "poll", once_a_moment(POLLED))
    original_tick = Watch.tick

    def tick(watch, report=None):
        if report is not None:  # a poll's own
            return original_tick(watch, report)
        return once_a_moment(TICKED)(original_tick, watch)

    Watch.tick = tick
    wrap(Watch, "next_due", next_due)
    wrap(Watch, "deliver", deliver)


def _reports(page: Page, fuse: Fuse) -> None:
    def make_feed(original, *args):
        feed = original(*args)
        wrap(feed, "fetch", fetch)
        return feed

    def fetch(original, *args, **kwargs):
        with page.stage("fetch"):
            result = original(*args, **kwargs)
        if result.reports:
            fuse.passed("after fetch")
        return result

    def decode(original, *args, **kwargs):
        with page.stage("parse"):
            fuse.passed("in parse")
            return original(*args, **kwargs)

    def judge(original, *args, **kwargs):
        with page.stage("judge and word"):
            return original(*args, **kwargs)

    wrap(windwatch.wiring, "make_feed", make_feed)
    wrap(windwatch.episodes.entries, "decode_report", decode)
    wrap(windwatch.watch.pipeline, "step", judge)
    wrap(windwatch.watch, "words_for", judge)


def _store(page: Page, fuse: Fuse) -> None:
    enqueued = threading.local()

    def enqueue(original, *args, **kwargs):
        enqueued.some = True
        return original(*args, **kwargs)

    original_transaction = Store.transaction

    @contextlib.contextmanager
    def transaction(store):
        enqueued.some = False
        with page.stage("commit"):
            with original_transaction(store) as books:
                yield books
                if enqueued.some:
                    fuse.passed("before commit")
            if enqueued.some:
                fuse.passed("after commit")

    def claim(original, *args, **kwargs):
        with page.stage("claim"):
            claimed = original(*args, **kwargs)
        if claimed:
            fuse.passed("after claim")
        return claimed

    def finish(original, outbox, ended, now):
        if any(outcome.state.value == "accepted" for _, outcome in ended):
            fuse.passed("before mark")
        with page.stage("mark"):
            return original(outbox, ended, now)

    assert issubclass(Store, Access)
    wrap(Books, "enqueue", enqueue)
    Store.transaction = transaction
    wrap(StoredOutbox, "claim_due", claim)
    wrap(StoredOutbox, "finish", finish)


def _mail(page: Page, fuse: Fuse) -> None:
    def open_session(original, *args):
        with page.stage("connect"):
            session = original(*args)
            fuse.passed("after connect")
            return session

    def data(original, session, text):
        with page.stage("send"):
            answer = original(session, text)
        if answer[0] == 250:
            fuse.passed("after 250")
        return answer

    def getreply(original, session):
        if session._replies_in_data == 1:  # the text has gone, its answer has not come
            fuse.passed("after DATA")
        return original(session)

    wrap(windwatch.delivery.email, "open_session", open_session)
    wrap(_PlainSession, "data", data)
    wrap(_PlainSession, "getreply", getreply)


def _webhook(page: Page, fuse: Fuse) -> None:
    def send(original, *args):
        with page.stage("send"):
            answer = original(*args)
        fuse.passed("after 250")
        return answer

    wrap(windwatch.delivery.webhook.WebhookChannel, "send", send)


def run(config: str, page: Page, fuse: Fuse) -> None:
    """One watch, until it is killed or told to stop."""
    clock = PageClock(page)
    instrument(page, clock, fuse)
    apscheduler.schedulers.background.BackgroundScheduler = FastScheduler
    windwatch.cli.watch.SystemClock = lambda: clock
    begun = windwatch.cli.watch.run

    def begin(*args, **kwargs):
        page._count("starting", -1)
        begun(*args, **kwargs)

    windwatch.cli.watch.run = begin
    windwatch.cli.watch.watch.main([config], standalone_mode=False)


def serve(config: str, page: Page, begin: Callable[[str, Page, Fuse], None]) -> None:
    for line in sys.stdin:
        _, point, number = line.rstrip("\n").split("\t")
        page.clear_stages()
        page._count("starting", 1)
        child = os.fork()
        if child == 0:
            sys.stdin.close()
            sys.stdin = None  # as a program has it that is started without one
            status = 1
            try:
                begin(config, page, Fuse(point, int(number)))
                status = 0
            except BaseException:
                traceback.print_exc()
                raise
            finally:
                sys.stderr.flush()
                os._exit(status)
        print(child, flush=True)  # noqa: T201 - this is how it answers
        _, status = os.waitpid(child, 0)
        print(os.waitstatus_to_exitcode(status), flush=True)  # noqa: T201


if __name__ == "__main__":
    serve(sys.argv[1], Page(Path(sys.argv[2])), run)
