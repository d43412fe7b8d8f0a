"""A reply with 5,000 stations: read, the watched ones decoded and assessed.

Issue 3, figure 5: within 150 ms of one core, and less than 64 MiB more memory. reliability.md,
section 6: all 5,000 decoded in at most 2 s, an unchanged reply in 0.3 s, a 304 in 10 ms. The
machine where this was written took 18 ms, 0.16 s, 10 ms and 0.3 ms, and 1 MiB.
"""

import statistics
import subprocess
import sys
import time
import tracemalloc
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
import responses

from tests.feeds import bulk_samples as made
from tests.feeds.bulk_samples import zipped
from tests.pipeline.little_field import a_fleet, an_aircraft, an_airfield, limits
from windwatch.assessment.assess import assess
from windwatch.assessment.plan import plan_airfield
from windwatch.clock import HandClock
from windwatch.feeds.awc_cache import ADDRESS
from windwatch.feeds.build import build_feed
from windwatch.feeds.bulk import BulkReader
from windwatch.feeds.bulk_stream import pieces_of
from windwatch.feeds.report_text import observed_near, station_of
from windwatch.feeds.values import FeedSettings
from windwatch.fleet import PilotLimits, Station
from windwatch.reports.decode import decode_report

pytestmark = pytest.mark.benchmark

STATIONS = 5000
WATCHED = 20
ROUNDS = 9
REPLY_S = 0.150
ALL_NEW_S = 2.0
UNCHANGED_S = 0.3
NOT_MODIFIED_S = 0.010
MEMORY = 64 * 1024 * 1024
NOW = datetime(2024, 8, 31, 23, 59, tzinfo=UTC)


def recorded_reports(reference):
    """One recorded report of each of 5,000 stations (reference/reports/README.md)."""
    found = {}
    for line in (reference / "reports/metar.txt").read_text(encoding="utf-8").splitlines():
        station = station_of(line)
        if station and len(found) < STATIONS:
            found.setdefault(station, line)
    return found


@pytest.fixture(scope="module", params=["recorded", "invented"])
def reports(request):
    """A report a station."""
    if request.param == "recorded":
        found = recorded_reports(request.getfixturevalue("reference"))
    else:
        names = [made.station(number) for number in range(STATIONS)]
        found = {name: made.report_of(name, number) for number, name in enumerate(names)}
    assert len(found) == STATIONS
    return found


@pytest.fixture(scope="module")
def reply(reports):
    """The cache file as it is sent."""
    rows = [made.HEADER + "\n"]
    for station, text in reports.items():
        moment = observed_near(text, NOW) or NOW
        rows.append(made.row(text, station, f"{moment:%Y-%m-%dT%H:%M:%S}.000Z"))
    return zipped("".join(rows).encode())


@pytest.fixture(scope="module")
def plans(reports):
    """Watched airfields: five aircraft and two pilot standards on two runways, each."""
    pilots = [
        PilotLimits("student solo", limits("student solo", crosswind=7, wind=15)),
        PilotLimits("dual", limits("dual", crosswind=14, wind=28)),
    ]
    found = {}
    for station in list(reports)[:: STATIONS // WATCHED]:
        airfield = replace(an_airfield(), id=station, station=Station(station))
        craft = [
            replace(
                an_aircraft(
                    f"X-{number}",
                    limits(
                        f"X-{number}",
                        crosswind=12 + number,
                        tailwind=8,
                        gust_spread=12,
                        taxi_wind=28 + number,
                        tie_down=25,
                        shelter=40,
                    ),
                    ("student solo", "dual"),
                ),
                based_at=station,
            )
            for number in range(5)
        ]
        fleet = a_fleet(*craft, airfield=airfield, pilots=pilots)
        found[station] = plan_airfield(fleet, airfield, NOW.date())
    assert len(found) == WATCHED
    return found


def processor_s(work, rounds=ROUNDS):
    """Middle time of the processor, in seconds."""
    took = []
    for _ in range(rounds):
        started = time.process_time()
        work()
        took.append(time.process_time() - started)
    return statistics.median(took)


def judged(body, plans):
    """Read a reply; decode and assess the watched stations."""
    reader = BulkReader(pieces_of(body), plans, NOW, source="awc-cache", form="cache")
    found = []
    for raw in reader:
        report = decode_report(raw.text, raw.received_at, raw.observed_at, raw.kind)
        if report.observed_at is not None:
            found.append(assess(plans[raw.station_asked], report))
    assert reader.records == STATIONS
    return found


def all_decoded(body):
    """Read a reply; decode everybody."""
    return [
        decode_report(raw.text, raw.received_at, raw.observed_at, raw.kind)
        for raw in BulkReader(pieces_of(body), None, NOW, source="awc-cache", form="cache")
    ]


def test_the_watched_stations_of_a_reply_are_judged_in_time(reply, plans, capsys):
    found = judged(reply, plans)
    assert len(found) == WATCHED
    assert any(assessment.runways and assessment.ground for assessment in found)
    took = processor_s(lambda: judged(reply, plans))
    with capsys.disabled():
        print(f"\nreply of {STATIONS} judged: {took * 1e3:.1f} ms")  # noqa: T201
    assert took < REPLY_S


def test_a_reply_that_is_all_new_is_decoded_in_full_in_time(reply, reports, capsys):
    found = all_decoded(reply)
    assert len(found) == STATIONS
    assert sum(report.wind is not None for report in found) > STATIONS * 0.9
    took = processor_s(lambda: all_decoded(reply), rounds=3)
    with capsys.disabled():
        print(f"\nall {STATIONS} decoded in full: {took * 1e3:.0f} ms")  # noqa: T201
    assert took < ALL_NEW_S


IN_A_NEW_PROCESS = """
import sys
from datetime import datetime
from pathlib import Path
from windwatch.feeds.bulk import BulkReader
from windwatch.feeds.bulk_stream import pieces_of
from windwatch.reports.decode import decode_report

def most():
    # Not ru_maxrss, which begins with what the process that started this one had.
    status = Path("/proc/self/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0]) * 1024

now = datetime.fromisoformat(sys.argv[2])
before = most()
body = Path(sys.argv[1]).read_bytes()
reader = BulkReader(pieces_of(body), sys.argv[3:], now, source="awc-cache")
found = [decode_report(raw.text, now, raw.observed_at, raw.kind) for raw in reader]
print(len(found), reader.records, most() - before)
"""


@pytest.mark.promise(16)
@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells the most that was resident")
def test_memory_stays_flat(reply, plans, root, tmp_path, capsys):
    tracemalloc.start()
    judged(reply, plans)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    file = tmp_path / "metars.cache.csv.gz"
    file.write_bytes(reply)
    done = subprocess.run(
        [sys.executable, "-c", IN_A_NEW_PROCESS, str(file), NOW.isoformat(), *plans],
        cwd=root,
        capture_output=True,
        check=True,
    )
    reports, records, resident = (int(word) for word in done.stdout.split())
    assert (reports, records) == (WATCHED, STATIONS)
    with capsys.disabled():
        print(f"\npeak {peak / 2**20:.2f} MiB, resident grew {resident / 2**20:.2f} MiB")  # noqa: T201
    assert peak < MEMORY
    assert resident < MEMORY


def test_an_unchanged_reply_costs_little_through_the_whole_feed(reply, plans, capsys):
    clock = HandClock(NOW)
    feed = build_feed(FeedSettings("awc-cache", contact="ops@larkspur.example"), clock)
    stations = tuple(plans)
    with responses.RequestsMock() as web:
        web.get(ADDRESS, body=reply, headers={"ETag": '"7"'})

        def fetch():
            clock.move(timedelta(minutes=1))
            return feed.fetch(stations, NOW)

        assert len(fetch().reports) == WATCHED
        again = processor_s(fetch)
        web.replace("GET", ADDRESS, status=304)
        assert fetch().not_modified
        not_modified = processor_s(fetch)
    feed.close()
    with capsys.disabled():
        print(f"\nunchanged {again * 1e3:.1f} ms, 304 {not_modified * 1e3:.2f} ms")  # noqa: T201
    assert again < UNCHANGED_S
    assert not_modified < NOT_MODIFIED_S
