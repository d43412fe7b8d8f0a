"""Figures for Prometheus: on request only, and for this machine alone unless somebody says more."""

import builtins
import socket
import urllib.request

import pytest

from tests.watch.little_watch import QUIET, START, STORM, bench, config_text
from tests.watch.test_operator import Feed, cycles
from windwatch.clock import HandClock
from windwatch.errors import FeedError, UsageError
from windwatch.settings.read import read_settings
from windwatch.upkeep.metrics import LOOPBACK, Metrics
from windwatch.upkeep.showing import Outward

prometheus_client = pytest.importorskip("prometheus_client")


@pytest.fixture
def measured(tmp_path):
    metrics = Metrics(0)
    with bench(tmp_path, config_text(), HandClock(START)) as b:
        b.anew(Feed(), Outward(metrics=metrics))
        yield b, metrics
        b.watch.close()


def figures(metrics):
    with urllib.request.urlopen(f"http://{LOOPBACK}:{metrics.port}/metrics", timeout=5) as answer:
        text = answer.read().decode()
    lines = [line.rpartition(" ") for line in text.splitlines() if not line.startswith("#")]
    return {name: float(figure) for name, _, figure in lines}


def test_a_few_figures_tell_how_it_works(measured):
    b, metrics = measured
    b.take(QUIET)
    cycles(b, 2)
    b.take(STORM)
    cycles(b, 1)
    found = figures(metrics)
    assert found["windwatch_healthy"] == 1
    assert found["windwatch_feed_up"] == 1
    assert found["windwatch_store_up"] == 1
    assert found["windwatch_clock_in_doubt"] == 0
    assert found["windwatch_polls_total"] == 3
    assert found["windwatch_notices_total"] == 1
    assert found["windwatch_delivered_total"] == 1
    assert found["windwatch_deliveries_open"] == 0
    assert found["windwatch_contacts_unreached"] == 0
    assert found["windwatch_last_cycle_timestamp_seconds"] == b.clock.now().timestamp()
    seen = found['windwatch_station_seen_timestamp_seconds{airfield="XLKS",station="XLKS"}']
    assert seen == b.clock.now().timestamp() - 60


def test_a_feed_that_is_down_shows(measured):
    b, metrics = measured
    cycles(b, 1)
    b.feed.says = FeedError("awc", "no answer")
    cycles(b, 1)
    found = figures(metrics)
    assert found["windwatch_feed_up"] == 0
    assert found["windwatch_polls_total"] == 2
    assert found["windwatch_last_cycle_timestamp_seconds"] < b.clock.now().timestamp()


def test_they_stand_on_a_registry_of_their_own(measured):
    b, metrics = measured
    cycles(b, 1)
    names = {name.partition("{")[0] for name in figures(metrics)}
    assert all(name.startswith("windwatch_") for name in names)
    ours = {m.name for m in prometheus_client.REGISTRY.collect() if "windwatch" in m.name}
    assert ours == set()


def test_a_port_that_is_taken_is_refused_in_words():
    with socket.create_server((LOOPBACK, 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(UsageError, match=f"port {port} of 127.0.0.1 cannot be had"):
            Metrics(port)


def test_without_the_extra_it_says_how_to_install_it(monkeypatch):
    real = builtins.__import__

    def missing(name, *args, **kwargs):
        if name.startswith("prometheus_client"):
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", missing)
    with pytest.raises(UsageError, match=r"pip install 'windwatch\[metrics\]'"):
        Metrics(0)


def test_an_address_for_everybody_is_cautioned(tmp_path):
    rim = '[watch]\nmetrics_port = 9464\nmetrics_address = "0.0.0.0"\n'
    (tmp_path / "watch.toml").write_text(config_text(rim=rim))
    settings = read_settings([tmp_path / "watch.toml"], {})
    assert settings.watch.metrics_port == 9464
    assert any("can be read by whoever reaches 0.0.0.0" in w for w in settings.warnings)
