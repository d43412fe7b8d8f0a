"""What DEVELOPERS.md shows of adding things is run: with a real watch, where it is part of one."""

import re
from datetime import timedelta
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from tests.watch.little_watch import QUIET, START, STORM, config_text, metar
from windwatch.assessment.values import Level
from windwatch.clock import HandClock
from windwatch.delivery.channels import Channel, ChannelBook
from windwatch.errors import DeliveryFailed, FeedError
from windwatch.feeds.values import Feed
from windwatch.notices.outbox import Route
from windwatch.settings.read import read_settings
from windwatch.store.store import open_store
from windwatch.watch import Watch
from windwatch.wind import DegreesTrue, Knots, Steady, Wind

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def section(title):
    return TEXT.partition(f"\n## {title}\n")[2].partition("\n## ")[0]


def example(title):
    """The names that the one block of code under a heading makes."""
    [code] = re.findall(r"```python\n(.*?)```", section(title), re.DOTALL)
    names = {}
    exec(compile(code, f"DEVELOPERS.md, {title}", "exec"), names)  # noqa: S102 - what is tested
    return names


def test_there_is_an_example_for_each_of_the_four():
    shown = re.findall(r"^## Adding a (\w+)$", TEXT, re.MULTILINE)
    assert shown == ["feed", "channel", "limit", "drawing"]


@pytest.fixture
def turned(tmp_path):
    """A watch with the feed and the channel of the page: two polls, a quiet one and a storm."""
    feed: Feed = example("Adding a feed")["LeftFilesFeed"](tmp_path)
    lamp: Channel = example("Adding a channel")["LampChannel"](tmp_path / "lamp.txt")
    config = tmp_path / "field.toml"
    config.write_text(config_text())
    settings = read_settings([config], {})
    clock = HandClock(START)
    channels = ChannelBook({Route("desk", "folder"): lamp})
    with open_store(tmp_path / "watch.db", clock, durable=False) as store:
        watch = Watch(settings, store, feed, channels, clock)
        for wind in (QUIET, STORM):
            (tmp_path / "XLKS.txt").write_text(metar(clock.now(), wind) + "\n")
            report = watch.poll()
            assert report.fetched == 1
            watch.deliver()
            clock.set(clock.now() + timedelta(minutes=10))
    return tmp_path


def test_the_feed_and_the_channel_carry_a_warning(turned):
    said = (turned / "lamp.txt").read_text()
    assert re.match(r"\S{8,} .*X-XLKS.*", said)
    assert "41" in said, "the gust of the storm"


def test_the_feed_says_what_is_missing_and_loses_nothing_else(tmp_path):
    feed = example("Adding a feed")["LeftFilesFeed"](tmp_path)
    (tmp_path / "XLKS.txt").write_text(metar(START, QUIET))
    found = feed.fetch(("XLKS", "XBRN"), START)
    assert [each.station_asked for each in found.reports] == ["XLKS"]
    assert found.problems == ("XBRN: No such file or directory",)
    with pytest.raises(FeedError, match="XBRN"):
        feed.fetch(("XBRN",), START)


def test_the_channel_says_whether_trying_again_can_help(tmp_path):
    lamp = example("Adding a channel")["LampChannel"](tmp_path / "gone" / "lamp.txt")

    class Owed:
        id = "3fa9c1d2"

        class content:  # noqa: N801 - stands for a value's field
            subject = "a subject"

    with pytest.raises(DeliveryFailed) as failed:
        lamp.send(Owed, START)
    assert not failed.value.permanent


def test_the_limit_is_judged(tmp_path, monkeypatch):
    [table] = re.findall(r"```toml\n(.*?)```", section("Adding a limit"), re.DOTALL)
    minimal = (ROOT / "config" / "minimal.toml").read_text(encoding="utf-8")
    (tmp_path / "field.toml").write_text(f"{minimal}\n{table}", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    towing = example("Adding a limit")["towing"]
    assert (towing.quantity, towing.figure, towing.limit.value) == ("towing", 33, 18)
    assert towing.level is Level.OVER


@pytest.mark.parametrize(
    ("wind", "said"),
    [
        (Wind(Steady(DegreesTrue(280)), Knots(12)), "280"),
        (None, "not reported"),
    ],
)
def test_the_drawing_says_in_words_what_it_shows(wind, said):
    drawing = example("Adding a drawing")["sock_drawing"](wind)
    assert said in drawing.text
    root = ET.fromstring(drawing.svg)  # noqa: S314 - our own text
    assert root[1].text == drawing.text
    assert (len(root.findall(".//{*}polygon")) == 5) is (wind is not None)
