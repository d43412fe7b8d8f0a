"""The container file builds from what the project has, as nobody, with one writable folder.

No engine builds it here: each line is read, and `tests/long/test_wheel.py` runs its installation.
"""

import json
import re
import shlex
from pathlib import Path

import pytest

from windwatch.cli.main import main

ROOT = Path(__file__).parent.parent.parent
# The instructions of the Containerfile format, containerfile(5), without the obsolete one.
KNOWN = {
    "ADD", "ARG", "CMD", "COPY", "ENTRYPOINT", "ENV", "EXPOSE", "FROM", "HEALTHCHECK", "LABEL",
    "ONBUILD", "RUN", "SHELL", "STOPSIGNAL", "USER", "VOLUME", "WORKDIR",
}  # fmt: skip


def instructions(text):
    """Instruction and arguments of each line; a line that ends in a backslash goes on."""
    lines = re.sub(r"^#.*\n", "", text, flags=re.MULTILINE).replace("\\\n", " ")
    return [tuple(line.split(None, 1)) for line in lines.splitlines() if line.strip()]


@pytest.fixture(scope="module")
def lines():
    return instructions((ROOT / "config" / "Containerfile").read_text(encoding="utf-8"))


def last(lines, wanted):
    return [rest for name, rest in lines if name == wanted][-1]


def test_every_instruction_is_one(lines):
    assert lines[0][0] == "FROM"
    assert {name for name, _ in lines} <= KNOWN
    assert not [rest for name, rest in lines if name == "ADD"], "COPY fetches nothing"


def test_everything_that_it_copies_is_there(lines):
    copied = [shlex.split(rest) for name, rest in lines if name == "COPY"]
    ours = [each for each in copied if not each[0].startswith("--from=")]
    assert ours
    for *sources, _ in ours:
        assert not [source for source in sources if not (ROOT / source).exists()]
    needed = {"pyproject.toml", "README.md", "LICENSE", "windwatch", "config", "recorded_reports"}
    assert {source for *sources, _ in ours for source in sources} == needed | {".ci/locked.txt"}


@pytest.mark.guard("supply chain")
def test_every_part_comes_by_its_hash(lines):
    pip = [rest for name, rest in lines if name == "RUN" and "pip install" in rest]
    assert len(pip) == 2
    assert "--require-hashes -r .ci/locked.txt" in pip[0]
    assert "--no-deps ." in pip[1]


@pytest.mark.guard("process")
def test_it_runs_as_nobody_with_one_writable_folder(lines):
    user = last(lines, "USER")
    assert re.fullmatch(r"[1-9]\d+:[1-9]\d+", user), "a number: so that a supervisor knows it"
    created = [rest for name, rest in lines if name == "RUN" and "useradd" in rest]
    assert f"--uid {user.partition(':')[0]}" in created[0]
    assert [json.loads(rest) for name, rest in lines if name == "VOLUME"] == [
        ["/var/lib/windwatch"]
    ]
    said = (ROOT / "config" / "Containerfile").read_text(encoding="utf-8")
    assert "--read-only --cap-drop all" in said


def test_what_it_starts_and_asks_are_commands(lines):
    [program] = json.loads(last(lines, "ENTRYPOINT"))
    assert program == "windwatch"
    health = re.fullmatch(r"(?:--[a-z-]+=\w+ +)+CMD (.*)", last(lines, "HEALTHCHECK"))
    for words in (json.loads(last(lines, "CMD")), json.loads(health[1])[1:]):
        command, *rest = words
        main.get_command(None, command).make_context(command, rest)
    assert json.loads(health[1])[:2] == ["windwatch", "health"]
