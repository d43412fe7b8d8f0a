"""Every refused configuration has its expected message beside it, in broken.toml."""

import base64
import tomllib
from pathlib import Path
from typing import Any

import pytest

from windwatch.errors import SettingsError
from windwatch.settings.read import read_settings

TABLE = tomllib.loads((Path(__file__).parent / "broken.toml").read_text(encoding="utf-8"))
RIGHT: str = TABLE["right"]
ENVIRON = {
    "DESK": "whsec_" + base64.b64encode(bytes(range(32))).decode(),
    "MAIL": "hunter2",
    "SHORT": "whsec_" + base64.b64encode(b"hunter2").decode(),
    "PLAIN": "hunter2!",
}
FILE = Path("field.toml")


@pytest.fixture(autouse=True)
def _here(tmp_path, monkeypatch):
    # Messages name the file as the user did; from here that is a short name.
    monkeypatch.chdir(tmp_path)


def messages(text: str, **environ: str) -> list[str]:
    FILE.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as refused:
        read_settings([FILE], ENVIRON | environ)
    return [str(fault) for fault in refused.value.faults]


def test_the_configuration_that_is_broken_below_is_right():
    FILE.write_text(RIGHT, encoding="utf-8")
    assert read_settings([FILE], ENVIRON).warnings == ()


@pytest.mark.parametrize("broken", TABLE["broken"], ids=lambda broken: broken["name"])
def test_message(broken: dict[str, Any]):
    assert RIGHT.count(broken["change"]) == 1
    assert messages(RIGHT.replace(broken["change"], broken["into"])) == broken["says"]


@pytest.mark.promise(22)
@pytest.mark.guard("secrets")
def test_no_message_shows_a_secret():
    said = [line for broken in TABLE["broken"] for line in broken["says"]]
    assert any("hunter2" in broken["into"] for broken in TABLE["broken"])
    assert not [line for line in said if "hunter2" in line or "aHVudGVyMg" in line]


def test_all_faults_come_at_once_in_the_order_of_lines():
    text = RIGHT
    # One of each way of finding them: by type, by key, by comparison, by reference, by address.
    for old, new in (
        ('every = "2min"', 'every = "1s"'),
        ("latitude = 42.93", 'latitude = "42.93"'),
        ("271.4", "250"),
        ('wing = "high"', 'wings = "high"'),
        ('based_at = "XLKS"', 'based_at = "XLSK"'),
        ("crosswind_kt = 7", "crosswind_kt = -7"),
        ('ops@larkspur.example"\nevery', 'ops@larkspur.example"\nevry = 1\nevery'),
        (
            'name = "operations desk"',
            'name = "operations desk"\nwebhook = { url = "http://d.example/" }',
        ),
    ):
        assert text.count(old) == 1
        text = text.replace(old, new)
    found = messages(text)
    list_of_lines = ["4", "5", "12", "17", "25", "26", "32", "36", "36"]
    assert [line.split(":")[1] for line in found] == list_of_lines


def test_a_fault_does_not_hide_contradictions_elsewhere_in_its_table():
    text = RIGHT.replace('gear = "nosewheel"', 'gear = "wheels"').replace(
        '"XLKS"\nlimits', '"X"\nlimits'
    )
    assert len(messages(text)) == 2


def test_what_stands_for_a_refused_value_is_never_judged():
    # The example of one_way is true, and would contradict two ends.
    text = RIGHT.replace("[[airfield.taxi_leg]]", "one_way = 1\n[[airfield.taxi_leg]]")
    (said,) = messages(text)
    assert said == (
        "field.toml:17: airfield XLKS, runway 10/28, one_way: 1 is not true or false; "
        "write one_way = true"
    )


def test_an_empty_environment_variable_is_no_secret():
    text = RIGHT.replace('[delivery]\nfolder = "notices"\n', "").replace(
        'email = "ops@larkspur.example"\n',
        'webhook = { url = "https://d.example/", secret_env = "EMPTY" }\n',
    )
    (said,) = messages(text, EMPTY="")
    assert said == (
        "field.toml:33: contact operations desk, webhook.secret_env: the environment variable "
        "EMPTY is empty; set it before windwatch starts, as EMPTY=…"
    )


# --- files ------------------------------------------------------------------


def refused(*paths: Path) -> list[str]:
    with pytest.raises(SettingsError) as error:
        read_settings(paths, ENVIRON)
    return [str(fault) for fault in error.value.faults]


def test_a_file_that_is_not_there():
    assert refused(Path("none.toml")) == [
        "none.toml: the file: there is none of that name; check the name"
    ]


def test_a_folder_without_a_configuration():
    Path("empty").mkdir()
    assert refused(Path("empty")) == [
        "empty: this folder: no .toml file is in it; name a file, or a folder with one"
    ]


def test_no_file_at_all():
    assert refused() == ["windwatch: configuration: no file is named; name one"]


def test_a_file_in_another_encoding():
    FILE.write_bytes(b'[feed]\nkind = "awc"\n# Stra\xdfe\n')
    assert refused(FILE) == ["field.toml:3: the file: it is not in UTF-8; save it again as UTF-8"]


def test_a_file_that_is_no_configuration():
    FILE.write_bytes(b"#" * (1 << 21))
    assert refused(FILE) == ["field.toml: the file: it is over 1 MiB; name a configuration in TOML"]


@pytest.mark.parametrize("text", ["a = " + "9" * 5000, "a = " + "[" * 5000])
def test_a_file_that_defeats_the_reader(text):
    FILE.write_text(text, encoding="utf-8")
    assert refused(FILE) == [
        "field.toml: the file: a number in it is too long or its lists too deep; take that out"
    ]


def test_syntax_faults_of_all_files_come_together():
    Path("a.toml").write_text("x = \n", encoding="utf-8")
    Path("b.toml").write_text("y = [\n", encoding="utf-8")
    assert [line.split(";")[0] for line in refused(Path("a.toml"), Path("b.toml"))] == [
        "a.toml:1: this line: a key without a value",
        "b.toml:1: this line: the value is no text, number, list or table",
    ]


def test_two_files_that_contradict_each_other():
    FILE.write_text(RIGHT, encoding="utf-8")
    Path("more.toml").write_text('[feed]\nevery = "5min"\n', encoding="utf-8")
    assert refused(FILE, Path("more.toml")) == [
        "more.toml:2: feed.every: it is set otherwise in field.toml:4; keep one of the two"
    ]


def test_a_name_given_twice_in_two_files():
    FILE.write_text(RIGHT, encoding="utf-8")
    Path("more.toml").write_text(
        '\n[[pilot_limits]]\nname = "student solo"\nlimits = {}\n', encoding="utf-8"
    )
    (said,) = refused(FILE, Path("more.toml"))
    assert said == (
        'more.toml:3: pilot_limits student solo, name: "student solo" is already the name of '
        "another, line 30 in field.toml; give each its own name"
    )


# --- files that hold a secret ---------------------------------------------------

LOGIN = '\n[mail]\nhost = "localhost"\nsender = "a@b.example"\nusername = "wind"\n'


@pytest.mark.parametrize(
    ("held", "said"),
    [
        pytest.param(b"", "the file it names is empty; write the secret alone into it", id="empty"),
        pytest.param(
            b"h" * 5000,
            "the file it names is longer than 4096 bytes; write the secret alone into it",
            id="another file",
        ),
        pytest.param(
            b"\xff\xfe", "the file it names is not text; write the secret alone into it", id="bytes"
        ),
        pytest.param(
            b"user\nhunter2\n",
            "what it holds has a line break or control character in it; keep the secret alone in "
            "one line",
            id="two lines",
        ),
    ],
)
def test_a_secret_s_file_that_holds_no_secret(held, said):
    Path("mail").write_bytes(held)
    Path("mail").chmod(0o600)
    assert messages(RIGHT + LOGIN + 'password_file = "mail"\n') == [
        f"field.toml:41: mail.password_file: {said}"
    ]


def test_a_folder_in_the_place_of_a_file():
    Path("folder.toml").mkdir()
    Path("folder.toml/x.toml").mkdir()
    assert refused(Path("folder.toml"))[0].startswith("folder.toml: this folder: no .toml file")
