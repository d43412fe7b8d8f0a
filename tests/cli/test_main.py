import importlib
import os
import subprocess
import sys

import click
import pytest

from windwatch import __version__
from windwatch.cli.main import COMMANDS, main

ENTRIES = {name: entry for entries in COMMANDS.values() for name, entry in entries.items()}
LATER = (
    "desk", "outlook", "lessons", "brief", "study",
    )  # fmt: skip


def python(*args, given="", **more):
    environ = {**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    return subprocess.run(
        [sys.executable, *args],
        input=given,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
        env={**environ, **more},
    )


@pytest.mark.parametrize("name", ENTRIES)
def test_every_listed_command_exists_and_helps(run, name):
    entry = ENTRIES[name]
    command = getattr(importlib.import_module(entry.module), entry.attribute)
    assert isinstance(command, click.Command)
    result = run(name, "--help")
    assert result.exit_code == 0
    assert "Usage: windwatch" in result.stdout


def test_commands_of_later_work_are_not_promised(run):
    listed = run("--help").stdout
    for name in LATER:
        assert name not in ENTRIES
        assert f"\n  {name} " not in listed


def test_help_lists_every_command_without_importing_one():
    shown = python(
        "-c",
        "import sys; from windwatch.cli.main import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "print(sorted(m for m in sys.modules if m.startswith('windwatch.cli.')))",
    )
    assert shown.returncode == 0
    assert shown.stdout.splitlines()[-1] == "['windwatch.cli.main', 'windwatch.cli.show']"
    for name in ENTRIES:
        assert f"\n  {name} " in shown.stdout


@pytest.mark.parametrize("heavy", ["pydantic", "sqlalchemy", "requests", "jinja2", "pygeomag"])
def test_components_imports_nothing_heavy(heavy):
    shown = python(
        "-c",
        "import sys; from windwatch.cli.main import main\n"
        "try: main(['components', '--wind', '22030KT', '--heading-true', '180'])\n"
        "except SystemExit: pass\n"
        f"print({heavy!r} in sys.modules)",
    )
    assert shown.stdout.splitlines()[-1] == "False"


def test_the_version_is_said(run):
    assert run("--version").stdout == f"windwatch {__version__}\n"


def test_an_unknown_command_ends_with_2(run):
    assert run("weather").exit_code == 2


def test_the_entry_point_is_the_group():
    assert isinstance(main, click.Group)


def test_python_m_windwatch_is_the_same_command():
    shown = python("-m", "windwatch", "components", "--wind", "22030KT", "--heading-true", "180")
    assert shown.returncode == 0, shown.stderr
    assert "19.3  right" in shown.stdout


def test_a_terminal_without_degree_sign_gets_words_all_the_same():
    shown = python(
        "-m", "windwatch", "variation", "42.93", "-76.02", "--on", "2026.5",
        PYTHONIOENCODING="iso8859-5",
    )  # fmt: skip
    assert shown.returncode == 0, shown.stderr
    assert "Variation 11.9? west" in shown.stdout


def test_decode_streams_and_ends_quietly_when_nobody_reads_on():
    report = "XLKS 221853Z 20018G25KT 10SM CLR 20/10 A2990\n"
    with subprocess.Popen(
        [sys.executable, "-m", "windwatch", "decode", "--json"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
    ) as process:
        process.stdin.write(report.encode())
        process.stdin.flush()
        # It answers while its input is still open.
        assert process.stdout.readline().startswith(b'{"raw": "XLKS')
        process.stdout.close()
        process.stdin.write(report.encode() * 3)
        process.stdin.close()
        assert process.wait(timeout=30) == 0
        assert process.stderr.read() == b""


def test_an_exit_status_of_the_contract_reaches_the_shell():
    assert python("-m", "windwatch", "decode", given="no report\n").returncode == 3
    assert python("-m", "windwatch", "config", "check", "none.toml").returncode == 2
