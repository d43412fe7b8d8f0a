"""Day, hour and minute in a report become a full date."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Final

# A report may be dated a little ahead of our clock; a day is more than any clock is wrong by,
# and leaves the rest of the month to the past. The watch quarantines what is in the future.
AHEAD_AT_MOST: Final = timedelta(days=1)
# Three months back there is always one with the day: at most one of two neighbours is short.
_MONTHS_TRIED: Final = 4


def resolve_time(day: int, hour: int, minute: int, now: datetime) -> datetime | None:
    """Full time of a report that gives only its day, hour and minute.

    Parameters
    ----------
    day, hour, minute : int
        As coded, UTC.
    now : datetime
        When the report is read, aware, UTC.

    Returns
    -------
    datetime or None
        The latest such time not more than a day ahead of `now`; months without that day are
        passed over. None where no calendar has it (day 32, hour 24, minute 60).
    """
    if not (1 <= day <= 31 and 0 <= hour <= 23 and 0 <= minute <= 59):
        return None
    latest = now + AHEAD_AT_MOST
    year, month = latest.year, latest.month
    for _ in range(_MONTHS_TRIED):
        try:
            candidate = datetime(year, month, day, hour, minute, 0, 0, UTC)
        except ValueError:  # this month is too short, or the year has left the calendar
            candidate = None
        if candidate is not None and candidate <= latest:
            return candidate
        year, month = (year, month - 1) if month > 1 else (year - 1, 12)
    return None


def last_time(hour: int | None, minute: int, observed_at: datetime) -> datetime | None:
    """Time in the remarks, at or before the report's own time.

    Parameters
    ----------
    hour : int or None
        As coded, UTC; None where only the minute is given.
    minute : int
        As coded.
    observed_at : datetime
        Time of the report, aware, UTC.

    Returns
    -------
    datetime or None
        The latest such time that is not after the report. None for an hour or minute that
        no clock has.
    """
    if not (0 <= minute <= 59) or not (hour is None or 0 <= hour <= 23):
        return None
    back = timedelta(hours=1) if hour is None else timedelta(days=1)
    found = observed_at.replace(
        hour=observed_at.hour if hour is None else hour, minute=minute, second=0, microsecond=0
    )
    return found if found <= observed_at else found - back


def next_time(hour: int, minute: int, observed_at: datetime) -> datetime | None:
    """Time in a trend, which looks ahead from the report's own time.

    Parameters
    ----------
    hour, minute : int
        As coded, UTC; hour 24 ends a day.
    observed_at : datetime
        Time of the report, aware, UTC.

    Returns
    -------
    datetime or None
        The first such time that is not more than an hour before the report: a change may have
        begun when a special report names it. None for an hour or minute that no clock has.
    """
    if not (0 <= minute <= 59 and 0 <= hour <= 23) and (hour, minute) != (24, 0):
        return None
    found = observed_at.replace(hour=hour % 24, minute=minute, second=0, microsecond=0)
    return found if found >= observed_at - timedelta(hours=1) else found + timedelta(days=1)
