"""House rules that no other check holds: README, configurations, layout, clock, suppressions."""

import ast
import re
import shlex
import subprocess
import tokenize
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from windwatch.cli.main import COMMANDS, main
from windwatch.errors import FeedError
from windwatch.settings.read import read_settings

ROOT = Path(__file__).parent.parent
CODE = sorted((ROOT / "windwatch").rglob("*.py"))
README = (ROOT / "README.md").read_text(encoding="utf-8")
FENCED = [
    line.strip()
    for block in re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    for line in block.splitlines()
    if line.strip()
]
KNOWN_COMMANDS = {name for entries in COMMANDS.values() for name in entries}


def tracked() -> list[str]:
    """What belongs to the project: everything that git would keep."""
    names = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if names.returncode != 0:
        pytest.skip("no git here: an unpacked archive has nothing to compare with")
    return [name for name in names.stdout.splitlines() if (ROOT / name).is_file()]


def imports_of(tree: ast.AST) -> dict[str, str]:
    """Names in a module and what they stand for: ``utcnow`` for ``datetime.datetime.utcnow``."""
    found: dict[str, str] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {a.asname or a.name: a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom):
            found |= {a.asname or a.name: f"{node.module}.{a.name}" for a in node.names}
    return found


def calls_in(path: Path) -> Iterator[tuple[int, str]]:
    """Line and full name of everything that a module calls or hands on by a dotted name."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    names = imports_of(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute | ast.Name):
            dotted = ast.unparse(node)
            head, _, rest = dotted.partition(".")
            if head in names:
                yield node.lineno, names[head] + (f".{rest}" if rest else "")


# --- README -----------------------------------------------------------------


def test_the_two_commands_are_the_first_and_ci_runs_the_second_word_for_word() -> None:
    assert FENCED[0].endswith(".venv/bin/windwatch replay config/demo.toml")
    assert FENCED[1].endswith(".venv/bin/python -m pytest -q")
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert f"\n{FENCED[1]}\n" in ci


def test_readme_begins_with_the_job_and_then_the_two_commands() -> None:
    titles = re.findall(r"^#+ .*$", README, re.MULTILINE)
    assert titles[:3] == ["# windwatch", "## The two commands", "## Your own field in five minutes"]


def test_every_command_that_readme_names_exists() -> None:
    named = set(re.findall(r"windwatch ([a-z][a-z-]+)", " ".join(re.findall(r"`[^`]+`", README))))
    named |= {shlex.split(line)[1] for line in FENCED if line.startswith("windwatch ")}
    assert named
    assert named <= KNOWN_COMMANDS
    for command in named:
        result = CliRunner().invoke(main, [command, "--help"], prog_name="windwatch")
        assert result.exit_code == 0, command
        assert all(len(line) <= 80 for line in result.stdout.splitlines()), command


def test_every_command_has_a_place_in_readme() -> None:
    assert not [
        name
        for name in KNOWN_COMMANDS
        if f"windwatch {name}" not in README and f"`{name}`" not in README
    ]


OWN_PART = README.partition("\n## Your own field")[2].partition("\n## ")[0]
# What comes after it is run by tests/test_readme_runs.py.
OWN_FIELD = [line for line in FENCED if line.startswith("windwatch ") and f" {line}\n" in OWN_PART]
GUIDED = "windwatch config new field.toml"
# These two ask the world; the local server of tests/watch stands in for it.
NEEDS_A_FEED = {"windwatch now field.toml", "windwatch watch field.toml"}
# Enter takes what is offered: airfield, runways, zone, station, fall-backs and hours; an aircraft
# with seven limits; who flies; whom to tell, how and of what; written, and no test notice yet.
ANSWERS = [
    "LKRA", *[""] * 6,
    "X-LARK", *[""] * 11,
    "", "", "ops@larkspur.example", "", "", "", "", "yes", "no",
]  # fmt: skip


def test_readme_shows_the_way_to_an_own_field() -> None:
    assert OWN_FIELD[0] == GUIDED
    assert len(OWN_FIELD) >= 5
    assert set(OWN_FIELD) >= NEEDS_A_FEED


@pytest.mark.parametrize("line", [line for line in OWN_FIELD if line not in NEEDS_A_FEED])
def test_every_command_for_an_own_field_works_with_what_the_guided_start_has_made(
    line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def nobody(*_: object) -> None:
        raise FeedError("awc", "not asked in a test")

    monkeypatch.setattr("windwatch.cli.new_stations.stations_near", nobody)
    monkeypatch.delenv("WINDWATCH_AIRFIELDS", raising=False)
    monkeypatch.chdir(tmp_path)
    made = CliRunner().invoke(
        main, shlex.split(GUIDED)[1:], input="\n".join([*ANSWERS, ""]), prog_name="windwatch"
    )
    assert made.exit_code == 0, made.output
    assert made.stdout.endswith("windwatch watch field.toml\n")
    if line == GUIDED:
        return
    result = CliRunner().invoke(main, shlex.split(line)[1:], prog_name="windwatch")
    assert result.exit_code == 0, result.output
    if "send-test" in line:
        assert list(tmp_path.rglob("*.eml")), "the notice that proves it"


# --- configurations and layout ----------------------------------------------------


@pytest.mark.parametrize("path", sorted((ROOT / "config").glob("*.toml")), ids=lambda p: p.name)
def test_every_configuration_that_comes_with_it_loads(path: Path) -> None:
    settings = read_settings([path], {}, require_secrets=False)
    assert settings.fleet.airfields
    assert settings.fleet.contacts


def test_the_top_level_is_what_the_house_allows() -> None:
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "pyproject.toml",
        "windwatch",
        "config",
        "tests",
        "recorded_reports",
    }
    top = {name.partition("/")[0] for name in tracked()}
    assert {name for name in top if not name.startswith(".")} == allowed


def test_no_file_names_a_path_of_somebodys_machine() -> None:
    # Put together here, so that this file does not name them.
    paths = [f"/{top}/" for top in ("work", "root", "home")] + [f"/{'tmp'}/"]
    found = []
    for name in tracked():
        text = (ROOT / name).read_bytes().decode("utf-8", errors="replace")
        found += [f"{name}: {path}" for path in paths if re.search(rf"(?<![\w.]){path}\w", text)]
    assert found == []


# --- code -------------------------------------------------------------------------


def test_no_file_is_longer_than_a_person_reads_in_one_sitting() -> None:
    long = {
        str(path.relative_to(ROOT)): lines
        for path in CODE
        if (lines := path.read_text(encoding="utf-8").count("\n")) > 500
    }
    assert long == {}


ASKS_THE_TIME = {
    "datetime.datetime.now",
    "datetime.datetime.utcnow",
    "datetime.datetime.today",
    "datetime.date.today",
    "time.time",
    "time.time_ns",
    "time.monotonic",
    "time.monotonic_ns",
    "time.perf_counter",
    "time.localtime",
    "time.gmtime",
    "time.sleep",
}


def test_only_the_clock_asks_the_time() -> None:
    asked = {
        (str(path.relative_to(ROOT)), line, name)
        for path in CODE
        if path.name != "clock.py"
        for line, name in calls_in(path)
        if name in ASKS_THE_TIME
    }
    assert asked == set()


def test_the_check_of_the_clock_finds_what_it_looks_for(tmp_path: Path) -> None:
    odd = tmp_path / "odd.py"
    odd.write_text(
        "import time as t\nfrom datetime import datetime as d\nfrom time import time\n"
        "a = d.now()\nb = t.time()\nc = time()\n"
    )
    found = {name for _, name in calls_in(odd)} & ASKS_THE_TIME
    assert found == {"datetime.datetime.now", "time.time"}


def comments_of(path: Path) -> Iterator[tuple[int, str]]:
    with path.open("rb") as file:
        for token in tokenize.tokenize(file.readline):
            if token.type == tokenize.COMMENT:
                yield token.start[0], token.string


# Imported where used, so that a small command starts fast: design, section 2.
REASON_IS_KNOWN = {"PLC0415"}


def test_every_suppression_names_its_rule_and_its_reason() -> None:
    wrong = []
    for path in CODE:
        for line, comment in comments_of(path):
            place = f"{path.relative_to(ROOT)}:{line}: {comment}"
            if "type: ignore" in comment and not re.search(r"type: ignore\[[a-z-]+", comment):
                wrong.append(place)
            rule = re.search(r"noqa: ([A-Z]+[0-9]+(?:, ?[A-Z]+[0-9]+)*)(?![A-Z0-9])(.*)", comment)
            if "noqa" not in comment or "type: ignore" in comment:
                continue
            if rule is None or not (rule[1] in REASON_IS_KNOWN or re.search(r"\w", rule[2])):
                wrong.append(place)
    assert wrong == []


def test_nothing_is_left_to_be_done_later() -> None:
    # Put together here, so that this file does not hold them.
    words = ("TO" + "DO", "FIX" + "ME", "XX" + "X", "NotImplemented" + "Error")
    found = [
        f"{name}: {word}"
        for name in tracked()
        if name.endswith((".py", ".toml", ".md", ".html"))
        for word in words
        if re.search(rf"\b{word}\b", (ROOT / name).read_text(encoding="utf-8"))
    ]
    assert found == []
