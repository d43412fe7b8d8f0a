"""No secret and no address in any log; a log that fails stops nothing (promise 22, section 5)."""

import io
import json
import logging
import os
import stat

import pytest

from tests.servers.mail_server import MailServer
from tests.servers.webhook_server import SECRET, WebhookReceiver
from tests.watch.little_watch import QUIET, STORM, bench, config_text
from tests.watch.test_operator import Feed, cycles
from windwatch.errors import FeedError, UsageError
from windwatch.logs import JsonLines, log_to
from windwatch.wiring import hidden_texts, make_outward

PASSWORD = "horse battery staple 9"
PEOPLE = (
    '\n[[contact]]\nname = "owner"\nemail = "wren.owner@faraway.example"\noperator = true\n'
    '\n[[contact]]\nname = "desk"\n'
    'webhook = { url = "URL?key=in-the-address", allow_http = true, secret_env = "HOOK_SECRET" }\n'
)


@pytest.fixture
def ours():
    """The logger as it was before, after."""
    logger = logging.getLogger("windwatch")
    before = logger.handlers[:], logger.level, logger.propagate, logging.raiseExceptions
    yield logger
    for handler in logger.handlers:
        if handler not in before[0]:
            handler.close()
    logger.handlers[:], level, logger.propagate, logging.raiseExceptions = before
    logger.setLevel(level)


def lines(stream):
    return [json.loads(line) for line in stream.getvalue().splitlines()]


@pytest.mark.promise(22)
@pytest.mark.guard("logs", "secrets")
def test_a_watch_whose_every_part_fails_logs_no_secret_and_no_address(tmp_path, ours, monkeypatch):
    stream = io.StringIO()
    with MailServer() as mail, WebhookReceiver(check_time=False) as hook:
        rim = (
            '[delivery]\nallow_networks = ["127.0.0.0/8"]\n'
            f'[mail]\nhost = "{mail.host}"\nport = {mail.port}\nsecurity = "starttls"\n'
            'username = "wind-login@larkspur.example"\npassword_env = "MAIL_PASSWORD"\n'
            f'ca_file = "{mail.ca_file}"\nsender = "windwatch <from@larkspur.example>"\n'
            '[watch]\nheartbeat_url_env = "HEART"\nallow_http = true\n'
            'allow_networks = ["127.0.0.0/8"]\n'
        )
        text = config_text(people=PEOPLE.replace("URL", hook.url), rim=rim)
        heart = "http://127.0.0.1:1/ping/0123456789abcdef"
        secrets = {"MAIL_PASSWORD": PASSWORD, "HOOK_SECRET": SECRET, "HEART": heart}
        with bench(tmp_path, text, **secrets) as b:
            log_to(stream, logging.DEBUG, hide=hidden_texts(b.settings))
            hook.script(500, 404, 404, 404)
            b.anew(Feed(), make_outward(b.settings))
            b.take(QUIET)
            cycles(b, 1)
            b.take(STORM)
            cycles(b, 3)
            b.feed.says = ValueError(
                f"a bug that quotes {PASSWORD} and {hook.url}?key=in-the-address"
            )
            cycles(b, 2)
            b.feed.says = FeedError("awc", f"it told wren.owner@faraway.example {SECRET}")
            cycles(b, 2)

            def broken(*_):
                raise RuntimeError(f"{PASSWORD} for wren.owner@faraway.example at {heart}")

            monkeypatch.setattr("windwatch.watch.compose", broken)
            b.take("27035G60KT")
            cycles(b, 1)
            b.watch.close()
    text = stream.getvalue()
    events = {line["event"] for line in lines(stream)}
    assert {"delivery_failed", "feed_broke", "feed_failed", "words_failed", "trouble"} <= events
    assert {"heartbeat_failed", "notice_made"} <= events
    for secret in (PASSWORD, SECRET, SECRET.removeprefix("whsec_"), heart, "0123456789abcdef"):
        assert secret not in text
    for address in ("wren.owner", "from@", "wind-login", "in-the-address", "ops@larkspur"):
        assert address not in text
    assert "Traceback" in text, "where it failed is told all the same"
    status = (tmp_path / "watch.db.health.json").read_text()
    assert PASSWORD not in status
    assert "wren.owner" not in status


def test_a_line_is_one_json_object_with_hidden_texts_as_dots():
    record = logging.makeLogRecord(
        {"msg": "tried", "levelname": "INFO", "answer": 'no "open sesame" here', "count": 3}
    )
    line = json.loads(JsonLines(["open sesame", "no"]).format(record))
    assert line["answer"] == 'no "••••••" here', "and short words hide nothing"
    assert line["count"] == 3
    assert line["event"] == "tried"


def test_hidden_texts_are_found_in_lists_and_in_longer_ones_first():
    record = logging.makeLogRecord({"msg": "x", "who": ["secret-and-more", {"k": "secret-and"}]})
    line = json.loads(JsonLines(["secret-and", "secret-and-more"]).format(record))
    assert line["who"] == ["••••••", {"k": "••••••"}]


@pytest.mark.guard("logs", "files")
@pytest.mark.skipif(os.name != "posix", reason="permissions are POSIX's")
def test_a_log_file_is_its_owners_and_bounded(tmp_path, ours, monkeypatch):
    monkeypatch.setattr("windwatch.logs.FILE_BYTES", 2_000)
    monkeypatch.setattr("windwatch.logs.FILES", 2)
    path = tmp_path / "watch.log"
    log_to(io.StringIO(), logging.INFO, file=path)
    for number in range(200):
        ours.info("event", extra={"number": number})
    found = sorted(tmp_path.glob("watch.log*"))
    assert [p.name for p in found] == ["watch.log", "watch.log.1", "watch.log.2"]
    assert all(stat.S_IMODE(p.stat().st_mode) == 0o600 for p in found)
    assert sum(p.stat().st_size for p in found) <= 6_000
    assert json.loads(path.read_text().splitlines()[-1])["number"] == 199


def test_a_log_file_in_no_folder_is_refused_and_a_link_is_not_followed(tmp_path, ours):
    with pytest.raises(UsageError, match="--log-file"):
        log_to(io.StringIO(), logging.INFO, file=tmp_path / "no" / "watch.log")
    (tmp_path / "elsewhere").write_text("not ours")
    (tmp_path / "link").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(UsageError, match="--log-file"):
        log_to(io.StringIO(), logging.INFO, file=tmp_path / "link")


class Full(io.StringIO):
    """A log on a full disk."""

    def write(self, text):
        raise OSError(28, "No space left on device")


@pytest.mark.guard("logs")
def test_a_log_that_cannot_be_written_does_not_stop_the_watch(tmp_path, ours):
    with bench(tmp_path, config_text()) as b:
        log_to(Full(), logging.DEBUG)
        b.feed = Feed()
        b.again()
        b.take(STORM)
        b.feed.says = ZeroDivisionError()
        cycles(b, 2)
        assert len(list((tmp_path / "dropped").glob("*.eml"))) == 1
