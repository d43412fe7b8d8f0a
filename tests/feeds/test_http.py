"""The client of all feeds: manners, conditions, redirects, and what is said of odd answers."""

import ssl
import threading
import time
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

import pytest
import requests
import responses
import trustme

from tests.servers.trick_server import TrickServer, http, says, says_in_turn
from windwatch import __version__
from windwatch.clock import HandClock, SystemClock
from windwatch.errors import FeedBusy, FeedError
from windwatch.feeds.http import PUBLIC, FeedClient, Manners
from windwatch.feeds.values import FeedSettings
from windwatch.outward import open_session

NOW = datetime(2026, 9, 22, 19, 9, tzinfo=UTC)
URL = "https://feed.example/api/data/metar?ids=XLKS"


@contextmanager
def client(clock=None, *, manners=PUBLIC, kind="awc", chance=1.0, ca_file=None, **settings):
    made = FeedClient(
        FeedSettings(
            kind,
            contact="ops@larkspur.example",
            allow_http=True,
            allow_networks=("127.0.0.0/8",),
            ca_file=ca_file,
            **settings,
        ),
        clock or HandClock(NOW),
        manners=manners,
        chance=lambda: chance,
    )
    yield made
    made.close()


def ask(asker, url=URL, *, batch="XLKS", now=NOW, fresh=False):
    return asker.get(url, batch=batch, now=now, deadline_at=asker.deadline(), fresh=fresh)


@pytest.fixture
def feed():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


# --- who asks, and how -----------------------------------------------------


def test_the_user_agent_names_windwatch_and_the_contact(feed):
    feed.get(URL, body="[1]")
    with client() as asker:
        ask(asker)
    assert feed.calls[0].request.headers["User-Agent"] == (
        f"windwatch/{__version__} (ops@larkspur.example)"
    )


def test_an_api_key_goes_into_its_header_and_into_no_repr(feed):
    feed.get(URL, body="[1]")
    with client(kind="json", api_key="hunter2") as asker:
        ask(asker)
        assert feed.calls[0].request.headers["Authorization"] == "Bearer hunter2"
    settings = FeedSettings("json", api_key="hunter2")
    assert "hunter2" not in repr(settings)


def test_a_reply_carries_the_clock_of_the_feed(feed):
    feed.get(URL, body="[1]", headers={"Date": "Tue, 22 Sep 2026 19:14:00 GMT"})
    with client() as asker:
        assert ask(asker).server_date == datetime(2026, 9, 22, 19, 14, tzinfo=UTC)


# --- conditions ------------------------------------------------------------


def test_a_remembered_reply_makes_the_next_request_conditional():
    first = http("200 OK", b"[1]", 'ETag: W/"one"', "Last-Modified: Tue, 22 Sep 2026 19:08:00 GMT")
    clock = HandClock(NOW)
    with TrickServer(says_in_turn(first, b"HTTP/1.1 304 Not Modified\r\n\r\n")) as server:
        with client(clock) as asker:
            asker.remember(ask(asker, server.url))
            clock.move(timedelta(minutes=1))
            assert ask(asker, server.url).status == 304
        assert "If-None-Match" not in server.heads[0]
        assert 'If-None-Match: W/"one"\r\n' in server.heads[1]
        assert "If-Modified-Since: Tue, 22 Sep 2026 19:08:00 GMT\r\n" in server.heads[1]


def test_a_reply_that_was_not_remembered_makes_no_condition(feed):
    """A login page with an ETag must not become "not modified" for ever."""
    feed.get(URL, body="<html>please log in</html>", headers={"ETag": '"login"'})
    clock = HandClock(NOW)
    with client(clock) as asker:
        ask(asker)
        clock.move(timedelta(minutes=1))
        ask(asker)
    assert "If-None-Match" not in feed.calls[1].request.headers


@pytest.mark.parametrize("tag", ["", "x" * 201, "caf\xe9", "a\tb"])
def test_a_validator_that_no_header_can_carry_is_forgotten(feed, tag):
    feed.get(URL, body="[1]", headers={"ETag": tag})
    clock = HandClock(NOW)
    with client(clock) as asker:
        asker.remember(ask(asker))
        clock.move(timedelta(minutes=1))
        ask(asker)
    assert "If-None-Match" not in feed.calls[1].request.headers


@pytest.mark.fault("F11")
def test_f11_a_fresh_request_sets_no_condition_and_passes_every_cache(feed):
    feed.get(URL, body="[1]", headers={"ETag": '"one"'})
    clock = HandClock(NOW)
    with client(clock) as asker:
        asker.remember(ask(asker))
        clock.move(timedelta(minutes=1))
        ask(asker, fresh=True)
    headers = feed.calls[1].request.headers
    assert "If-None-Match" not in headers
    assert headers["Cache-Control"] == "no-cache"


def test_a_304_to_an_unconditional_request_is_an_error(feed):
    feed.get(URL, status=304)
    with client() as asker, pytest.raises(FeedError, match="304"):
        ask(asker)


# --- not too often ---------------------------------------------------------


def test_a_batch_is_asked_once_a_minute_at_most(feed):
    feed.get(URL, body="[1]")
    clock = HandClock(NOW)
    with client(clock) as asker:
        ask(asker)
        clock.move(timedelta(seconds=20))
        with pytest.raises(FeedBusy) as busy:
            ask(asker, URL + "&hours=3")
        assert busy.value.retry_after == timedelta(seconds=40)
        clock.move(timedelta(seconds=40))
        ask(asker)
    assert len(feed.calls) == 2


def test_a_poll_that_comes_a_moment_early_waits_for_the_minute(feed):
    feed.get(URL, body="[1]")
    clock = HandClock(NOW)
    with client(clock) as asker:
        ask(asker)
        clock.move(timedelta(seconds=59))
        ask(asker)
    assert clock.monotonic() == pytest.approx(60.0)
    assert len(feed.calls) == 2


def test_another_batch_need_not_wait(feed):
    feed.get(URL, body="[1]")
    with client() as asker:
        ask(asker, batch="XLKS")
        ask(asker, batch="XBRN")
    assert len(feed.calls) == 2


def test_an_own_device_may_be_asked_at_once_again(feed):
    feed.get(URL, body="[1]")
    with client(kind="json", manners=None) as asker:
        ask(asker)
        ask(asker)
    assert len(feed.calls) == 2


# --- staying away ----------------------------------------------------------


@pytest.mark.parametrize("status", [403, 429, 500, 502, 503, 504])
def test_f10_a_refusal_keeps_us_away_for_a_minute_at_first(feed, status):
    feed.get(URL, status=status, body="<html>go away</html>", content_type="text/html")
    clock = HandClock(NOW)
    with client(clock) as asker:
        with pytest.raises(FeedBusy, match=rf'HTTP {status}, text/html, "<html>go away') as busy:
            ask(asker)
        assert busy.value.retry_after == timedelta(minutes=1)
        clock.move(timedelta(seconds=50))
        with pytest.raises(FeedBusy, match="staying away for another 10 s"):
            ask(asker, batch="another batch of the same host")
    assert len(feed.calls) == 1


@pytest.mark.fault("F10")
def test_f10_retry_after_in_seconds_is_honoured(feed):
    feed.get(URL, status=503, headers={"Retry-After": "3600"})
    clock = HandClock(NOW)
    with client(clock) as asker:
        with pytest.raises(FeedBusy) as busy:
            ask(asker)
        assert busy.value.retry_after == timedelta(hours=1)
        clock.move(timedelta(minutes=59))
        with pytest.raises(FeedBusy):
            ask(asker)
        assert len(feed.calls) == 1
        clock.move(timedelta(minutes=1))
        with pytest.raises(FeedBusy):
            ask(asker)
        assert len(feed.calls) == 2


def test_retry_after_as_a_date_is_counted_from_the_clock_of_the_feed(feed):
    feed.get(
        URL,
        status=429,
        headers={
            "Date": "Tue, 22 Sep 2026 20:00:00 GMT",
            "Retry-After": "Tue, 22 Sep 2026 20:07:00 GMT",
        },
    )
    with client() as asker, pytest.raises(FeedBusy) as busy:
        ask(asker)
    assert busy.value.retry_after == timedelta(minutes=7)


@pytest.mark.parametrize(
    ("header", "wait"),
    [
        ("999999999", timedelta(hours=24)),
        ("Fri, 01 Jan 2100 00:00:00 GMT", timedelta(hours=24)),
        ("Tue, 22 Sep 2020 00:00:00 GMT", timedelta(0)),
        ("soon", timedelta(minutes=1)),
        ("-5", timedelta(minutes=1)),
        ("٣", timedelta(minutes=1)),
    ],
)
def test_an_odd_retry_after_neither_hammers_nor_ends_the_watch(feed, header, wait):
    feed.get(URL, status=429, headers={"Retry-After": header.encode().decode("latin-1")})
    with client() as asker, pytest.raises(FeedBusy) as busy:
        ask(asker)
    assert busy.value.retry_after == wait


def test_waiting_doubles_up_to_a_quarter_of_an_hour_and_starts_anew_after_success(feed):
    for _ in range(7):
        feed.get(URL, status=503)
    feed.get(URL, body="[1]")
    feed.get(URL, status=503)
    clock = HandClock(NOW)
    waits = []
    with client(clock) as asker:
        for _ in range(9):
            try:
                ask(asker)
                clock.move(timedelta(minutes=1))
            except FeedBusy as busy:
                waits.append(busy.retry_after / timedelta(minutes=1))
                clock.move(busy.retry_after)
    assert waits == [1, 2, 4, 8, 15, 15, 15, 1]


def test_jitter_only_shortens_a_wait_by_a_fifth_at_most(feed):
    feed.get(URL, status=503)
    with client(chance=0.0) as asker, pytest.raises(FeedBusy) as busy:
        ask(asker)
    assert busy.value.retry_after == timedelta(seconds=48)


@pytest.mark.fault("F04")
def test_f04_an_answer_too_slow_keeps_us_away(feed):
    def drip(call, _):
        for _ in range(100):
            call.sendall(b"HTTP/1.1 200 OK\r\n\r\n"[:1])
            time.sleep(0.02)

    quick = Manners(total_s=0.15)
    with TrickServer(drip) as server, client(SystemClock(), manners=quick) as asker:
        feed.add_passthru(server.url)
        began = time.monotonic()
        with pytest.raises(FeedBusy, match="did not answer in time"):
            ask(asker, server.url)
        assert time.monotonic() - began < 0.5
        with pytest.raises(FeedBusy, match="staying away"):
            ask(asker, server.url, batch="another")


@pytest.mark.fault("F04")
def test_f04_a_body_too_slow_keeps_us_away():
    def drip(call, _):
        call.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\n")
        for _ in range(100):
            call.sendall(b"[")
            time.sleep(0.02)

    quick = Manners(total_s=0.15)
    with TrickServer(drip) as server, client(SystemClock(), manners=quick) as asker:
        began = time.monotonic()
        with pytest.raises(FeedBusy, match="came too slowly and was cut; next try in 60 s"):
            ask(asker, server.url)
        assert time.monotonic() - began < 0.5


@pytest.mark.fault("F01")
def test_f01_a_resolver_that_hangs_is_told_and_the_next_poll_is_on_time():
    let_go = threading.Event()

    def hangs(host, port):
        let_go.wait(5)
        return []

    clock = HandClock(NOW)
    with open_session(resolver=hangs, connect_timeout_s=0.1) as session:
        settings = FeedSettings("awc", contact="ops@larkspur.example")
        asker = FeedClient(settings, clock, session=session)
        for _ in range(2):
            with pytest.raises(FeedError, match=r"name feed\.example was not resolved") as failed:
                ask(asker)
            assert not isinstance(failed.value, FeedBusy)
            clock.move(timedelta(minutes=1))
    let_go.set()


@pytest.mark.fault("F02")
def test_f02_a_refused_connection_is_an_error_and_the_next_poll_is_on_time():
    with TrickServer(says(b"")) as server:
        gone = server.url
    clock = HandClock(NOW)
    with client(clock) as asker:
        for _ in range(2):
            with pytest.raises(FeedError, match="it refused the connection") as failed:
                ask(asker, gone)
            assert not isinstance(failed.value, FeedBusy)
            clock.move(timedelta(minutes=1))


# --- odd answers -----------------------------------------------------------


def test_a_status_that_holds_no_reports_is_named(feed):
    feed.get(URL, status=404, body="<html>\x00\u202eNot Found</html>", content_type="text/html")
    with client() as asker, pytest.raises(FeedError) as failed:
        ask(asker)
    assert str(failed.value) == (
        "awc https://feed.example/api/data/metar:"
        ' HTTP 404, text/html, "<html>\\x00\\u202eNot Found</html>"'
    )


def test_an_error_never_shows_the_query(feed):
    feed.get(URL + "&key=hunter2", status=400)
    with client() as asker, pytest.raises(FeedError) as failed:
        ask(asker, URL + "&key=hunter2")
    assert "hunter2" not in str(failed.value)


@pytest.mark.parametrize("length", [True, False])
def test_a_reply_knows_whether_its_framing_proves_it_whole(length):
    with TrickServer(says(http("200 OK", b"[1]", length=length))) as server, client() as asker:
        assert ask(asker, server.url).whole is length


@pytest.mark.fault("F22")
@pytest.mark.parametrize(
    "location",
    [
        "http://feed.example/other",
        "https://other.example/api/data/metar",
        "https://feed.example:444/",
        "https://127.0.0.1/",
        "//other.example/",
        "ftp://feed.example/",
        "https://[::1/",
        "",
    ],
)
def test_f22_a_redirect_away_is_refused(feed, location):
    feed.get(URL, status=302, headers={"Location": location})
    with client() as asker, pytest.raises(FeedError, match="not followed"):
        ask(asker)
    assert len(feed.calls) == 1


@pytest.mark.fault("F22")
def test_f22_a_redirect_by_http_is_refused_even_where_http_is_allowed():
    redirect = http("302 Found", b"", "Location: /other")
    with TrickServer(says(redirect)) as server, client() as asker:
        with pytest.raises(FeedError, match="not followed"):
            ask(asker, server.url)
        assert len(server.heads) == 1


def test_a_redirect_at_home_is_followed(feed):
    feed.get(URL, status=308, headers={"Location": "/api/v2/metar?ids=XLKS"})
    feed.get("https://feed.example/api/v2/metar?ids=XLKS", body="[1]")
    with client() as asker:
        reply = ask(asker)
    assert (reply.body, reply.url) == (b"[1]", URL)


def test_redirects_in_a_circle_end(feed):
    feed.get(URL, status=302, headers={"Location": URL})
    with client() as asker, pytest.raises(FeedError, match="redirected more than 2 times"):
        ask(asker)


@pytest.mark.fault("F23")
def test_f23_a_wrong_certificate_is_named_and_nothing_is_sent():
    tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    trustme.CA().issue_cert("127.0.0.1").configure_cert(tls)
    with TrickServer(says(http("200 OK", b"[1]")), tls=tls) as server, client() as asker:
        with pytest.raises(FeedError, match="its certificate is not valid"):
            ask(asker, server.url)
        assert server.heads == []


def test_http_is_refused_without_the_flag(feed):
    asker = FeedClient(FeedSettings("awc", contact="ops@larkspur.example"), HandClock(NOW))
    with pytest.raises(FeedError, match="is not https"):
        ask(asker, "http://feed.example/")
    asker.close()
    assert len(feed.calls) == 0


def test_a_session_may_be_handed_in(feed):
    feed.get(URL, body="[1]")
    with open_session() as session:
        assert isinstance(session, requests.Session)
        asker = FeedClient(
            FeedSettings("awc", contact="ops@larkspur.example"), HandClock(NOW), session=session
        )
        assert ask(asker).body == b"[1]"
