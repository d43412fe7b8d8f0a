"""Going outward, against a real local server: faults F02 to F04, F07 to F09, F22, F23, F74."""

import gzip
import json
import os
import socket
import ssl
import time
import tracemalloc

import pytest
import requests
import trustme

from tests.servers.trick_server import TrickServer, http, says
from windwatch import outward
from windwatch.outward import (
    Broken,
    OutwardError,
    Refused,
    TooLarge,
    TooSlow,
    ending_within,
    in_words,
    open_session,
    read_capped,
)

LOCAL = ("127.0.0.0/8",)


@pytest.fixture
def session():
    with open_session(allow_networks=LOCAL, total_s=5) as opened:
        yield opened


def endless(head, piece):
    def trick(call, _):
        call.sendall(head)
        while True:
            call.sendall(piece)

    return trick


def drips(answer, at_once=0):
    """One byte at a time, slower than anybody wants to wait."""

    def trick(call, _):
        call.sendall(answer[:at_once])
        for byte in answer[at_once:]:
            call.sendall(bytes([byte]))
            time.sleep(0.02)

    return trick


def test_an_answer_is_read_whole(session):
    with TrickServer(says(http("200 OK", b"hello"))) as server:
        answer = session.get(server.url)
        assert (answer.status_code, read_capped(answer)) == (200, b"hello")


def test_a_gzip_answer_is_decompressed(session):
    body = gzip.compress(b"METAR XLKS 221053Z AUTO 00000KT\n")
    with TrickServer(says(http("200 OK", body, "Content-Encoding: gzip"))) as server:
        assert read_capped(session.get(server.url)).startswith(b"METAR XLKS")


def test_a_chunked_answer_is_put_together(session):
    answer = http(
        "200 OK", b"3\r\nabc\r\n2\r\nde\r\n0\r\n\r\n", "Transfer-Encoding: chunked", length=False
    )
    with TrickServer(says(answer)) as server:
        assert read_capped(session.get(server.url)) == b"abcde"


@pytest.mark.guard("addresses")
def test_loopback_is_refused_unless_listed():
    with TrickServer(says(http("200 OK"))) as server, open_session() as session:
        with pytest.raises(Refused, match="not a public address"):
            session.get(server.url)
        assert server.heads == []


@pytest.mark.fault("F75")
@pytest.mark.guard("addresses")
def test_the_checked_address_is_the_one_connected_to():
    """A name that would resolve differently a second time is asked only once per call."""
    asked = []

    def turns(host, port):
        asked.append(host)
        address = "127.0.0.1" if len(asked) == 1 else "10.0.0.1"
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (address, port))]

    with (
        TrickServer(says(http("200 OK", b"hello"))) as server,
        open_session(allow_networks=LOCAL, resolver=turns) as session,
    ):
        answer = session.get(f"http://feed.example:{server.port}/")
        assert read_capped(answer) == b"hello"
        assert asked == ["feed.example"]
        with pytest.raises(Refused):
            session.get(f"http://feed.example:{server.port}/")


def test_the_second_address_is_tried_where_the_first_refuses():
    def two(host, port):
        return [
            (socket.AF_INET, socket.SOCK_STREAM, 6, "", (address, port))
            for address in ("127.0.0.99", "127.0.0.1")
        ]

    with (
        TrickServer(says(http("200 OK", b"hello"))) as server,
        open_session(allow_networks=LOCAL, resolver=two) as session,
    ):
        assert read_capped(session.get(f"http://feed.example:{server.port}/")) == b"hello"


def test_f04_a_dripping_body_is_cut_at_the_deadline(session):
    answer = http("200 OK", b"x" * 500)
    with TrickServer(drips(answer, at_once=50)) as server:
        began = time.monotonic()
        answer = session.get(server.url)
        with pytest.raises(TooSlow):
            read_capped(answer, deadline_at=time.monotonic() + 0.1, monotonic=time.monotonic)
    assert time.monotonic() - began < 0.6


def test_f04_dripping_headers_are_cut_at_the_end_of_the_exchange():
    with (
        TrickServer(drips(http("200 OK", b"x" * 500))) as server,
        open_session(allow_networks=LOCAL, total_s=0.2) as session,
    ):
        began = time.monotonic()
        with pytest.raises(requests.ReadTimeout):
            session.get(server.url)
        assert time.monotonic() - began < 0.5


def test_a_budget_for_several_exchanges_shortens_each(session):
    with TrickServer(lambda call, _: time.sleep(0.4)) as server:
        began = time.monotonic()
        with pytest.raises(requests.RequestException), ending_within(0.1):
            session.get(server.url)
        assert time.monotonic() - began < 0.35


@pytest.mark.guard("sizes")
def test_f08_an_endless_body_is_cut_and_memory_stays_flat(session):
    trick = endless(b"HTTP/1.1 200 OK\r\n\r\n", b"x" * 65536)
    with TrickServer(trick) as server:
        tracemalloc.start()
        with pytest.raises(TooLarge, match="longer than 1,000,000 bytes"):
            read_capped(session.get(server.url), max_wire=1_000_000)
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
    assert peak < 4_000_000


@pytest.mark.guard("sizes")
def test_f09_a_gzip_bomb_is_cut_by_its_ratio(session):
    bomb = gzip.compress(b"\0" * 40_000_000)
    assert len(bomb) < 60_000
    with (
        TrickServer(says(http("200 OK", bomb, "Content-Encoding: gzip"))) as server,
        pytest.raises(TooLarge, match="more than 200 times"),
    ):
        read_capped(session.get(server.url))


def test_f09_a_decompressed_answer_is_cut_at_its_own_limit(session):
    body = gzip.compress(b"METAR XLKS 221053Z 22015KT\n" * 10_000)
    with (
        TrickServer(says(http("200 OK", body, "Content-Encoding: gzip"))) as server,
        pytest.raises(TooLarge, match="when decompressed"),
    ):
        read_capped(session.get(server.url), max_decoded=100_000)


@pytest.mark.guard("sizes")
@pytest.mark.parametrize("encoding", ["gzip, gzip", "br", "deflate", "zstd", "gzip,identity"])
def test_f09_encodings_that_were_not_asked_for_are_refused(session, encoding):
    with TrickServer(says(http("200 OK", b"x", f"Content-Encoding: {encoding}"))) as server:
        with pytest.raises(Refused, match="not asked for"):
            read_capped(session.get(server.url))
        assert "Accept-Encoding: gzip\r\n" in server.heads[0]


@pytest.mark.parametrize(
    "spoilt",
    [
        pytest.param(lambda body: body[:-12], id="cut"),
        pytest.param(lambda body: body[:-8] + b"\0" * 8, id="bad checksum"),
        pytest.param(lambda body: b"no gzip at all", id="no gzip"),
        pytest.param(lambda body: body + b"more", id="something after its end"),
    ],
)
def test_f07_a_spoilt_gzip_answer_gives_nothing(session, spoilt):
    body = spoilt(gzip.compress(json.dumps(list(range(1000))).encode()))
    with (
        TrickServer(says(http("200 OK", body, "Content-Encoding: gzip"))) as server,
        pytest.raises(Broken),
    ):
        read_capped(session.get(server.url))


def test_f03_a_body_shorter_than_announced_gives_nothing(session):
    answer = b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\nhalf of it"
    with (
        TrickServer(says(answer)) as server,
        pytest.raises(Broken),
    ):
        read_capped(session.get(server.url))


def test_f03_a_reset_in_the_body_gives_nothing(session):
    def resets(call, _):
        call.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\nhalf of it")
        # Linger 0: the close below becomes a reset.
        call.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
        call.close()

    with (
        TrickServer(resets) as server,
        pytest.raises((OutwardError, requests.ConnectionError)),
    ):
        read_capped(session.get(server.url))


def test_a_chunked_body_that_ends_early_gives_nothing(session):
    answer = b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n5\r\nabcde\r\n"
    with (
        TrickServer(says(answer)) as server,
        pytest.raises(Broken),
    ):
        read_capped(session.get(server.url))


@pytest.mark.fault("F74")
@pytest.mark.guard("sizes")
def test_f74_what_fits_can_be_kept_instead_of_raising(session):
    trick = endless(b"HTTP/1.1 500 Oh\r\n\r\n", b"x" * 1000)
    with TrickServer(trick) as server:
        answer = session.get(server.url)
        assert read_capped(answer, 65536, 65536, cut=True) == b"x" * 65536


@pytest.mark.guard("addresses")
def test_f22_a_redirect_comes_back_as_an_answer(session):
    with (
        TrickServer(says(http("200 OK", b"caught"))) as other,
        TrickServer(says(http("302 Found", b"", f"Location: {other.url}"))) as server,
    ):
        answer = session.get(server.url)
        answer.close()
        assert answer.status_code == 302
        assert other.heads == []


def test_a_proxy_of_the_environment_is_not_used(session, monkeypatch):
    monkeypatch.setenv("http_proxy", "http://127.0.0.1:9")
    with TrickServer(says(http("200 OK", b"hello"))) as server:
        assert read_capped(session.get(server.url)) == b"hello"


# --- certificates ----------------------------------------------------------


@pytest.fixture(scope="module")
def authority():
    return trustme.CA()


@pytest.fixture
def ca_file(authority, tmp_path):
    path = tmp_path / "ca.pem"
    authority.cert_pem.write_to_path(path)
    return path


def server_context(authority, name):
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert(name).configure_cert(context)
    return context


def test_a_certificate_of_a_listed_authority_is_good(authority, ca_file):
    tls = server_context(authority, "127.0.0.1")
    with (
        TrickServer(says(http("200 OK", b"hello")), tls=tls) as server,
        open_session(allow_networks=LOCAL, ca_file=ca_file) as session,
    ):
        assert read_capped(session.get(server.url)) == b"hello"


def test_authorities_are_read_once_and_again_when_the_file_has_changed(authority, ca_file):
    def context():
        with open_session(ca_file=ca_file) as session:
            return session.get_adapter("https://x.example")._context

    first = context()
    assert context() is first
    assert len(first.get_ca_certs()) == len(outward._authorities(None, 0).get_ca_certs()) + 1
    assert first.verify_mode is ssl.CERT_REQUIRED
    assert first.check_hostname
    before = ca_file.stat().st_mtime_ns
    ca_file.write_bytes(ca_file.read_bytes() + trustme.CA().cert_pem.bytes())
    os.utime(ca_file, ns=(before + 1, before + 1))
    assert len(context().get_ca_certs()) == len(first.get_ca_certs()) + 1


def test_a_dripping_answer_is_cut_under_tls_too(authority, ca_file):
    tls = server_context(authority, "127.0.0.1")
    with (
        TrickServer(drips(http("200 OK", b"x" * 500)), tls=tls) as server,
        open_session(allow_networks=LOCAL, ca_file=ca_file, total_s=0.3) as session,
    ):
        began = time.monotonic()
        with pytest.raises(requests.ReadTimeout):
            session.get(server.url)
        assert time.monotonic() - began < 0.8


@pytest.mark.parametrize("verify", [True, False])
def test_f23_a_certificate_of_an_unknown_authority_is_refused_whatever_the_caller_says(
    authority, verify
):
    tls = server_context(authority, "127.0.0.1")
    with (
        TrickServer(says(http("200 OK", b"hello")), tls=tls) as server,
        open_session(allow_networks=LOCAL) as session,
    ):
        with pytest.raises(requests.exceptions.SSLError) as failed:
            session.get(server.url, verify=verify)
        assert server.heads == []
    assert "its certificate is not valid" in in_words(failed.value)


def test_f23_a_certificate_of_another_name_is_refused(authority, ca_file):
    tls = server_context(authority, "other.example")
    with (
        TrickServer(says(http("200 OK", b"hello")), tls=tls) as server,
        open_session(allow_networks=LOCAL, ca_file=ca_file) as session,
    ):
        with pytest.raises(requests.exceptions.SSLError) as failed:
            session.get(server.url)
        assert server.heads == []
    assert "certificate is not valid" in in_words(failed.value)


def test_a_missing_file_of_authorities_is_named(tmp_path):
    with pytest.raises(Refused, match=r"nowhere\.pem"):
        open_session(ca_file=tmp_path / "nowhere.pem")


# --- words -----------------------------------------------------------------


def test_f02_a_refused_connection_says_so(session):
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    with pytest.raises(requests.ConnectionError) as failed:
        session.get(f"http://127.0.0.1:{port}/")
    assert in_words(failed.value) == "it refused the connection"


def test_f02_a_call_that_nobody_takes_up_ends_at_the_connect_timeout():
    """A listener whose queue is full swallows further calls, as a firewall would."""
    with socket.create_server(("127.0.0.1", 0), backlog=0) as listener:
        port = listener.getsockname()[1]
        waiting = []
        for _ in range(4):
            caller = socket.socket()
            caller.setblocking(False)
            caller.connect_ex(("127.0.0.1", port))
            waiting.append(caller)
        began = time.monotonic()
        with (
            open_session(allow_networks=LOCAL, connect_timeout_s=0.15) as session,
            pytest.raises(requests.ConnectTimeout) as failed,
        ):
            session.get(f"http://127.0.0.1:{port}/")
        assert time.monotonic() - began < 1
        for caller in waiting:
            caller.close()
    assert in_words(failed.value) == "it did not answer the call in time"


def test_f01_an_unknown_name_says_so():
    def unknown(host, port):
        raise socket.gaierror(-2, "Name or service not known")

    with (
        open_session(resolver=unknown) as session,
        pytest.raises(requests.ConnectionError) as failed,
    ):
        session.get("https://feed.example/")
    assert in_words(failed.value) == "its name was not found"
