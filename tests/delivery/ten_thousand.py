"""A process that tells 10,000 contacts of one crossing, and measures itself (F77).

Prints one JSON object: resident memory before and at its peak, sockets open at a time, and what
the store says became of the deliveries.
"""

import json
import sqlite3
import sys
import threading
import time
from pathlib import Path

from tests.servers.webhook_server import SECRET
from tests.watch.little_watch import QUIET, STORM, config_text, metar
from windwatch.clock import SystemClock
from windwatch.reports.raw import RawReport
from windwatch.settings.read import read_settings
from windwatch.store.store import open_store
from windwatch.watch import Watch
from windwatch.wiring import make_channels

HOSTS = 50
# A file of a configuration has at most a mebibyte.
A_FILE = 2_000
TICK_S = 0.02
PATIENCE_S = 600


def people(port: int, numbers: range) -> str:
    """Contacts, spread over endpoints that are hosts of their own."""
    return "".join(
        f'[[contact]]\nname = "contact {number}"\n'
        f'webhook = {{ url = "http://127.0.0.{1 + number % HOSTS}:{port}/{number}", '
        'allow_http = true, secret_env = "HOOK_SECRET" }\n'
        for number in numbers
    )


def sockets() -> int:
    found = 0
    for link in Path("/proc/self/fd").iterdir():
        try:
            found += str(link.readlink()).startswith("socket:")
        except OSError:
            continue
    return found


def resident_mib() -> float:
    # Not ru_maxrss, which begins with what the process that started this one had.
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.partition("VmHWM:")[2].split()[0]) / 1024


def configure(port: int, folder: Path, count: int) -> list[Path]:
    rim = '[delivery]\nallow_networks = ["127.0.0.0/8"]\n'
    files = [folder / "watch.toml"]
    files[0].write_text(config_text(people="", rim=rim), encoding="utf-8")
    for first in range(0, count, A_FILE):
        files.append(folder / f"people-{first:05}.toml")
        numbers = range(first, min(first + A_FILE, count))
        files[-1].write_text(people(port, numbers), encoding="utf-8")
    return files


def main(port: int, folder: Path, count: int) -> None:
    settings = read_settings(configure(port, folder, count), {"HOOK_SECRET": SECRET})
    clock = SystemClock()
    most = 0
    done = threading.Event()

    def look() -> None:
        nonlocal most
        while not done.wait(TICK_S):
            most = max(most, sockets())

    with open_store(folder / "watch.db", clock) as store:
        watch = Watch(settings, store, None, make_channels(settings), clock)
        now = clock.now()
        watch.take([RawReport(metar(now, QUIET), now, "test")])
        before = resident_mib()
        threading.Thread(target=look, daemon=True).start()
        began = time.monotonic()
        now = clock.now()
        watch.take([RawReport(metar(now, STORM).replace("METAR", "SPECI"), now, "test")])
        judged = time.monotonic()
        while store.next_due(clock.now()) is not None and time.monotonic() - judged < PATIENCE_S:
            watch.deliver()
        drained = time.monotonic()
        done.set()
        peak = resident_mib()
    books = sqlite3.connect(folder / "watch.db")
    states = dict(books.execute("SELECT state, count(*) FROM deliveries GROUP BY state"))
    books.close()
    found = {
        "before_mib": before,
        "peak_mib": peak,
        "sockets": most,
        "states": states,
        "judged_s": judged - began,
        "drained_s": drained - judged,
    }
    sys.stdout.write(json.dumps(found))


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]))
