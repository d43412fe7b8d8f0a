"""Odd reports, played through the whole watch: faults F12 to F21, F25 and F26."""

from datetime import UTC, datetime, timedelta
from random import Random

import pytest

from tests.watch.little_watch import (
    MINUTE,
    QUIET,
    START,
    STORM,
    Bench,
    bench,
    config_text,
    ids,
    metar,
    said,
)
from windwatch.clock import HandClock, SystemClock
from windwatch.reports.raw import RawReport

HOUR = timedelta(hours=1)
TWO_DESKS = "".join(
    f'\n[[contact]]\nname = "{name}"\nfolder = "{name}"\n{more}'
    for name, more in (
        ("desk", "tell_about = { thunder = false }\n"),
        ("owner", 'tell_about = { thunder = false, aircraft = ["X-XLKS"] }\n'),
        ("neighbour", "tell_about = { thunder = false, ground = false }\n"),
    )
)


@pytest.fixture
def field(tmp_path):
    with bench(tmp_path, config_text(people=TWO_DESKS), HandClock(START)) as b:
        yield b


def take(b: Bench, *texts: str, observed_at=None, station="XLKS"):
    now = b.clock.now()
    raws = [
        RawReport(t, now, "test", observed_at=observed_at, station_asked=station) for t in texts
    ]
    return b.watch.take(raws)


def steps(report):
    return sorted(said(report))


def statuses(report):
    return [judged.status.value for _, judged in report.judged]


def known_at(b):
    wind = b.watch.books["XLKS"].state.wind
    return None if wind is None else wind.at


def open_tracks(b):
    return [told.track.quantity for told in b.watch.books["XLKS"].state.ledger if told.open]


@pytest.mark.fault("F12")
@pytest.mark.promise(7)
def test_f12_yesterdays_file_at_the_same_hour_is_no_new_report(field):
    """A cache of yesterday: with its date it is refused, without one it is a day old."""
    yesterday = START - timedelta(days=1)
    take(field, metar(START, STORM))
    quiet_then = metar(yesterday + HOUR, QUIET)
    field.at(START + HOUR + MINUTE)
    dated = take(field, quiet_then, observed_at=yesterday + HOUR)
    undated = take(field, quiet_then)
    assert statuses(dated) == ["late"]
    assert statuses(undated) in (["late"], ["duplicate"])
    assert steps(dated) == steps(undated) == []
    assert known_at(field) == START
    # The text unchanged a day later, in a file that says it is of today: still yesterday's.
    field.at(START + timedelta(days=1, minutes=1))
    again = take(field, metar(START, STORM))
    assert {step for _, step in said(again)} == {"no_data"}
    assert "accepted" not in statuses(again)


@pytest.mark.fault("F13", "F14")
@pytest.mark.promise(7)
def test_f13_f14_another_stations_and_tomorrows_reports_refresh_nothing(field):
    take(field, metar(START, STORM))
    field.clock.move(HOUR + MINUTE)
    now = field.clock.now()
    other = take(field, metar(now, QUIET, "XOTH"))
    ahead = take(field, metar(now + 2 * HOUR, QUIET))
    assert statuses(other) == statuses(ahead) == ["quarantined"]
    assert known_at(field) == START
    # It has not become "the newest" either: the true one, older than it, is judged.
    assert statuses(take(field, metar(now, "27035G60KT"))) == ["accepted"]
    assert known_at(field) == now
    assert field.watch.tick().notices == []


@pytest.mark.fault("F15", "F16")
@pytest.mark.promise(3)
def test_f15_f16_by_turns_and_five_hundred_times_from_two_feeds_is_one_effect(field):
    old, new = metar(START - HOUR, QUIET), metar(START, STORM)
    told, chance = [], Random(16)
    for n in range(500):
        field.clock.move(timedelta(seconds=1))
        text = (old, new)[n % 2]
        odd = text.replace(" ", " " * chance.randint(1, 4)) + chance.choice(["", "=", " \r\n"])
        raw = RawReport(odd, field.clock.now(), ("awc", "nws")[n % 3 % 2], station_asked="XLKS")
        told += said(field.watch.take([raw]))
    assert sorted(told) == [("desk", "opened"), ("owner", "opened")]
    assert len(field.store.reports_of("XLKS", START - 2 * HOUR)) == 2
    assert len(field.watch.books["XLKS"].state.entries) == 2
    assert known_at(field) == START


@pytest.mark.fault("F17")
@pytest.mark.promise(4)
def test_f17_in_reverse_order_the_end_is_the_same_and_it_is_one_notice(tmp_path):
    day = [
        metar(START + n * 20 * MINUTE, wind)
        for n, wind in enumerate([QUIET, STORM, "27020G35KT", "27035G55KT", "27030G50KT"])
    ]
    found = []
    for name, order in (("forward", day), ("backward", day[::-1])):
        (tmp_path / name).mkdir()
        with bench(tmp_path / name, config_text(), HandClock(START + 81 * MINUTE)) as b:
            report = take(b, *order)
            assert len(report.notices) == 1
            found.append((b.watch.books["XLKS"].folded, ids(report)))
    assert found[0] == found[1]


@pytest.mark.fault("F18", "F19")
def test_f18_f19_a_correction_withdraws_to_those_told_and_one_that_adds_says_that_it_is_one(field):
    report = take(field, metar(START, STORM))
    assert steps(report) == [("desk", "opened"), ("owner", "opened")]
    field.clock.move(5 * MINUTE)
    report = take(field, metar(START, f"COR {QUIET}"))
    assert steps(report) == [("desk", "withdrawn"), ("owner", "withdrawn")]
    assert all("back within limits" not in content.text for _, content in report.notices)
    field.clock.move(25 * MINUTE)
    take(field, metar(field.clock.now(), QUIET))
    at = field.clock.now()
    field.clock.move(5 * MINUTE)
    report = take(field, metar(at, "COR 27035G60KT"))
    assert steps(report) == [("desk", "opened"), ("owner", "opened")]
    assert all("corrected report" in content.text for _, content in report.notices)


@pytest.mark.fault("F20")
@pytest.mark.promise(7)
@pytest.mark.parametrize("wind", ["/////KT", "NIL", "AUTO", "AUTO /////KT", "///02KT"])
def test_f20_what_has_no_whole_wind_clears_nothing_for_hours(field, wind):
    take(field, metar(START, STORM))
    told = []
    for _ in range(8):
        field.clock.move(30 * MINUTE)
        told += said(take(field, metar(field.clock.now(), wind)))
        told += said(field.watch.tick())
    assert not {step for _, step in told} & {"back", "withdrawn", "ended"}
    assert open_tracks(field) == ["tie_down"]
    if wind == "///02KT":
        assert ("desk", "no_data") not in told
    else:
        assert known_at(field) == START
        assert ("desk", "no_data") in told


@pytest.mark.fault("F20")
def test_f20_a_speed_without_direction_opens_as_variable(field):
    report = take(field, metar(START, "///41KT"))
    assert steps(report) == [("desk", "opened"), ("owner", "opened")]


@pytest.mark.fault("F21")
@pytest.mark.promise(16)
def test_f21_a_monstrous_report_among_good_ones_costs_one_report(field):
    monster = "METAR XLKS \x00\ufeff\u202e" + "A" * 1_000_000 + "\ufffd"
    clock = SystemClock()
    good = [metar(START - k * MINUTE, QUIET) for k in range(1, 100)]
    began = clock.monotonic()
    report = take(field, *good[:50], monster, *good[50:], metar(START, STORM))
    took_s = clock.monotonic() - began
    assert statuses(report).count("accepted") == 100
    assert statuses(report).count("unreadable") == 1
    assert steps(report) == [("desk", "opened"), ("owner", "opened")]
    began = clock.monotonic()
    take(field, monster)
    alone_s = clock.monotonic() - began
    assert alone_s < 0.05 + took_s, "a few milliseconds, on a machine however busy"
    kept = field.store.reports_of("XLKS", START - HOUR)
    assert max(len(row.raw) for row in kept) <= 2_000, "and no disk is filled by it"


@pytest.mark.fault("F21")
@pytest.mark.promise(16)
def test_f21_in_a_bulk_answer_4999_of_5000_lines_are_read_and_one_is_shown_escaped():
    from tests.feeds import bulk_samples as made  # noqa: PLC0415 - large, and only here
    from tests.feeds.test_bulk_cache import read  # noqa: PLC0415

    rows = made.cache(5000).split(b"\n")
    rows[2500] = made.monster()
    reports, reader = read(b"\n".join(rows), tuple(made.station(n) for n in range(5000)))
    assert len(reports) == 4999
    assert all(len(report.text) < 2_000 for report in reports)
    [problem] = reader.problems
    assert problem.isprintable()


@pytest.mark.fault("F25")
def test_f25_speci_and_metar_three_minutes_apart_are_judged_both_and_count_once(tmp_path):
    text = config_text().replace("tie_down_kt = 25", "taxi_wind_kt = 25")
    with bench(tmp_path, text, HandClock(START)) as b:
        take(b, metar(START, STORM))
        b.clock.move(50 * MINUTE)
        first = take(b, metar(b.clock.now(), QUIET).replace("METAR", "SPECI"))
        b.clock.move(3 * MINUTE)
        second = take(b, metar(b.clock.now(), QUIET))
        assert statuses(first) == statuses(second) == ["accepted"]
        assert steps(first) == steps(second) == [], "together one report for the all-clear rule"
        b.clock.move(10 * MINUTE)
        assert steps(take(b, metar(b.clock.now(), QUIET))) == [("desk", "back")]
    with bench(tmp_path, text, HandClock(START + HOUR * 24)) as b:
        # And the one that opens is enough by itself, whichever of the two it is.
        at = b.clock.now()
        speci = metar(at, STORM).replace("METAR", "SPECI")
        assert ("desk", "opened") in said(take(b, speci, metar(at + 3 * MINUTE, QUIET)))


@pytest.mark.fault("F26")
@pytest.mark.parametrize(
    "now",
    [
        datetime(2026, 10, 1, 0, 5, tzinfo=UTC),
        datetime(2027, 1, 1, 0, 5, tzinfo=UTC),
        datetime(2028, 3, 1, 0, 5, tzinfo=UTC),
        datetime(2027, 3, 1, 0, 5, tzinfo=UTC),
    ],
)
def test_f26_at_the_turn_of_month_and_year_the_date_is_right_and_nothing_old_is_fresh(
    tmp_path, now
):
    observed = now - 12 * MINUTE
    with bench(tmp_path, config_text(), HandClock(now)) as b:
        assert steps(take(b, metar(observed, STORM))) == [("desk", "opened")]
        assert known_at(b) == observed
        # A month ago to the minute, and the day that follows: neither is of now.
        for other in (now - timedelta(days=30), now + timedelta(days=1)):
            # By its text alone 010005Z may be of either month; the feed's full date settles it.
            report = take(b, metar(other, QUIET), observed_at=other)
            assert "accepted" not in statuses(report), (other, report.judged)
        assert known_at(b) == observed
        assert open_tracks(b) == ["tie_down"]
