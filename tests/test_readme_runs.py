"""What README shows is run: commands in their order, configurations through the check.

The first two commands are run by `.ci/run` and `tests/long/test_wheel.py`, those of one's own
field by `tests/test_house.py`; the rest here.
"""

import json
import os
import plistlib
import re
import shlex
import shutil
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest

from tests.servers.feed_server import PlayedFeed
from tests.watch.little_watch import QUIET, STORM, config_text, metar, recording
from windwatch.board.passwords import hash_password
from windwatch.cli.main import main
from windwatch.clock import SystemClock
from windwatch.settings.read import read_settings

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
CLOCK = SystemClock()


def sections(text):
    """Headings of the second and third degree, and what stands under each."""
    parts = re.split(r"^#{2,3} (.*)$", text, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


SECTIONS = sections(README)


def blocks(section, language):
    return re.findall(
        rf"^ *```{language}\n(.*?)^ *```", SECTIONS[section], re.DOTALL | re.MULTILINE
    )


# --- the commands of a long life: each starts a program, which adds up ---------

LIVED = [
    "Logs",
    "What is kept, and for how long",
    "Backup",
    "Upgrade",
    "Another machine",
    "Teaching sheets",
]
ELSEWHERE = {"The two commands", "Your own field in five minutes", "As a service"}


def test_every_command_of_readme_is_run_somewhere():
    assert {name for name in SECTIONS if blocks(name, "sh")} == ELSEWHERE | set(LIVED)


def ago(minutes):
    return CLOCK.now().replace(second=0, microsecond=0) - timedelta(minutes=minutes)


OWNER = '\n[[contact]]\nname = "owner of X-WREN"\nfolder = "dropped"\n'


class Home:
    """A folder with `field.toml`, in which a shell knows `windwatch`."""

    def __init__(self, place):
        self.folder = place / "field"
        self.folder.mkdir(parents=True)
        tools = place / "bin"
        tools.mkdir()
        self._tool(tools / "windwatch", f'exec {shlex.quote(sys.executable)} -m windwatch "$@"')
        self.path = f"{tools}{os.pathsep}{os.environ['PATH']}"

    @staticmethod
    def _tool(path, line):
        path.write_text(f"#!/bin/sh\n{line}\n")
        path.chmod(0o755)

    def stand_in_for_pip(self):
        """Pip is run in earnest by the tests of the wheel; here it must only be asked right."""
        tools = self.folder / ".venv" / "bin"
        tools.mkdir(parents=True)
        self._tool(tools / "pip", 'test "$1 $2 $3 $4" = "install -q --upgrade ."')

    def run(self, lines):
        found = subprocess.run(
            ["sh", "-euc", lines],
            cwd=self.folder,
            env=os.environ | {"PATH": self.path, "PYTHONPATH": str(ROOT), "COLUMNS": "80"},
            capture_output=True,
            text=True,
            check=False,
        )
        assert found.returncode == 0, f"{lines}\n{found.stdout}\n{found.stderr}"
        return found.stdout


@pytest.fixture(scope="module")
def feed(tmp_path_factory):
    place = tmp_path_factory.mktemp("feed")
    day = [(ago(65), metar(ago(65), QUIET)), (ago(3), metar(ago(5), STORM))]
    with PlayedFeed(recording(place / "day.txt", day), CLOCK) as served:
        yield served


@pytest.fixture(scope="module")
def watched(tmp_path_factory, feed):
    """A watch has run here and told two people, of whom one has left since."""
    made = Home(tmp_path_factory.mktemp("watched"))
    config = made.folder / "field.toml"
    text = config_text(feed=feed.url).replace('path = "watch.db"', "")
    config.write_text(text + OWNER)
    made.run("windwatch watch field.toml --once")
    config.write_text(text)
    assert list((made.folder / "dropped").glob("*.eml"))
    return made.folder


@pytest.fixture
def home(tmp_path, watched):
    """A copy of that folder, for one test alone."""
    made = Home(tmp_path)
    shutil.copytree(watched, made.folder, dirs_exist_ok=True)
    return made


@pytest.fixture
def commands():
    return lambda section: blocks(section, "sh")


@pytest.mark.long
def test_the_logs_can_be_read(home, commands):
    [lines] = commands("Logs")
    assert "desk" in home.run(lines)


@pytest.mark.long
def test_what_was_judged_is_saved_and_a_person_forgotten(home, commands):
    saved, forgotten = commands("What is kept, and for how long")
    home.run(saved)
    assert STORM in (home.folder / "judged-reports.txt").read_text()
    assert "owner of X-WREN" in home.run("windwatch log field.toml")
    said = home.run(forgotten)
    assert "one notice is gone" in said
    assert "owner of X-WREN" not in home.run("windwatch log field.toml")


def notices_told(home):
    return json.loads(home.run("windwatch log field.toml --json"))["notices"]


@pytest.mark.long
def test_a_backup_is_made_and_put_back(home, commands):
    saved, back = commands("Backup")
    home.run(saved)
    told = notices_told(home)
    store = home.folder / "windwatch.db"
    store.write_bytes(b"no database any more")
    (home.folder / "windwatch.db-journal").write_bytes(b"a remainder")
    assert "Nothing is damaged" in home.run(back)
    assert not (home.folder / "windwatch.db-journal").exists()
    assert notices_told(home) == told
    assert told


@pytest.mark.long
def test_an_upgrade_ends_with_a_sound_store(home, commands):
    [lines] = commands("Upgrade")
    home.stand_in_for_pip()
    said = home.run(lines)
    assert "No fault" in said
    assert "Nothing is damaged" in said
    assert (home.folder / "before-upgrade.db").stat().st_size > 0


@pytest.mark.long
def test_another_machine_goes_on_where_the_first_one_stopped(home, tmp_path, commands):
    here, there = commands("Another machine")
    home.run(here)
    new = Home(tmp_path / "there")
    for name in ("moved.db", "field.toml"):
        (new.folder / name).write_bytes((home.folder / name).read_bytes())
    said = new.run(there)
    assert "Nothing is damaged" in said
    mails = [path.read_text() for path in (new.folder / "dropped").glob("*.eml")]
    assert mails, "the test notice"
    assert not [mail for mail in mails if "open" in mail.partition("\n\n")[0].lower()]


@pytest.mark.long
def test_the_teaching_sheets_are_made(home, commands):
    [lines] = commands("Teaching sheets")
    home.run(lines)
    for name in ("tailwheel.html", "legs.html"):
        page = (home.folder / name).read_text(encoding="utf-8")
        assert "Advisory only" in page
        assert "<svg" in page


# --- the service, line by line ---------------------------------------------------

INSTALLS = {"useradd", "python3", "/opt/windwatch/bin/pip", "install", "systemctl"}


def test_the_steps_of_the_service_name_what_is_there():
    [lines] = blocks("As a service", "sh")
    for line in lines.splitlines():
        words = shlex.split(line)
        assert words[0] == "sudo"
        if words[1] == "-u":
            program, command, *rest = words[3:]
            assert Path(program).name == "windwatch"
            main.get_command(None, command).make_context(command, rest)
            continue
        assert words[1] in INSTALLS
        ours = [word for word in words[2:] if word.startswith((".ci/", "config/"))]
        assert all((ROOT / name).is_file() for name in ours)
    unit = (ROOT / "config" / "windwatch.service").read_text(encoding="utf-8")
    assert "User=windwatch" in unit
    assert "ExecStart=/opt/windwatch/bin/windwatch watch /etc/windwatch/field.toml" in unit


def test_the_start_at_boot_on_macos_is_a_property_list_that_starts_a_watch():
    [text] = blocks("As a service", "xml")
    found = plistlib.loads(text.encode())
    program, command, *rest = found["ProgramArguments"]
    assert Path(program).name == "windwatch"
    main.get_command(None, command).make_context(command, rest)
    assert found["RunAtLoad"] is found["KeepAlive"] is True
    assert f"/Library/LaunchDaemons/{found['Label']}.plist" in SECTIONS["As a service"]


def test_the_start_at_boot_on_windows_starts_a_watch_without_an_end():
    [text] = blocks("As a service", "powershell")
    arguments = re.search(r"-Argument '([^']*)'", text)[1]
    command, *rest = arguments.split()
    main.get_command(None, command).make_context(command, rest)
    used = set(re.findall(r"\$(\w+)", text))
    assert used == set(re.findall(r"^\$(\w+) =", text, re.MULTILINE)), "each is set and used"
    assert "-ExecutionTimeLimit ([TimeSpan]::Zero)" in text
    assert "-AtStartup" in text


# --- configurations ---------------------------------------------------------------

MINIMAL = (ROOT / "config" / "minimal.toml").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
TABLES = [
    (name, text)
    for name, page in (("README", README), ("DEVELOPERS", DEVELOPERS))
    for text in re.findall(r"^ *```toml\n(.*?)^ *```", page, re.DOTALL | re.MULTILINE)
]


def checked(text, tmp_path):
    """Read a configuration that has this in it; a placeholder for a hash becomes one."""
    path = tmp_path / "field.toml"
    path.write_text(
        text.replace("scrypt:…", hash_password("a long enough password")), encoding="utf-8"
    )
    (tmp_path / "secrets").mkdir(exist_ok=True)
    for name in ("store", "mail"):
        (tmp_path / "secrets" / name).write_text("not-a-real-one\n")
        (tmp_path / "secrets" / name).chmod(0o600)
    environ = dict.fromkeys(re.findall(r'_env = "(\w+)"', text), "0123456789abcdef0123456789")
    environ |= {"WIND_PUSH": "ntfys://larkspur-wind"}
    return read_settings([path], environ, require_secrets=False)


@pytest.mark.parametrize("text", [text for _, text in TABLES], ids=[name for name, _ in TABLES])
def test_every_table_shown_is_one_that_the_check_takes(text, tmp_path):
    whole = text if "[[airfield]]" in text else f"{MINIMAL}\n{text}"
    assert checked(whole, tmp_path).fleet.airfields


# Where each key that is shown within a sentence belongs; ¤ is the line.
CONTACT = MINIMAL + "\n¤\n"
ZONE = 'time_zone = "America/New_York"'
SECOND = '\n[[contact]]\nname = "another contact"\nfolder = "../windwatch-notices"\n'
MAIL = '\n[mail]\nhost = "mail.larkspur.example"\nsender = "w@larkspur.example"\nusername = "w"\n'
FALL_BACK = MINIMAL.replace("folder =", 'email = "a@larkspur.example"\nfolder =')
BELONGS = {
    "reports_between": MINIMAL.replace(ZONE, f"{ZONE}\n¤"),
    "fall_back": FALL_BACK + "¤\n" + MAIL + 'password_file = "secrets/mail"\n',
    "then_tell": CONTACT + SECOND,
    "quiet_hours": CONTACT,
    "full_silence": CONTACT.replace("¤", 'quiet_hours = { from = "22:00", to = "06:00" }\n¤')
    + SECOND,
    "push": CONTACT,
    "pictures": CONTACT,
    "units": CONTACT,
    "operator": CONTACT,
    "metrics_port": MINIMAL + "\n[watch]\n¤\n",
    "password_file": MINIMAL + MAIL + "¤\n",
    "of": MINIMAL.replace("crosswind_kt = 15", "crosswind_kt = { kt = 15, ¤ }"),
}
SHOWN = {
    each
    for each in re.findall(r"`([^`\n]+)`", README)
    if re.match(r"(\[[a-z]+\] )?[a-z_]+ = \S", each)
}


def whole(line):
    """A configuration around a line; an ellipsis in it stands for what one has."""
    table, bare = re.fullmatch(r"(\[[a-z]+\] )?(.*)", line).groups()
    bare = bare.replace("postgresql://…", "postgresql://windwatch@db.larkspur.example/windwatch")
    bare = bare.replace('url_env = "…"', 'url_env = "WIND_PUSH"')
    if table:
        return f"{MINIMAL}\n{table}\n{bare}\n"
    return BELONGS[bare.partition(" ")[0]].replace("¤", bare)


def test_some_keys_are_shown_within_sentences():
    assert len(SHOWN) >= 8


@pytest.mark.parametrize("line", sorted(SHOWN))
def test_every_key_shown_within_a_sentence_is_one_that_the_check_takes(line, tmp_path):
    assert checked(whole(line), tmp_path).fleet.contacts
