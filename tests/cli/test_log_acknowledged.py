"""`log` shows who took note of what, and gives back what was judged for `replay`."""

import json

import pytest
from click.testing import CliRunner

from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, config_text
from windwatch.cli.main import main

SINCE = ("--since", "2026-09-22T14:00Z")


@pytest.fixture
def alert(tmp_path, monkeypatch):
    """A store in which a storm has opened an episode of a parked aircraft."""
    with bench(tmp_path, config_text()) as b:
        b.take(QUIET)
        b.clock.move(MINUTE)
        [(notice, _)] = b.take(STORM).notices
        monkeypatch.chdir(tmp_path)
        yield b, notice


def take_note(b, notice, by="operations desk", note="two moved to the hangar"):
    with b.store.transaction() as books:
        books.acknowledge(notice.steps[0].episode, by, b.clock.now(), note)


def test_an_acknowledgement_is_shown_with_who_when_what_and_the_word_left(run, alert, flat):
    b, notice = alert
    take_note(b, notice)
    said = run("log", "watch.toml", *SINCE).stdout
    _, _, shown = said.partition("\nTaken note of\n")
    lines = shown.splitlines()
    assert lines[0].split("  ")[0] == "taken note"
    words = flat(shown)
    assert "22 14:57Z" in words
    for part in ("operations desk", "XLKS", "X-XLKS", notice.steps[0].episode[:8]):
        assert part in words
    assert "two moved" in words


def test_where_nobody_took_note_nothing_is_said_of_it(run, alert):
    assert "Taken note" not in run("log", "watch.toml", *SINCE).stdout


def test_one_from_before_is_not_shown(run, alert):
    b, notice = alert
    take_note(b, notice)
    assert "Taken note" not in run("log", "watch.toml", "--since", "2026-09-22T14:58Z").stdout


def test_what_somebody_typed_reaches_no_terminal_raw(run, alert):
    b, notice = alert
    take_note(b, notice, by="desk\x1b[2J", note="note\u202e")
    said = run("log", "watch.toml", *SINCE).stdout
    assert "\x1b" not in said
    assert "\u202e" not in said


def test_json_has_them_too(answer, alert):
    b, notice = alert
    take_note(b, notice)
    assert answer("log", "watch.toml", *SINCE)["acknowledgements"] == [
        {
            "episode": notice.steps[0].episode,
            "by": "operations desk",
            "at": "2026-09-22T14:57:00Z",
            "note": "two moved to the hangar",
        }
    ]


def recorded(*more: str) -> str:
    # Reports are longer than a screen is wide: this is for a file.
    result = CliRunner().invoke(main, ["log", "watch.toml", "--recorded", *more])
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.mark.promise(4)
def test_what_was_judged_is_replayed_to_the_same_notices(alert, tmp_path):
    b, notice = alert
    for _ in range(3):
        b.clock.move(30 * MINUTE)
        b.take(QUIET)
    (tmp_path / "day.txt").write_text(recorded(), encoding="utf-8")
    result = CliRunner().invoke(main, ["replay", "watch.toml", "day.txt", "--json"])
    notices = json.loads(result.stdout)["notices"]
    assert [n["id"] for n in notices] == [n.notice.id for n in b.store.notices()]
    assert notices[0]["id"] == notice.id


def test_recorded_lines_from_a_moment_on(alert):
    all_of_it = recorded().splitlines()
    assert [line.partition(" ")[0] for line in all_of_it] == [
        f"{START:%Y-%m-%dT%H:%M:%SZ}",
        "2026-09-22T14:57:00Z",
    ]
    assert recorded("--since", "2026-09-22T14:57Z").splitlines() == all_of_it[1:]
