"""Days of watching on a clock that is moved: nothing grows, nothing leaks, no promise is broken.

Fifty airfields, a poll a minute against a real HTTP server, two in a hundred calls answered
wrongly. WINDWATCH_SOAK_DAYS=30 for the whole figure of `reliability.md` section 6; a day
otherwise. Afterwards housekeeping is held against the store that those days have filled.
"""

import ctypes
import gc
import json
import logging
import os
import threading
from array import array
from collections import defaultdict, deque
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from random import Random
from typing import NamedTuple

import pytest

from tests.long.weather_process import AIRFIELDS, FAULTS, Served, weather, weather_served
from tests.model.model_tell import Model
from tests.model.played import Beliefs, Word, words_of
from tests.model.storms import Arrival
from tests.watch.little_watch import AIRFIELD, LOOPBACK
from windwatch.clock import HandClock
from windwatch.episodes.values import StepName
from windwatch.notices.outbox import OPEN_STATES
from windwatch.record import load_states
from windwatch.settings.read import read_settings
from windwatch.store.store import Store, open_store
from windwatch.store.tidy import KEEP, Keep
from windwatch.watch import Watch
from windwatch.wiring import make_channels, make_feed

pytestmark = pytest.mark.long

DAYS = float(os.environ.get("WINDWATCH_SOAK_DAYS", "1"))
SEED = int(os.environ.get("WINDWATCH_SEED", "1"))
MINUTE = timedelta(minutes=1)
# Held against the model, which is slow on long histories; all are watched.
MODELLED = AIRFIELDS[:: 5 if DAYS > 3 else 1]
FAULTY_SHARE = 0.02
MEASURE_EVERY = 60  # cycles
# What the watch remembers of an airfield fills for eight hours, and what it keeps of words until
# there have been some hundred notices; a short soak looks from here on.
FILLED = 12 * 60
MIB = 1 << 20
# Section 6: a figure of CI has 30 % slack.
SLACK = 1.3
# Reports, steps, notices and their words of fifty stormy airfields; and the cap of any store.
STORE_A_DAY = 60 * MIB
# Without pictures: each is painted by a process of its own, which takes longer than a whole cycle.
CONTACT = (
    '\n[[contact]]\nname = "desk"\nfolder = "dropped"\npictures = false\n'
    'tell_about = { levels = ["near", "over", "unknown"] }\n'
)


class Uses:
    """What the process uses, measured now and then. It keeps no more room than it began with:
    whatever grows in the memory of this process would be taken for the watch's.

    Memory is measured twice: as it stands, and once the C library has given back what was freed
    and only kept for later. The second is what the watch holds.
    """

    def __init__(self, cycles: int) -> None:
        self._rows = array("q", bytes(5 * 8 * (cycles // MEASURE_EVERY + 1)))
        self._filled = 0
        # Only the GNU C library has such a call.
        self._trim = getattr(ctypes.CDLL(None), "malloc_trim", lambda _: 0)

    def measure(self, cycle: int) -> None:
        gc.collect()
        stands = _resident()
        self._trim(0)
        row = (
            cycle,
            stands,
            _resident(),
            sum(1 for _ in Path("/proc/self/fd").iterdir()),
            threading.active_count(),
        )
        self._rows[self._filled * 5 : self._filled * 5 + 5] = array("q", row)
        self._filled += 1

    def since(self, cycle: int) -> "Uses.Settled":
        """The measurements from a cycle on, quantity by quantity."""
        rows = [self._rows[n * 5 : n * 5 + 5] for n in range(self._filled)]
        return Uses.Settled(*zip(*(row for row in rows if row[0] >= cycle), strict=True))

    class Settled(NamedTuple):
        cycles: tuple[int, ...]
        resident: tuple[int, ...]
        held: tuple[int, ...]
        handles: tuple[int, ...]
        threads: tuple[int, ...]

        def growth(self, quantity: tuple[int, ...]) -> float:
            """By how much a quantity grew, by the line through all of its measurements."""
            return line_through(self.cycles, quantity) * (self.cycles[-1] - self.cycles[0])


def _resident() -> int:
    """Resident memory of this process. [bytes]"""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE")


class Heard:
    """What people heard of the modelled airfields, and which polls were whole; on the disk."""

    def __init__(self, folder: Path, cycles: int) -> None:
        self._path = folder / "heard.jsonl"
        self._file = self._path.open("w", encoding="utf-8")
        self.whole = bytearray(cycles)

    def note(self, cycle: int, airfield: str, words: list[Word]) -> None:
        self._file.write(json.dumps([cycle, airfield, words]) + "\n")

    def notices(self) -> dict[tuple[int, str], list[list[Word]]]:
        """The words of each notice, by the cycle and the airfield."""
        self._file.close()
        found = defaultdict(list)
        for line in self._path.read_text(encoding="utf-8").splitlines():
            cycle, airfield, words = json.loads(line)
            found[cycle, airfield].append(
                [(StepName(step), track, past) for step, track, past in words]
            )
        return found


@dataclass
class Soak:
    """What happened, to be looked at afterwards."""

    folder: Path
    start: datetime
    cycles: int
    uses: Uses = field(init=False)
    heard: Heard = field(init=False)
    faulty: int = 0
    notices: int = 0
    failed: list[str] = field(default_factory=list)
    store_bytes: int = 0

    def __post_init__(self) -> None:
        self.uses = Uses(self.cycles)
        self.heard = Heard(self.folder, self.cycles)

    @property
    def end(self) -> datetime:
        return self.start + self.cycles * MINUTE


def config(feed: str) -> str:
    fields = "".join(AIRFIELD.format(id=name) for name in AIRFIELDS)
    return (
        f'[feed]\nkind = "awc"\ncontact = "ops@larkspur.example"\nevery = "60s"\n'
        f'url = "{feed}"\n{LOOPBACK}[store]\npath = "watch.db"\n{fields}{CONTACT}'
    )


@contextmanager
def watching(folder: Path, clock: HandClock, feed: Served) -> Iterator[Watch]:
    path = folder / "watch.toml"
    path.write_text(config(feed.url), encoding="utf-8")
    settings = read_settings([path], {})
    source = make_feed(settings, clock)
    with open_store(folder / "watch.db", clock, durable=False) as store:
        try:
            yield Watch(settings, store, source, make_channels(settings), clock, Random(SEED))
        finally:
            source.close()


def soak(folder: Path, start: datetime) -> Soak:
    random = Random(SEED)
    clock = HandClock(start)
    found = Soak(folder, start, cycles=int(DAYS * 1440))
    with weather_served(SEED, DAYS, folder) as feed, watching(folder, clock, feed) as watch:
        for cycle in range(found.cycles):
            faulty = random.random() < FAULTY_SHARE
            feed.now_is(clock.now(), random.randrange(len(FAULTS)) if faulty else None)
            found.faulty += faulty
            report = watch.poll()
            found.heard.whole[cycle] = not faulty and not report.feed_failed
            found.failed += report.failed
            found.notices += len(report.notices)
            for notice, _ in report.notices:
                if notice.airfield in MODELLED:
                    found.heard.note(cycle, notice.airfield, words_of(notice.steps))
            if watch.work.is_set():
                watch.work.clear()
                watch.deliver()
            if cycle % MEASURE_EVERY == 0:
                for old in (folder / "dropped").glob("*"):
                    old.unlink()
                report = None
                found.uses.measure(cycle)
            if cycle % 1440 == 1439:
                watch.keeper.housekeep()
            clock.move(MINUTE)
    found.store_bytes = (folder / "watch.db").stat().st_size
    return found


def broken_promises(found: Soak, arrivals: list[Arrival]) -> list[str]:
    """Every moment at which people believed something that was not so."""
    fleet = read_settings([found.folder / "watch.toml"], {}).fleet
    heard = found.heard.notices()
    wrong = []
    for name in MODELLED:
        model = Model(fleet, fleet.airfield(name), found.start)
        beliefs = Beliefs(model)
        left = deque(a for a in arrivals if a.raw.text.split()[1] == name)
        told_at = unsure_until = -1
        for cycle, whole in enumerate(found.heard.whole):
            now = found.start + cycle * MINUTE
            if whole:
                came = []
                while left and left[0].at <= now:
                    came.append(left.popleft().raw)
                if came:
                    model.reports(came, now)
            else:
                # Half of an answer may have come; the next whole one brings the rest.
                unsure_until = cycle + 2
            for words in heard.get((cycle, name), ()):
                beliefs.hear(words)
                told_at = cycle
            if cycle > max(told_at + 1, unsure_until) and cycle % 5 == 0:
                beliefs.compare(now)
        wrong += [f"{name} {line}" for line in beliefs.wrong]
    return wrong


def line_through(xs: Iterable[int], ys: Iterable[int]) -> float:
    """Slope of the straight line that fits best."""
    points = list(zip(xs, ys, strict=True))
    mean_x = sum(x for x, _ in points) / len(points)
    mean_y = sum(y for _, y in points) / len(points)
    over = sum((x - mean_x) * (y - mean_y) for x, y in points)
    return over / sum((x - mean_x) ** 2 for x, _ in points)


@pytest.fixture(scope="module")
def arrivals() -> list[Arrival]:
    return weather(SEED, DAYS)


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory, arrivals: list[Arrival]) -> Soak:
    """The days, lived through."""
    # Nobody reads the log here, and pytest would keep every line of it.
    logging.disable(logging.CRITICAL)
    try:
        return soak(tmp_path_factory.mktemp("soak"), arrivals[0].at)
    finally:
        logging.disable(logging.NOTSET)


@pytest.mark.promise(12, 14, 16)
def test_days_of_watching_leak_nothing(lived: Soak) -> None:
    settled = lived.uses.since(int(max(lived.cycles / 10, FILLED)))
    growth = settled.growth(settled.held)
    print(  # noqa: T201 - a soak tells its figures
        f"\nseed {SEED}: {lived.cycles} cycles, {len(AIRFIELDS)} airfields, {lived.faulty} faulty "
        f"calls, {lived.notices} notices; after the first tenth memory grew by "
        f"{growth / MIB:.2f} MiB to {settled.held[-1] / MIB:.1f} MiB (by "
        f"{settled.growth(settled.resident) / MIB:.2f} MiB with what the C library keeps for "
        f"later), handles {settled.handles[0]} to {settled.handles[-1]}, threads "
        f"{settled.threads[0]} to {settled.threads[-1]}; store {lived.store_bytes / MIB:.1f} MiB"
    )
    assert lived.failed == []
    assert set(settled.handles) == {settled.handles[0]}
    assert set(settled.threads) == {settled.threads[0]}
    assert lived.store_bytes < min(STORE_A_DAY * max(1.0, DAYS), KEEP.size_bytes)
    assert growth <= SLACK * MIB


@pytest.mark.promise(1, 7, 8)
def test_days_of_watching_break_no_promise(lived: Soak, arrivals: list[Arrival]) -> None:
    assert lived.notices > lived.cycles / 10, "a soak without weather proves nothing"
    broken = broken_promises(lived, arrivals)
    assert not broken, "\n".join(broken[:20])


@pytest.mark.promise(5)
def test_housekeeping_keeps_what_people_look_up_and_drops_the_rest(lived: Soak) -> None:
    """The store that those days have filled, kept so briefly that there is much to drop."""
    share = (lived.end - lived.start) / 4
    brief = Keep(reports=2 * share, episodes=2 * share, notices=share)
    settings = read_settings([lived.folder / "watch.toml"], {})
    with open_store(lived.folder / "watch.db", HandClock(lived.end), durable=False) as store:
        # It was tidied every day, and all of it is younger than anything that may go.
        assert store.tidy(lived.end).dropped == {}
        before = Everything(store, lived.start)
        assert len(before.notices) == lived.notices
        dropped = store.tidy(lived.end, brief).dropped
        after = Everything(store, lived.start)
        assert store.tidy(lived.end, brief).dropped == {}
        assert store.check().problems == ()
        states = load_states(store)
        assert set(states) == set(AIRFIELDS)
        # A watch that starts with what is left stands where the one before stood.
        watch = Watch(settings, store, None, make_channels(settings), HandClock(lived.end))
        assert {name: books.state for name, books in watch.books.items()} == states

    still_open = {episode.id for episode in before.episodes.values() if episode.closed_at is None}
    for table in ("reports", "events", "episodes", "steps", "notices", "deliveries", "attempts"):
        assert dropped[table] > 0, table
    # Whatever is young, on its way or about something open is there, as it was; all else is gone.
    assert after.notices == {
        notice: known
        for notice, known in before.notices.items()
        if known.notice.at >= lived.end - brief.notices
        or any(delivery.state in OPEN_STATES for delivery in known.deliveries)
        or any(step.episode in still_open for step in known.notice.steps)
    }
    assert after.episodes == {
        episode: known
        for episode, known in before.episodes.items()
        if known.closed_at is None or known.closed_at >= lived.end - brief.episodes
    }
    for episode in after.episodes:
        assert after.steps[episode] == before.steps[episode]
    # What a notice rests on can be looked up with it (`windwatch explain`).
    evidence = {
        report.id
        for known in after.notices.values()
        for step in known.notice.steps
        if step.episode in still_open or step.at >= lived.end - brief.notices
        for report in step.reports
    }
    assert evidence
    assert evidence <= after.reports.keys()
    for report, known in before.reports.items():
        young = known.received_at >= lived.end - brief.reports
        assert (report in after.reports) >= young
    gone = before.reports.keys() - after.reports.keys()
    assert len(gone) > len(before.reports) / 3


class Everything:
    """What can be looked up in a store."""

    def __init__(self, store: Store, since: datetime) -> None:
        self.notices = {known.notice.id: known for known in store.notices()}
        self.episodes = {episode.id: episode for episode in store.episodes()}
        self.steps = {episode: store.steps(episode) for episode in self.episodes}
        self.reports = {
            report.id: report
            for name in AIRFIELDS
            for report in store.reports_of(name, since - timedelta(days=1))
        }
