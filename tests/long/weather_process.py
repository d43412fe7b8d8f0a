"""Fifty stations for days, served by a process of its own: what it remembers is not the watch's.

    python -m tests.long.weather_process SEED DAYS FOLDER

Says its address, and then, for each line ``TIME FAULT`` on its standard input, that it has taken
it: that is the time now, and with a fault (`FAULTS`; -1: none) the next answer is wrong.
"""

import hashlib
import json
import subprocess
import sys
from bisect import bisect_right
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from operator import itemgetter
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from tests.model.storms import FAULTY, Arrival, Kind, storm
from tests.servers.feed_server import PlayedFeed, _object, _observed
from windwatch.clock import HandClock

ROOT = Path(__file__).parent.parent.parent
AIRFIELDS = tuple(f"X{a}{b}S" for a in "ABCDE" for b in "ABCDEFGHIJ")
FAULTS = (
    (503, {"Content-Type": "text/plain"}, b"come back later"),
    (500, {}, b""),
    (200, {"Content-Type": "text/html"}, b"<html><body>Please log in</body></html>"),
    (200, {"Content-Type": "application/json"}, b"[]"),
    (200, {"Content-Type": "application/json"}, b'[{"icaoId": "XAAS", "rawOb": "METAR XA'),
    (200, {"Content-Type": "application/json", "Content-Encoding": "gzip"}, b"\x1f\x8bno"),
    (204, {}, b""),
    (304, {}, b""),
    (404, {}, b"gone"),
)


def weather(seed: int, days: float) -> list[Arrival]:
    """What the stations report, in the order of receipt."""
    kind = Kind(**{**vars(FAULTY), "hours": int(days * 24) + 1, "specials": 0.2})
    found = [
        arrival
        for k, name in enumerate(AIRFIELDS)
        for arrival in storm(seed * 1000 + k, kind, name)
    ]
    return sorted(found, key=lambda arrival: arrival.at)


class Weather(PlayedFeed):
    """Every record is written once, for an answer is asked each minute."""

    def __init__(self, nothing: Path, clock: HandClock, arrivals: list[Arrival]) -> None:
        super().__init__(nothing, clock)
        self._came = [arrival.at for arrival in arrivals]
        self._records = [
            (_observed(raw), raw.text.split()[1], json.dumps(_object(raw)))
            for raw in (arrival.raw for arrival in arrivals)
        ]

    def answer(self, target: str, condition: str | None) -> tuple[int, dict[str, str], bytes]:
        if self.faults:
            return self.faults.pop(0)
        query = parse_qs(urlsplit(target).query)
        now = self._clock.now()
        since = now - timedelta(hours=float(query["hours"][0]))
        wanted = query["ids"][0].split(",")
        # No report comes so late.
        begin = bisect_right(self._came, since - timedelta(hours=2))
        recent = self._records[begin : bisect_right(self._came, now)]
        shown = [row for row in recent if row[0] >= since and row[1] in wanted]
        if not shown:
            return 204, {}, b""
        shown.sort(key=itemgetter(0), reverse=True)
        body = f"[{','.join(record for _, _, record in shown)}]".encode()
        tag = f'W/"{hashlib.sha256(body).hexdigest()[:16]}"'
        headers = {"Content-Type": "application/json; charset=utf-8", "ETag": tag}
        return (304, headers, b"") if condition == tag else (200, headers, body)


class Served:
    """The weather as the process that watches knows it."""

    def __init__(self, process: "subprocess.Popen[str]") -> None:
        self._process = process
        self.url = self._answer()

    def now_is(self, now: datetime, fault: int | None) -> None:
        """Have the time be that, and the next answer be wrong where there is a fault."""
        assert self._process.stdin is not None
        self._process.stdin.write(f"{now.isoformat()} {-1 if fault is None else fault}\n")
        self._process.stdin.flush()
        assert self._answer() == "taken"

    def _answer(self) -> str:
        assert self._process.stdout is not None
        return self._process.stdout.readline().strip()


@contextmanager
def weather_served(seed: int, days: float, folder: Path) -> Iterator[Served]:
    command = [sys.executable, "-m", "tests.long.weather_process", str(seed), str(days), folder]
    with subprocess.Popen(
        command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        try:
            yield Served(process)
        finally:
            process.kill()


def main(seed: int, days: float, folder: Path) -> None:
    nothing = folder / "nothing.txt"
    nothing.write_text("# nothing\n", encoding="utf-8")
    arrivals = weather(seed, days)
    clock = HandClock(arrivals[0].at)
    with Weather(nothing, clock, arrivals) as feed:
        print(feed.url, flush=True)  # noqa: T201 - that is how it speaks
        for line in sys.stdin:
            now, fault = line.split()
            clock.set(datetime.fromisoformat(now))
            # What nobody asked for, because the watch stayed away, is not left for later.
            feed.faults[:] = [FAULTS[int(fault)]] if int(fault) >= 0 else []
            print("taken", flush=True)  # noqa: T201


if __name__ == "__main__":
    main(int(sys.argv[1]), float(sys.argv[2]), Path(sys.argv[3]))
