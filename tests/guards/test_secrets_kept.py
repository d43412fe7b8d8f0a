"""No secret in the store, in what is sent, or in anything that shows the configuration."""

import json

import pytest
from click.testing import CliRunner

from tests.servers.mail_server import MailServer
from tests.servers.webhook_server import SECRET, WebhookReceiver
from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, config_text
from windwatch.cli.main import main
from windwatch.wiring import hidden_texts

PASSWORD = "horse battery staple 9"
PUSH = "discord://4174216298/JHMHI8qBe7bk2ZwO5U711o3dV_js"
API_KEY = "feed-key-0123456789"
PEOPLE = (
    '\n[[contact]]\nname = "owner"\nemail = "owner@faraway.example"\noperator = true\n'
    '\n[[contact]]\nname = "desk"\n'
    'webhook = { url = "URL?key=in-the-address", allow_http = true, secret_env = "HOOK_SECRET" }\n'
    '\n[[contact]]\nname = "phone"\npush = { url_env = "PUSH_URL" }\n'
)
ENVIRONMENT = {"MAIL_PASSWORD": PASSWORD, "HOOK_SECRET": SECRET, "PUSH_URL": PUSH}
HIDDEN = (PASSWORD, SECRET, SECRET.removeprefix("whsec_"), PUSH, PUSH.rpartition("/")[2])


@pytest.fixture
def outside():
    with MailServer(password=PASSWORD) as mail, WebhookReceiver(check_time=False) as hook:
        # A mail server that quotes what it was told, and a receiver that refuses for good.
        mail.script("rcpt", *[f"550 no: {PASSWORD}"] * 3)
        hook.script(500, 410)
        yield mail, hook


def configured(mail, hook):
    rim = (
        '[delivery]\nallow_networks = ["127.0.0.0/8"]\n'
        f'[mail]\nhost = "{mail.host}"\nport = {mail.port}\nsecurity = "starttls"\n'
        'username = "windwatch"\npassword_env = "MAIL_PASSWORD"\n'
        f'ca_file = "{mail.ca_file}"\nsender = "windwatch <from@larkspur.example>"\n'
    )
    text = config_text(people=PEOPLE.replace('"URL?', f'"{hook.url}?'), rim=rim)
    return text.replace(
        'name = "phone"\n', 'name = "phone"\ntell_about = { levels = ["unknown"] }\n'
    )


@pytest.mark.guard("secrets")
@pytest.mark.promise(22)
def test_no_secret_is_in_the_store_the_state_or_what_shows_them(tmp_path, outside, monkeypatch):
    mail, hook = outside
    for name, value in ENVIRONMENT.items():
        monkeypatch.setenv(name, value)
    with bench(tmp_path, configured(mail, hook), **ENVIRONMENT) as b:
        b.take(QUIET)
        for minute, wind in enumerate((STORM, "27035G60KT", "27040G70KT")):
            b.at(START + (minute + 1) * 3 * MINUTE)
            b.take(wind)
            b.watch.tick()
            b.watch.deliver()
        b.watch.close()
        config = str(tmp_path / "watch.toml")
        shown = [
            CliRunner().invoke(main, args).output
            for args in (
                ["config", "show", config],
                ["config", "show", config, "--json"],
                ["config", "check", config],
                ["log", config, "--since", "2026-09-22T00:00Z", "--json"],
                ["health", config],
            )
        ]
        said = [
            n.content.text + n.content.html + json.dumps(n.content.payload)
            for n in b.store.notices()
        ]
        answers = [d.last_answer for n in b.store.notices() for d in n.deliveries]
    kept = b"".join(
        path.read_bytes()
        for path in tmp_path.rglob("*")
        if path.is_file() and path.suffix != ".toml"
    )
    assert len(said) >= 3
    assert any("550 no: …" in answer for answer in answers), answers
    for secret in HIDDEN:
        assert secret.encode() not in kept
        assert not [text for text in (*shown, *said) if secret in text]


@pytest.mark.guard("secrets")
@pytest.mark.guard("logs")
def test_every_secret_of_a_configuration_is_hidden_in_the_log(tmp_path, outside):
    mail, hook = outside
    with bench(tmp_path, configured(mail, hook), **ENVIRONMENT) as b:
        hidden = hidden_texts(b.settings)
    for secret in (PASSWORD, SECRET, PUSH, "key=in-the-address", "owner@faraway.example"):
        assert secret in hidden
