"""A day played to a watch that is killed again and again, with real servers around it."""

import os
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
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
MANY = 30
OFTEN = 3  # at most, at one moment: each delivery must get through in time
# Of the kills that come when it sleeps already, so many are done: most are to hit it at work.
ASLEEP = 1 / 3


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

    def __init__(
        self,
        root: Path,
        config: Path,
        page_path: Path,
        secrets: dict[str, str],
        program: str = "tests.long.watch_process",
    ) -> None:
        self.errors = (config.parent / "stderr.txt").open("a+", encoding="utf-8")
        self._process = subprocess.Popen(
            [sys.executable, "-m", program, str(config), str(page_path)],
            cwd=root,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self.errors,
            text=True,
            env=os.environ | secrets,
        )
        self.pid = 0

    def said(self) -> str:
        """The last of what the watches said on their error streams."""
        self.errors.seek(0)
        return self.errors.read()[-2000:]

    def start(self, point: str = "-", number: int = 0) -> None:
        self._process.stdin.write(f"go\t{point}\t{number}\n")
        self._process.stdin.flush()
        self.pid = int(self._process.stdout.readline())

    def is_dead(self) -> bool:
        """Whether the watch has ended; the process that started it has not collected it yet."""
        try:
            text = Path(f"/proc/{self.pid}/stat").read_text(encoding="ascii")
        except (FileNotFoundError, ProcessLookupError):
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
        if self.pid and not self.is_dead():
            os.kill(self.pid, signal.SIGKILL)
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


@dataclass(frozen=True)
class Plan:
    """How one day is to be played."""

    random: Random
    # How long the watch is busy with each moment, in seconds; filled by the first day.
    busy_s: dict[datetime, float]
    # At which named points to kill while it is busy with a moment, one after the other; each
    # when it is passed for so many times. Random kills come on top.
    points: dict[datetime, list[tuple[str, int]]] = field(default_factory=dict)
    random_kills: int = 0
    # They fall on so many of the busiest moments, but for one in ten.
    many: int = MANY


@dataclass
class KilledDay:
    """One day of a recording, moment by moment."""

    page: Page
    clock: PageClock
    zygote: Zygote
    moments: list[datetime]
    plan: Plan
    kills: Kills = field(default_factory=Kills)

    def play(self) -> None:
        """Go through all moments."""
        chosen = self._choose(self.plan.random_kills)
        self.begin()
        for moment in self.moments:
            points = self.plan.points.get(moment, [])
            if points:
                self.arm(*points[0])
            self.pass_on(moment)
            for number in range(len(points)):
                self._kill_at_point(points, number)
            for again in range(chosen[moment]):
                self._kill_at_random(moment, again=again > 0)
            self._finish(moment)
        self.end()

    def begin(self) -> None:
        self.clock.set(self.moments[0])
        self.zygote.start()

    def arm(self, point: str, number: int) -> None:
        """Before the next moment: let the watch kill itself at a point."""
        self.zygote.kill()
        self.zygote.start(point, number)

    def pass_over(self, point: str, number: int) -> None:
        """The watch is through and has not passed the point so often; the next one, if any."""
        self.zygote.kill()
        self.follow(point, number)

    def pass_on(self, moment: datetime) -> None:
        self.clock.set(moment)

    def follow(self, point: str = "-", number: int = 0) -> None:
        """After its death: let it go on from what it left, to be killed at a point."""
        self._forget_where_it_was()
        self.zygote.start(point, number)

    def end(self) -> None:
        assert self.zygote.kill(signal.SIGTERM) == 0

    def _choose(self, kills: int) -> Counter[datetime]:
        """Mostly the busiest moments, none too often."""
        random, busy_s = self.plan.random, self.plan.busy_s
        busy = sorted(self.moments, key=lambda m: -busy_s.get(m, 0.0))[: self.plan.many]
        chosen: Counter[datetime] = Counter()
        while chosen.total() < kills:
            moment = random.choice(busy if random.random() < 0.9 else self.moments)
            if chosen[moment] < OFTEN:
                chosen[moment] += 1
        return chosen

    def _kill_at_point(self, points: list[tuple[str, int]], number: int) -> None:
        """It kills itself, unless it is through before it has passed the point so often."""
        ended = wait_for(lambda: self.zygote.is_dead() or self._is_idle(), PATIENCE_S)
        assert ended, "the watch hangs"
        following = points[number + 1] if number + 1 < len(points) else ("-", 0)
        if self.zygote.is_dead():
            assert self.zygote.collect() == -signal.SIGKILL
            self.kills.by_point[points[number][0]] += 1
            self.follow(*following)
        else:
            self.pass_over(*following)

    def _kill_at_random(self, moment: datetime, *, again: bool) -> None:
        random = self.plan.random
        if again and random.random() < 0.7:
            # What comes before is the same at every start.
            wait_for(lambda: "starting" not in self.page.stages(), PATIENCE_S)
        # Nothing begins before the watch has seen that the clock has moved.
        wait_for(lambda: self.page.stages() or self._is_idle(), PATIENCE_S)
        # After a kill less is left to do: what was claimed is held for a minute.
        busy_s = self.plan.busy_s.get(moment, 0.3) * (0.5 if again else 0.9)
        if wait_for(self._is_idle, random.uniform(0.0, busy_s)) and random.random() > ASLEEP:
            return
        assert not self.zygote.is_dead(), f"the watch ended by itself: {self.zygote.said()}"
        os.kill(self.zygote.pid, signal.SIGKILL)
        assert self.zygote.collect() == -signal.SIGKILL
        stages = self.page.stages()
        self.kills.at_random += 1
        self.kills.inside_work += bool(stages)
        self.kills.hits.update(stages or ["sleep"])
        self.follow()

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
        ended = self.zygote.is_dead()
        assert not ended, f"{moment:%H:%M}Z: the watch ended by itself: {self.zygote.said()}"
        self.plan.busy_s.setdefault(moment, time.monotonic() - began)


def moments_of(recording: Path) -> list[datetime]:
    """When something may happen, and often enough between: a lease lasts a minute."""
    lines = read_recorded(recording)
    begin, end = lines[0].at, lines[-1].at
    wanted = {line.at for line in lines} | {datetime.fromisoformat("2026-09-22T21:31:00+00:00")}
    after = {m + k * MINUTE for m in wanted for k in range(1, 4)}
    between = {begin + 15 * MINUTE * k for k in range(int((end - begin) / MINUTE) // 15)}
    return sorted(m for m in wanted | after | between if begin <= m <= end + 5 * MINUTE)


@dataclass
class World:
    """What is around the watches."""

    root: Path
    feed: PlayedFeed
    mail: MailServer
    hook: WebhookReceiver

    def config(self, folder: Path, change: dict[str, str]) -> Path:
        """The demo's configuration with these servers, and some of its text changed."""
        path = configured(self.root, folder, self.feed.url, self.mail, self.hook.url)
        text = path.read_text(encoding="utf-8")
        for before, after in change.items():
            assert text.count(before) == 1, before
            text = text.replace(before, after)
        path.write_text(text, encoding="utf-8")
        return path

    @property
    def secrets(self) -> dict[str, str]:
        return {"MAIL_PASSWORD": self.mail.password, "WINDWATCH_DEMO_SECRET": SECRET}

    def arrived(self) -> Arrived:
        mails: dict[str, list[str]] = {}
        for message, (_, recipients) in zip(self.mail.messages, self.mail.envelopes, strict=True):
            notice = str(message["Message-ID"]).strip("<>").partition("@")[0]
            mails.setdefault(recipients[0], []).append(notice)
        calls = self.hook.received
        return Arrived(
            mails,
            [call.headers["webhook-id"] for call in calls],
            [call.payload for call in calls],
            list(self.hook.refused),
        )


@contextmanager
def world(root: Path, recording: Path, clock: PageClock) -> Iterator[World]:
    """A feed that plays a recording, a mail server and a webhook receiver."""
    with (
        PlayedFeed(recording, clock) as feed,
        MailServer() as mail,
        WebhookReceiver(check_time=False) as hook,
    ):
        for server in (feed, hook):
            # A caller that is killed hangs up, which is no fault of the server.
            server._server.handle_error = lambda *_: None
        yield World(root, feed, mail, hook)


def play_killed(
    root: Path,
    folder: Path,
    plan: Plan,
    recording: Path,
    *,
    moments: list[datetime] | None = None,
    change: dict[str, str] | None = None,
) -> tuple[Kills, Arrived]:
    """A recording, played to one watch on a file; in `folder`."""
    moments = moments or moments_of(recording)
    with Page(folder / "page") as page:
        clock = PageClock(page)
        clock.set(moments[0])
        with world(root, recording, clock) as around:
            config = around.config(folder, change or {})
            with closing(Zygote(root, config, folder / "page", around.secrets)) as zygote:
                day = KilledDay(page, clock, zygote, moments, plan)
                day.play()
            return day.kills, around.arrived()
