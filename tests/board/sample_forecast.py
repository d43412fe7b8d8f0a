"""A forecast for the sample pages, with a text that would like to be more than text."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from windwatch.board.forecast_values import ForecastShown, ForecastWind
from windwatch.board.values import When
from windwatch.board.words import FORECAST_NOT_JUDGED
from windwatch.drawings.strip_facts import StripForecast
from windwatch.notices.words import Times
from windwatch.wind import DegreesTrue, Knots, Steady, Wind

NOW = datetime(2026, 9, 22, 19, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
HOSTILE_FORECAST = "TAF XBRN 221730Z 2218/2318 <script>alert('taf')</script> 31015KT \"><b>"
AHEAD = 12 * HOUR
WINDS = (
    (0, 3, "prevailing", None, Wind(Steady(DegreesTrue(310)), Knots(15), Knots(24))),
    (1, 3, "temporary", 40, Wind(Steady(DegreesTrue(300)), Knots(25), Knots(38))),
    (3, 20, "prevailing", None, Wind(Steady(DegreesTrue(330)), Knots(9))),
)
SPANS = tuple(
    StripForecast(NOW + begins * HOUR, NOW + ends * HOUR, wind, change == "temporary")
    for begins, ends, change, _, wind in WINDS
)


def when(hours: float) -> When:
    at = NOW + hours * HOUR
    zone = ZoneInfo("America/New_York")
    return When(at, Times(zone, NOW).at(at), f"{at.astimezone(zone):%H:%M}", f"{at:%H:%MZ}")


FORECAST = ForecastShown(
    "XBRN",
    "holds",
    f"The forecast of XBRN, issued {when(-1).words}, is valid until {when(20).words}.",
    when(-1),
    when(-1),
    when(20),
    tuple(
        ForecastWind(
            when(begins), when(ends), change, probability, wind, f"{when(begins).words}: {change}."
        )
        for begins, ends, change, probability, wind in WINDS
    ),
    (FORECAST_NOT_JUDGED, "It is made for XBRN, not for this field."),
    HOSTILE_FORECAST,
)
