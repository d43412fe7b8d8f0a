"""Drains an outbox in a process of its own, as a watch does; says what that took.

    python drain_process.py STORE PORTS CONTACTS

PORTS is a list in JSON: the contacts' webhook receivers on this machine, turn and turn about.
"""

import json
import sys
import time
from datetime import timedelta
from pathlib import Path
from random import Random

from tests.benchmarks.load import status_bytes
from tests.servers.webhook_server import SECRET
from windwatch.clock import SystemClock
from windwatch.delivery.channels import ChannelBook, WebhookTarget
from windwatch.delivery.webhook import WebhookChannel
from windwatch.delivery.worker import Worker
from windwatch.notices.outbox import Route
from windwatch.store.store import open_store


def channels(ports: list[int], contacts: int) -> ChannelBook:
    """A webhook for each contact: the contact's number is the path."""
    return ChannelBook(
        {
            Route(f"contact {n}", "webhook"): WebhookChannel(
                WebhookTarget(
                    f"http://127.0.0.1:{ports[n % len(ports)]}/{n}",
                    (SECRET,),
                    allow_http=True,
                    allow_networks=("127.0.0.0/8",),
                )
            )
            for n in range(contacts)
        }
    )


def drain(path: Path, book: ChannelBook) -> dict[str, float]:
    clock = SystemClock()
    with open_store(path, clock) as store:
        worker = Worker(store, book, clock, lambda *_: None, Random())
        wall, cpu = time.perf_counter(), time.process_time()
        report = worker.drain(patience=timedelta(seconds=60))
        return {
            "accepted": report.accepted,
            "failed": report.failed + report.refused + report.put_off + report.under_way,
            "wall_s": time.perf_counter() - wall,
            "cpu_s": time.process_time() - cpu,
            "resident": status_bytes("self", "VmHWM"),
        }


if __name__ == "__main__":
    found = drain(Path(sys.argv[1]), channels(json.loads(sys.argv[2]), int(sys.argv[3])))
    print(json.dumps(found))  # noqa: T201
