"""Rows F76 to F79 of the fault table, each whole: crowds, and no network at all."""

import threading
import time
from datetime import timedelta

import pytest
from click.testing import CliRunner

from tests.delivery.fault_rows import (
    BOTH_OF,
    HOOK_OF,
    MAIL_OF,
    body,
    configured,
    env,
    target,
    until,
    worker,
)
from tests.delivery.little_worker import enqueue, states
from tests.servers.mail_server import DROP
from tests.servers.raw_server import RawServer
from tests.servers.samples import a_notice
from tests.servers.webhook_server import DROP as DROPPED
from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, metar
from windwatch.cli.main import main
from windwatch.delivery.webhook import WebhookChannel
from windwatch.reports.raw import RawReport

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
