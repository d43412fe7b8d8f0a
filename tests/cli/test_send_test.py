"""`send-test`: proof that every channel works, and words where one does not."""

import email
import email.policy
import json
from pathlib import Path

import pytest

from tests.servers.mail_server import MailServer
from tests.servers.samples import GUST_FRONT
from tests.servers.webhook_server import SECRET, WebhookReceiver
from tests.watch.little_watch import config_text
from windwatch.cli.show import load_settings
from windwatch.clock import HandClock
from windwatch.notices.outbox import Route
from windwatch.store.store import open_store
from windwatch.wiring import make_channels

PEOPLE = """
[[contact]]
name = "operations desk"
email = "ops@larkspur.example"
webhook = { url = "https://desk.larkspur.example/wind", secret_env = "HOOK_SECRET" }

[[contact]]
name = "owner"
folder = "owners"
"""
FOLDER = '[delivery]\nfolder = "dropped"\n'


@pytest.fixture
def configured(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOOK_SECRET", SECRET)

    def write(people=PEOPLE, rim=FOLDER):
        (tmp_path / "field.toml").write_text(config_text(people=people, rim=rim))
        return tmp_path

    return write


def test_every_channel_of_everybody_gets_one(run, configured, caution, flat):
    folder = configured()
    result = run("send-test", "field.toml")
    assert result.exit_code == 0
    said = flat(result.stdout)
    assert "next hop" not in said, "a file has none"
    # A path is broken where a line ends.
    whole = said.replace(" ", "")
    [dropped_mail] = (folder / "dropped").glob("*.eml")
    [dropped_hook] = (folder / "dropped").glob("*.json")
    [owners] = (folder / "owners").glob("*.eml")
    for who, file, instead in (
        ("operations desk by email", dropped_mail, ", instead of being sent"),
        ("operations desk by webhook", dropped_hook, ", instead of being sent"),
        ("owner by folder", owners, ""),
    ):
        name = file.relative_to(folder)
        assert f"{who}: written to {name}{instead}".replace(" ", "") in whole
    assert not whole.endswith("sent")
    [mail] = (folder / "dropped").glob("*.eml")
    message = email.message_from_bytes(mail.read_bytes(), policy=email.policy.default)
    assert "test" in str(message["Subject"]).lower()
    assert caution in flat(message.get_body(("plain",)).get_content())
    [hook] = (folder / "dropped").glob("*.json")
    assert json.loads(hook.read_text())["body"]["kind"] == "test"
    assert len(list((folder / "owners").glob("*.eml"))) == 1


def test_one_contact_alone(run, configured):
    folder = configured()
    result = run("send-test", "field.toml", "owner")
    assert result.exit_code == 0
    assert "operations desk" not in result.stdout
    assert not (folder / "dropped").exists()


def test_a_contact_that_is_none_is_refused_with_those_that_are(run, configured, flat):
    configured()
    result = run("send-test", "field.toml", "nobody")
    assert result.exit_code == 2
    assert "there are operations desk, owner" in flat(result.stderr)


def test_a_missing_secret_is_named_and_nothing_is_sent(run, configured, monkeypatch):
    folder = configured(PEOPLE.replace('email = "ops@larkspur.example"\n', ""), "")
    monkeypatch.delenv("HOOK_SECRET")
    result = run("send-test", "field.toml")
    assert result.exit_code == 2
    assert "HOOK_SECRET" in result.stderr
    assert not (folder / "owners").exists()


def test_real_servers_take_it_and_a_failing_one_is_told_with_its_answer(
    run, configured, monkeypatch, flat
):
    with MailServer() as mail, WebhookReceiver() as hook:
        rim = (
            '[delivery]\nallow_networks = ["127.0.0.0/8"]\n'
            f'[mail]\nhost = "{mail.host}"\nport = {mail.port}\nsecurity = "starttls"\n'
            f'username = "{mail.username}"\npassword_env = "MAIL_PASSWORD"\n'
            f'ca_file = "{mail.ca_file}"\nsender = "windwatch <windwatch@larkspur.example>"\n'
        )
        people = PEOPLE.replace(
            '"https://desk.larkspur.example/wind"', f'"{hook.url}", allow_http = true'
        )
        monkeypatch.setenv("MAIL_PASSWORD", mail.password)
        configured(people, rim)
        taken = run("send-test", "field.toml")
        assert taken.exit_code == 0
        assert "operations desk by email: the next hop took it" in flat(taken.stdout)
        assert "operations desk by webhook: the next hop took it" in flat(taken.stdout)
        assert len(mail.messages) == 1
        assert len(hook.received) == 1

        hook.script(500)
        mail.script("rcpt", "550 5.1.1 no such mailbox")
        result = run("send-test", "field.toml")
        assert result.exit_code == 3
        said = flat(result.stdout)
        assert "operations desk by email: NOT taken:" in said
        assert "no such mailbox" in said
        assert "operations desk by webhook: NOT taken:" in said
        assert "owner by folder: written to" in said, "the others go on"
        assert mail.password not in result.output
        assert "2 of the test notices did not leave" in result.stderr


def test_an_address_that_said_it_was_gone_is_turned_on_again_by_a_person(run, configured, flat):
    hooked = '[[contact]]\nname = "desk"\nwebhook = { url = "URL", allow_http = true }\n'
    rim = '[delivery]\nallow_networks = ["127.0.0.0/8"]\n'
    with WebhookReceiver(check_time=False) as hook:
        people = hooked.replace("URL", hook.url).replace(
            "allow_http = true", 'allow_http = true, secret_env = "HOOK_SECRET"'
        )
        folder = configured(people, rim)
        settings = load_settings([Path("field.toml")])
        route = Route("desk", "webhook")
        channel = make_channels(settings).get(route)
        with open_store(folder / "watch.db", HandClock(GUST_FRONT)) as store:
            store.turn_off(route, channel.fingerprint, "410 Gone", GUST_FRONT)

        hook.script(410)
        gone = run("send-test", "field.toml", "desk", "--turn-on")
        assert gone.exit_code == 3
        assert "NOT taken: 410 Gone" in flat(gone.stdout)
        told = run("send-test", "field.toml", "desk")
        assert "gets no notices: with --turn-on it gets them again" in flat(told.stdout)
        with open_store(folder / "watch.db", HandClock(GUST_FRONT)) as store:
            assert store.turned_off(route, channel.fingerprint), "nothing was asked for"

        on = run("send-test", "field.toml", "desk", "--turn-on")
        assert on.exit_code == 0
        assert "gets notices again from now on" in flat(on.stdout)
        with open_store(folder / "watch.db", HandClock(GUST_FRONT)) as store:
            assert not store.turned_off(route, channel.fingerprint)
        again = run("send-test", "field.toml", "desk", "--turn-on")
        assert "again" not in flat(again.stdout)


def test_a_test_makes_no_store(run, configured):
    folder = configured()
    assert run("send-test", "field.toml", "--turn-on").exit_code == 0
    assert not (folder / "watch.db").exists()
