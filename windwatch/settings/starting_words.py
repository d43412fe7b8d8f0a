"""What each limit means, in one sentence; figures to start with; what contacts may hear.

The figures to start with are common practice, no source: schools publish none, and instructors'
own differ (reference/airmanship.md section 7). They are offered as that and nothing more.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

COMMON_PRACTICE: Final = "common practice, no source: confirm it with your school's own book"
# What `config check` says of a starter limit goes by this mark in the comment.
NOT_A_LIMIT: Final = (
    "A demonstrated crosswind is what a test pilot happened to find on the day. It is no "
    "limitation of the aircraft; it is shown beside the limit and never used as one."
)


class LimitWords(NamedTuple):
    """A limit in people's words.

    Attributes
    ----------
    short : str
        As it is typed in an option: ``crosswind``.
    key : str
        As the configuration has it: ``crosswind_kt``.
    """

    short: str
    key: str
    meaning: str


RUNWAY_LIMITS: Final = (
    LimitWords("crosswind", "crosswind_kt", "Largest wind across the runway; gusts count."),
    LimitWords("tailwind", "tailwind_kt", "Largest wind from behind on the runway in use."),
    LimitWords("wind", "wind_kt", "Strongest wind from any direction in which it still flies."),
    LimitWords(
        "gust_spread",
        "gust_spread_kt",
        "Largest difference of gust and mean wind; reports name no gust below about 10 of it.",
    ),
)
GROUND_LIMITS: Final = (
    LimitWords("taxi_wind", "taxi_wind_kt", "Wind above which nobody taxies it."),
    LimitWords(
        "tie_down", "tie_down_kt", "Wind above which it must be secured now, if it stands outside."
    ),
    LimitWords(
        "shelter", "shelter_kt", "Wind above which ropes are not enough: hangar it, or move it."
    ),
)
AIRCRAFT_LIMITS: Final = (*RUNWAY_LIMITS, *GROUND_LIMITS)
KEY_OF: Final[Mapping[str, str]] = MappingProxyType(
    {each.short: each.key for each in AIRCRAFT_LIMITS}
)
MEANING_OF: Final[Mapping[str, str]] = MappingProxyType(
    {each.key: each.meaning for each in AIRCRAFT_LIMITS}
)

# Common practice, no source. A nosewheel trainer and a tailwheel two-seater.
AIRCRAFT_STARTERS: Final[Mapping[str, Mapping[str, float]]] = MappingProxyType(
    {
        "nosewheel": MappingProxyType(
            {
                "crosswind_kt": 12,
                "tailwind_kt": 5,
                "wind_kt": 25,
                "taxi_wind_kt": 25,
                "tie_down_kt": 25,
                "shelter_kt": 40,
            }
        ),
        "tailwheel": MappingProxyType(
            {
                "crosswind_kt": 8,
                "tailwind_kt": 5,
                "wind_kt": 20,
                "taxi_wind_kt": 18,
                "tie_down_kt": 20,
                "shelter_kt": 35,
            }
        ),
    }
)
# Common practice, no source; section 7 has ranges for the first two and for renters.
PILOT_STARTERS: Final[Mapping[str, Mapping[str, float]]] = MappingProxyType(
    {
        "student solo": MappingProxyType({"crosswind_kt": 6, "wind_kt": 15}),
        "dual": MappingProxyType({"crosswind_kt": 15, "wind_kt": 25}),
        "renter": MappingProxyType({"crosswind_kt": 10, "wind_kt": 20}),
        "owner": MappingProxyType({"crosswind_kt": 12, "wind_kt": 25}),
        "instructor": MappingProxyType({"crosswind_kt": 15, "wind_kt": 30}),
    }
)


class Hears(NamedTuple):
    """A choice of what a contact hears, in words and as lines of the configuration."""

    meaning: str
    lines: tuple[str, ...] = ()


HEARS: Final[Mapping[str, Hears]] = MappingProxyType(
    {
        "usual": Hears(
            "a limit crossed or data missing; for parked aircraft and thunder also when it is near",
        ),
        "all": Hears(
            "everything: each runway, and also when something is only near its limit",
            ('runways = "each"', 'levels = ["near", "over", "unknown"]'),
        ),
        "last": Hears(
            "of runways only when the last one is gone; of parked aircraft and thunder as usual",
            ('runways = "last"',),
        ),
        "ground": Hears(
            "only parked aircraft and thunder, nothing of runways", ('runways = "none"',)
        ),
    }
)
