"""A mail server that refuses for a while, and a webhook that fails: what arrives in the end."""

from datetime import timedelta

import pytest

from tests.servers.mail_server import MailServer
from tests.servers.webhook_server import SECRET, WebhookReceiver
from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, config_text, ids

PEOPLE = """
[[contact]]
name = "owner"
email = "owner@faraway.example"
"""
HOOK = """
[[contact]]
name = "desk"
webhook = { url = "{url}", allow_http = true, secret_env = "HOOK_SECRET" }
"""


def with_mail(mail, people=PEOPLE):
    rim = (
        '[delivery]\nallow_networks = ["127.0.0.0/8"]\n'
        f'[mail]\nhost = "{mail.host}"\nport = {mail.port}\nsecurity = "starttls"\n'
        f'username = "{mail.username}"\npassword_env = "MAIL_PASSWORD"\n'
        f'ca_file = "{mail.ca_file}"\nsender = "windwatch <windwatch@larkspur.example>"\n'
    )
    return config_text(rim=rim, people=people)


@pytest.fixture
def mail():
    with MailServer() as server:
        yield server


def minutes_of(b, count, step=1):
    """Let minutes pass, delivering what is due every `step` of them."""
    for _ in range(0, count, step):
        b.clock.move(step * MINUTE)
        b.watch.tick()
        b.watch.deliver()


def body(message):
    return message.get_body(("plain",)).get_content()


@pytest.mark.promise(13)
@pytest.mark.parametrize("refusal", ["451 4.3.0 later", "421 4.3.2 shutting down"])
def test_a_server_that_refuses_past_the_validity_gets_one_notice_of_the_state_now(
    tmp_path, mail, refusal
):
    with bench(tmp_path, with_mail(mail), MAIL_PASSWORD=mail.password) as b:
        mail.script("mail", *[refusal] * 200)
        first = ids(b.take(STORM))
        b.watch.deliver()
        minutes_of(b, 60, step=5)
        b.take("27020G35KT")
        minutes_of(b, 40, step=5)
        assert mail.messages == []
        # The first notice was valid until 75 minutes after its observation, and is over.
        mail._script.clear()
        minutes_of(b, 20)
        assert len(mail.messages) == 1
        [message] = mail.messages
        text = body(message)
        assert first[0] not in str(message["Message-ID"])
        assert "35 kt" in text, "the figure now"
        assert "41 kt" in text, "and the worst"
        assert "delayed" in text.lower() or "late" in text.lower()
        kept = b.store.notices()
        assert [n.notice.kind for n in kept] == ["alert", "state now"]
        assert [d.state.value for n in kept for d in n.deliveries] == ["expired", "accepted"]
        assert kept[1].notice.replaces == (first[0],)
        minutes_of(b, 10)
        assert len(mail.messages) == 1


def test_a_short_refusal_delivers_the_notice_itself_once(tmp_path, mail):
    with bench(tmp_path, with_mail(mail), MAIL_PASSWORD=mail.password) as b:
        mail.script("mail", "451 4.3.0 later", "451 4.3.0 later")
        [notice] = ids(b.take(STORM))
        b.watch.deliver()
        minutes_of(b, 12)
        assert len(mail.messages) == 1
        assert notice in str(mail.messages[0]["Message-ID"])


@pytest.mark.promise(6)
def test_what_began_and_ended_while_nothing_could_be_sent_is_told_once_as_past(tmp_path, mail):
    with bench(tmp_path, with_mail(mail), MAIL_PASSWORD=mail.password) as b:
        mail.script("mail", *["451 4.3.0 later"] * 300)
        b.take(STORM)
        b.watch.deliver()
        for _ in range(3):
            minutes_of(b, 40, step=5)
            b.take(QUIET)
        assert not b.watch.books["XLKS"].state.ledger[0].open
        mail._script.clear()
        minutes_of(b, 40)
        assert len(mail.messages) == 1, "promise 6"
        text = body(mail.messages[0])
        assert "41 kt" in text
        assert "past" in str(mail.messages[0]["Subject"])
        assert "ended 12:16 local" in text
        assert "No alert of yours is open now; your decision." in text


@pytest.mark.promise(12, 16)
def test_a_webhook_that_fails_does_not_hold_up_the_mail_of_another(tmp_path, mail):
    with WebhookReceiver(check_time=False) as hook:
        people = HOOK.replace("{url}", hook.url) + PEOPLE
        secrets = {"MAIL_PASSWORD": mail.password, "HOOK_SECRET": SECRET}
        with bench(tmp_path, with_mail(mail, people), **secrets) as b:
            hook.script(*[500] * 50)
            assert len(b.take(STORM).notices) == 2
            b.watch.deliver()
            assert len(mail.messages) == 1, "at once, in the same drain"
            minutes_of(b, 3)
            b.take("27035G60KT")
            b.watch.deliver()
            assert len(mail.messages) == 2
            assert hook.received == []
            assert len(hook.calls) > 1, "it is tried again"
            tries = len(hook.calls)
            hook._script.clear()
            minutes_of(b, 10)
            assert len(hook.received) == 1, "one notice in the place of two"
            assert hook.received[0].payload["kind"] == "state now"
            assert len(hook.calls) == tries + 1
            assert len(mail.messages) == 2


def test_the_next_try_is_due_when_the_outbox_says(tmp_path, mail):
    with bench(tmp_path, with_mail(mail), MAIL_PASSWORD=mail.password) as b:
        assert b.watch.next_due() is None
        b.take(QUIET)
        assert b.watch.next_due() is None
        b.clock.move(MINUTE)
        mail.script("mail", "451 4.3.0 later")
        b.take(STORM)
        assert b.watch.next_due() == START + MINUTE
        b.watch.deliver()
        due = b.watch.next_due()
        assert due is not None
        # Greylisting: again after a minute, give or take a fifth (reliability, section 3).
        assert timedelta(seconds=48) <= due - (START + MINUTE) <= timedelta(seconds=72)
