"""What must be said beside the figures: who decides, and what the program does not see."""

from __future__ import annotations

from typing import Final

CAUTION: Final = (
    "Advisory only: the flight manual, local procedures, the instructor or pilot in command, "
    "and official weather sources decide."
)
PROP_WASH: Final = (
    "Propeller wash and jet blast of other aircraft are outside this program: keep clear of them."
)
# Common practice, in words without figures; no source.
RAIN: Final = (
    "Rain reported: a wet surface grips less in a crosswind and when braking, "
    "and stakes pull out of soaked ground."
)
SNOW: Final = (
    "Snow reported: expect a slippery surface, drifts and hidden edges; "
    "clear the wings before flight."
)
ICE: Final = (
    "Freezing precipitation, ice pellets or hail reported: expect ice on surfaces, locks and "
    "ropes; an aeroplane that slides cannot be held by its brakes."
)
NO_GUST_REPORTED: Final = (
    "No gust group: gusts below about 10 kt over the mean or the lulls are not reported."
)
