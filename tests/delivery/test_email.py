"""Mail against a real server: encrypted, logged in, and every refusal understood."""

import ssl
import time

import pytest

from tests.servers.certificates import server_context
from tests.servers.mail_server import DROP, HOLD
from tests.servers.mail_server import MailServer as Server
from tests.servers.raw_server import RawServer
from tests.servers.samples import GUST_FRONT, a_content, a_notice
from windwatch.delivery.channels import MailAddress, MailServer, send_now
from windwatch.delivery.email import EmailChannel
from windwatch.delivery.retry import Rule, SendFailed
from windwatch.notices.outbox import new_delivery

OWNER = MailAddress("wren.owner@faraway.example", "owner of X-WREN")
DELIVERY = new_delivery(a_notice(), a_content(), "email")


@pytest.fixture(scope="module")
def running():
    with Server() as server:
        yield server


@pytest.fixture
def server(running):
    running.messages.clear()
    running.logins.clear()
    running._script.clear()
    return running


def channel(server, recipient=OWNER, **changes):
    values = {
        "host": server.host,
        "port": server.port,
        "security": getattr(server, "security", "starttls"),
        "sender": "windwatch <wind@larkspur.example>",
        "username": "windwatch",
        "password": "correct horse",
        "ca_file": getattr(server, "ca_file", None),
        "command_s": 2.0,
        "after_dot_s": 5.0,
    }
    return EmailChannel(MailServer(**values | changes), recipient)


def refused(channel):
    with pytest.raises(SendFailed) as found:
        send_now(channel, DELIVERY, GUST_FRONT)
    return found.value


def test_mail_goes_over_starttls_with_login(server):
    answer = send_now(channel(server), DELIVERY, GUST_FRONT)
    (message,) = server.messages
    assert message["Message-ID"] == f"<{a_notice().id}@larkspur.example>"
    assert server.envelopes[-1] == ("wind@larkspur.example", ["wren.owner@faraway.example"])
    assert server.logins == ["windwatch"]
    assert answer.answer.startswith("250")


def test_mail_goes_over_tls_from_the_first_byte():
    with Server(security="tls") as server:
        send_now(channel(server), DELIVERY, GUST_FRONT)
        assert [m["Subject"] for m in server.messages] == [a_content().subject]
        assert server.logins == ["windwatch"]


def test_a_server_on_this_machine_may_take_mail_without_login():
    with Server(security="none") as server:
        send_now(channel(server, username=None, password=None), DELIVERY, GUST_FRONT)
        assert len(server.messages) == 1


@pytest.mark.guard("mail")
def test_a_login_is_never_sent_in_clear():
    with Server(security="none") as server:
        failure = refused(channel(server))
        assert failure.rule is Rule.CHANNEL_DOWN
        assert server.logins == []
        assert server.messages == []


@pytest.mark.fault("F65")
@pytest.mark.guard("mail")
def test_without_starttls_nothing_is_sent_in_clear():
    with Server(security="none") as server:
        failure = refused(channel(server, security="starttls"))
        assert failure.rule is Rule.CHANNEL_DOWN
        assert "no STARTTLS" in failure.answer
        assert server.messages == []


@pytest.mark.guard("mail")
def test_a_certificate_that_nobody_vouches_for_is_refused(server):
    failure = refused(channel(server, ca_file=None))
    assert failure.rule is Rule.INSECURE
    assert server.messages == []
    assert server.logins == []


@pytest.mark.guard("mail")
@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_certificate_of_another_name_is_refused(security):
    with Server(security=security, names=("mail.elsewhere.example",)) as server:
        assert refused(channel(server)).rule is Rule.INSECURE
        assert server.messages == []


def test_a_ca_file_that_cannot_be_read_is_named(server, tmp_path):
    failure = refused(channel(server, ca_file=tmp_path / "none.pem"))
    assert failure.rule is Rule.CHANNEL_DOWN
    assert "none.pem" in failure.answer


@pytest.mark.guard("secrets")
def test_a_wrong_password_takes_the_channel_down_and_is_not_repeated_in_the_answer(server):
    failure = refused(channel(server, password="old horse"))
    assert (failure.rule, failure.status) == (Rule.CHANNEL_DOWN, 535)
    assert "old horse" not in failure.answer


@pytest.mark.parametrize(
    ("stage", "answer", "rule", "status"),
    [
        ("greeting", "421 4.3.2 closing", Rule.NEW_SESSION, 421),
        ("greeting", "554 5.7.1 not you", Rule.PLAIN_ONCE, 554),
        ("mail", "451 4.3.0 try later", Rule.GREYLISTED, 451),
        ("mail", "550 5.7.1 sender unknown", Rule.CHANNEL_DOWN, 550),
        ("rcpt", "450 4.7.1 greylisted", Rule.GREYLISTED, 450),
        ("rcpt", "550 5.1.1 nobody here", Rule.REFUSED, 550),
        ("rcpt", "421 4.3.2 closing", Rule.NEW_SESSION, 421),
        ("data", "552 5.2.2 mailbox full", Rule.PLAIN_ONCE, 552),
        ("data", "554 5.6.0 content refused", Rule.PLAIN_ONCE, 554),
        ("data", "451 4.3.0 try later", Rule.GREYLISTED, 451),
        ("data", DROP, Rule.AGAIN, None),
        ("greeting", DROP, Rule.AGAIN, None),
    ],
)
def test_every_refusal_is_understood(server, stage, answer, rule, status):
    server.script(stage, answer)
    failure = refused(channel(server))
    assert (failure.rule, failure.status) == (rule, status)
    assert server.messages == []
    # The next one goes through: nothing is left behind.
    send_now(channel(server), DELIVERY, GUST_FRONT)
    assert len(server.messages) == 1


@pytest.mark.fault("F64")
def test_a_server_that_takes_the_message_and_drops_leaves_it_uncertain(server):
    server.script("taken", DROP)
    failure = refused(channel(server))
    assert failure.rule is Rule.AGAIN
    send_now(channel(server), DELIVERY, GUST_FRONT)
    first, second = server.messages
    assert first["Message-ID"] == second["Message-ID"]


def test_the_last_reply_has_a_limit_of_its_own():
    with Server() as server:
        server.script("data", HOLD)
        started = time.monotonic()
        failure = refused(channel(server, command_s=30.0, after_dot_s=0.1))
        assert failure.rule is Rule.AGAIN
        assert time.monotonic() - started < 5


def test_one_refused_recipient_leaves_the_others_alone(server):
    server.script("rcpt owner-3@faraway.example", "550 5.1.1 nobody here")
    for number in range(5):
        one = channel(server, MailAddress(f"owner-{number}@faraway.example"))
        if number == 3:
            assert refused(one).rule is Rule.REFUSED
        else:
            send_now(one, DELIVERY, GUST_FRONT)
    assert [to for _, to in server.envelopes[-4:]] == [
        [f"owner-{number}@faraway.example"] for number in (0, 1, 2, 4)
    ]


def test_nobody_at_home_is_tried_again():
    with Server() as server:
        gone = channel(server)
    assert refused(gone).rule is Rule.AGAIN


# --- servers that talk strangely ------------------------------------------------


def cut(talk, limit_s=2.0, **changes):
    with RawServer(talk) as raw:
        started = time.monotonic()
        failure = refused(channel(raw, security="starttls", ca_file=None, command_s=0.3, **changes))
        assert time.monotonic() - started < limit_s
    return failure


@pytest.mark.fault("F66")
@pytest.mark.guard("sizes")
def test_endless_reply_lines_are_cut():
    def talk(connection):
        connection.sendall(b"220 mail\r\n")
        connection.recv(1000)
        while True:
            connection.sendall(b"250-and another thing\r\n" * 100)

    assert cut(talk).rule is Rule.AGAIN


@pytest.mark.fault("F66")
@pytest.mark.guard("sizes")
def test_an_endless_line_is_cut():
    def talk(connection):
        while True:
            connection.sendall(b"220-" + b"x" * 4000)

    assert cut(talk).rule is Rule.AGAIN


@pytest.mark.fault("F66")
def test_a_byte_now_and_then_is_cut():
    def talk(connection):
        for byte in b"220 mail" * 100:
            connection.sendall(bytes([byte]))
            time.sleep(0.05)

    assert cut(talk).rule is Rule.AGAIN


def test_a_reply_without_a_code_is_cut():
    assert cut(lambda c: (c.sendall(b"hello there\r\n"), c.recv(1000))).rule is Rule.AGAIN


def test_words_before_tls_count_for_nothing_and_end_the_session():
    def talk(connection):
        connection.sendall(b"220 mail\r\n")
        connection.recv(1000)
        connection.sendall(b"250-mail\r\n250 STARTTLS\r\n")
        connection.recv(1000)
        connection.sendall(b"220 go on\r\n250 injected before encryption\r\n")
        connection.recv(1000)

    with pytest.raises(SendFailed), RawServer(talk) as raw:
        channel(raw, security="starttls", command_s=0.3).send(DELIVERY, GUST_FRONT)


def test_words_before_tls_are_noticed_even_where_the_encryption_holds(server):
    def talk(connection):
        connection.sendall(b"220 mail\r\n")
        connection.recv(1000)
        connection.sendall(b"250-mail\r\n250 STARTTLS\r\n")
        connection.recv(1000)
        connection.sendall(b"220 go on\r\n250 injected before encryption\r\n")
        context = server_context("127.0.0.1")
        context.options |= ssl.OP_NO_TICKET
        with context.wrap_socket(connection, server_side=True) as encrypted:
            assert encrypted.recv(1000) == b"", "nothing more was said to it"

    with RawServer(talk) as raw:
        failure = refused(channel(raw, security="starttls", ca_file=server.ca_file))
    assert "out of turn" in failure.answer
