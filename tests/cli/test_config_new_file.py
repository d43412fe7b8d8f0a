"""`config new`: the file that it writes, and the test notice."""

import json
import os
import stat
from pathlib import Path

import pytest

from tests.cli.config_made import LEAST, left_behind, written

pytestmark = pytest.mark.usefixtures("here")

# --- the file ----------------------------------------------------------------------------


def test_a_file_that_is_there_is_never_overwritten_unasked(run, flat):
    Path("field.toml").write_text("mine", encoding="utf-8")
    result = run("config", "new", *LEAST)
    assert result.exit_code == 2
    assert "field.toml is there already; name another file, or add --replace" in flat(result.stderr)
    assert Path("field.toml").read_text(encoding="utf-8") == "mine"
    assert run("config", "new", *LEAST, "--replace").exit_code == 0
    assert written()["airfield"][0]["id"] == "XLKS"


def test_a_file_that_comes_to_be_there_meanwhile_is_not_overwritten(talk, run, monkeypatch, flat):
    from windwatch.cli import new_file  # noqa: PLC0415 - to come in between

    wrote = new_file._write

    def slow(path, content):
        wrote(path, content)
        Path("field.toml").write_text("theirs", encoding="utf-8")

    monkeypatch.setattr(new_file, "_write", slow)
    result = run("config", "new", *LEAST)
    assert result.exit_code == 2
    assert "came to be there meanwhile" in flat(result.stderr)
    assert Path("field.toml").read_text(encoding="utf-8") == "theirs"
    assert left_behind() == ["field.toml"]


def test_where_links_are_not_known_it_is_written_all_the_same(run, monkeypatch):
    def no_links(*_):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr("os.link", no_links)
    assert run("config", "new", *LEAST).exit_code == 0
    assert written()["airfield"][0]["id"] == "XLKS"


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("none/field.toml", "there is no folder none; make it, or name another"),
        (".", ". is a folder; name a file, as field.toml"),
    ],
)
def test_a_place_that_cannot_hold_it_is_refused_before_any_question(run, flat, name, said):
    result = run("config", "new", name)
    assert result.exit_code == 2
    assert said in flat(result.stderr)
    assert "Airfield" not in result.stdout


def test_a_folder_that_may_not_be_written_says_so_before_any_question(run, here, flat):
    if os.geteuid() == 0:
        Path("field.toml").write_text("x", encoding="utf-8")
        # Root may write anywhere; a name that is too long it cannot have either.
        result = run("config", "new", f"{'f' * 250}.toml")
    else:
        here.chmod(stat.S_IRUSR | stat.S_IXUSR)
        result = run("config", "new")
        here.chmod(stat.S_IRWXU)
    assert result.exit_code == 2
    assert "cannot be written" in flat(result.stderr)
    assert "Airfield" not in result.stdout


def test_the_editor_finds_the_rules_beside_the_file(run):
    run("config", "new", *LEAST)
    first = Path("field.toml").read_text(encoding="utf-8").splitlines()[0]
    assert first == "#:schema ./windwatch.schema.json"
    assert json.loads(Path("windwatch.schema.json").read_bytes())["title"] == (
        "windwatch configuration"
    )
    assert left_behind() == ["field.toml", "windwatch.schema.json"]


@pytest.mark.parametrize("foreign", ['{"title": "another"}', "no json", "[]"])
def test_a_foreign_file_in_the_place_of_the_rules_is_left_alone(run, foreign):
    Path("windwatch.schema.json").write_text(foreign, encoding="utf-8")
    assert run("config", "new", *LEAST).exit_code == 0
    assert Path("windwatch.schema.json").read_text(encoding="utf-8") == foreign


def test_no_line_of_the_file_is_wider_than_an_editor(run):
    run("config", "new", *LEAST, "--pilot", "student solo", "--webhook", "https://d.example/wind")
    wide = [
        line
        for line in Path("field.toml").read_text(encoding="utf-8").splitlines()
        if len(line) > 80 and "python3 -c" not in line
    ]
    assert wide == []


def test_any_text_is_written_as_valid_toml(run):
    name = 'Lärk"spur\\ field'
    result = run("config", "new", *LEAST, "--name", name)
    assert result.exit_code == 0, result.output
    assert written()["airfield"][0]["name"] == name


# --- the test notice -----------------------------------------------------------------------


def test_a_test_notice_is_sent_where_it_is_wanted(run, flat):
    result = run("config", "new", *LEAST, "--test")
    assert result.exit_code == 0, result.output
    said = flat(result.stdout)
    assert "operations desk by email: written to windwatch-notices/" in said
    assert "The mail is a file in windwatch-notices; any mail program opens it." in said
    assert said.index("field.toml is written and checked") < said.index(", instead of")
    assert "windwatch now field.toml --wind 24018G28KT" in said
    assert len(list(Path("windwatch-notices").glob("*.eml"))) == 1


def test_without_the_secret_no_test_is_sent_and_the_way_is_told(talk, flat):
    options = (*LEAST[:-1], "--webhook", "https://desk.larkspur.example/wind", "--mail-server",
               "mail.larkspur.example,sender=wind@larkspur.example")  # fmt: skip
    result = talk("", "", "", "", "", "", "", "", options=options)
    said = flat(result.stdout)
    assert "A test notice can be sent once WINDWATCH_OPERATIONS_DESK_SECRET is set" in said
    assert "windwatch send-test field.toml" in said
    assert "Send a test notice now?" not in said


def test_a_test_that_does_not_leave_keeps_the_file(run, flat, monkeypatch):
    monkeypatch.setenv("WINDWATCH_MAIL_PASSWORD", "hunter2")
    result = run(
        "config", "new", *LEAST, "--test", "--mail-server",
        "mail.invalid,username=wind@larkspur.example",
    )  # fmt: skip
    assert result.exit_code == 0
    assert "NOT taken" in flat(result.stdout)
    assert "Once that is mended: windwatch send-test field.toml" in flat(result.stderr)
    assert result.stdout.endswith("windwatch watch field.toml\n")
    assert "hunter2" not in Path("field.toml").read_text(encoding="utf-8")
