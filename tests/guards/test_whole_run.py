"""The guards that only a whole run shows: files, rights, words, hostile reports, a flood."""

import email
import email.policy
import json
import os
import re
import shutil
import socket
import stat
import subprocess
import sys
from collections import Counter
from datetime import timedelta
from pathlib import Path
from random import Random

import pytest
from click.testing import CliRunner

from tests.notices.test_words_never_said import FORBIDDEN, read
from tests.servers.feed_server import PlayedFeed
from tests.watch.little_watch import MINUTE, START, bench, config_text, metar, recording
from windwatch.airmanship.cautions import CAUTION
from windwatch.cli.main import main
from windwatch.clock import HandClock
from windwatch.reports.raw import RawReport

ROOT = Path(__file__).parent.parent.parent
POSIX = pytest.mark.skipif(os.name != "posix", reason="permissions are POSIX's")


def unprivileged() -> None:
    """Open to everybody what is made, and give up what only root may do."""
    os.umask(0)
    if os.geteuid() == 0 and sys.platform == "linux":
        import ctypes  # noqa: PLC0415 - in the child alone

        libc = ctypes.CDLL(None)
        libc.prctl(38, 1, 0, 0, 0)  # PR_SET_NO_NEW_PRIVS
        for capability in range(64):
            libc.prctl(24, capability, 0, 0, 0)  # PR_CAPBSET_DROP


@POSIX
@pytest.mark.guard("files")
@pytest.mark.guard("process")
def test_a_watch_without_privileges_writes_in_one_folder_and_for_its_owner_only(tmp_path):
    """Nothing else can be written to, and whoever runs it has forgotten the umask."""
    fixed, state = tmp_path / "fixed", tmp_path / "state"
    fixed.mkdir()
    state.mkdir()
    now = START
    played = recording(
        fixed / "recorded.txt",
        [(now, metar(now, "27025G41KT"))],
    )
    with PlayedFeed(played, HandClock(START + MINUTE)) as feed:
        text = config_text(feed=feed.url)
        text = text.replace('path = "watch.db"', f'path = "{state}/books/watch.db"')
        text = text.replace('folder = "dropped"', f'folder = "{state}/dropped"')
        (fixed / "watch.toml").write_text(text, encoding="utf-8")
        fixed.chmod(0o555)
        before = {path: path.stat().st_mtime_ns for path in fixed.iterdir()}
        log = state / "watch.log"
        ran = subprocess.run(
            [
                sys.executable,
                "-m",
                "windwatch",
                "watch",
                str(fixed / "watch.toml"),
                "--once",
                "--log-file",
                str(log),
            ],
            cwd=fixed,
            env={
                "PATH": "",
                "HOME": str(fixed),
                "TMPDIR": str(fixed),
                "PYTHONPATH": str(ROOT),
                "PYTHONDONTWRITEBYTECODE": "1",
            },
            preexec_fn=unprivileged,
            capture_output=True,
            text=True,
            check=False,
        )
    fixed.chmod(0o755)
    assert ran.returncode == 0, ran.stderr
    assert {path: path.stat().st_mtime_ns for path in fixed.iterdir()} == before
    made = [path for path in state.rglob("*") if path != state]
    assert {path.name for path in made} >= {"books", "watch.db", "dropped", "watch.log"}
    modes = {
        str(path.relative_to(state)): oct(stat.S_IMODE(path.stat().st_mode))
        for path in made
        if stat.S_IMODE(path.stat().st_mode) != (0o700 if path.is_dir() else 0o600)
    }
    assert modes == {}


@pytest.mark.guard("config")
@pytest.mark.parametrize("name", ["larkspur.toml", "demo.toml", "minimal.toml"])
def test_a_configuration_is_checked_without_any_network(monkeypatch, name):
    def nobody(*_, **__):
        raise AssertionError("the network was asked")

    for called in ("socket", "create_connection", "getaddrinfo", "gethostbyname"):
        monkeypatch.setattr(socket, called, nobody)
    ran = CliRunner().invoke(main, ["config", "check", str(ROOT / "config" / name)])
    assert ran.exit_code == 0, ran.output


# --- the demo day -----------------------------------------------------------------------


@pytest.fixture(scope="module")
def demo_day(tmp_path_factory):
    """Everything that is said and sent on the demo day."""
    folder = tmp_path_factory.mktemp("demo")
    shutil.copytree(ROOT / "config", folder / "config")
    shutil.copytree(ROOT / "recorded_reports", folder / "recorded_reports")
    here = Path.cwd()
    os.chdir(folder)
    try:
        ran = CliRunner().invoke(main, ["replay", "config/demo.toml", "--out", "kept"])
    finally:
        os.chdir(here)
    assert ran.exit_code == 0
    mails = [
        email.message_from_bytes(path.read_bytes(), policy=email.policy.default)
        for path in sorted((folder / "kept").glob("*.eml"))
    ]
    hooks = [json.loads(path.read_text()) for path in sorted((folder / "kept").glob("*.json"))]
    return ran.stdout, mails, [hook["body"] for hook in hooks]


def all_words(demo_day):
    said, mails, payloads = demo_day
    yield said
    for mail in mails:
        yield str(mail["Subject"])
        yield mail.get_body(("plain",)).get_content()
        yield " ".join(read(mail.get_body(("html",)).get_content()).words)
    for payload in payloads:
        yield json.dumps(payload, ensure_ascii=False)


NEVER = re.compile(
    r"\bsafe(?:ly|ty)?\b|\ball[- ]clear\b|left within|no gusts|nothing to fear|good to go|"
    r"\bapproved weather\b|\bmay (?:now )?(?:fly|untie)\b",
    re.IGNORECASE,
)


@pytest.mark.guard("words")
def test_of_all_that_is_said_on_the_demo_day_nothing_is_put_as_safe(demo_day):
    words = list(all_words(demo_day))
    assert len(words) > 100
    found = [(match[0], text[:60]) for text in words for match in NEVER.finditer(text)]
    assert found == []
    assert [text[:60] for text in words[1:] if FORBIDDEN.search(text)] == []


@pytest.mark.guard("words")
def test_each_notice_of_the_demo_day_carries_the_caution_in_each_of_its_forms(demo_day):
    _, mails, payloads = demo_day
    assert len(mails) >= 35
    for mail in mails:
        for kind in ("plain", "html"):
            text = mail.get_body((kind,)).get_content()
            if kind == "html":
                text = " ".join(read(text).words)
            assert CAUTION in " ".join(text.split())
    assert all(payload["caution"] == CAUTION for payload in payloads)


# --- a hostile station --------------------------------------------------------------------

NASTY = "<script>alert(1)</script> \x1b[31m \u202egnihton =cmd|' /C calc'!A0 <img src=x onerror=y>"


@pytest.mark.guard("feed text")
def test_a_hostile_report_is_shown_and_never_obeyed_wherever_it_is_read(tmp_path, caplog):
    raw = f"SPECI XLKS {START:%d%H%M}Z 27025G41KT 10SM CLR 23/12 A2980 RMK {NASTY}"
    with bench(tmp_path, config_text()) as b:
        now = b.clock.now()
        with caplog.at_level("DEBUG"):
            [(notice, content)] = b.watch.take([RawReport(raw, now, "test")]).notices
            b.watch.deliver()
        [path] = (tmp_path / "dropped").glob("*.eml")
        mail = email.message_from_bytes(path.read_bytes(), policy=email.policy.default)
        page = read(mail.get_body(("html",)).get_content())
        assert "script" not in page.tags
        # Pictures are inside of the message; nothing is loaded from elsewhere.
        assert all(value.startswith("cid:") for name, value in page.attributes if name == "src")
        assert not [name for name, _ in page.attributes if name.startswith("on")]
        config = str(tmp_path / "watch.toml")
        shown = [
            CliRunner().invoke(main, args).stdout
            for args in (
                ["log", config, "--since", "2026-09-22T00:00Z"],
                ["explain", config, notice.id],
                ["now", config, "--report", raw.replace("\x1b", "")],
            )
        ]
    assert "<SCRIPT>ALERT(1)</SCRIPT>" in content.text, "it is quoted, in capitals as reports are"
    mailed = mail.get_body(("plain",)).get_content().replace("\r\n", "\n")
    for text in (content.subject, content.text, mailed, *shown):
        assert all(char.isprintable() or char in "\n\u00a0" for char in text)
    assert NASTY not in caplog.text
    assert "\u202e" not in json.dumps(content.payload["text"], ensure_ascii=False)


def hostile_winds(random: Random, count: int):
    for _ in range(count):
        mean = random.choice((0, 4, 24, 25, 26, 40, 60, 98))
        gust = random.choice(("", f"G{mean + random.randint(10, 15):02}"))
        way = random.choice(("VRB", f"{random.randrange(1, 37) * 10:03}"))
        yield f"{way}{mean:02}{gust}KT" + random.choice(("", " +TSRA", " SQ", " FC"))


@pytest.mark.guard("denial by alert")
@pytest.mark.promise(14)
def test_a_station_that_lies_each_minute_cannot_pass_six_notices_an_hour(tmp_path):
    """After its first hour, in which there is a first crossing and a worst of each subject."""
    random = Random(1)
    times = []
    with bench(tmp_path, config_text()) as b:
        for minute, wind in enumerate(hostile_winds(random, 200)):
            now = START + minute * MINUTE
            b.at(now)
            corrected = " COR" if random.random() < 0.3 else ""
            text = metar(now, wind).replace("METAR XLKS", f"SPECI{corrected} XLKS")
            for report in (b.watch.take([RawReport(text, now, "test")]), b.watch.tick()):
                times += [n.at for n, _ in report.notices if n.contact == "desk"]
    assert times
    steady = [at for at in times if at >= START + timedelta(hours=1)]
    most = max(
        (sum(at <= other < at + timedelta(hours=1) for other in steady) for at in steady), default=0
    )
    assert most <= 6
    assert Counter(times).most_common(1)[0][1] == 1


@pytest.mark.guard("denial by alert")
def test_a_megabyte_in_each_report_does_not_fill_the_disk(tmp_path):
    with bench(tmp_path, config_text()) as b:
        for minute in range(20):
            now = START + minute * MINUTE
            b.at(now)
            text = metar(now, "27006KT") + " RMK " + "X" * 1_000_000
            b.watch.take([RawReport(text, now, "test")])
    size = sum(path.stat().st_size for path in tmp_path.glob("watch.db*"))
    assert size < 1_000_000, "twenty megabytes came, and 2,000 characters of each are kept"
