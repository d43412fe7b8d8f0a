"""How long a report takes from arrival to its notices, but for store and sending.

The figure to hold (issue 2, what it must show, 5): under 50 ms from the feed's reply to the notice
committed, for 10 airfields × 10 aircraft × 3 standards. The pure part must leave room for the
store. Run with ``-m benchmark -s``.
"""

from dataclasses import replace
from datetime import timedelta
from time import thread_time
from types import MappingProxyType

import pytest

from tests.pipeline.little_field import (
    EAST_WEST,
    NORTH_SOUTH,
    an_aircraft,
    an_airfield,
    limits,
    utc,
)
from windwatch import pipeline
from windwatch.episodes.books import Books, Setup
from windwatch.fleet import (
    Contact,
    Fleet,
    OperatingHours,
    PilotLimits,
    RunwaySteps,
    Station,
    TellAbout,
)
from windwatch.reports.raw import RawReport

STANDARDS = ("student solo", "dual", "instructor")
AIRFIELDS, AIRCRAFT = 10, 10
# Of the 50 ms; the rest is for words and commit. Time of the processor, which neighbours on a
# busy machine slow down all the same.
ALL_CROSSED_MS, ONE_CROSSED_MS, QUIET_MS, SLACK = 45.0, 20.0, 15.0, 2.0


def big_fleet() -> Fleet:
    fields = tuple(
        an_airfield(
            id=f"XA{n:02d}",
            station=Station(f"XA{n:02d}"),
            runways=(EAST_WEST, NORTH_SOUTH),
            fall_back_stations=(),
            operating_hours=OperatingHours(utc("0000").time(), utc("2359").time()),
        )
        for n in range(AIRFIELDS)
    )
    aircraft = tuple(
        replace(
            an_aircraft(
                f"X-{field.id}-{n}",
                limits(
                    f"X-{field.id}-{n}",
                    crosswind=15 + n,
                    tailwind=8,
                    wind=35,
                    gust_spread=12,
                    taxi=30,
                    tie_down=25,
                    shelter=40,
                ),
                STANDARDS,
            ),
            based_at=field.id,
        )
        for field in fields
        for n in range(AIRCRAFT)
    )
    pilots = {
        name: PilotLimits(name, limits(name, crosswind=7 + 4 * n, wind=15 + 8 * n))
        for n, name in enumerate(STANDARDS)
    }
    contacts = (
        Contact("desk", ("email", "webhook"), TellAbout(runways=RunwaySteps.EACH)),
        Contact("instructor", ("email",), TellAbout(runways=RunwaySteps.LAST, ground=False)),
        Contact("owner", ("email",), TellAbout(runways=RunwaySteps.NONE)),
    )
    return Fleet(fields, aircraft, MappingProxyType(pilots), contacts)


def watched_since_morning(wind: str) -> tuple[Setup, dict[str, Books]]:
    """Six hours of hourly reports and a tick each, as in an ordinary day."""
    setup = Setup(big_fleet())
    books = {f.id: pipeline.begin(setup, f, utc("1000")) for f in setup.fleet.airfields}
    for hour in range(10, 16):
        at = utc(f"{hour}56")
        for station, known in books.items():
            event = came(station, wind, f"{hour}53")
            heard = pipeline.step(setup, known, event, at).books
            later = at + timedelta(minutes=2)
            books[station] = pipeline.step(setup, heard, pipeline.Tick(), later).books
    return setup, books


def came(station: str, wind: str, at: str) -> pipeline.ReportsCame:
    text = f"METAR {station} 22{at}Z {wind} 10SM FEW030 BKN250 20/17 A2982 RMK AO2 SLP086 T02000172"
    return pipeline.ReportsCame((RawReport(text, utc(at), "awc"),))


def best_of(setup: Setup, books: dict[str, Books], days: list[list[str]]) -> tuple[float, int]:
    """Milliseconds for one report at every airfield, the best of some days; and notices."""
    times, notices = [], 0
    for winds in days:
        # Another wind each time: nothing of it is known already.
        events = {s: came(s, wind, "1653") for s, wind in zip(books, winds, strict=True)}
        began = thread_time()
        outcomes = [
            pipeline.step(setup, known, events[s], utc("1656")) for s, known in books.items()
        ]
        times.append((thread_time() - began) * 1000)
        notices = sum(len(outcome.notices) for outcome in outcomes)
    return min(times), notices


def crossing(n: int) -> str:
    """A wind that takes every runway and every ground limit from everybody."""
    return f"220{27 + n}G45KT 190V250"


@pytest.mark.benchmark
def test_everything_crossed_at_all_ten_airfields_at_once() -> None:
    setup, books = watched_since_morning("18008KT")
    took, notices = best_of(setup, books, [[crossing(n)] * AIRFIELDS for n in range(8)])
    print(f"\neverything crossed at all {AIRFIELDS}: {took:.1f} ms, {notices} notices")  # noqa: T201
    assert notices == AIRFIELDS * 3
    assert took < ALL_CROSSED_MS * SLACK


@pytest.mark.benchmark
def test_everything_crossed_at_one_of_ten_airfields() -> None:
    setup, books = watched_since_morning("18004KT")
    days = [[crossing(n), *[f"1800{n + 1}KT"] * (AIRFIELDS - 1)] for n in range(6)]
    took, notices = best_of(setup, books, days)
    print(f"\neverything crossed at one of {AIRFIELDS}: {took:.1f} ms, {notices} notices")  # noqa: T201
    assert notices == 3
    assert took < ONE_CROSSED_MS * SLACK


@pytest.mark.benchmark
def test_a_quiet_report_at_ten_airfields_is_cheap() -> None:
    setup, books = watched_since_morning("18004KT")
    took, notices = best_of(setup, books, [[f"1800{n}KT"] * AIRFIELDS for n in range(1, 7)])
    print(f"\nquiet report at {AIRFIELDS} airfields: {took:.1f} ms")  # noqa: T201
    assert notices == 0
    assert took < QUIET_MS * SLACK


@pytest.mark.benchmark
def test_a_tick_without_news_costs_next_to_nothing() -> None:
    setup, books = watched_since_morning("18008KT")
    began = thread_time()
    for station, known in books.items():
        outcome = pipeline.step(setup, known, pipeline.Tick(), utc("1600"))
        assert outcome.books is known, station
    took = (thread_time() - began) * 1000
    print(f"\ntick at {AIRFIELDS} airfields: {took:.1f} ms")  # noqa: T201
    assert took < QUIET_MS
