"""Channels in turn, escalation, dead letters and a restart in the night, on a real store."""

from datetime import timedelta

import pytest

from tests.servers.mail_server import MailServer
from tests.servers.webhook_server import SECRET, WebhookReceiver
from tests.watch.little_watch import DESK, MINUTE, START, STORM, bench, config_text, said
from windwatch.clock import HandClock

IN_TURN = """
[[contact]]
name = "owner"
email = "owner@faraway.example"
webhook = {{ url = "{url}", allow_http = true, secret_env = "HOOK_SECRET" }}
{more}
"""


@pytest.fixture
def mail():
    with MailServer() as server:
        yield server


@pytest.fixture
def hook():
    with WebhookReceiver(check_time=False) as receiver:
        yield receiver


def config(mail, hook, more="fall_back = true"):
    rim = (
        '[delivery]\nallow_networks = ["127.0.0.0/8"]\n'
        f'[mail]\nhost = "{mail.host}"\nport = {mail.port}\nsecurity = "starttls"\n'
        f'username = "{mail.username}"\npassword_env = "MAIL_PASSWORD"\n'
        f'ca_file = "{mail.ca_file}"\nsender = "windwatch <windwatch@larkspur.example>"\n'
    )
    return config_text(rim=rim, people=IN_TURN.format(url=hook.url, more=more))


def seconds(b, *until):
    for second in until:
        b.at(START + timedelta(seconds=second))
        b.watch.tick()
        b.watch.deliver()


def env(mail):
    return {"MAIL_PASSWORD": mail.password, "HOOK_SECRET": SECRET}


def test_what_the_mail_server_takes_is_not_called_out_as_well(tmp_path, mail, hook):
    with bench(tmp_path, config(mail, hook), **env(mail)) as b:
        b.take(STORM)
        seconds(b, 0, 30, 61, 121)
        assert len(mail.messages) == 1
        assert hook.calls == []


def test_f61_a_server_that_greylists_for_ten_minutes(tmp_path, mail, hook):
    mail.script("mail", *["450 4.2.0 greylisted"] * 3)
    with bench(tmp_path, config(mail, hook), **env(mail)) as b:
        b.take(STORM)
        seconds(b, 0, 30, 59)
        assert hook.calls == []
        seconds(b, 61)
        assert len(hook.calls) == 1
        seconds(b, *range(120, 1300, 60))
        assert len(mail.messages) == 1
        assert len(hook.calls) == 1


def test_f63_a_password_that_is_wrong_starts_the_second_channel_now(tmp_path, mail, hook):
    wrong = {**env(mail), "MAIL_PASSWORD": "not this one"}
    with bench(tmp_path, config(mail, hook), **wrong) as b:
        b.take(STORM)
        seconds(b, 0)
        assert mail.messages == []
        assert len(hook.calls) == 1


def test_by_default_every_channel_gets_every_notice(tmp_path, mail, hook):
    with bench(tmp_path, config(mail, hook, more=""), **env(mail)) as b:
        b.take(STORM)
        seconds(b, 0)
        assert len(mail.messages) == len(hook.calls) == 1


def test_dead_letters_are_named_in_the_next_notice_to_that_contact(tmp_path, mail, hook):
    mail.script("rcpt", "550 5.1.1 no such mailbox")
    with bench(tmp_path, config(mail, hook, more=""), **env(mail)) as b:
        b.take(STORM)
        seconds(b, 0)
        assert b.store.unreached_channels() == {"owner": ("email",)}
        b.at(START + 5 * MINUTE)
        (told,) = b.take("27040G59KT").notices
        assert told[0].undelivered_by == ("email",)
        assert "Earlier notices to owner could not be delivered by email." in told[1].text
        seconds(b, 301)
        # It has arrived now, as one notice of the state, and nothing is missing any more.
        assert len(mail.messages) == 1
        assert b.store.unreached_channels() == {}
        b.at(START + 15 * MINUTE)
        (told,) = b.take("27060G79KT").notices
        assert "could not be delivered" not in told[1].text


def test_a_contact_that_takes_no_note_is_followed_by_the_next(tmp_path):
    people = DESK + 'then_tell = "chief"\n\n[[contact]]\nname = "chief"\nfolder = "chief"\n'
    people += 'tell_about = { ground = false, thunder = false, runways = "none" }\n'
    for taken in (False, True):
        folder = tmp_path / str(taken)
        folder.mkdir()
        with bench(folder, config_text(people=people), HandClock(START)) as b:
            b.take(STORM)
            if taken:
                episode = b.watch.books["XLKS"].state.ledger[0].episode
                with b.store.transaction() as books:
                    books.acknowledge(episode, "desk", START + MINUTE)
            b.again()
            b.at(START + 14 * MINUTE)
            assert said(b.watch.tick()) == []
            b.at(START + 15 * MINUTE)
            assert said(b.watch.tick()) == ([] if taken else [("chief", "opened")])


@pytest.mark.promise(15)
def test_promise_15_what_waits_for_the_morning_survives_a_restart(tmp_path):
    # 1456Z is 10:56 in New York.
    people = DESK + 'quiet_hours = { from = "10:00", to = "12:00" }\n'
    with bench(tmp_path, config_text(people=people)) as b:
        assert said(b.take("27022KT")) == []
        b.again()
        b.at(START + 63 * MINUTE)
        assert said(b.watch.tick()) == []
        b.at(START + 64 * MINUTE)
        assert said(b.watch.tick()) == [("desk", "near")]
