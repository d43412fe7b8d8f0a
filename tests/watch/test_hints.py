"""F27: the hint that a station reports otherwise than expected, where the keeper looks for it."""

import logging
from datetime import timedelta

import pytest

from tests.watch.little_watch import QUIET, START, bench, config_text
from windwatch.cli.health import _words
from windwatch.upkeep.health import as_json, from_json
from windwatch.upkeep.hints import HintLog

pytestmark = pytest.mark.fault("F27")


def test_health_and_log_say_it_and_it_is_no_fault(tmp_path, caplog):
    with bench(tmp_path, config_text()) as b, caplog.at_level(logging.WARNING):
        for _ in range(6):
            b.take(QUIET)
            b.clock.move(timedelta(minutes=30))
        found = b.watch.keeper.health(b.watch.books)
        assert from_json(as_json(found)).stations == found.stations
        said = list(_words(found, (), found.written_at))
        [hint] = [line for line in said if line.startswith("hint: ")]
        assert hint.startswith("hint: XLKS reports every 30 minutes, and 60 minutes are expected")
        assert not any("30 minutes" in fault for fault in found.faults(found.written_at))
        for _ in range(3):
            b.watch.keeper.show(b.watch.books)
    assert [r.hint for r in caplog.records if r.msg == "station_reports_otherwise"] == [
        found.stations[0].hint
    ]


def test_a_hint_is_logged_again_after_a_day_and_not_before(caplog):

    hints = HintLog()
    with caplog.at_level(logging.WARNING):
        for hours in (0, 1, 23, 24, 25, 47, 48):
            hints.note(["XLKS reports every 3 hours", ""], START + timedelta(hours=hours))
    assert len(caplog.records) == 3
