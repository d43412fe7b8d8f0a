"""What the other side says is kept and shown to people: nothing of ours may be quoted in it."""

import threading
import time
from urllib.parse import quote, unquote

import pytest

from tests.delivery.fault_rows import target
from tests.delivery.little_worker import enqueue, no_restate, worker
from tests.servers.mail_server import MailServer as Server
from tests.servers.raw_server import RawServer
from tests.servers.samples import GUST_FRONT, a_content, a_notice
from tests.servers.webhook_server import WebhookReceiver
from windwatch.clock import HandClock
from windwatch.delivery.channels import MailAddress, MailServer
from windwatch.delivery.email import EmailChannel
from windwatch.delivery.retry import Rule, SendFailed
from windwatch.delivery.webhook import WebhookChannel
from windwatch.notices.outbox import new_delivery
from windwatch.store.store import open_store

OWNER = "owner of X-WREN"
KEY = "k-1f6b0c9d2e7a4538"


@pytest.mark.guard("secrets")
@pytest.mark.promise(22)
@pytest.mark.parametrize(
    ("where", "key"),
    [(f"/hooks/{KEY}", KEY), (f"/wind?key={KEY}", KEY), ("/wind?k=%C3%BC1", "k=ü1")],
)
def test_a_server_that_quotes_its_address_does_not_bring_the_key_into_the_store(
    tmp_path, where, key
):
    path = tmp_path / "watch.db"
    with (
        WebhookReceiver(check_time=False) as hook,
        open_store(path, HandClock(GUST_FRONT), durable=False) as store,
    ):
        url = hook.url.removesuffix("/wind") + where
        quoted = f"The requested URL {unquote(where)} (that is {url}) was not found."
        hook.answer_body = quoted.encode()
        hook.script(404)
        enqueue(store, a_notice(OWNER), channels=("webhook",))
        channels = {(OWNER, "webhook"): WebhookChannel(target(url))}
        report = worker(store, HandClock(GUST_FRONT), channels, no_restate).drain()
        assert report.failed == 1
        answer = store.notices()[0].deliveries[0].last_answer
        assert answer.startswith("404 ")
        assert "was not found" in answer
    for secret in (key, quote(key, safe="=")):
        assert secret not in answer
        assert secret.encode() not in path.read_bytes()


@pytest.mark.guard("mail")
def test_each_message_has_one_recipient_in_its_envelope_and_in_its_head():
    with Server() as server:
        ours = MailServer(
            server.host,
            server.port,
            "starttls",
            "windwatch <wind@larkspur.example>",
            "windwatch",
            "correct horse",
            server.ca_file,
        )
        for number in range(3):
            channel = EmailChannel(ours, MailAddress(f"owner-{number}@faraway.example"))
            channel.send(new_delivery(a_notice(), a_content(), "email"), GUST_FRONT)
        for number, (_, recipients) in enumerate(server.envelopes):
            message = server.messages[number]
            assert recipients == [f"owner-{number}@faraway.example"]
            assert [a.addr_spec for a in message["To"].addresses] == recipients
            assert message["Cc"] is message["Bcc"] is message["Reply-To"] is None


@pytest.mark.fault("F66")
@pytest.mark.guard("sizes")
def test_f66_a_server_that_is_slow_within_every_limit_is_cut_by_that_of_the_whole():
    stop = threading.Event()

    def talk(connection):
        connection.sendall(b"220 mail\r\n")
        # Each reply comes within its own limit, one of them never ends.
        while connection.recv(1000):
            for _ in range(90):
                stop.wait(0.1)
                connection.sendall(b"250-and another thing\r\n")

    with RawServer(talk) as raw:
        slow = MailServer(
            raw.host, raw.port, "starttls", "wind@larkspur.example", command_s=30.0, whole_s=0.5
        )
        channel = EmailChannel(slow, MailAddress("owner@faraway.example"))
        began = time.monotonic()
        with pytest.raises(SendFailed) as failed:
            channel.send(new_delivery(a_notice(), a_content(), "email"), GUST_FRONT)
        stop.set()
    assert failed.value.rule is Rule.AGAIN
    assert time.monotonic() - began < 5
