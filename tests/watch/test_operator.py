"""The operator hears about windwatch itself: at once, once in six hours, and of the end.

Promise 10; faults F10 (the feed bans us), F23 (its certificate), F54 (words fail), F63 (the mail
server refuses the login), F72 (an endpoint is gone), F79 (nobody can be reached).
"""

from datetime import timedelta

import pytest

import windwatch.watch
from tests.servers.mail_server import MailServer
from tests.servers.webhook_server import SECRET, WebhookReceiver
from tests.watch.little_watch import MINUTE, START, STORM, bench, config_text
from windwatch.airmanship.cautions import CAUTION
from windwatch.clock import HandClock
from windwatch.errors import FeedBusy, FeedError
from windwatch.feeds.values import FetchResult
from windwatch.notices.operator import Trouble
from windwatch.upkeep.troubles import TroubleBook

NOTHING_ELSE = 'tell_about = { ground = false, thunder = false, runways = "none" }\n'
TECHNICIAN = (
    '\n[[contact]]\nname = "technician"\nfolder = "technician"\noperator = true\n' + NOTHING_ELSE
)
DESK = '\n[[contact]]\nname = "desk"\nfolder = "dropped"\n'


class Feed:
    """Says what it is told to say."""

    def __init__(self):
        self.says = None

    def fetch(self, stations, now, *, since=None, fresh=False):
        if self.says is not None:
            raise self.says
        return FetchResult((), (), stations, server_date=now)

    def close(self):
        pass


@pytest.fixture
def watched(tmp_path):
    with bench(tmp_path, config_text(people=DESK + TECHNICIAN), HandClock(START)) as b:
        b.feed = Feed()
        b.again()
        b.watch.poll()
        yield b


def heard(b, contact="technician"):
    return [
        n.content.subject.partition(": ")[2]
        for n in b.store.notices(contact=contact)
        if n.notice.kind == "operator"
    ]


def polls(b, count, every=MINUTE):
    for _ in range(count):
        b.clock.move(every)
        b.watch.poll()


BAN = FeedBusy("awc", "HTTP 403; staying away for 60 min", timedelta(hours=1))


@pytest.mark.fault("F10", "F23")
@pytest.mark.parametrize(
    ("says", "headline"),
    [
        pytest.param(BAN, "The feed asks us to stay away", id="F10"),
        pytest.param(
            FeedError("awc", "its certificate is not valid: it has expired"),
            "The certificate of the feed is not valid, and it is not used",
            id="F23",
        ),
    ],
)
def test_f10_f23_a_ban_and_a_bad_certificate_are_told_at_once_and_their_end_is_told(
    watched, says, headline
):
    watched.feed.says = says
    polls(watched, 1)
    assert heard(watched) == [headline]
    polls(watched, 10, 10 * MINUTE)
    assert heard(watched) == [headline]
    watched.feed.says = None
    polls(watched, 3)
    assert heard(watched) == [headline, f"Over: {headline[0].lower()}{headline[1:]}"]
    assert heard(watched, "desk") == []


def test_a_feed_that_merely_fails_is_told_after_a_quarter_of_an_hour(watched):
    watched.feed.says = FeedError("awc", "its name was not found")
    polls(watched, 15)
    assert heard(watched) == []
    polls(watched, 1)
    assert heard(watched) == ["The feed gives no reports"]


def test_a_trouble_that_lasts_is_told_again_after_six_hours(watched):
    watched.feed.says = BAN
    polls(watched, 37, 10 * MINUTE)
    assert len(heard(watched)) == 2


def test_a_restart_does_not_tell_it_again_and_still_tells_its_end(watched):
    watched.feed.says = BAN
    polls(watched, 5)
    watched.again()
    polls(watched, 5)
    assert len(heard(watched)) == 1
    watched.feed.says = None
    watched.again()
    polls(watched, 1)
    assert heard(watched)[1:] == ["Over: the feed asks us to stay away"]


def test_it_says_what_to_do_what_was_said_and_the_caution(watched):
    watched.feed.says = BAN
    polls(watched, 1)
    [kept] = [n for n in watched.store.notices() if n.notice.kind == "operator"]
    text = " ".join(kept.content.text.split())
    assert "Ask less often (feed.every)" in text
    assert "staying away for 60 min" in text
    assert CAUTION in text
    assert "windwatch itself" in kept.content.html
    assert kept.content.payload["trouble"]["key"] == "feed"
    assert kept.notice.airfield == ""
    assert watched.watch.deliver().accepted == 1
    assert len(list((watched.folder / "technician").glob("*.eml"))) == 1


def test_without_an_operator_it_is_logged_and_shown_by_health(tmp_path, caplog):
    with bench(tmp_path, config_text(), HandClock(START)) as b:
        b.feed = Feed()
        b.again()
        b.feed.says = BAN
        polls(b, 3)
        assert caplog.text.count("trouble") >= 1
        assert b.store.notices() == ()
        [(key, headline, since)] = b.watch.keeper.health(b.watch.books).troubles
        assert (key, headline, since) == ("feed", "the feed asks us to stay away", START + MINUTE)


def test_f54_words_that_fail_are_told(watched, monkeypatch):
    def no_words(notice, situation, fleet):
        raise KeyError("a word that is missing")

    monkeypatch.setattr(windwatch.watch, "compose", no_words)
    watched.take(STORM)
    assert heard(watched) == ["A notice could not be put into its usual words"]


# --- deliveries -------------------------------------------------------------------

MAILED = (
    '\n[[contact]]\nname = "owner"\nemail = "owner@faraway.example"\n'
    '\n[[contact]]\nname = "technician"\nemail = "tech@larkspur.example"\nfolder = "technician"\n'
    "operator = true\n" + NOTHING_ELSE
)


def with_mail(mail, people):
    return config_text(
        people=people,
        rim=(
            '[delivery]\nallow_networks = ["127.0.0.0/8"]\n'
            f'[mail]\nhost = "{mail.host}"\nport = {mail.port}\nsecurity = "starttls"\n'
            f'username = "{mail.username}"\npassword_env = "MAIL_PASSWORD"\n'
            f'ca_file = "{mail.ca_file}"\nsender = "windwatch <windwatch@larkspur.example>"\n'
        ),
    )


def cycles(b, count):
    for _ in range(count):
        b.clock.move(MINUTE)
        b.watch.poll()
        b.watch.deliver()


@pytest.mark.promise(10)
def test_f63_f79_a_mail_server_that_refuses_us_is_told_by_a_channel_that_works(tmp_path):
    with (
        MailServer() as mail,
        bench(tmp_path, with_mail(mail, MAILED), MAIL_PASSWORD="not that one") as b,
    ):
        b.feed = Feed()
        b.again()
        b.watch.poll()
        b.take(STORM)
        cycles(b, 8)
        assert mail.messages == []
        headlines = heard(b)
        assert headlines == ["Owner is not reached by email", "Owner is reached by no channel"]
        told = [n for n in b.store.notices() if n.notice.kind == "operator"]
        assert [[d.channel for d in n.deliveries] for n in told] == [["folder"], ["folder"]]
        assert len(list((tmp_path / "technician").glob("*.eml"))) == 2
        assert b.watch.keeper.health(b.watch.books).unreached == ("owner",)
        found = b.watch.keeper.health(b.watch.books)
        assert "owner is reached by no channel" in found.faults(found.written_at)
        assert found.last_cycle_at is not None, "the operator knows: the heartbeat may go on"


@pytest.mark.promise(9, 10)
def test_f79_where_nobody_can_be_told_no_cycle_is_complete(tmp_path):
    people = '\n[[contact]]\nname = "owner"\nemail = "owner@faraway.example"\n'
    with (
        MailServer() as mail,
        bench(tmp_path, with_mail(mail, people), MAIL_PASSWORD="not that one") as b,
    ):
        b.feed = Feed()
        b.again()
        cycles(b, 1)
        good = b.watch.keeper.health(b.watch.books).last_cycle_at
        assert good == START + MINUTE
        b.take(STORM)
        cycles(b, 5)
        assert b.watch.keeper.health(b.watch.books).last_cycle_at == good


def test_f72_an_endpoint_that_is_gone_is_told_and_its_return_too(tmp_path):
    people = (
        '\n[[contact]]\nname = "desk"\n'
        'webhook = { url = "URL", allow_http = true, secret_env = "HOOK_SECRET" }\n' + TECHNICIAN
    )
    rim = '[delivery]\nallow_networks = ["127.0.0.0/8"]\n'
    with WebhookReceiver(check_time=False) as hook:
        text = config_text(people=people.replace("URL", hook.url), rim=rim)
        with bench(tmp_path, text, HOOK_SECRET=SECRET) as b:
            b.feed = Feed()
            b.again()
            hook.script(404, 404, 404)
            b.take(STORM)
            b.watch.deliver()
            cycles(b, 3)
            assert heard(b) == ["Desk is not reached by webhook", "Desk is reached by no channel"]
            b.take("27035G60KT")
            cycles(b, 2)
            assert hook.received
            assert heard(b)[2:] == [
                "Over: desk is not reached by webhook",
                "Over: desk is reached by no channel",
            ]


# --- the book ---------------------------------------------------------------------


def test_a_trouble_that_comes_and_goes_is_told_once_in_six_hours():
    book = TroubleBook(("technician",))
    trouble = Trouble("feed", "the feed flaps", "nothing", "look")
    told = []
    for minute in range(0, 360, 10):
        now = START + minute * MINUTE
        told += [*book.begun(trouble, now), *book.over("feed", now + 5 * MINUTE)]
    assert len(told) == 2, "its first beginning, and that one's end"
    assert len(book.begun(trouble, START + 360 * MINUTE)) == 1
