"""Rows F60 to F79 of the fault table, each whole: real servers, and a real watch where it counts.

What a channel alone must make of each answer is in test_email and test_webhook; here it is what
becomes of the notice.
"""

import json
import socket
import threading
import time
from collections import Counter
from contextlib import ExitStack
from datetime import timedelta

import pytest
from click.testing import CliRunner

from tests.delivery.test_worker import Even, enqueue, mail_routes, play, state_now, states
from tests.servers.certificates import ca_file
from tests.servers.mail_server import DROP, MailServer
from tests.servers.raw_server import RawServer
from tests.servers.samples import GUST_FRONT, a_content, a_notice
from tests.servers.webhook_server import DROP as DROPPED
from tests.servers.webhook_server import SECRET, WebhookReceiver
from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, config_text, metar
from windwatch.cli.main import main
from windwatch.clock import HandClock
from windwatch.delivery.channels import ChannelBook, WebhookTarget
from windwatch.delivery.webhook import WebhookChannel
from windwatch.delivery.worker import Worker
from windwatch.notices.outbox import Route
from windwatch.reports.raw import RawReport
from windwatch.store.store import open_store

NOW = GUST_FRONT
OWNER = "owner of X-WREN"
SECOND = timedelta(seconds=1)

MAIL_OF = '\n[[contact]]\nname = "{name}"\nemail = "{name}@faraway.example"\n'
HOOK_OF = (
    '\n[[contact]]\nname = "{name}"\n'
    'webhook = {{ url = "{url}", allow_http = true, secret_env = "HOOK_SECRET" }}\n'
)
BOTH_OF = (
    '\n[[contact]]\nname = "{name}"\nemail = "{name}@faraway.example"\n'
    'webhook = {{ url = "{url}", allow_http = true, secret_env = "HOOK_SECRET" }}\n{more}\n'
)


@pytest.fixture
def mail():
    with MailServer() as server:
        yield server


@pytest.fixture
def hook():
    with WebhookReceiver(check_time=False) as receiver:
        yield receiver


@pytest.fixture
def clock():
    return HandClock(NOW)


@pytest.fixture
def store(tmp_path, clock):
    with open_store(tmp_path / "worker.db", clock, durable=False) as store:
        yield store


def configured(mail, people, **more):
    rim = (
        '[delivery]\nallow_networks = ["127.0.0.0/8"]\n'
        f'[mail]\nhost = "{mail.host}"\nport = {mail.port}\nsecurity = "starttls"\n'
        f'username = "{mail.username}"\npassword_env = "MAIL_PASSWORD"\n'
        f'ca_file = "{mail.ca_file}"\nsender = "windwatch <windwatch@larkspur.example>"\n'
    )
    return config_text(rim=rim, people=people, **more)


def env(mail):
    return {"MAIL_PASSWORD": mail.password, "HOOK_SECRET": SECRET}


def until(b, *seconds):
    """Let time pass to each of these seconds after the start, and deliver what is due."""
    for second in seconds:
        b.at(START + second * SECOND)
        b.watch.tick()
        b.watch.deliver()


def target(url, **changes):
    values = {
        "url": url,
        "secrets": (SECRET,),
        "allow_http": True,
        "allow_networks": ("127.0.0.0/8",),
        "ca_file": ca_file(),
    }
    return WebhookTarget(**values | changes)


def worker(store, clock, channels, in_turn=(), restate=state_now):
    book = ChannelBook({Route(*route): channel for route, channel in channels.items()}, in_turn)
    return Worker(store, book, clock, restate, Even())


def answers_of(store):
    return [
        [a.outcome for a in store.attempts(d.id)] for n in store.notices() for d in n.deliveries
    ]


def body(message):
    return " ".join(message.get_body(("plain",)).get_content().split())


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


# --- crowds, and no network at all -----------------------------------------------------


@pytest.mark.fault("F76")
def test_f76_one_endpoint_of_100_hangs_and_the_others_have_theirs_in_5_s(store, clock):
    """p99 of the other 99, two notices each; every endpoint is a host of its own."""
    let_go = threading.Event()
    arrived = []
    lock = threading.Lock()

    def answers(connection):
        head = b""
        while b"\r\n\r\n" not in head:
            head += connection.recv(65_536)
        if connection.getsockname()[0] == "127.0.0.7":
            let_go.wait(30)
            return
        with lock:
            arrived.append(time.monotonic())
        connection.sendall(b"HTTP/1.1 204 No Content\r\nConnection: close\r\n\r\n")

    with RawServer(answers, address="0.0.0.0") as server:  # noqa: S104 - 127.0.0.1 to .100
        names = [f"contact {number}" for number in range(1, 101)]
        routes = {
            (name, "webhook"): WebhookChannel(
                target(f"http://127.0.0.{number}:{server.port}/", whole_s=30.0)
            )
            for number, name in enumerate(names, 1)
        }
        for airfield in ("XLKS", "XBRN"):
            enqueue(
                store,
                *(a_notice(name, airfield=airfield) for name in names),
                channels=("webhook",),
            )
        one = worker(store, clock, routes)
        began = time.monotonic()
        report = one.drain(patience=timedelta(seconds=0.3))
        let_go.set()
        waited = sorted(at - began for at in arrived)
    assert (report.accepted, report.under_way) == (198, 2)
    assert len(waited) == 198
    assert waited[int(0.99 * len(waited))] <= 5
    one.drain()


@pytest.mark.fault("F78")
@pytest.mark.promise(6)
@pytest.mark.promise(13)
def test_f78_six_hours_without_a_network_become_one_notice_per_contact_and_airfield(
    tmp_path, mail, hook
):
    """At XLKS the wind opens and ends twice, at XBRN it opens and stays."""
    people = MAIL_OF.format(name="owner") + HOOK_OF.format(name="desk", url=hook.url)
    text = configured(mail, people, airfields=("XLKS", "XBRN"))
    winds = {
        0: (QUIET, QUIET),
        20: (STORM, QUIET),
        40: (QUIET, QUIET),
        90: (QUIET, QUIET),
        110: (QUIET, QUIET),
        160: ("29028G38KT", QUIET),
        200: (QUIET, QUIET),
        250: (QUIET, "31030G45KT"),
        270: (QUIET, "31024G33KT"),
        310: (QUIET, "31024G33KT"),
        350: (QUIET, "31024G33KT"),
    }
    mail.script("greeting", *[DROP] * 5000)
    hook.script(*[DROPPED] * 5000)
    with bench(tmp_path, text, **env(mail)) as b:
        steps = []
        for minute in range(361):
            b.at(START + minute * MINUTE)
            if minute in winds:
                for station, wind in zip(("XLKS", "XBRN"), winds[minute], strict=True):
                    steps += [
                        (n.contact, n.airfield, s.name.value)
                        for n, _ in b.take(wind, station=station).notices
                        for s in n.steps
                    ]
            b.watch.tick()
            if minute % 20 == 0:
                b.watch.deliver()
        for contact in ("owner", "desk"):
            told = [(a, s) for c, a, s in steps if c == contact]
            assert told == [
                ("XLKS", "opened"),
                ("XLKS", "back"),
                ("XLKS", "opened"),
                ("XLKS", "back"),
                ("XBRN", "opened"),
            ]
        assert (mail.messages, hook.received) == ([], [])
        mail._script.clear()
        hook._script.clear()
        until(b, *range(361 * 60, 375 * 60, 60))

        # The one for XLKS: over, and what happened; the one for XBRN: how it stands now.
        assert len(mail.messages) == len(hook.received) == 2
        by_field = {str(m["Subject"])[:4]: body(m) for m in mail.messages}
        said = {c.payload["airfield"]: " ".join(c.payload["text"].split()) for c in hook.received}
        for past, present in (
            (by_field["XLKS"], by_field["XBRN"]),
            (said["XLKS"], said["XBRN"]),
        ):
            assert "41 kt" in past
            assert "38 kt" in past
            assert "No alert of yours is open now" in past
            assert "33 kt" in present
            assert "45" in present
        assert {c.payload["kind"] for c in hook.received} == {"state now"}
        until(b, *range(376 * 60, 400 * 60, 60))
        assert len(mail.messages) == len(hook.received) == 2


@pytest.mark.fault("F78")
@pytest.mark.promise(6)
def test_f78_where_the_feed_was_gone_too_one_notice_tells_the_state_now_and_what_happened(
    tmp_path, mail, hook
):
    """Three openings and two ends come in one answer of the feed when the network is back."""
    people = MAIL_OF.format(name="owner") + HOOK_OF.format(name="desk", url=hook.url)
    winds = {20: STORM, 40: QUIET, 90: QUIET, 110: QUIET, 160: "29028G38KT", 200: QUIET}
    winds |= {250: QUIET, 270: QUIET, 310: "31030G45KT", 350: "31024G33KT"}
    mail.script("greeting", *[DROP] * 5000)
    hook.script(*[DROPPED] * 5000)
    with bench(tmp_path, configured(mail, people), **env(mail)) as b:
        b.take(QUIET)
        for minute in range(5, 361, 5):
            b.at(START + minute * MINUTE)
            b.watch.tick()
            if minute % 20 == 0:
                b.watch.deliver()
        mail._script.clear()
        hook._script.clear()
        now = b.clock.now()
        b.watch.take(
            [RawReport(metar(START + m * MINUTE, wind), now, "test") for m, wind in winds.items()]
        )
        until(b, *range(360 * 60, 375 * 60, 60))
        [message], [call] = mail.messages, hook.received
        assert call.payload["kind"] == "state now"
        for text in (body(message), " ".join(call.payload["text"].split())):
            assert "Late by" in text
            assert "now 33 kt > 25 kt" in text
            assert "worst 45 kt" in text
            assert "38 kt > 25 kt - past" in text
            assert "no wind known from XLKS since" in text


@pytest.mark.fault("F79")
@pytest.mark.promise(10)
def test_f79_where_every_channel_of_the_only_contact_fails_it_is_red_everywhere(
    tmp_path, mail, hook
):
    people = BOTH_OF.format(name="owner", url=hook.url, more="")
    mail.script("rcpt", *["550 5.1.1 nobody here"] * 100)
    hook.script(*[404] * 100)
    with bench(tmp_path, configured(mail, people), **env(mail)) as b:
        b.take(STORM)
        until(b, *range(0, 300, 15))
        # In the health answer, and no cycle counts as complete: the heartbeat stays away.
        found = b.watch.keeper.health(b.watch.books)
        assert "owner is reached by no channel" in found.faults(found.written_at)
        assert found.last_cycle_at is None
        # In `log`.
        assert sorted(states(b.store)) == ["refused", "refused"]
        said = CliRunner().invoke(
            main, ["log", str(tmp_path / "watch.toml"), "--since", "2026-09-22T00:00Z"]
        )
        assert "550 5.1.1 nobody here" in said.stdout
        # In the next notice.
        b.at(START + 10 * MINUTE)
        [(notice, content)] = b.take("27040G59KT").notices
        assert set(notice.undelivered_by) == {"email", "webhook"}
        assert "could not be delivered by email" in " ".join(content.text.split())
