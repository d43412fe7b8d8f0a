"""A restart at any moment: state from the store, nothing told twice, nothing forgotten."""

from datetime import timedelta

import pytest

from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, config_text, ids, said
from windwatch import pipeline
from windwatch.cli.replay import play
from windwatch.clock import HandClock
from windwatch.feeds.recorded import read_recorded
from windwatch.settings.read import read_settings
from windwatch.store.store import open_store
from windwatch.watch import Watch
from windwatch.wiring import make_channels


def test_the_demo_day_with_a_restart_after_every_report_tells_the_same(root, tmp_path):
    settings = read_settings([root / "config" / "demo.toml"], {}, require_secrets=False)
    lines = read_recorded(root / "recorded_reports" / "front_day.txt")
    undisturbed = play(settings, lines, tmp_path / "one", tmp_path / "one.db")
    clock = HandClock(lines[0].at)
    told = []
    with open_store(tmp_path / "two.db", clock, durable=False) as store:
        watch = None
        minute, left = lines[0].at, [line for line in lines if line.report]
        while minute <= lines[-1].at:
            while left and left[0].at <= minute:
                line = left.pop(0)
                clock.set(line.at)
                # Before a report and after it, and twice an hour in between.
                watch = Watch(settings, store, None, make_channels(settings, tmp_path), clock)
                told += ids(watch.take([line.report]))
                watch = None
            if watch is None or minute.minute % 30 == 0:
                watch = Watch(settings, store, None, make_channels(settings, tmp_path), clock)
            clock.set(minute)
            told += ids(watch.tick())
            minute += MINUTE
    assert told == [notice.id for notice, _ in undisturbed.sent]
    assert len(told) == 35


def test_the_same_reports_after_a_restart_say_nothing(tmp_path):
    with bench(tmp_path, config_text()) as b:
        assert said(b.take(STORM)) == [("desk", "opened")]
        b.again()
        report = b.take(STORM)
        assert report.notices == []
        assert [judged.status for _, judged in report.judged] == ["duplicate"]
        assert b.watch.tick().notices == []
        assert len(b.store.notices()) == 1


def test_what_waits_in_the_gathering_minute_survives_a_restart(tmp_path):
    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        opened_at = b.clock.now()
        b.clock.move(timedelta(seconds=20))
        # Of two texts for one time the worse counts.
        assert b.take("27030G55KT").notices == []
        b.again()
        b.clock.move(timedelta(seconds=20))
        assert b.watch.tick().notices == []
        b.at(opened_at + MINUTE)
        assert said(b.watch.tick()) == [("desk", "worsened")]
        b.again()
        b.clock.move(MINUTE)
        assert b.watch.tick().notices == []


def test_a_silence_that_was_told_is_not_told_again_and_ends_once(tmp_path):
    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        stale_at = START + b.settings.fleet.airfields[0].stale_after
        b.at(stale_at - MINUTE)
        assert b.watch.tick().notices == []
        b.again()
        b.at(stale_at)
        assert {step for _, step in said(b.watch.tick())} == {"no_data"}
        b.again()
        b.clock.move(MINUTE)
        assert b.watch.tick().notices == []
        b.again()
        b.clock.move(5 * MINUTE)
        assert {step for _, step in said(b.take(STORM))} == {"data_back"}
        b.again()
        b.clock.move(2 * MINUTE)
        assert b.watch.tick().notices == []


def test_a_delivery_that_was_not_sent_goes_out_after_the_restart_once(tmp_path):
    with bench(tmp_path, config_text()) as b:
        notice = ids(b.take(STORM))[0]
        b.again()
        assert b.watch.deliver().accepted == 1
        b.again()
        assert b.watch.deliver().accepted == 0
        dropped = list((tmp_path / "dropped").glob("*.eml"))
        assert [notice in path.read_text() for path in dropped] == [True]


@pytest.mark.parametrize("kept", ["{}", "not JSON", '{"airfield": 3}'])
def test_a_state_that_cannot_be_read_begins_anew_and_repeats_nothing(tmp_path, kept, caplog):
    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        with b.store.transaction() as books:
            books.save_airfield_state("XLKS", kept, b.clock.now())
        b.again()
        assert "state_unreadable" in caplog.text
        # The feed still has the report; its steps have their computed ids and were told.
        b.take(STORM)
        assert len(b.store.notices()) == 1


def test_a_state_that_fails_when_it_is_used_begins_anew(tmp_path, monkeypatch, caplog):
    with bench(tmp_path, config_text()) as b:
        b.take(QUIET)

        def broken(*_):
            raise RuntimeError("a mistake of ours")

        monkeypatch.setattr(pipeline, "restore", broken)
        b.again()
        assert "state_unusable" in caplog.text
        b.clock.move(MINUTE)
        assert said(b.take(STORM)) == [("desk", "opened")]


def test_an_airfield_that_is_configured_no_longer_is_ended_and_never_called_back(tmp_path):
    with bench(tmp_path, config_text(airfields=("XLKS", "XBRN"))) as b:
        b.take(STORM)
    text = config_text(airfields=("XBRN",))
    (tmp_path / "watch.toml").write_text(text)
    settings = read_settings([tmp_path / "watch.toml"], {})
    clock = HandClock(START + 30 * MINUTE)
    with open_store(tmp_path / "watch.db", clock) as store:
        watch = Watch(settings, store, None, make_channels(settings), clock)
        first = watch.tick()
        assert said(first) == [("desk", "ended")]
        notice, content = first.notices[0]
        assert notice.airfield == "XLKS"
        assert "back within limits" not in content.text
        assert store.episodes(open_only=True) == ()
        clock.move(MINUTE)
        assert watch.tick().notices == []
        assert Watch(settings, store, None, make_channels(settings), clock).tick().notices == []
        assert watch.deliver().accepted == 2
