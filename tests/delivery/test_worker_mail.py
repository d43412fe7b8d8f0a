"""The worker against a real mail server: refused, put off, a password that was changed."""

from collections import Counter
from datetime import timedelta

import pytest

from tests.delivery.little_worker import MINUTE, NOW, enqueue, mail_routes, play, states, worker
from tests.servers.mail_server import MailServer as Server
from tests.servers.samples import a_notice

# --- against a real mail server -------------------------------------------------------------


@pytest.mark.fault("F62")
def test_one_refused_recipient_of_thirty(store, clock):
    """F62: 29 accepted, one refused and shown."""
    names = [f"owner {n}" for n in range(30)]
    enqueue(store, *(a_notice(name) for name in names))
    with Server() as server:
        server.script("rcpt owner-7@faraway.example", "550 5.1.1 nobody here")
        report = worker(store, clock, mail_routes(server, names)).drain()
    assert (report.accepted, report.refused) == (29, 1)
    assert report.for_operator == ["owner 7, email: 550 5.1.1 nobody here"]
    assert Counter(states(store)) == {"accepted": 29, "refused": 1}


@pytest.mark.fault("F61")
def test_a_greylisting_server_takes_it_once_after_ten_minutes(store, clock):
    """F61: 450 for ten minutes, then 250: delivered once."""
    enqueue(store, a_notice())
    with Server() as server:
        server.script("rcpt", "450 4.7.1 greylisted", "450 4.7.1 greylisted")
        one = worker(store, clock, mail_routes(server, ["owner of X-WREN"]))
        play(one, store, clock, NOW + timedelta(hours=1))
        assert clock.now() == NOW + 6 * MINUTE
        assert len(server.messages) == 1
        assert server.sessions == 3
    assert states(store) == ["accepted"]


@pytest.mark.fault("F63")
def test_a_password_that_was_changed_is_tried_once_a_minute_and_then_all_goes_out(store, clock):
    """F63: the channel is down, nobody's tries are spent, no lock-out by retries."""
    names = ["owner of X-WREN", "instructor on duty"]
    enqueue(store, a_notice(names[0]))
    with Server(password="new horse") as server:
        one = worker(store, clock, mail_routes(server, names))
        one.drain()
        enqueue(store, a_notice(names[1]))
        play(one, store, clock, NOW + 5 * MINUTE)
        sessions = server.sessions
        assert sessions <= 1 + 5
        server.password = "correct horse"
        play(one, store, clock, NOW + 8 * MINUTE)
        assert len(server.messages) == 2
    assert set(states(store)) == {"accepted"}
