"""The trend in words: the first of three hours against the last."""

from datetime import UTC, datetime, timedelta

import pytest

from windwatch.board.snapshot import Observation
from windwatch.board.trend import TOO_FEW, trend_in_words
from windwatch.notices.words import Times
from windwatch.reports.wind_group import read_wind_group

NOW = datetime(2026, 9, 22, 18, 0, tzinfo=UTC)
UTC_ALONE = Times(None, NOW)


def seen(minutes_ago: int, wind: str | None) -> Observation:
    at = NOW - timedelta(minutes=minutes_ago)
    blown = None if wind is None else read_wind_group(wind)
    return Observation(f"{minutes_ago}", "METAR", at, at, "", blown)


@pytest.mark.parametrize(
    ("before", "lately", "words"),
    [
        ("24008KT", "29022G33KT", ("rising: mean 8 kt three hours ago, 22 kt in the last hour; "
         "veering from 240 to 290 true; strongest 33 kt at 17:53Z")),
        ("35020KT", "30009KT", ("falling: mean 20 kt three hours ago, 9 kt in the last hour; "
         "backing from 350 to 300 true; strongest 20 kt at 15:07Z")),
        ("35010KT", "02010KT", ("steady: mean 10 kt in the last hour, as three hours ago; "
         "veering from 350 to 020 true; strongest 10 kt at 15:07Z")),
        ("27010KT", "28012KT", ("steady: mean 12 kt in the last hour, as three hours ago; "
         "strongest 12 kt at 17:53Z")),
        ("VRB03KT", "27006KT", ("steady: mean 6 kt in the last hour, as three hours ago; "
         "strongest 6 kt at 17:53Z")),
    ],
)  # fmt: skip
def test_the_last_hour_is_held_against_that_of_three_hours_ago(
    before: str, lately: str, words: str
) -> None:
    assert trend_in_words([seen(173, before), seen(7, lately)], UTC_ALONE, NOW) == words


@pytest.mark.parametrize(
    "observations",
    [
        [],
        [seen(7, "27010KT")],
        [seen(173, "27010KT")],
        [seen(173, None), seen(7, "27010KT")],
        [seen(200, "27010KT"), seen(7, "27010KT")],
        [seen(173, "27010KT"), seen(70, "27020KT")],
    ],
)
def test_too_few_reports_show_no_trend(observations: list[Observation]) -> None:
    assert trend_in_words(observations, UTC_ALONE, NOW) == TOO_FEW
