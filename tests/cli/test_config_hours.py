"""`config show` says when a contact is told, and who is told after it."""

import tomllib
from pathlib import Path

RIGHT = tomllib.loads(
    (Path(__file__).parent.parent / "settings" / "broken.toml").read_text(encoding="utf-8")
)["right"]
HOURS = """folder = "more"
fall_back = true
then_tell = "chief"
time_zone = "Europe/Vienna"
quiet_hours = { from = "22:00", to = "06:00" }
absent = [{ from = "2026-08-01", until = "2026-08-15" }]
[[contact.duty]]
days = ["mon", "tue"]
from = "07:00"
to = "19:00"

[[contact]]
name = "chief"
folder = "chief"
"""


def test_hours_and_channels_in_turn_are_shown(run, flat, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("field.toml").write_text(RIGHT.rstrip() + "\n" + HOURS, encoding="utf-8")
    shown = flat(run("config", "show", "field.toml").stdout)
    assert "operations desk (by email, or else folder)" in shown
    assert (
        "on duty mon and tue 07:00 to 19:00; quiet 22:00 to 06:00; away 2026-08-01 to 2026-08-15; "
        "hours of Europe/Vienna; if it takes no note, chief is told" in shown
    )
