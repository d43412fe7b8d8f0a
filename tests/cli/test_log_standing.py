"""`log` of what has been open for over a day: standing, with a hint to review the limit."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.watch.little_watch import STORM, bench, config_text
from windwatch.cli.log import standing_words, stands
from windwatch.rules import Rules
from windwatch.store.values import StoredEpisode

OPENED = datetime(2026, 9, 22, 12, 53, tzinfo=UTC)
DAY = timedelta(hours=24)


def episode(track: str = "ground/XLKS/X-LARK//tie_down", last_step: str = "opened"):
    return StoredEpisode("a1", track, "XLKS", OPENED, "r1", None, "", None, last_step)


@pytest.mark.parametrize(
    ("age", "last_step", "expected"),
    [
        (DAY - timedelta(minutes=1), "opened", False),
        (DAY, "opened", True),
        (DAY, "reminder", True),
        # Near is no episode, however long it lasts.
        (DAY, "near", False),
    ],
)
def test_what_is_standing(age, last_step, expected):
    assert stands(episode(last_step=last_step), Rules(), OPENED + age) is expected


def test_the_hint_names_the_track_and_what_to_do():
    said = standing_words(episode(), Rules())
    assert said == (
        "standing: XLKS tie-down X-LARK has been open for over 24 hours; nobody is reminded of it "
        "any more; review the limit"
    )


def test_thunder_has_no_limit_to_review():
    said = standing_words(episode("thunder/XLKS///"), Rules(standing_after=2 * DAY))
    assert said.endswith("open for over 48 hours; nobody is reminded of it any more")


def test_json_says_it_of_each(answer, tmp_path, monkeypatch):
    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        monkeypatch.chdir(tmp_path)
        found = answer("log", "watch.toml", "--since", "2026-09-22T10:00Z")["open_episodes"]
    assert found
    assert all(isinstance(each["standing"], bool) for each in found)
