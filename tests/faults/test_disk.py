"""The disk fails at any one call, or has no room: people are warned, and nothing is lost.

Faults F40 (full) and F44 (n-th call fails), below every statement: in SQLite's own way to its
files, which the whole watch uses unknowingly. Promises 1 to 3, 7 and 17.
"""

import shutil
import subprocess
import threading
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest

from tests.servers.failing_disk import FailingDisk, sound
from tests.servers.webhook_server import SECRET, WebhookReceiver
from tests.store.test_write_faults import deliver, judge, parts_there
from tests.watch.little_watch import MINUTE, QUIET, START, STORM, config_text, metar
from windwatch.clock import HandClock
from windwatch.errors import StoreError
from windwatch.reports.raw import RawReport
from windwatch.settings.read import read_settings
from windwatch.settings.running import Settings
from windwatch.store.store import Store, open_store
from windwatch.watch import Watch
from windwatch.wiring import make_channels

WORSE = "27035G60KT"
SOON = timedelta(seconds=5)
DESK = (
    '\n[[contact]]\nname = "desk"\ntell_about = { thunder = false }\n'
    'webhook = { url = "URL", allow_http = true, secret_env = "HOOK_SECRET" }\n'
)
RIM = '[delivery]\nallow_networks = ["127.0.0.0/8"]\n'
# What is known to be in a storm: minutes after the beginning, and the wind reported then.
DAY = [(1, STORM), (3, WORSE)]


@dataclass
class Bench:
    """A watch on a store whose every commit goes to the disk."""

    settings: Settings
    clock: HandClock
    store: Store
    watch: Watch
    hook: WebhookReceiver

    def turn(self, *winds: str) -> None:
        """Judge, let time pass, deliver: each by itself may fail, as in the schedule."""
        now = self.clock.now()
        self.watch.take([RawReport(metar(now, wind), now, "test") for wind in winds])
        self.watch.tick()
        with suppress(StoreError):
            self.watch.deliver()
        assert self.watch.keeper.direct.wait(SOON)
        # What the outbox had begun to send goes on in its own threads.
        for thread in threading.enumerate():
            if thread.name.startswith("delivery"):
                thread.join(SOON.total_seconds())

    def storm(self) -> None:
        """A crossing, and a new worst two minutes later; deliveries are tried each minute."""
        for minute in range(1, 5):
            self.clock.set(START + minute * MINUTE)
            self.turn(*(wind for at, wind in DAY if at == minute))

    def told(self) -> list[tuple[str, str]]:
        """What the receiver took: (notice, step)."""
        return [
            (call.payload["id"], step["step"])
            for call in self.hook.received
            for step in call.payload["steps"]
        ]


@pytest.fixture(scope="module")
def hook():
    with WebhookReceiver(check_time=False) as receiver:
        yield receiver


@pytest.fixture
def quiet_store(tmp_path, hook):
    """Settings, and a store in which a quiet report is all there is."""
    path = tmp_path / "watch.toml"
    path.write_text(config_text(people=DESK.replace("URL", hook.url), rim=RIM), encoding="utf-8")
    settings = read_settings([path], {"HOOK_SECRET": SECRET})
    kept = tmp_path / "quiet.db"
    with watching(kept, settings, hook) as bench:
        bench.turn(QUIET)
    return settings, kept


@contextmanager
def watching(path, settings, hook, clock=None):
    clock = clock or HandClock(START)
    with open_store(path, clock, repair=True) as store:
        watch = Watch(settings, store, None, make_channels(settings), clock)
        yield Bench(settings, clock, store, watch, hook)


def afresh(hook, kept: Path, number: int) -> Path:
    """A copy of the store in a folder of its own, and a receiver that has heard nothing."""
    hook.calls.clear()
    hook.received.clear()
    folder = kept.parent / str(number)
    folder.mkdir()
    return Path(shutil.copy(kept, folder / "watch.db"))


@pytest.fixture
def undisturbed(hook, quiet_store):
    """What is told where nothing fails."""
    settings, kept = quiet_store
    with watching(afresh(hook, kept, 0), settings, hook) as bench:
        bench.storm()
        told = bench.told()
    assert [step for _, step in told] == ["opened", "worsened"]
    return told


def play(path, settings, hook, disk, nth, *, lasting):
    """The storm on a disk that fails; then it works again, and the watch is started anew."""
    with watching(path, settings, hook) as bench:
        disk.fail_at(nth, lasting=lasting)
        bench.storm()
        before = bench.told()
        hit = disk.hit
        disk.heal()
        for _ in range(3):
            bench.clock.move(MINUTE)
            bench.turn()
        assert bench.store.check().problems == (), (nth, hit)
    clock = HandClock(START + 10 * MINUTE)
    with watching(path, settings, hook, clock) as bench:
        now = clock.now()
        for at, wind in DAY:
            observed = START + at * MINUTE
            bench.watch.take([RawReport(metar(observed, wind), now, "test")])
        bench.turn()
        states = {d.state.value for n in bench.store.notices() for d in n.deliveries}
        steps = [step.name.value for n in bench.store.notices() for step in n.notice.steps]
        [episode] = bench.store.episodes()
        assert episode.closing == "", (nth, hit)
        after = bench.told()
    assert sound(path), (nth, hit)
    assert not list(path.parent.glob("*damaged*")), (nth, hit)
    assert steps == ["opened", "worsened"], (nth, hit)
    assert states == {"accepted"}, (nth, hit)
    return before, after, hit


def whichever_call_fails(hook, quiet_store, undisturbed, *, lasting, each):
    """Play the storm with every `each`-th call failing, until a playing has no such call."""
    settings, kept = quiet_store
    kinds, nth = set(), 1
    with FailingDisk(kept.parent) as disk:
        while True:
            path = afresh(hook, kept, nth)
            before, after, hit = play(path, settings, hook, disk, nth, lasting=lasting)
            if not hit:
                break
            kinds.update(hit)
            assert set(before) == set(undisturbed), (nth, hit, "warned while it lasted")
            assert set(after) == set(undisturbed), (nth, hit)
            # One try may have been interrupted: once more then, with the same id.
            assert len(after) <= len(undisturbed) + 1, (nth, hit, after)
            nth += each
    assert kinds >= {"read", "write"}
    assert nth > 200


@pytest.mark.fault("F44")
@pytest.mark.promise(1, 2, 17)
@pytest.mark.parametrize("lasting", [False, True], ids=["once", "lasting"])
def test_f44_of_the_calls_that_may_fail_some_people_are_warned_and_the_record_made_whole(
    hook, quiet_store, undisturbed, lasting
):
    whichever_call_fails(hook, quiet_store, undisturbed, lasting=lasting, each=43)


@pytest.mark.long
@pytest.mark.fault("F44")
@pytest.mark.promise(1, 2, 17)
@pytest.mark.parametrize("lasting", [False, True], ids=["once", "lasting"])
def test_f44_whichever_call_fails_people_are_warned_and_the_record_is_made_whole(
    hook, quiet_store, undisturbed, lasting
):
    """Each call: n = 1, 2, 3 ... until a playing has no n-th one."""
    whichever_call_fails(hook, quiet_store, undisturbed, lasting=lasting, each=1)


@pytest.mark.fault("F44")
@pytest.mark.parametrize("lasting", [False, True], ids=["once", "lasting"])
def test_f44_a_disk_that_fails_at_the_start_is_no_damage_to_the_store(quiet_store, lasting):
    """A good store is never set aside because it could not be read for a moment."""
    _, kept = quiet_store
    before, clock, nth = kept.read_bytes(), HandClock(START), 0
    with FailingDisk(kept.parent) as disk:
        while True:
            nth += 1
            disk.fail_at(nth, lasting=lasting)
            try:
                open_store(kept, clock, repair=True).close()
                failed = ""
            except StoreError as error:
                failed = error.kind
            hit = disk.hit
            disk.heal()
            if not hit:
                break
            assert failed in {"other", "read-only"}, (nth, hit)
            assert kept.read_bytes() == before, (nth, hit)
            assert not list(kept.parent.glob("*damaged*")), (nth, hit)
    assert nth > 40


@pytest.mark.fault("F44")
def test_f44_whatever_call_of_one_transaction_fails_it_is_there_or_it_is_not(tmp_path):
    """Without the watch: report, steps, episode, state, notices and deliveries of one event."""
    clock, nth = HandClock(START), -6
    empty = tmp_path / "empty.db"
    open_store(empty, clock).close()
    with FailingDisk(tmp_path) as disk:
        while True:
            # An odd stride: once and lasting by turns.
            nth += 7
            path = Path(shutil.copy(empty, tmp_path / f"{nth}.db"))
            with open_store(path, clock, check=False) as store:
                disk.fail_at(nth, lasting=nth % 2 == 0)
                for act in (judge, deliver):
                    with suppress(StoreError):
                        act(store)
                hit = disk.hit
                disk.heal()
                if not hit:
                    break
                # The same connections go on, and find all of it or nothing.
                assert len(set(parts_there(store).values())) == 1, (nth, hit)
                judge(store)
                assert all(parts_there(store).values()), (nth, hit)
            assert sound(path), (nth, hit)
    assert nth > 100


# --- F40: no room -------------------------------------------------------------------


@contextmanager
def a_small_disk(folder: Path):
    """A real file system of half a megabyte, where one may be mounted; None otherwise."""
    mount = ["mount", "-t", "tmpfs", "-o", "size=512k", "none", str(folder)]
    try:
        mounted = subprocess.run(mount, check=False, capture_output=True).returncode == 0
    except FileNotFoundError:
        mounted = False
    try:
        yield folder if mounted else None
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(folder)], check=True)


@pytest.mark.fault("F40")
@pytest.mark.promise(17)
@pytest.mark.parametrize("how", ["whatever the system allows", "below SQLite"])
def test_f40_on_a_full_disk_people_are_warned_and_it_resumes_by_itself(
    hook, quiet_store, undisturbed, how
):
    settings, kept = quiet_store
    path = afresh(hook, kept, 1)
    with a_small_disk(path.parent) as small:
        shutil.copy(kept, path)
        with FailingDisk(path.parent) as disk, watching(path, settings, hook) as bench:
            if small is None or how == "below SQLite":
                disk.fill()
            else:
                with suppress(OSError), (small / "ballast").open("wb", buffering=0) as ballast:
                    while True:
                        ballast.write(b"x" * 4096)
            bench.storm()
            assert set(bench.told()) == set(undisturbed), "warned at once"
            assert bench.store.notices() == ()
            found = bench.watch.keeper.health(bench.watch.books)
            assert "the disk is full" in found.store_problem
            bench.clock.move(timedelta(hours=1))
            bench.turn()
            assert bench.watch.keeper.gave_up == "", "room may come by itself"
            disk.heal()
            (path.parent / "ballast").unlink(missing_ok=True)
            bench.clock.set(START + 5 * MINUTE)
            for _ in range(2):
                bench.clock.move(MINUTE)
                bench.turn()
            assert bench.told() == undisturbed, "and nobody twice"
            kept_steps = [s.name.value for n in bench.store.notices() for s in n.notice.steps]
            assert kept_steps == ["opened", "worsened"], "the record is whole"
            assert bench.watch.keeper.health(bench.watch.books).store_problem == ""
            assert bench.store.check().problems == ()
