"""What the tests of the commands share: run one, and look at what a terminal would show."""

import json
import os
from collections.abc import Callable

import pytest
from click.testing import CliRunner, Result

from tests.cli.field_table import make_table
from windwatch.cli.main import main

Run = Callable[..., Result]
CAUTION = (
    "Advisory only: the flight manual, local procedures, the instructor or pilot in command, "
    "and official weather sources decide."
)


@pytest.fixture
def run() -> Run:
    """Run a command; words must fit 80 columns, and nothing may end in a traceback."""

    def invoke(*args: str, given: str | bytes | None = None) -> Result:
        result = CliRunner().invoke(main, list(args), input=given, prog_name="windwatch")
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        if "--json" not in args and "schema" not in args:
            too_wide = [line for line in result.stdout.splitlines() if len(line) > 80]
            assert not too_wide
        return result

    return invoke


@pytest.fixture
def answer(run: Run) -> Callable[..., dict]:
    """Run a command with --json and return its one document."""

    def ask(*args: str) -> dict:
        result = run(*args, "--json")
        assert result.exit_code == 0, result.stderr
        return json.loads(result.stdout)

    return ask


@pytest.fixture
def flat() -> Callable[[str], str]:
    """Text without its line breaks, to look for sentences in."""
    return lambda text: " ".join(text.split())


@pytest.fixture
def caution() -> str:
    """The words that stand under all advice."""
    return CAUTION


@pytest.fixture
def here(tmp_path, monkeypatch):
    """An empty folder, with a small table of airfields elsewhere."""
    monkeypatch.setenv("WINDWATCH_AIRFIELDS", str(make_table(tmp_path / "table")))
    for name in [name for name in os.environ if name.endswith(("_SECRET", "_PASSWORD"))]:
        monkeypatch.delenv(name)
    folder = tmp_path / "here"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def talk(run):
    """Run `config new` with one answer a line, and give back what it said."""

    def answers(*lines, options=(), status=0):
        result = run("config", "new", *options, given="".join(f"{line}\n" for line in lines))
        assert result.exit_code == status, result.output
        return result

    return answers
