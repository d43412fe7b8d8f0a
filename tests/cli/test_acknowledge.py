"""`acknowledge`: somebody takes note of an episode, or of all that a notice lists."""

from datetime import timedelta

import pytest

from tests.watch.little_watch import START, STORM, bench, config_text
from windwatch.store.store import open_store


@pytest.fixture
def open_alert(tmp_path, monkeypatch):
    """A store in which a storm has opened two episodes; the field's folder is the current one."""
    text = config_text().replace("tie_down_kt = 25", "tie_down_kt = 25, taxi_wind_kt = 30")
    with bench(tmp_path, text) as b:
        [(notice, _)] = b.take(STORM).notices
        monkeypatch.chdir(tmp_path)
        yield b, notice


def test_an_episode_by_its_first_letters(run, open_alert, caution, flat):
    b, notice = open_alert
    episode = notice.steps[0].episode
    result = run("acknowledge", "watch.toml", episode[:8], "--by", "operations desk")
    assert result.exit_code == 0
    said = flat(result.stdout)
    assert said.startswith("operations desk took note of 1 episode.")
    assert "Reminders stop for 6 hours; a new worst, missing data and the end are told" in said
    assert said.endswith(caution)
    with open_store(b.folder / "watch.db", b.clock) as store:
        [ack] = store.acknowledgements()
    assert (ack.episode, ack.by, ack.note) == (episode, "operations desk", "")


def test_a_notice_covers_every_episode_it_lists(run, open_alert):
    b, notice = open_alert
    result = run("acknowledge", "watch.toml", notice.id, "--by", "desk", "--note", "two moved")
    assert "desk took note of 2 episodes." in result.stdout
    with open_store(b.folder / "watch.db", b.clock) as store:
        acks = store.acknowledgements()
    assert {a.episode for a in acks} == {s.episode for s in notice.steps}
    assert {a.note for a in acks} == {"two moved"}


def test_the_account_signs_where_no_name_is_given(run, open_alert, monkeypatch):
    monkeypatch.setenv("LOGNAME", "duty-account")
    _, notice = open_alert
    assert run("acknowledge", "watch.toml", notice.id).stdout.startswith("duty-account took note")


def test_a_running_watch_takes_it_at_its_next_tick(run, open_alert):
    b, notice = open_alert
    b.at(START + timedelta(minutes=1))
    run("acknowledge", "watch.toml", notice.id, "--by", "desk")
    # The command signs with the machine's clock, the watch under test has one of its own.
    b.watch.tick()
    taken = b.watch.books["XLKS"].state.acknowledged
    assert {a.episode for a in taken} == {s.episode for s in notice.steps}


@pytest.mark.parametrize("what", ["zzzz", "0" * 24, "%"])
def test_what_is_not_there_is_refused(run, open_alert, what):
    result = run("acknowledge", "watch.toml", what)
    assert result.exit_code == 2
    assert "no episode or notice begins so" in result.stderr


def test_what_may_be_several_is_refused(run, open_alert):
    result = run("acknowledge", "watch.toml", "")
    assert result.exit_code == 2
    assert "give more letters" in result.stderr
