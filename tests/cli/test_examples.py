"""`windwatch config examples`: what comes with the program, as files of one's own."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from windwatch.cli.examples import example_files, place_of_examples
from windwatch.cli.main import main
from windwatch.errors import UsageError


def examples(folder):
    return CliRunner().invoke(main, ["config", "examples", str(folder)], prog_name="windwatch")


def test_every_example_is_copied_as_it_is(root, tmp_path):
    result = examples(tmp_path / "new")
    assert result.exit_code == 0, result.output
    said = " ".join(result.stdout.split())
    ours = sorted((root / "config").iterdir()) + sorted((root / "recorded_reports").iterdir())
    for path in ours:
        name = path.relative_to(root)
        assert (tmp_path / "new" / name).read_bytes() == path.read_bytes()
        assert str(name) in result.stdout
    assert said.endswith(f"windwatch replay {tmp_path}/new/config/demo.toml")


def test_a_file_that_is_there_is_never_replaced(tmp_path):
    there = tmp_path / "config" / "minimal.toml"
    there.parent.mkdir()
    there.write_text("mine")
    result = examples(tmp_path)
    assert result.exit_code == 2
    assert f"{there} is there already" in result.output.replace("\n  ", " ")
    assert there.read_text() == "mine"
    assert [path.name for path in tmp_path.rglob("*.*")] == ["minimal.toml"], "nothing at all"


def test_a_folder_that_cannot_be_written_is_named(tmp_path):
    (tmp_path / "file").write_text("no folder")
    result = examples(tmp_path / "file" / "below")
    assert result.exit_code == 2
    assert "name a folder that you may write in" in " ".join(result.output.split())


def test_it_is_listed_beside_the_others():
    result = CliRunner().invoke(main, ["config", "--help"], prog_name="windwatch")
    assert "examples  Copy the examples into a folder." in result.stdout


def test_an_installation_without_examples_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr("windwatch.cli.examples.place_of_examples", lambda: tmp_path)
    with pytest.raises(UsageError, match="holds no examples; install windwatch anew"):
        example_files()


def test_in_the_source_they_are_at_its_top(root):
    assert place_of_examples() == Path(root)
