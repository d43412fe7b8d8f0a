"""Who reports, when, in which state, and the wind, of a report that is as it should be.

One expression takes them all, and tables turn figures into values: this is the path that
nearly every report goes, and where the time goes. What is not as it should be is read by
`windwatch.reports.word_by_word`.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Final, NamedTuple

from windwatch.reports.times import resolve_time
from windwatch.reports.wind_group import DIRECTIONS, EDGES, SPEEDS, sector_fits
from windwatch.wind import CALM, Sector, Wind


class WindReading(NamedTuple):
    """What the first part of a report says.

    Attributes
    ----------
    station : str
        Who reports; empty where the text is no report.
    kind : str
        ``METAR`` or ``SPECI``; ``TAF`` for a forecast, which has no observed wind.
    observed_at : datetime or None
        Aware, UTC; None where the text has no readable time.
    correction : int
        0 for an original, 1 and up for corrections.
    automatic, nil : bool
        AUTO, NIL.
    wind : Wind or None
        None: not reported, which is never calm.
    problems : tuple of str
        What contradicts itself or could not be read, the group named.
    wind_doubtful : bool
        The wind is a likely reading, not a certain one: it may open an alert, not close one.
    wind_estimated : bool
        E before the wind.
    """

    station: str
    kind: str
    observed_at: datetime | None
    correction: int
    automatic: bool
    nil: bool
    wind: Wind | None
    problems: tuple[str, ...] = ()
    wind_doubtful: bool = False
    wind_estimated: bool = False


# Every legal sequence of the words between time and wind: correction, automatic.
_MODIFIERS: Final[dict[str, tuple[int, bool]]] = {
    "": (0, False),
    "AUTO ": (0, True),
    "COR ": (1, False),
    "COR AUTO ": (1, True),
    "AUTO COR ": (1, True),
    "RTD ": (0, False),
    **{f"CC{letter} ": (ord(letter) - 64, False) for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"},
    **{f"CC{letter} AUTO ": (ord(letter) - 64, True) for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"},
}
# Two figures to a number, and no others: an hour 24 or a minute 60 is not there.
_DAYS: Final = {f"{day:02}": day for day in range(1, 32)}
_HOURS: Final = {f"{hour:02}": hour for hour in range(24)}
_MINUTES: Final = {f"{minute:02}": minute for minute in range(60)}
_KINDS: Final = {"": "METAR", "METAR ": "METAR", "SPECI ": "SPECI"}

# Makes a named tuple from its fields without the detour through its own constructor, which
# takes as long as reading the wind.
_made = tuple.__new__


def plain_reading(found: re.Match[str], now: datetime) -> WindReading | None:
    """Take the values out of a report that is as it should be; None where one is not."""
    (
        kind, corrected, station, day, hour, minute, modifiers,
        direction, speed, gust, unit, sector_from, sector_to,
    ) = found.groups()  # fmt: skip
    try:
        correction, automatic = _MODIFIERS[modifiers]
        day_number = _DAYS[day]
        # Nearly every report is of this month, and not of the first while this is the last.
        if 0 <= now.day - day_number < 27:
            observed_at: datetime | None = datetime(
                now.year, now.month, day_number, _HOURS[hour], _MINUTES[minute], 0, 0, UTC
            )
        else:
            observed_at = resolve_time(day_number, _HOURS[hour], _MINUTES[minute], now)
        speeds = SPEEDS[unit]
        mean = speeds[speed]
        peak = None if gust is None else speeds[gust]
        wind_from = DIRECTIONS[direction] if direction != "000" else CALM
        sector: Sector | None = None
        if sector_from is not None:
            sector = _made(Sector, (EDGES[sector_from], EDGES[sector_to]))
            if not sector_fits(sector, wind_from):
                return None
    except KeyError:
        return None
    if (peak is not None and peak <= mean) or (wind_from is CALM and (mean or peak)):
        return None
    return _made(
        WindReading,
        (
            station,
            _KINDS[kind],
            observed_at,
            1 if corrected and not correction else correction,
            automatic,
            False,
            _made(Wind, (wind_from, mean, peak, sector, False, False)),
            (),
            False,
            False,
        ),
    )
