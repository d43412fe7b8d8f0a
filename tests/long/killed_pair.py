"""A day played to a leader and a standby on one database; the leader is killed again and again.

Who leads is decided by the database's clock alone. Here that clock is moved by hand, so that the
thirty seconds of a lease pass at once and a take-over is measured exactly; the statements, the
length of the lease and what the standby does are the product's own.
"""

import signal
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from psycopg import sql

from tests.long.judged import Accounts, accounts_of
from tests.long.killed_watch import (
    PATIENCE_S,
    Arrived,
    KilledDay,
    Kills,
    Plan,
    World,
    Zygote,
    moments_of,
    world,
)
from tests.long.shared_page import (
    ARMED,
    IDLE,
    LEADS,
    LEASE_NOW,
    LEFT,
    LOOKS_AT,
    POLLED,
    RENEWED,
    TICKED,
    TOOK_LEAD,
    WATCHES,
    Page,
    PageClock,
    wait_for,
)
from tests.long.watch_process import POINTS
from tests.servers.postgres_server import DatabaseClock, PostgresServer
from windwatch.store.leading import RENEW_EVERY

PROMISED_S = 60.0  # promise 19
# Neither the day's time nor the machine's: a lease measured by those would be found out.
LEASE_BEGINS = datetime(2031, 3, 1, 6, 0, tzinfo=UTC)
STEP_S = 0.5
ITS_OWN = (POLLED, TICKED, IDLE, LOOKS_AT, LEADS, RENEWED, TOOK_LEAD, WATCHES, ARMED, LEFT)


@dataclass
class Side:
    """One of the two watches, with its page."""

    page: Page
    zygote: Zygote

    def start(self) -> None:
        for slot in ITS_OWN:
            self.page.write(slot, 0.0)
        self.zygote.start()

    def stand_by(self) -> None:
        """Start it, and wait until it has found that the other one leads."""
        self.start()
        stands = wait_for(lambda: self.page.read(LOOKS_AT) > 0, PATIENCE_S)
        assert stands, f"it does not stand by: {self.zygote.said()}"
        assert not self.page.read(LEADS), "two lead"

    def arm(self, point: str, number: int) -> None:
        """Let it kill itself at a point; ``-`` at none."""
        self.page.write(LEFT, number)
        self.page.write(ARMED, 0 if point == "-" else POINTS.index(point) + 1)


@dataclass
class KilledPair(KilledDay):
    """`page` and `zygote` are those of the watch that leads."""

    standby: Side = field(kw_only=True)
    lease: DatabaseClock = field(kw_only=True)
    lease_s: float = LEASE_BEGINS.timestamp()
    # By the lease's clock from the death to the new lead; and in real seconds from there until
    # it watches.
    dead_s: list[float] = field(default_factory=list)
    start_s: list[float] = field(default_factory=list)

    @property
    def leader(self) -> Side:
        return Side(self.page, self.zygote)

    def begin(self) -> None:
        self._set_day(self.moments[0])
        self._let_lease_run(0)
        self.leader.start()
        leads = wait_for(lambda: self.page.read(LEADS) > 0, PATIENCE_S)
        assert leads, f"nobody leads: {self.zygote.said()}"
        self.standby.stand_by()

    def arm(self, point: str, number: int) -> None:
        self.leader.arm(point, number)

    def pass_over(self, point: str, number: int) -> None:
        self.leader.arm(point, number)

    def pass_on(self, moment: datetime) -> None:
        self._set_day(moment)
        # However much of the lease is left when the leader dies, it has never run out.
        self._let_lease_run(self.plan.random.uniform(0, RENEW_EVERY.total_seconds()))

    def follow(self, point: str = "-", number: int = 0) -> None:
        """The standby takes over, and the dead one is started again to stand by."""
        dead = self.leader
        self.standby.arm(point, number)
        self._note_start()
        self._take_over()
        self.page, self.zygote = self.standby.page, self.standby.zygote
        self.standby = dead
        dead.stand_by()

    def end(self) -> None:
        self._note_start()
        for side in (self.standby, self.leader):
            assert side.zygote.kill(signal.SIGTERM) == 0
        assert self._in_the_lease("until") is None, "it ended, and did not give up the lead"

    def _take_over(self) -> None:
        died_s, page = self.lease_s, self.standby.page
        runs_until_s = self._in_the_lease("until") / 1000
        assert not page.read(LEADS), "two led"
        while not page.read(LEADS):
            assert self.lease_s - died_s < PROMISED_S, "the standby does not take over"
            self._let_lease_run(STEP_S)
            wait_for(lambda: page.read(LEADS) or page.read(LOOKS_AT) > self.lease_s, PATIENCE_S)
        assert page.read(LEADS) >= runs_until_s, "it did not wait for the lease to run out"
        self.dead_s.append(page.read(LEADS) - died_s)

    def _note_start(self) -> None:
        if self.page.read(WATCHES):
            self.start_s.append(self.page.read(WATCHES) - self.page.read(TOOK_LEAD))

    def _in_the_lease(self, column: str) -> int | None:
        query = sql.SQL("SELECT {} FROM lease").format(sql.Identifier(column))
        return self.lease.connection.execute(query).fetchone()[0]

    def take_overs(self) -> int:
        """How many the database has counted."""
        return self._in_the_lease("number") - 1

    def _finish(self, moment: datetime) -> None:
        super()._finish(moment)
        renewed = wait_for(
            lambda: self.lease_s - self.page.read(RENEWED) < RENEW_EVERY.total_seconds(),
            PATIENCE_S,
        )
        assert renewed, f"{moment:%H:%M}Z: the lead is not renewed"

    def _set_day(self, moment: datetime) -> None:
        for page in (self.page, self.standby.page):
            PageClock(page).set(moment)
        self.clock.set(moment)

    def _let_lease_run(self, seconds: float) -> None:
        self.lease_s += seconds
        self.lease.set(datetime.fromtimestamp(self.lease_s, UTC))
        for page in (self.page, self.standby.page):
            page.write(LEASE_NOW, self.lease_s)


@dataclass(frozen=True)
class PairDay:
    """What became of one day."""

    kills: Kills
    arrived: Arrived
    accounts: Accounts
    dead_s: list[float]
    start_s: list[float]
    take_overs: int


def play_pair(
    root: Path, folder: Path, plan: Plan, recording: Path, postgres: PostgresServer
) -> PairDay:
    """A recording, played to a leader and a standby on a new database."""
    moments, url = moments_of(recording), postgres.database()
    with ExitStack() as stack:
        day_page = stack.enter_context(Page(folder / "day"))
        clock = PageClock(day_page)
        clock.set(moments[0])
        lease = stack.enter_context(postgres.clock_of(url))
        around = stack.enter_context(world(root, recording, clock))
        first, second = (_side(stack, around, folder / name, url) for name in ("one", "two"))
        pair = KilledPair(
            first.page, clock, first.zygote, moments, plan, standby=second, lease=lease
        )
        pair.play()
        accounts = accounts_of(lambda query: lease.connection.execute(query).fetchall())
        took = pair.take_overs()
        return PairDay(pair.kills, around.arrived(), accounts, pair.dead_s, pair.start_s, took)


def _side(stack: ExitStack, around: World, folder: Path, url: str) -> Side:
    """A machine of its own: configuration, state and page in a folder of its own."""
    folder.mkdir()
    config = around.config(folder, {'path = "watch.db"': f'url = "{url}"'})
    page = stack.enter_context(Page(folder / "page"))
    zygote = Zygote(around.root, config, folder / "page", around.secrets, "tests.long.pair_process")
    stack.callback(zygote.close)
    return Side(page, zygote)
