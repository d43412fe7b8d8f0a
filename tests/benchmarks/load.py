"""The load to hold (reliability.md, section 6), row by row: which test bears it, and its figure.

============================================  ==============================  ===================
row                                           figure                          borne by
============================================  ==============================  ===================
bulk answer, 5,000 stations each minute       all new 2 s CPU, unchanged      test_bulk_reply
                                              0.3 s, 304 10 ms, 64 MiB
full judging, 200 airfields × 20 aircraft     1 s CPU; changed airfields of   test_full_judging
× 3 standards × 4 ends                        an ordinary minute 100 ms
commit of one report with 50 deliveries       50 ms                           test_commit_speed
10,000 queued deliveries, receivers that      drained in 120 s, urgent        test_ten_thousand
answer in 50 ms                               first, 32 sockets, 256 MiB
100,000 rows in history                       claim 10 ms, board 300 ms       test_large_history
start after a crash with 10,000 open          watching within 5 s             test_ten_thousand
deliveries
30 days at one-minute polls                   memory 1 MiB, no handle, no     long/test_soak
                                              promise broken
random kills                                  200 instants; none lost         long/test_kills
============================================  ==============================  ===================

Figures are CPU seconds wherever that is possible: a machine that others share takes longer by the
wall, and may. Where the wall counts, `Neighbours` says how much longer.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self

FULL_JUDGING_S = 1.0
CHANGED_AIRFIELDS_S = 0.100
DRAINED_S = 120.0
SOCKETS = 32
RESIDENT = 256 << 20
CLAIM_S = 0.010
WATCHING_S = 5.0
DELIVERIES = 10_000
HISTORY = 100_000

# Section 6: measured in CI with 30 % slack.
SLACK = 1.3


def best_cpu_s(work: Callable[[], object], rounds: int) -> float:
    """Least time of the processor that some rounds took; neighbours only ever make it longer."""
    return min(_cpu_s(work) for _ in range(rounds))


def _cpu_s(work: Callable[[], object]) -> float:
    began = time.thread_time()
    work()
    return time.thread_time() - began


def status_bytes(process: int | str, name: str) -> int:
    """A size that Linux tells of a process: ``VmHWM`` is the most that was ever resident."""
    text = Path(f"/proc/{process}/status").read_text(encoding="ascii")
    return int(text.partition(f"{name}:")[2].split()[0]) * 1024


def cpu_s(process: int) -> float:
    """Time of the processor that a process has had so far, all its threads together."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


class Neighbours:
    """How much longer than alone work takes here while the context is open, for others' sake.

    A little work is timed again and again by a thread, by the wall and by the processor. This
    process must have nothing else to do meanwhile.
    """

    WORK_S = 0.01
    REST_S = 0.1

    def __init__(self) -> None:
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._look)
        self._wall = self._cpu = 0.0

    @property
    def slower(self) -> float:
        """1: nobody else was there; 2: work took twice as long as alone."""
        return max(1.0, self._wall / self._cpu) if self._cpu else 1.0

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stop.set()
        self._thread.join()

    def _look(self) -> None:
        while not self._stop.wait(self.REST_S):
            wall, cpu = time.perf_counter(), time.thread_time()
            while time.thread_time() - cpu < self.WORK_S:
                pass
            self._wall += time.perf_counter() - wall
            self._cpu += time.thread_time() - cpu
