"""The figures of staleness and of a clock in doubt are settings, and are gone by."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.settings.test_rules_table import MINIMAL
from windwatch.clock import HandClock
from windwatch.cycle import received
from windwatch.episodes import clock_doubt
from windwatch.reports.raw import RawReport
from windwatch.rules import Rules, figures
from windwatch.settings.read import read_settings
from windwatch.upkeep.minded import MindedClock

MINUTE = timedelta(minutes=1)
NOW = datetime(2026, 9, 22, 12, 0, tzinfo=UTC)


@pytest.fixture
def ages(tmp_path):
    def read(rules: str, every: str = "") -> tuple[float, float]:
        path = tmp_path / "field.toml"
        text = MINIMAL.replace("elevation_ft", f"{every}\nelevation_ft", 1)
        path.write_text(f"{text}\n[rules]\n{rules}\n", encoding="utf-8")
        (airfield,) = read_settings([path], {}, require_secrets=False).fleet.airfields
        return airfield.stale_after / MINUTE, airfield.no_data_after / MINUTE

    return read


@pytest.mark.parametrize(
    ("every", "rules", "minutes"),
    [
        # Reliability, section 2, *Stale*: 75, 45 and 10; told at 90, 60 and 20.
        ("", "", (75, 90)),
        ('reports_every = "30min"', "", (45, 60)),
        ('reports_every = "1min"', "", (10, 20)),
        ("", 'stale_margin = "20min"\ntold_margin = "2h"', (80, 180)),
        ('reports_every = "3h"', 'stale_margin = "30min"', (210, 210)),
        ('reports_every = "5min"', 'often_stale_after = "15min"', (15, 20)),
        ('reports_every = "1min"', 'often_told_after = "1h"', (10, 60)),
        ('stale_after = "3h"', 'stale_margin = "20min"', (180, 180)),
    ],
)
def test_how_old_an_observation_may_be(ages, every, rules, minutes):
    assert ages(rules, every) == minutes


def test_within_their_ranges_nothing_is_told_before_it_is_stale():
    known = figures()
    assert known["stale_margin"].most <= known["told_margin"].least
    assert known["often_stale_after"].most <= known["often_told_after"].least


class Stepping(HandClock):
    def step(self, by):
        self._now += by


@pytest.mark.parametrize(("allowed", "doubt"), [(30, True), (60, False)])
def test_a_step_of_the_clock_is_judged_by_its_setting(allowed, doubt):
    clock = Stepping(NOW)
    minded = MindedClock(clock, Rules(clock_step=timedelta(seconds=allowed)))
    clock.step(timedelta(seconds=45))
    minded.now()
    assert minded.trust.in_doubt is doubt


@pytest.mark.parametrize(("allowed", "doubt"), [(5, True), (10, False)])
def test_the_feeds_clock_is_judged_by_its_setting(allowed, doubt):
    rules = Rules(clock_apart=allowed * MINUTE)
    minded = MindedClock(HandClock(NOW), rules)
    _, after = minded.hear(NOW + 7 * MINUTE)
    assert after.in_doubt is doubt
    raws = [RawReport("METAR XLKS 221153Z 27010KT", NOW, "test")]
    [raw] = received(raws, NOW, NOW + 7 * MINUTE, rules)
    assert raw.received_at == (NOW + 7 * MINUTE if doubt else NOW)


@pytest.mark.parametrize("polls", [1, 2, 5])
def test_so_many_polls_as_set_must_agree_again(polls):
    rules = Rules(clock_agreeing=polls)
    trust = clock_doubt.hear(clock_doubt.begin(NOW, 0.0), NOW, NOW + 9 * MINUTE, rules)
    needed = 0
    while trust.in_doubt:
        trust = clock_doubt.hear(trust, NOW, NOW, rules)
        needed += 1
    assert needed == polls


def test_a_new_configuration_is_gone_by_at_once():
    clock = Stepping(NOW)
    minded = MindedClock(clock)
    minded.rules = Rules(clock_step=timedelta(minutes=2))
    clock.step(timedelta(seconds=45))
    minded.now()
    assert not minded.trust.in_doubt
