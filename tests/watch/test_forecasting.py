"""Forecasts beside the watch: kept to be shown; whatever goes wrong with them, it goes on."""

import logging
import threading
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from tests.servers.feed_server import PlayedFeed
from tests.watch.little_watch import QUIET, bench, config_text, metar, recording
from tests.watch.test_schedule import Storm
from windwatch import forecasting as dealings
from windwatch.cli.watch import _turn_once
from windwatch.clock import HandClock, SystemClock
from windwatch.errors import FeedBusy, StoreError
from windwatch.feeds.values import FetchResult
from windwatch.forecasting import Forecasting, as_kept, stations_of
from windwatch.reports.raw import RawReport
from windwatch.schedule import run
from windwatch.store.forecasts import StoredForecast, newest_forecast
from windwatch.store.store import open_database, open_store

NOW = datetime(2026, 9, 22, 17, 35, tzinfo=UTC)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
TAF = "TAF XBRN 221730Z 2218/2318 19017G25KT P6SM SCT045"
AMENDED = "TAF AMD XBRN 222047Z 2221/2318 31015G24KT P6SM SCT035"
PATIENCE_S = 20.0


def with_station(text, station="XBRN"):
    return text.replace(
        "elevation_ft = 960\n", f'elevation_ft = 960\nforecast_station = "{station}"\n'
    )


def raw(text=TAF, received_at=NOW, issued_at=None, asked=None):
    return RawReport(text, received_at, "awc", asked, issued_at, "TAF")


# --- what is kept ----------------------------------------------------------


def test_a_forecast_is_kept_as_it_came():
    kept = as_kept(raw(), ("XBRN",))
    assert kept == StoredForecast("XBRN", NOW.replace(minute=30), NOW, TAF, "awc")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (raw(TAF.replace("XBRN", "XQUA")), "a forecast of XQUA where none was asked for"),
        (raw(asked="XLKS"), "a forecast of XBRN where none was asked for"),
        (raw("METAR"), "a forecast of nobody"),
        (raw("TAF XBRN 2218/2318 19017G25KT"), "does not say when it was issued"),
        (
            raw(issued_at=NOW - DAY),
            "issued 2026-09-22 17:30Z by its text, 2026-09-21 17:35Z by its",
        ),
        (raw(received_at=NOW - 2 * HOUR), "issued 2026-09-22 17:30Z, which is still to come"),
        (raw(received_at=NOW + 3 * DAY), "issued 2026-09-22 17:30Z is old"),
        # Years old, on the same day of the month: its date comes from the feed alone.
        (raw(issued_at=NOW.replace(year=2023)), "issued 2023-09-22 17:30Z is old"),
    ],
)
def test_what_is_not_to_be_shown_is_refused_in_words(given, said):
    refused = as_kept(given, ("XBRN", "XLKS"))
    assert isinstance(refused, str)
    assert said in refused


@pytest.mark.fault("F26")
def test_the_month_turns():
    at = datetime(2026, 10, 1, 0, 5, tzinfo=UTC)
    kept = as_kept(raw("TAF XBRN 302340Z 0100/0206 19017KT", at), ("XBRN",))
    assert isinstance(kept, StoredForecast)
    assert kept.issued_at == datetime(2026, 9, 30, 23, 40, tzinfo=UTC)


# --- asking ----------------------------------------------------------------


@pytest.fixture
def clock():
    return HandClock(NOW)


@pytest.fixture
def server(tmp_path, clock):
    """Light wind, a forecast, and later an amended one."""
    lines = [
        (NOW - HOUR, metar(NOW - HOUR, QUIET)),
        (NOW - timedelta(minutes=1), TAF),
        (NOW, metar(NOW, QUIET)),
        (NOW + 3.25 * HOUR, AMENDED),
    ]
    with PlayedFeed(recording(tmp_path / "day.txt", lines), clock) as found:
        yield found


def forecasts_asked(server):
    return [each for each in server.asked if "/taf" in each]


def test_a_turn_keeps_what_is_new_and_says_how_much(tmp_path, clock, server, caplog):
    with bench(tmp_path, with_station(config_text(feed=server.url)), clock) as b:
        forecasting = Forecasting(lambda: b.watch.settings, b.store, clock)
        assert forecasting.turn() == 1
        clock.move(timedelta(minutes=10))
        assert forecasting.turn() == 0
        clock.set(NOW + 3.5 * HOUR)
        assert forecasting.turn() == 1
        kept = newest_forecast(b.store, "XBRN")
        forecasting.close()
    assert kept is not None
    assert kept.raw == AMENDED
    assert forecasts_asked(server)[0] == "/api/data/taf?ids=XBRN&format=json"
    assert "forecast_problem" not in caplog.text


def test_where_no_airfield_wants_a_forecast_nobody_is_asked(tmp_path, clock, server):
    with bench(tmp_path, config_text(feed=server.url), clock) as b:
        assert Forecasting(lambda: b.watch.settings, b.store, clock).turn() == 0
    assert server.asked == []


def test_a_kind_without_forecasts_is_not_asked(tmp_path, clock, server):
    with bench(tmp_path, with_station(config_text(feed=server.url)), clock) as b:
        nws = replace(b.settings, feed=replace(b.settings.feed, kind="nws"))
        assert Forecasting(lambda: nws, b.store, clock).turn() == 0
    assert server.asked == []


def test_several_airfields_share_a_forecast(tmp_path):
    text = with_station(config_text(airfields=("XLKS", "XQUA")))
    with bench(tmp_path, text) as b:
        assert stations_of(b.settings.fleet) == ("XBRN",)


def test_a_forecast_judges_nothing(tmp_path, clock, server):
    """A forecast far above a limit opens nothing: it is shown, not yet judged."""
    storm = "TAF XBRN 221734Z 2217/2318 27045G60KT +TSRA"
    server._forecasts = [RawReport(storm, NOW, "recorded", kind="TAF")]
    with bench(tmp_path, with_station(config_text(feed=server.url)), clock) as b:
        assert Forecasting(lambda: b.watch.settings, b.store, clock).turn() == 1
        b.watch.poll()
        assert b.store.notices() == ()
        assert b.store.episodes() == ()


@pytest.mark.fault("F10")
def test_a_refusal_of_forecasts_holds_up_no_report(tmp_path, clock, server):
    with bench(tmp_path, with_station(config_text(feed=server.url)), clock) as b:
        server.faults = [(429, {"Retry-After": "3600"}, b"<html>Too many requests</html>")]
        forecasting = Forecasting(lambda: b.watch.settings, b.store, clock)
        assert forecasting.turn() == 0
        assert b.watch.poll().fetched == 2
        clock.move(timedelta(minutes=10))
        assert forecasting.turn() == 0
        assert len(forecasts_asked(server)) == 1
        forecasting.close()


@pytest.mark.parametrize(
    "fault",
    [
        (204, {}, b""),
        (200, {"Content-Type": "application/json"}, b"[]"),
        (200, {"Content-Type": "text/html"}, b"<html>Sign in</html>"),
        (200, {"Content-Type": "application/json"}, b'[{"icaoId":"XBRN","rawTAF":"TAF XB'),
        (500, {}, b""),
        (404, {}, b""),
    ],
)
def test_where_nothing_usable_comes_the_forecast_before_stands(tmp_path, clock, server, fault):
    with bench(tmp_path, with_station(config_text(feed=server.url)), clock) as b:
        forecasting = Forecasting(lambda: b.watch.settings, b.store, clock)
        forecasting.turn()
        clock.set(NOW + 3.5 * HOUR)
        server.faults = [fault]
        assert forecasting.turn() == 0
        kept = newest_forecast(b.store, "XBRN")
        assert kept is not None
        assert kept.raw == TAF
        forecasting.close()


class Told:
    """A feed of forecasts by hand."""

    def __init__(self, *answers):
        self.answers = list(answers)
        self.asked = []

    def fetch(self, stations, now, *, since=None, fresh=False):
        self.asked.append((stations, fresh))
        answer = self.answers.pop(0) if self.answers else FetchResult(())
        if isinstance(answer, Exception):
            raise answer
        return answer

    def close(self):
        pass


@pytest.fixture
def by_hand(tmp_path, clock, monkeypatch):
    """A forecasting on a feed by hand."""
    with bench(tmp_path, with_station(config_text()), clock) as b:
        found = Forecasting(lambda: b.watch.settings, b.store, clock)
        found.told = Told()
        monkeypatch.setattr(dealings, "build_forecasts", lambda *_: found.told)
        yield found


def test_the_same_trouble_is_told_once(by_hand, caplog):
    caplog.set_level(logging.DEBUG)
    busy = FeedBusy("awc", "HTTP 429", HOUR)
    by_hand.told.answers = [busy, busy, FetchResult(()), busy]
    for _ in range(4):
        by_hand.turn()
    told = [r.levelno for r in caplog.records if r.message == "forecast_problem"]
    assert told == [logging.WARNING] * 2


def test_of_many_problems_the_first_are_told_and_the_rest_counted_once(by_hand, caplog):
    caplog.set_level(logging.DEBUG)
    many = FetchResult((), tuple(f"record {number} is none" for number in range(2000)))
    by_hand.told.answers = [many, many]
    for _ in range(2):
        by_hand.turn()
    told = [r.problem for r in caplog.records if r.message == "forecast_problem"]
    assert told == [
        *(f"record {number} is none" for number in range(10)),
        "1990 further problems with forecasts",
    ]


def test_of_an_answer_without_measure_four_a_station_are_decoded_and_kept(by_hand, monkeypatch):
    decoded = []
    decode = dealings.decode_forecast
    monkeypatch.setattr(
        dealings, "decode_forecast", lambda text, at: (decoded.append(text), decode(text, at))[1]
    )
    ours = [raw(f"{TAF} FM{number:06d} 20018KT", issued_at=NOW) for number in range(3000)]
    others = [
        raw(f"TAF Y{number:03d} 221730Z 2218/2318 19017KT", issued_at=NOW) for number in range(999)
    ]
    newest = raw(AMENDED.replace("222047Z", "221734Z"), issued_at=NOW + timedelta(minutes=1))
    by_hand.told.answers = [FetchResult((newest, *ours, *others))]
    assert by_hand.turn() == 4
    assert len(decoded) == 8
    kept = newest_forecast(by_hand._store, "XBRN")
    assert kept is not None
    assert kept.raw == newest.text


# --- no thread is left (F38) -----------------------------------------------


class Nothing:
    """A reader of the configuration that has nothing to read."""

    asked = threading.Event()

    def look_on(self, stop, adopted):
        stop.wait()


@pytest.fixture
def refused(monkeypatch):
    """Names of threads that cannot be started."""
    names = set()
    start = threading.Thread.start

    def refuse(thread):
        if thread.name in names:
            raise RuntimeError("can't start new thread")
        start(thread)

    monkeypatch.setattr(threading.Thread, "start", refuse)
    return names


def courier_runs():
    return any(thread.name == "courier" for thread in threading.enumerate())


@pytest.mark.fault("F38")
def test_f38_no_thread_for_forecasts_costs_the_forecasts_alone(tmp_path, server, refused, caplog):
    refused.add("forecasts")
    clock = SystemClock()
    with bench(tmp_path, with_station(config_text()), clock) as b:
        b.feed = Storm(clock)
        b.again()
        forecasting = Forecasting(lambda: b.watch.settings, b.store, clock)
        stop = threading.Event()
        running = threading.Thread(
            target=run,
            args=(b.watch, timedelta(seconds=0.2), clock, stop),
            kwargs={"forecasting": forecasting},
        )
        running.start()
        wait_for(lambda: list((tmp_path / "dropped").glob("*.eml")), "no notice left")
        stop.set()
        running.join(PATIENCE_S)
        assert not running.is_alive()
    assert caplog.text.count("no_forecasts") == 1


@pytest.mark.fault("F38")
@pytest.mark.parametrize("name", ["reload", "APScheduler"])
def test_f38_where_the_watch_cannot_begin_it_ends_whole(tmp_path, refused, name):
    refused.add(name)
    clock = SystemClock()
    with bench(tmp_path, config_text(), clock) as b:
        with pytest.raises(RuntimeError, match="new thread"):
            run(b.watch, HOUR, clock, threading.Event(), reload=Nothing())
        # Its thread is no daemon: one left behind would keep a process that does nothing.
        wait_for(lambda: not courier_runs(), "the courier runs on")


def test_what_could_not_be_stored_is_asked_for_past_every_cache(by_hand, monkeypatch, caplog):
    def full(*_):
        raise StoreError("the disk is full", "full")

    by_hand.told.answers = [FetchResult((raw(),)), FetchResult((raw(),)), FetchResult(())]
    with monkeypatch.context() as patched:
        patched.setattr(dealings, "keep_forecasts", full)
        assert by_hand.turn() == 0
    assert by_hand.turn() == 1
    by_hand.turn()
    assert [fresh for _, fresh in by_hand.told.asked] == [False, True, False]
    assert "forecasts_not_kept" in caplog.text


def test_who_does_not_lead_any_more_keeps_none(tmp_path, clock, postgres, monkeypatch, caplog):
    """Where several watchers share a store, forecasts come from the one that leads."""
    lent = postgres.lend()
    told = Told(FetchResult((raw(),)))
    monkeypatch.setattr(dealings, "build_forecasts", lambda *_: told)
    with (
        open_database(lent, None, clock) as old,
        open_database(lent, None, clock) as new,
        bench(tmp_path, with_station(config_text()), clock) as b,
    ):
        before = old.hold("old")
        before.release()
        with new.hold("new"):
            assert Forecasting(lambda: b.settings, old, clock).turn() == 0
        assert newest_forecast(new, "XBRN") is None
    postgres.give_back(lent)
    assert "forecasts_not_kept" in caplog.text


def test_a_mistake_in_it_ends_neither_it_nor_the_watch(by_hand, caplog):
    class Twice(HandClock):
        """Lets no time pass, and stops at the third wait."""

        waits = 0

        def wait(self, event, seconds):
            self.waits += 1
            if self.waits == 3:
                stop.set()
            self.move(timedelta(seconds=seconds))
            return False

    stop = threading.Event()
    by_hand._clock = Twice(NOW)
    by_hand.told.answers = [ZeroDivisionError("a mistake")]
    by_hand.look_on(stop)
    assert len(by_hand.told.asked) == 2
    assert caplog.text.count("turn_failed") == 1


def test_it_asks_as_often_as_is_configured(by_hand):
    class Until(HandClock):
        def wait(self, event, seconds):
            self.move(timedelta(seconds=seconds))
            if self.monotonic() > 3600:
                stop.set()
            return False

    stop = threading.Event()
    by_hand._clock = Until(NOW)
    by_hand.look_on(stop)
    # At ten seconds, and every ten minutes of the hour from then on.
    assert len(by_hand.told.asked) == 6


def wait_for(true, what):
    began = time.monotonic()
    while not true():
        assert time.monotonic() - began < PATIENCE_S, what
        time.sleep(0.02)


def test_a_changed_configuration_is_asked_for_at_once(tmp_path, server, monkeypatch):
    monkeypatch.setattr(dealings, "FIRST", timedelta(0))
    clock = SystemClock()
    (tmp_path / "b").mkdir()
    with (
        bench(tmp_path, with_station(config_text(feed=server.url)), clock) as b,
        bench(tmp_path / "b", with_station(config_text(feed=server.url), "XQUA"), clock) as other,
    ):
        settings = [b.settings]
        forecasting = Forecasting(lambda: settings[0], b.store, clock)
        stop = threading.Event()
        running = threading.Thread(target=forecasting.look_on, args=(stop,))
        running.start()
        wait_for(lambda: len(forecasts_asked(server)) == 1, "it never asked")
        # Nothing new in it for forecasts: nobody is asked again.
        forecasting.woken.set()
        wait_for(lambda: not forecasting.woken.is_set(), "it did not wake")
        settings[0] = other.settings
        forecasting.woken.set()
        wait_for(lambda: len(forecasts_asked(server)) == 2, "it did not ask for the new one")
        stop.set()
        forecasting.woken.set()
        running.join(PATIENCE_S)
        assert not running.is_alive()
    assert [each.partition("?")[2] for each in forecasts_asked(server)] == [
        "ids=XBRN&format=json",
        "ids=XQUA&format=json",
    ]


def test_a_server_of_forecasts_that_hangs_delays_no_poll_no_notice_and_not_the_end(
    tmp_path, server, monkeypatch
):
    monkeypatch.setattr(dealings, "FIRST", timedelta(0))
    clock = SystemClock()
    server.forecasts_hang = threading.Event()
    with bench(tmp_path, with_station(config_text(feed=server.url)), clock) as b:
        storm = b.feed = Storm(clock)
        polls = []
        fetch = storm.fetch
        storm.fetch = lambda *args, **more: (polls.append(clock.monotonic()), fetch(*args, **more))[
            1
        ]
        b.again()
        forecasting = Forecasting(lambda: b.watch.settings, b.store, clock)
        stop = threading.Event()
        running = threading.Thread(
            target=run,
            args=(b.watch, timedelta(seconds=0.2), clock, stop),
            kwargs={"forecasting": forecasting},
        )
        running.start()
        wait_for(lambda: forecasts_asked(server), "nobody asked for forecasts")
        so_far = len(polls)
        wait_for(lambda: len(polls) >= so_far + 4, "the polls wait for the forecast")
        wait_for(lambda: list((tmp_path / "dropped").glob("*.eml")), "no notice left")
        began = time.monotonic()
        stop.set()
        running.join(PATIENCE_S)
        assert not running.is_alive()
        assert time.monotonic() - began < 10
        server.forecasts_hang.set()
        wait_for(
            lambda: all(t.name != "forecasts" for t in threading.enumerate()), "it never ended"
        )
        # What came after the end is not written any more.
        assert newest_forecast(b.store, "XBRN") is None


def test_one_turn_asks_for_the_reports_first(tmp_path, clock, server):
    with bench(tmp_path, with_station(config_text(feed=server.url)), clock) as b:
        _turn_once(b.watch, Forecasting(lambda: b.watch.settings, b.store, clock))
        # What people have to be told of goes before what is only shown.
        assert ["/taf" in each for each in server.asked] == [False, True]
        assert newest_forecast(b.store, "XBRN") is not None


@pytest.mark.long
def test_one_turn_of_the_watch_has_its_forecast_afterwards(tmp_path, start):
    clock = SystemClock()
    now = clock.now().replace(second=0, microsecond=0)
    issued = now - timedelta(minutes=20)
    text = f"TAF XBRN {issued:%d%H%M}Z {now:%d%H}/{now + DAY:%d%H} 19017G25KT P6SM"
    lines = [(issued, text), (now - timedelta(minutes=2), metar(now - timedelta(minutes=3), QUIET))]
    with PlayedFeed(recording(tmp_path / "day.txt", lines), clock) as server:
        (tmp_path / "field.toml").write_text(with_station(config_text(feed=server.url)))
        process = start("watch", "field.toml", "--once")
        process.communicate(timeout=PATIENCE_S)
        assert process.returncode == 0
        assert forecasts_asked(server) == ["/api/data/taf?ids=XBRN&format=json"]
    with open_store(tmp_path / "watch.db", clock) as store:
        kept = newest_forecast(store, "XBRN")
    assert kept is not None
    assert kept.raw == text
    assert kept.source == "awc"
