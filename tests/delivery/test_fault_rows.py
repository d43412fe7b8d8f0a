"""Rows F60 to F75 of the fault table, each whole: real servers, and a real watch where it counts.

What a channel alone must make of each answer is in test_email and test_webhook; here it is what
becomes of the notice.
"""

import json
import socket
import threading
from collections import Counter
from contextlib import ExitStack
from datetime import timedelta

import pytest
from click.testing import CliRunner

from tests.delivery.fault_rows import (
    BOTH_OF,
    HOOK_OF,
    MAIL_OF,
    OWNER,
    answers_of,
    configured,
    env,
    target,
    until,
    worker,
)
from tests.delivery.little_worker import NOW, SECOND, enqueue, mail_routes, play, states
from tests.servers.certificates import ca_file
from tests.servers.mail_server import DROP, MailServer
from tests.servers.raw_server import RawServer
from tests.servers.samples import a_content, a_notice
from tests.servers.webhook_server import WebhookReceiver
from tests.watch.little_watch import MINUTE, STORM, bench
from windwatch.cli.main import main
from windwatch.delivery.webhook import WebhookChannel
from windwatch.notices.outbox import Route

# --- mail ------------------------------------------------------------------------------


@pytest.mark.fault("F60")
def test_f60_421_at_greeting_is_tried_in_a_new_session_after_a_minute(tmp_path, mail, hook):
    people = MAIL_OF.format(name="owner") + HOOK_OF.format(name="desk", url=hook.url)
    mail.script("greeting", "421 4.3.2 closing down")
    with bench(tmp_path, configured(mail, people), **env(mail)) as b:
        b.take(STORM)
        until(b, 0)
        assert len(hook.received) == 1, "the other channel is not held up"
        until(b, *range(1, 48))
        # A minute, less 20 % at most.
        assert (mail.sessions, mail.messages) == (1, [])
        until(b, *range(48, 75))
        assert (mail.sessions, len(mail.messages)) == (2, 1)
        assert len(hook.calls) == 1


@pytest.mark.fault("F61")
def test_f61_450_for_ten_minutes_is_delivered_once_and_the_fall_back_started_at_60_s(
    tmp_path, mail, hook
):
    people = BOTH_OF.format(name="owner", url=hook.url, more="fall_back = true")
    mail.script("rcpt", *["450 4.7.1 greylisted"] * 50)
    with bench(tmp_path, configured(mail, people), **env(mail)) as b:
        b.take(STORM)
        until(b, *range(0, 60, 10))
        assert hook.calls == []
        until(b, 60)
        assert len(hook.received) == 1
        until(b, *range(75, 600, 15))
        assert mail.messages == []
        mail._script.clear()
        until(b, *range(600, 2400, 15))
        assert len(mail.messages) == 1
        assert len(hook.calls) == 1


@pytest.mark.fault("F62")
def test_f62_550_for_one_of_30_leaves_29_accepted_and_the_one_is_shown(tmp_path, mail):
    people = "".join(MAIL_OF.format(name=f"owner-{number}") for number in range(30))
    mail.script("rcpt owner-7@faraway.example", "550 5.1.1 nobody here")
    with bench(tmp_path, configured(mail, people), **env(mail)) as b:
        b.take(STORM)
        until(b, 0)
        assert len(mail.messages) == 29
        assert Counter(states(b.store)) == {"accepted": 29, "refused": 1}
        assert b.store.unreached_channels() == {"owner-7": ("email",)}
        (tmp_path / "watch.toml").chmod(0o600)
        said = CliRunner().invoke(
            main,
            ["log", str(tmp_path / "watch.toml"), "--since", "2026-09-22T00:00Z", "--json"],
        )
        assert said.exit_code == 0, said.output
        shown = [
            (notice["contact"], delivery["last_answer"])
            for notice in json.loads(said.stdout)["notices"]
            for delivery in notice["deliveries"]
            if delivery["state"] == "refused"
        ]
        assert shown == [("owner-7", "550 5.1.1 nobody here")]


@pytest.mark.fault("F64")
@pytest.mark.promise(2)
def test_f64_a_message_taken_without_a_reply_is_repeated_once_with_the_same_id(store, clock, mail):
    enqueue(store, a_notice())
    mail.script("taken", DROP)
    play(worker(store, clock, mail_routes(mail, [OWNER])), store, clock, NOW + timedelta(hours=1))
    assert [m["Message-ID"] for m in mail.messages] == [f"<{a_notice().id}@larkspur.example>"] * 2
    assert states(store) == ["accepted"]
    assert answers_of(store) == [["failed", "accepted"]]


@pytest.mark.fault("F65")
def test_f65_nothing_of_the_notice_leaves_in_clear_where_starttls_is_not_offered(store, clock):
    heard = []

    def talk(connection):
        connection.sendall(b"220 mail\r\n")
        while piece := connection.recv(4096):
            heard.append(piece)
            connection.sendall(b"250-mail\r\n250 AUTH PLAIN LOGIN\r\n")

    enqueue(store, a_notice())
    with RawServer(talk) as raw:
        raw.ca_file = ca_file()
        one = worker(store, clock, mail_routes(raw, [OWNER]))
        report = one.drain()
    assert report.put_off == 1
    assert "no STARTTLS" in report.for_operator[0]
    assert b"".join(heard).lower().split() == [b"ehlo", b"larkspur.example"]
    assert states(store) == ["waiting"]


# --- webhooks --------------------------------------------------------------------------


@pytest.mark.fault("F70")
@pytest.mark.promise(2)
def test_f70_a_call_that_was_taken_and_timed_out_is_repeated_once_with_the_same_id(
    store, clock, hook
):
    enqueue(store, a_notice(OWNER), channels=("webhook",))
    answered = threading.Event()
    hook.on_call = lambda _: answered.wait(5) if len(hook.calls) == 1 else None
    channel = WebhookChannel(target(hook.url, whole_s=0.3))
    play(
        worker(store, clock, {(OWNER, "webhook"): channel}),
        store,
        clock,
        NOW + timedelta(hours=1),
    )
    answered.set()
    first, second = (call.headers for call in hook.calls)
    assert first["webhook-id"] == second["webhook-id"] == a_notice(OWNER).id
    assert int(second["webhook-timestamp"]) - int(first["webhook-timestamp"]) == 5
    assert hook.refused == [], "both signatures are valid, each for its own time"
    assert first["webhook-signature"] != second["webhook-signature"]
    assert states(store) == ["accepted"]


@pytest.mark.fault("F71")
@pytest.mark.promise(13)
def test_f71_500_until_the_wind_is_old_and_the_first_text_taken_is_the_present_state(
    tmp_path, mail, hook
):
    hook.script(*[500] * 500)
    people = HOOK_OF.format(name="desk", url=hook.url)
    with bench(tmp_path, configured(mail, people), **env(mail)) as b:
        (first, _), *_ = b.take(STORM).notices
        until(b, *range(0, 3600, 300))
        b.take("27020G35KT")
        until(b, *range(3600, 6600, 300))
        assert hook.received == []
        hook._script.clear()
        until(b, *range(6600, 7600, 60))
        now, *more = (call.payload for call in hook.received)
        assert more == []
        assert now["kind"] == "state now"
        assert first.id in now["replaces"]
        assert "35 kt" in now["text"], "the figure now"
        assert "41" in now["text"], "the worst meanwhile"
        assert "late" in now["text"] or "delayed" in now["text"]
        by_id = {n.notice.id: n for n in b.store.notices()}
        assert {d.state.value for d in by_id[first.id].deliveries} <= {"superseded", "expired"}


@pytest.mark.fault("F72")
@pytest.mark.parametrize("answer", [404, (301, {"Location": "/elsewhere"})], ids=["404", "301"])
def test_f72_404_and_301_are_tried_three_times_in_two_minutes_then_the_fall_back_starts(
    store, clock, hook, answer
):
    with WebhookReceiver(check_time=False) as second:
        hook.script(*[answer] * 9)
        channels = {
            (OWNER, "webhook"): WebhookChannel(target(hook.url)),
            (OWNER, "push"): WebhookChannel(target(second.url)),
        }
        one = worker(store, clock, channels)
        with store.transaction() as books:
            # The second would start by itself only after an hour.
            books.enqueue(
                a_notice(OWNER), a_content(), {"webhook": None, "push": NOW + timedelta(hours=1)}
            )
        told = []
        while clock.now() < NOW + 3 * MINUTE:
            told += one.drain().for_operator
            clock.move(5 * SECOND)
        tried = [int(call.headers["webhook-timestamp"]) - NOW.timestamp() for call in hook.calls]
        assert len(tried) == 3
        assert tried[-1] <= 120
        assert [call.path for call in hook.calls] == ["/wind"] * 3, "no redirect is followed"
        assert len(second.received) == 1
        assert len(told) == 1
        assert sorted(states(store)) == ["accepted", "refused"]


@pytest.mark.fault("F72")
def test_f72_410_ends_an_endpoint_at_once_and_the_fall_back_takes_over(store, clock, hook):
    with WebhookReceiver(check_time=False) as second:
        hook.script(410)
        channels = {
            (OWNER, "webhook"): WebhookChannel(target(hook.url)),
            (OWNER, "push"): WebhookChannel(target(second.url)),
        }
        one = worker(store, clock, channels, in_turn={OWNER})
        for number in (1, 2):
            notice = a_notice(OWNER, number, at=clock.now())
            starts = {"webhook": None, "push": clock.now() + MINUTE}
            with store.transaction() as books:
                books.enqueue(notice, a_content(), starts)
            report = one.drain()
            clock.move(20 * MINUTE)
            assert report.fall_backs or number == 2
        assert len(hook.calls) == 1
        assert len(second.received) == 2


@pytest.mark.fault("F72")
@pytest.mark.parametrize(("asked", "waited"), [("7", 7), ("3600", 300)])
def test_f72_429_is_tried_again_when_it_asks_between_a_second_and_five_minutes(
    store, clock, hook, asked, waited
):
    hook.script((429, {"Retry-After": asked}))
    enqueue(store, a_notice(OWNER), channels=("webhook",))
    one = worker(store, clock, {(OWNER, "webhook"): WebhookChannel(target(hook.url))})
    play(one, store, clock, NOW + timedelta(hours=1))
    first, second = (int(call.headers["webhook-timestamp"]) for call in hook.calls)
    assert second - first == waited
    assert states(store) == ["accepted"]


@pytest.mark.fault("F72")
def test_f72_429_for_longer_than_the_notice_is_true_starts_the_fall_back_now(store, clock, hook):
    hook.script((429, {"Retry-After": "3600"}))
    enqueue(store, a_notice(OWNER, valid_for=30 * MINUTE), channels=("webhook",))
    one = worker(store, clock, {(OWNER, "webhook"): WebhookChannel(target(hook.url))})
    assert one.drain().fall_backs == [Route(OWNER, "webhook")]


@pytest.mark.fault("F73")
@pytest.mark.parametrize("first", ["mail", "webhook"])
def test_f73_an_expired_certificate_is_never_accepted_and_the_fall_back_starts_at_once(
    store, clock, hook, first
):
    with ExitStack() as stack:
        if first == "mail":
            bad = stack.enter_context(MailServer(expired=True))
            channel = mail_routes(bad, [OWNER])[OWNER, "email"]
        else:
            bad = stack.enter_context(WebhookReceiver(tls=True, expired=True))
            channel = WebhookChannel(target(bad.url, allow_http=False))
        channels = {(OWNER, "email"): channel, (OWNER, "push"): WebhookChannel(target(hook.url))}
        one = worker(store, clock, channels, in_turn={OWNER})
        with store.transaction() as books:
            books.enqueue(a_notice(OWNER), a_content(), {"email": None, "push": NOW + MINUTE})
        report = one.drain()
        assert "certificate" in report.for_operator[0]
        assert "expired" in report.for_operator[0]
        assert len(hook.received) == 1, "in the very same drain"
        assert (getattr(bad, "messages", []), getattr(bad, "calls", [])) == ([], [])


@pytest.mark.fault("F75")
@pytest.mark.guard("addresses")
@pytest.mark.parametrize("where", ["127.0.0.1", "10.1.2.3", "169.254.169.254", "fd00::1"])
def test_f75_a_name_that_leads_inside_later_is_refused_at_connect(
    store, clock, hook, where, monkeypatch
):
    """The first call goes where the name leads; then it leads somewhere else."""
    port = int(hook.url.rpartition(":")[2].partition("/")[0])
    leads_to = ["127.0.0.1"]

    def resolves(host, port, *_, **__):
        family = socket.AF_INET6 if ":" in leads_to[0] else socket.AF_INET
        return [(family, socket.SOCK_STREAM, 6, "", (leads_to[0], port))]

    monkeypatch.setattr(socket, "getaddrinfo", resolves)
    url = f"http://desk.larkspur.example:{port}/wind"
    listed = WebhookChannel(target(url, allow_networks=("127.0.0.1/32",)))
    enqueue(store, a_notice(OWNER, 1), channels=("webhook",))
    assert worker(store, clock, {(OWNER, "webhook"): listed}).drain().accepted == 1
    leads_to[0] = where
    unlisted = WebhookChannel(target(url, allow_networks=()))
    enqueue(store, a_notice(OWNER, 2), channels=("webhook",))
    report = worker(store, clock, {(OWNER, "webhook"): unlisted}).drain()
    assert (report.accepted, report.failed) == (0, 1)
    assert len(hook.calls) == 1
    answer = store.notices()[-1].deliveries[0].last_answer
    assert "not a public address" in answer
