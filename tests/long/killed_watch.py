"""A day played to a watch that is killed again and again, with real servers around it."""

import os
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

from tests.long.shared_page import IDLE, POLLED, TICKED, Page, PageClock, wait_for
from tests.servers.feed_server import PlayedFeed
from tests.servers.mail_server import MailServer
from tests.servers.webhook_server import SECRET, WebhookReceiver
from tests.watch.test_played_day import configured
from windwatch.feeds.recorded import read_recorded

MINUTE = timedelta(minutes=1)
PATIENCE_S = 30.0  # for a machine that is busy with other things
# Random kills fall on so many of the busiest moments, and on each at most so often.
MANY = 30
OFTEN = 3


@dataclass
class Kills:
    """What was killed, and where it was."""

    at_random: int = 0
    by_point: Counter[str] = field(default_factory=Counter)
    hits: Counter[str] = field(default_factory=Counter)
    inside_work: int = 0

    @property
    def total(self) -> int:
        return self.at_random + self.by_point.total()

    def add(self, other: "Kills") -> None:
        self.at_random += other.at_random
        self.by_point += other.by_point
        self.hits += other.hits
        self.inside_work += other.inside_work

    def __str__(self) -> str:
        inside = f"random kills {self.at_random}, inside work {self.inside_work}"
        lines = [f"{inside}; kills at named steps {self.by_point.total()}"]
        lines += [f"  random kill hit {stage}: {n}" for stage, n in self.hits.most_common()]
        lines += [f"  named {point}: {n}" for point, n in sorted(self.by_point.items())]
        return "\n".join(lines)


class Zygote:
    """Starts watches, one at a time, each a process of its own."""

    def __init__(self, root: Path, config: Path, page_path: Path, secrets: dict[str, str]) -> None:
        self.errors = (config.parent / "stderr.txt").open("w+", encoding="utf-8")
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.long.watch_process", str(config), str(page_path)],
            cwd=root,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self.errors,
            text=True,
            env=os.environ | secrets,
        )
        self.pid = 0

    def start(self, point: str = "-", number: int = 0) -> None:
        self._process.stdin.write(f"go\t{point}\t{number}\n")
        self._process.stdin.flush()
        self.pid = int(self._process.stdout.readline())

    def is_dead(self) -> bool:
        """Whether the watch has ended; the process that started it has not collected it yet."""
        try:
            text = Path(f"/proc/{self.pid}/stat").read_text(encoding="ascii")
        except FileNotFoundError:
            return True
        return text.rpartition(")")[2].split()[0] in "ZX"

    def kill(self, by: int = signal.SIGKILL) -> int:
        """End the watch; return its exit status."""
        if not self.is_dead():
            os.kill(self.pid, by)
        return self.collect()

    def collect(self) -> int:
        return int(self._process.stdout.readline())

    def close(self) -> None:
        self._process.stdin.close()
        self._process.wait(10)
        self._process.stdout.close()
        self.errors.close()


@dataclass
class Arrived:
    """Everything that came to one address, in order: notice ids."""

    mails: dict[str, list[str]]
    hooks: list[str]
    payloads: list[dict]
    refused: list[str]


@dataclass
class KilledDay:
    """One day of a recording, moment by moment."""

    page: Page
    clock: PageClock
    zygote: Zygote
    moments: list[datetime]
    kills: Kills
    random: Random
    # How long the watch was busy with each moment, in seconds.
    busy_s: dict[datetime, float] = field(default_factory=dict)

    def play(self, plan: dict[datetime, list[tuple[str, int]]], random_kills: int = 0) -> None:
        """Go through all moments.

        Parameters
        ----------
        plan : dict of moment to (point, number)
            At which named points to kill while it is busy with that moment, one after the other.
        random_kills : int
            How many more, at random instants.
        """
        chosen = self._choose(random_kills)
        self.clock.set(self.moments[0])
        self.zygote.start()
        for moment in self.moments:
            points = plan.get(moment, [])
            if points:
                self.zygote.kill()
                self.zygote.start(*points[0])
            self.clock.set(moment)
            for number in range(len(points)):
                self._kill_at_point(points, number)
            for again in range(chosen[moment]):
                self._kill_at_random(moment, again=again > 0)
            self._finish(moment)
        self.zygote.kill(signal.SIGTERM)

    def _choose(self, kills: int) -> Counter[datetime]:
        """Mostly the busiest moments, none too often: each delivery must get through in time."""
        busy = sorted(self.moments, key=lambda m: -self.busy_s.get(m, 0.0))[:MANY]
        chosen: Counter[datetime] = Counter()
        while chosen.total() < kills:
            moment = self.random.choice(busy if self.random.random() < 0.9 else self.moments)
            if chosen[moment] < OFTEN:
                chosen[moment] += 1
        return chosen

    def _kill_at_point(self, points: list[tuple[str, int]], number: int) -> None:
        """It kills itself, unless it is through before it has passed the point so often."""
        ended = wait_for(lambda: self.zygote.is_dead() or self._is_idle(), PATIENCE_S)
        assert ended, "the watch hangs"
        if self.zygote.is_dead():
            assert self.zygote.collect() == -signal.SIGKILL
            self.kills.by_point[points[number][0]] += 1
        else:
            self.zygote.kill()
        following = points[number + 1] if number + 1 < len(points) else ("-", 0)
        self._forget_where_it_was()
        self.zygote.start(*following)

    def _kill_at_random(self, moment: datetime, *, again: bool) -> None:
        if again and self.random.random() < 0.7:
            # What comes before is the same at every start.
            wait_for(lambda: "starting" not in self.page.stages(), PATIENCE_S)
        wait_for(self._is_idle, self.random.uniform(0.0, self.busy_s.get(moment, 0.3)))
        assert not self.zygote.is_dead(), "the watch ended by itself"
        os.kill(self.zygote.pid, signal.SIGKILL)
        assert self.zygote.collect() == -signal.SIGKILL
        stages = self.page.stages()
        self.kills.at_random += 1
        self.kills.inside_work += bool(stages)
        self.kills.hits.update(stages or ["sleep"])
        self._forget_where_it_was()
        self.zygote.start()

    def _forget_where_it_was(self) -> None:
        for slot in (POLLED, TICKED, IDLE):
            self.page.write(slot, 0.0)

    def _is_idle(self) -> bool:
        """Whether it is through with this moment, and still is a little later."""
        if not self._seems_idle():
            return False
        time.sleep(0.005)
        return self._seems_idle()

    def _seems_idle(self) -> bool:
        now = self.clock.monotonic()
        return all(self.page.read(slot) >= now for slot in (POLLED, TICKED, IDLE))

    def _finish(self, moment: datetime) -> None:
        began = time.monotonic()
        through = wait_for(lambda: self._is_idle() or self.zygote.is_dead(), PATIENCE_S)
        behind = [self.page.read(slot) - moment.timestamp() for slot in (POLLED, TICKED, IDLE)]
        assert through, f"{moment:%H:%M}Z: it hangs in {self.page.stages()}, behind by {behind}"
        assert not self.zygote.is_dead(), f"{moment:%H:%M}Z: the watch ended by itself"
        self.busy_s.setdefault(moment, time.monotonic() - began)


def moments_of(recording: Path) -> list[datetime]:
    """When something may happen, and often enough between: a lease lasts a minute."""
    lines = read_recorded(recording)
    begin, end = lines[0].at, lines[-1].at
    wanted = {line.at for line in lines} | {datetime.fromisoformat("2026-09-22T21:31:00+00:00")}
    after = {m + k * MINUTE for m in wanted for k in range(1, 4)}
    between = {begin + 15 * MINUTE * k for k in range(int((end - begin) / MINUTE) // 15)}
    return sorted(m for m in wanted | after | between if begin <= m <= end + 5 * MINUTE)


@contextmanager
def killed_day(
    root: Path, folder: Path, kills: Kills, random: Random, busy_s: dict[datetime, float]
) -> Iterator[tuple[KilledDay, Arrived]]:
    """The demo day, with a feed, a mail server and a webhook receiver of its own."""
    recording = root / "recorded_reports" / "front_day.txt"
    moments = moments_of(recording)
    page = Page(folder / "page")
    clock = PageClock(page)
    clock.set(moments[0])
    arrived = Arrived({}, [], [], [])
    with (
        PlayedFeed(recording, clock) as feed,
        MailServer() as mail,
        WebhookReceiver(check_time=False) as hook,
    ):
        for server in (feed, hook):
            # A caller that is killed hangs up, which is no fault of the server.
            server._server.handle_error = lambda *_: None
        config = configured(root, folder, feed.url, mail, hook.url)
        secrets = {"MAIL_PASSWORD": mail.password, "WINDWATCH_DEMO_SECRET": SECRET}
        zygote = Zygote(root, config, folder / "page", secrets)
        try:
            yield KilledDay(page, clock, zygote, moments, kills, random, busy_s), arrived
        finally:
            if zygote.pid and not zygote.is_dead():
                os.kill(zygote.pid, signal.SIGKILL)
            zygote.close()
        for message, (_, recipients) in zip(mail.messages, mail.envelopes, strict=True):
            notice = str(message["Message-ID"]).strip("<>").partition("@")[0]
            arrived.mails.setdefault(recipients[0], []).append(notice)
        arrived.payloads += [call.payload for call in hook.received]
        arrived.hooks += [call.headers["webhook-id"] for call in hook.received]
        arrived.refused += hook.refused
    page.close()
