"""No file handle is left for one task: it fails, the next cycle is good, nothing leaks. F38.

The system's own limit, in a process of its own.
"""

import subprocess
import sys

import pytest

OUT_OF_HANDLES = """
import logging, os, resource, sys, threading
from pathlib import Path
from tests.servers.feed_server import PlayedFeed
from tests.watch.little_watch import (
    MINUTE, QUIET, START, STORM, bench, config_text, metar, recording, said
)
from windwatch.clock import HandClock

logging.disable(logging.CRITICAL)
folder, clock = Path(sys.argv[1]), HandClock(START)
day = [(START, metar(START, QUIET)), (START + 5 * MINUTE, metar(START + 5 * MINUTE, STORM))]
soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)


def handles():
    return len(os.listdir("/proc/self/fd")) - 1


def cycle(b):
    clock.move(MINUTE)
    report = b.watch.poll()
    try:
        b.watch.deliver()
    except Exception as error:
        report.failed.append(repr(error))
    return report


with PlayedFeed(recording(folder / "day.txt", day), clock) as feed:
    with bench(folder, config_text(feed=feed.url), clock) as b:
        for _ in range(3):
            assert not cycle(b).feed_failed
        before, threads = handles(), threading.active_count()
        good = b.watch.keeper.health(b.watch.books).last_cycle_at
        assert good == clock.now()
        # No number above those in use may be given out, and every gap between them is filled.
        resource.setrlimit(resource.RLIMIT_NOFILE, (before, hard))
        filled = []
        try:
            while True:
                filled.append(os.open("/dev/null", os.O_RDONLY))
        except OSError:
            pass
        for _ in range(3):
            report = cycle(b)
            assert report.feed_failed, report
            assert said(report) == []
        found = b.watch.keeper.health(b.watch.books)
        assert found.last_cycle_at == good
        assert found.feed_problem or found.store_problem
        assert found.faults(found.written_at + 5 * MINUTE), "health is red"
        for descriptor in filled:
            os.close(descriptor)
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
        told = []
        for _ in range(2):
            told += said(cycle(b))
        assert told == [("desk", "opened")], told
        assert b.watch.keeper.health(b.watch.books).last_cycle_at == clock.now()
        assert len(list((folder / "dropped").glob("*.eml"))) == 1
        for _ in range(3):
            cycle(b)
        assert handles() <= before + 1, (before, handles())
        # One thread that makes words and one that draws, since the first mail; no more than that.
        assert threading.active_count() <= threads + 2
print("good")
"""


@pytest.mark.fault("F38")
@pytest.mark.promise(16)
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="handles as Linux lists them")
def test_f38_without_file_handles_polls_fail_and_the_first_with_them_is_good(tmp_path, root):
    found = subprocess.run(
        [sys.executable, "-c", OUT_OF_HANDLES, str(tmp_path)],
        capture_output=True,
        text=True,
        cwd=root,
        check=False,
    )
    assert found.stdout.strip() == "good", found.stderr
