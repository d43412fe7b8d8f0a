"""How newcomers break a configuration, and the whole message that each gets (newcomers.toml).

A message names file, line and key, says what is wrong, and what to write: alone it must let one
mend the file. Where it gives the very line, that line is written, and the file must be right.
"""

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from windwatch.errors import SettingsError
from windwatch.settings.read import read_settings

HERE = Path(__file__).parent
KNOWN = tomllib.loads((HERE / "broken.toml").read_text(encoding="utf-8"))
TABLE = tomllib.loads((HERE / "newcomers.toml").read_text(encoding="utf-8"))["broken"]
RIGHT: str = KNOWN["right"]
FILE = Path("field.toml")
MENDS = (
    "add", "begin", "close", "correct", "delete", "did you mean", "keep", "move", "name", "put",
    "take", "type", "write",
)  # fmt: skip


@pytest.fixture(autouse=True)
def _here(tmp_path, monkeypatch):
    # Messages name the file as the user did; from here that is a short name.
    monkeypatch.chdir(tmp_path)


def text_of(broken: dict[str, Any]) -> str:
    change = broken.get("change", RIGHT)
    assert change in RIGHT
    return RIGHT.replace(change, broken["into"], 1)


def messages(text: str) -> list[str]:
    FILE.write_text(text, encoding="utf-8")
    try:
        read_settings([FILE], {})
    except SettingsError as refused:
        return [str(fault) for fault in refused.faults]
    return []


def test_there_are_fifty_and_none_is_told_twice():
    assert len(TABLE) >= 50
    texts = {text_of(each) for each in TABLE}
    assert len(texts) == len(TABLE)
    assert len({each["what"] for each in TABLE}) == len(TABLE)
    elsewhere = {RIGHT.replace(each["change"], each["into"], 1) for each in KNOWN["broken"]}
    assert texts.isdisjoint(elsewhere)


@pytest.mark.parametrize("broken", TABLE, ids=lambda each: each["what"])
def test_the_message_says_where_what_and_what_to_write(broken):
    assert messages(text_of(broken)) == broken["says"]
    for said in broken["says"]:
        assert re.match(r"field\.toml(:\d+)?: [^:]+: \S", said)
        mend = said.split("; ", 1)[1]
        assert mend.startswith(MENDS) or any(f"; {word}" in mend for word in MENDS), mend


# --- doing just what a message says -----------------------------------------------------

VALUE = r'(?:\[[^\n]*\]|\{[^\n]*\}|"[^"\n]*"|[^,}\n]+?)(?= *(?:[,}\n]|$))'
LINE = re.compile(r'(?:write|add) (?P<key>[a-z_]+) = (?P<value>\[.*\]|\{.*\}|"[^"]*"|[-.\d]+)$')


def as_told(broken: dict[str, Any]) -> str | None:
    """The file after doing what its one message says; None where it gives no whole line."""
    said = broken["says"][0]
    found, place = LINE.search(said), re.match(r"field\.toml:(\d+): ([^:]+): ", said)
    if len(broken["says"]) > 1 or found is None or place is None:
        return None
    lines = text_of(broken).split("\n")
    line, key = lines[int(place[1]) - 1], found["key"]
    # Of two ends in one line the message names the one that is meant.
    start = line.rfind("{") if ", end 28" in place[2] else 0
    before, after = line[:start], line[start:]
    written = f"{key} = {found['value']}"
    mended, times = re.subn(rf"\b{key} = {VALUE}", lambda _: written, after, count=1)
    if times:
        lines[int(place[1]) - 1] = before + mended
    elif line.startswith("[["):
        lines.insert(int(place[1]), written)
    else:
        return None
    return "\n".join(lines)


WITH_A_LINE = [each for each in TABLE if as_told(each) is not None]


def test_many_messages_give_the_very_line():
    assert len(WITH_A_LINE) >= 25


@pytest.mark.parametrize("broken", WITH_A_LINE, ids=lambda each: each["what"])
def test_the_line_that_a_message_gives_makes_the_file_right(broken):
    mended = as_told(broken)
    assert mended is not None
    assert messages(mended) == []
