"""Dead letters by hand: what is sent again is the state now, not the old text."""

import shutil
from datetime import timedelta

import pytest

from windwatch.cli.replay import play
from windwatch.clock import HandClock
from windwatch.feeds.recorded import read_recorded
from windwatch.settings.read import read_settings
from windwatch.store.store import open_store


@pytest.fixture
def demo(root, tmp_path, monkeypatch):
    """The demo day, as `watch` would have stored it."""
    for name in ("config", "recorded_reports"):
        shutil.copytree(root / name, tmp_path / name)
    settings = read_settings([tmp_path / "config" / "demo.toml"], {}, require_secrets=False)
    lines = read_recorded(tmp_path / "recorded_reports" / "front_day.txt")
    settings.store.path.parent.mkdir(exist_ok=True)
    day = play(settings, lines, tmp_path / "out", settings.store.path)
    monkeypatch.chdir(tmp_path)
    return settings, day


def notices(settings):
    clock = HandClock(max(n.at for n, _ in settings[1].sent) + timedelta(days=1))
    with open_store(settings[0].store.path, clock) as store:
        return store.notices()


def test_a_notice_is_followed_by_one_of_the_state_now(run, demo, caution, flat):
    before = {n.notice.id for n in notices(demo)}
    old, _ = demo[1].sent[3]
    result = run("log", "config/demo.toml", "--resend", old.id[:10])
    assert result.exit_code == 0, result.output
    assert flat(result.stdout).endswith(caution)
    (new,) = [n for n in notices(demo) if n.notice.id not in before]
    assert new.notice.kind == "state now"
    assert new.notice.replaces == (old.id,)
    assert new.notice.contact == old.contact
    channels = next(c.channels for c in demo[0].fleet.contacts if c.name == old.contact)
    assert tuple(d.channel for d in new.deliveries) == channels
    assert {d.state.value for d in new.deliveries} == {"queued"}
    assert "late, because it was sent again by hand" in flat(new.content.text)
    assert new.notice.id[:8] in result.stdout


def test_a_second_time_is_another_notice(run, demo):
    old, _ = demo[1].sent[3]
    run("log", "config/demo.toml", "--resend", old.id)
    before = {n.notice.id for n in notices(demo)}
    run("log", "config/demo.toml", "--resend", old.id)
    assert len({n.notice.id for n in notices(demo)} - before) == 1


def test_what_is_no_notice_is_said(run, demo):
    result = run("log", "config/demo.toml", "--resend", "zzzz")
    assert result.exit_code == 2
    assert "no notice begins so" in result.stderr


def test_a_contact_that_is_gone_is_not_told(run, demo, tmp_path):
    old, _ = demo[1].sent[3]
    path = tmp_path / "config" / "demo.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace(f'name = "{old.contact}"', 'name = "somebody else"'), encoding="utf-8"
    )
    result = run("log", "config/demo.toml", "--resend", old.id)
    assert result.exit_code == 2
    assert f"{old.contact}: no contact of that name is configured any more" in result.stderr
