import click
import pytest
from click.testing import CliRunner

from windwatch.cli.show import (
    examples,
    exit_status,
    hanging,
    iso,
    moment_of,
    paragraph,
    table,
    time_words,
    with_exit_status,
)
from windwatch.errors import (
    DeliveryFailed,
    Fault,
    FeedError,
    NoUsableReports,
    SettingsError,
    StoreHeld,
    UsageError,
)

NOW = moment_of("2026-09-22T19:10Z")
FAULT = Fault("a.toml", 3, "aircraft X-LARK", "'five' is no number", "write 5")


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (UsageError("no"), 2),
        (SettingsError((FAULT,)), 2),
        (StoreHeld("another watcher holds it"), 2),
        (NoUsableReports("nothing"), 3),
        (FeedError("awc", "no answer"), 3),
        (DeliveryFailed("refused", permanent=True), 3),
    ],
)
def test_every_error_has_its_exit_status_and_is_told_without_a_traceback(error, status):
    @click.command
    @with_exit_status
    def command():
        raise error

    result = CliRunner().invoke(command, [])
    assert exit_status(error) == status
    assert result.exit_code == status
    assert str(error).splitlines()[0] in " ".join(result.stderr.split())


def test_ctrl_c_is_not_taken_for_something_over():
    @click.command
    @with_exit_status
    def command():
        raise KeyboardInterrupt

    assert CliRunner().invoke(command, []).exit_code == 130


def test_a_table_keeps_to_80_columns_and_loses_no_word():
    rows = [("X-LARK", "the rotor from the hangars " * 8, "12.5"), ("X-TERN", "short", "3")]
    shown = table(rows, ("aircraft", "note", "kt"))
    assert max(map(len, shown.splitlines())) <= 80
    assert " ".join(shown.split()).count("hangars") == 8


def test_numbers_stand_to_the_right_and_words_to_the_left():
    assert table([("a", "7"), ("b", "12.5")], ("name", "kt")).splitlines() == [
        "name    kt",
        "----  ----",
        "a        7",
        "b     12.5",
    ]


def test_a_table_without_rows_has_its_head():
    assert table([], ("name", "kt")).splitlines() == ["name  kt", "----  --"]


def test_widths_that_are_asked_for_are_kept():
    assert table([("one two", "3")], ("a", "b"), (3, 1)).splitlines() == [
        "a    b",
        "---  -",
        "one  3",
        "two",
    ]


def test_a_path_is_never_cut_but_a_paragraph_is():
    path = "a/" * 60 + "windwatch.toml:12: "
    assert path.strip() in hanging(f"{path}crosswind_kt = -5")
    assert max(map(len, paragraph("x" * 200).splitlines())) == 80


def test_examples_are_not_filled_by_click():
    @click.command(epilog=examples("windwatch decode one.txt", "windwatch decode two.txt"))
    def command():
        """Nothing."""

    said = CliRunner().invoke(command, ["--help"]).output
    assert "    windwatch decode one.txt\n    windwatch decode two.txt\n" in said


def test_times_are_local_and_utc():
    at = moment_of("2026-09-22T15:07-04:00")
    assert iso(at) == "2026-09-22T19:07:00Z"
    assert iso(None) is None
    assert time_words(at, "America/New_York", NOW) == "15:07 local (19:07Z)"
    assert time_words(at, None, NOW) == "19:07Z"


def test_a_moment_without_offset_is_utc():
    assert moment_of("2026-09-22T19:10") == NOW
    with pytest.raises(UsageError, match="is no time"):
        moment_of("soon")
