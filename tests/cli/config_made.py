"""`config new` asked for the least, and what it wrote into the folder it was called in."""

import tomllib
from pathlib import Path

from windwatch.settings.read import read_settings

AIRCRAFT = "X-LARK,nosewheel,high,crosswind=15,tie_down=25"
LEAST = (
    "--airfield", "XLKS", "--station", "XLKS", "--aircraft", AIRCRAFT,
    "--email", "ops@larkspur.example", "--yes",
)  # fmt: skip
# By questions: without asking for stations, and the answers from the aircraft to the end.
OFFLINE = ("--offline",)
REST = (
    "X-LARK", "", "", *[""] * 7, "", "", "", "", "ops@larkspur.example", "", "", "", "",
    "yes", "no",
)  # fmt: skip


def written(name="field.toml"):
    return tomllib.loads(Path(name).read_text(encoding="utf-8"))


def left_behind():
    return sorted(path.name for path in Path().iterdir())


def fleet(name="field.toml"):
    return read_settings([Path(name)], {}, require_secrets=False).fleet
