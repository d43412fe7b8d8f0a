"""The whole main job with real parts: a feed server plays the demo day, `watch` polls it, a mail
server with STARTTLS and login and a webhook receiver that verifies signatures take what is sent.

Every step of the hand-derived stream must arrive exactly once per contact and channel, in order,
and nothing else; and `replay` must say the same.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest

from tests.demo.test_expected_stream import STREAM, Row, table
from tests.servers.feed_server import PlayedFeed
from tests.servers.mail_server import MailServer
from tests.servers.webhook_server import SECRET, WebhookReceiver
from windwatch.cli.replay import Played, play
from windwatch.clock import HandClock
from windwatch.feeds.recorded import read_recorded
from windwatch.settings.read import read_settings
from windwatch.store.store import Store, open_store
from windwatch.watch import Watch
from windwatch.wiring import make_channels, make_feed

MINUTE = timedelta(minutes=1)
MAILBOX = {
    "operations desk": "ops@larkspur.example",
    "instructor on duty": "instructor@larkspur.example",
    "owner of X-WREN": "wren.owner@faraway.example",
}


def configured(root: Path, folder: Path, feed: str, mail: MailServer, webhook: str) -> Path:
    """The demo's configuration, turned to real servers."""
    text = (root / "config" / "demo.toml").read_text(encoding="utf-8")
    text = text.replace(
        'kind = "recorded"\nfiles = ["../recorded_reports/front_day.txt"]',
        f'kind = "awc"\nurl = "{feed}"\ncontact = "ops@larkspur.example"\nevery = "60s"\n'
        'allow_http = true\nallow_networks = ["127.0.0.0/8"]',
    )
    text = text.replace('path = "../demo-notices/demo.db"', 'path = "watch.db"')
    before, _, after = text.partition("\n[delivery]\n")
    _, _, after = after.partition("\n\n")
    text = (
        f'{before}\n[delivery]\nallow_networks = ["127.0.0.0/8"]\n\n'
        f'[mail]\nhost = "{mail.host}"\nport = {mail.port}\nsecurity = "starttls"\n'
        f'username = "{mail.username}"\npassword_env = "MAIL_PASSWORD"\n'
        f'ca_file = "{mail.ca_file}"\nsender = "windwatch <windwatch@larkspur.example>"\n\n{after}'
    )
    text = text.replace('"https://desk.larkspur.example/wind"', f'"{webhook}", allow_http = true')
    path = folder / "watch.toml"
    path.write_text(text, encoding="utf-8")
    return path


@dataclass
class Day:
    """What arrived, and what `replay` says of the same day."""

    mails: list[EmailMessage]
    recipients: list[list[str]]
    logins: set[str]
    hooks: list[Any]
    refused: list[str]
    replayed: Played
    polls: int


@pytest.fixture(scope="module")
def day(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Day]:
    folder = tmp_path_factory.mktemp("day")
    recording = root / "recorded_reports" / "front_day.txt"
    lines = read_recorded(recording)
    clock = HandClock(lines[0].at)
    with (
        PlayedFeed(recording, clock) as feed,
        MailServer() as mail,
        WebhookReceiver(check_time=False) as hook,
    ):
        config = configured(root, folder, feed.url, mail, hook.url)
        secrets = {"MAIL_PASSWORD": mail.password, "WINDWATCH_DEMO_SECRET": SECRET}
        settings = read_settings([config], secrets)
        with open_store(folder / "watch.db", clock) as store:
            source = make_feed(settings, clock)
            watch = Watch(settings, store, source, make_channels(settings), clock)
            end = lines[-1].at
            restart = datetime.fromisoformat("2026-09-22T19:30:00+00:00")
            while clock.now() <= end:
                watch.poll()
                if watch.work.is_set():
                    watch.work.clear()
                    watch.deliver()
                if clock.now() == restart:
                    # In the middle of everything: a new process, from the store alone.
                    watch = Watch(settings, store, source, make_channels(settings), clock)
                clock.move(MINUTE)
            source.close()
        replay_settings = read_settings([root / "config" / "demo.toml"], {}, require_secrets=False)
        replayed = play(replay_settings, lines, folder / "out", folder / "replay.db")
        yield Day(
            list(mail.messages),
            [recipients for _, recipients in mail.envelopes],
            set(mail.logins),
            list(hook.received),
            list(hook.refused),
            replayed,
            len(feed.asked),
        )


def rows_of(payload: dict[str, Any]) -> list[Row]:
    rows = []
    for step in payload["steps"]:
        kind = step["track"]["kind"]
        aircraft, pilot = step["track"]["aircraft"], step["track"]["pilot_limits"]
        quantity = step["track"]["quantity"]
        if step["runway"]:
            track = f"runway {step['runway']} {aircraft} / {pilot}"
        elif kind == "runways":
            track = f"runways {aircraft} / {pilot}"
        elif kind == "ground":
            track = f"{quantity} {aircraft}"
        else:
            track = f"{quantity or kind} {payload['airfield']}"
        figure = limit = "-"
        if step["figure_kt"] is not None:
            figure, limit = f"{step['figure_kt']:.1f}", f"{step['limit_kt']:g}"
            if kind == "runways":
                figure = f"{step['quantity']} {figure}"
        at = payload["at"][:16] + "Z"
        rows.append((at, payload["contact"], step["step"], track, figure, limit))
    return rows


def notice_of(message: EmailMessage) -> str:
    return str(message["Message-ID"]).strip("<>").partition("@")[0]


def test_every_step_reaches_the_webhook_once_and_in_order(day: Day) -> None:
    # Within one notice the payload leads with the worst; the table has the order of finding.
    expected = [row for row in table(STREAM) if row[1] == "operations desk"]
    arrived = [sorted(rows_of(call.payload)) for call in day.hooks]
    moments = sorted({row[0] for row in expected})
    assert arrived == [sorted(row for row in expected if row[0] == at) for at in moments]
    assert day.refused == [], "a signature was not right"


def test_replay_says_what_was_derived_by_hand(day: Day) -> None:
    told = [
        (notice.at.strftime("%Y-%m-%dT%H:%MZ"), notice.contact, step.name.value)
        for notice, _ in day.replayed.sent
        for step in notice.steps
    ]
    assert told == [row[:3] for row in table(STREAM)]


@pytest.mark.parametrize("contact", list(MAILBOX))
def test_every_notice_reaches_the_mailbox_once_and_in_order_as_replay_says(
    day: Day, contact: str
) -> None:
    expected = [notice.id for notice, _ in day.replayed.sent if notice.contact == contact]
    assert len(expected) == len({r[0] for r in table(STREAM) if r[1] == contact})
    arrived = [
        notice_of(message)
        for message, recipients in zip(day.mails, day.recipients, strict=True)
        if recipients == [MAILBOX[contact]]
    ]
    assert arrived == expected


def test_nobody_else_gets_anything(day: Day) -> None:
    assert {address for recipients in day.recipients for address in recipients} == set(
        MAILBOX.values()
    )
    assert day.logins == {"windwatch"}
    assert {call.payload["contact"] for call in day.hooks} == {"operations desk"}


@pytest.mark.promise(4)
def test_replay_and_watch_say_it_in_the_same_words(day: Day) -> None:
    subjects = {notice.id: content.subject for notice, content in day.replayed.sent}
    for message in day.mails:
        # A subject that was folded right after its name is read back with a leading blank.
        assert str(message["Subject"]).strip() == subjects[notice_of(message)]


def test_the_feed_was_asked_at_most_once_a_minute(day: Day) -> None:
    assert day.polls == 901


def test_one_episode_is_one_conversation(day: Day) -> None:
    owner = [m for m in day.mails if MAILBOX["owner of X-WREN"] in str(m["To"])]
    gust_front = next(m for m in owner if "15:07" in str(m["Subject"]))
    worse = next(m for m in owner if "15:13" in str(m["Subject"]))
    roots = str(gust_front["References"]).split()
    assert roots, "the gust front continues the episode that opened at 16:53Z"
    assert set(roots) <= {str(m["Message-ID"]) for m in owner}
    assert str(worse["In-Reply-To"]) in {str(m["Message-ID"]) for m in owner}


def test_the_store_remembers_what_was_told(day: Day, tmp_path: Path, root: Path) -> None:
    clock = HandClock(datetime.fromisoformat("2026-09-22T10:56:00+00:00"))
    settings = read_settings([root / "config" / "demo.toml"], {}, require_secrets=False)
    lines = read_recorded(root / "recorded_reports" / "front_day.txt")
    played = play(settings, lines, tmp_path / "out", tmp_path / "r.db")
    with open_store(tmp_path / "r.db", clock) as store:
        assert isinstance(store, Store)
        kept = store.notices()
        assert [n.notice.id for n in kept] == [notice.id for notice, _ in played.sent]
        assert {d.state.value for n in kept for d in n.deliveries} == {"accepted"}
        still_open = [e.track for e in store.episodes(open_only=True)]
        assert still_open == []
