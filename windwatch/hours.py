"""When somebody may be told: quiet hours, duty and absences, in local time.

Every interval is turned into instants, so that a change to or from summer time never holds
anything an hour too long: a skipped local time counts as the next valid instant, a repeated one
as its first.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo

WEEKDAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_DAY: Final = timedelta(days=1)
# Finer than any change of a zone's offset since the introduction of standard time.
_FINEST: Final = timedelta(seconds=1)


@dataclass(frozen=True, slots=True)
class QuietHours:
    """Local hours of every day, past midnight where `ends` is not after `begins`."""

    begins: time
    ends: time


@dataclass(frozen=True, slots=True)
class DutyHours:
    """Local hours of some days of the week, past midnight where `ends` is not after `begins`.

    Attributes
    ----------
    days : tuple of str
        Days on which it begins, of `WEEKDAYS`.
    """

    days: tuple[str, ...]
    begins: time
    ends: time


@dataclass(frozen=True, slots=True)
class Absence:
    """Days away, the first and the last included."""

    first: date
    last: date


@lru_cache(maxsize=4096)
def instant(day: date, at: time, zone: str) -> datetime:
    """The moment of a local time, UTC: a skipped one runs at the next, a repeated one first.

    Parameters
    ----------
    day : date
    at : time
        Local time of day.
    zone : str
        Name in the time zone database.

    Examples
    --------
    >>> instant(date(2026, 3, 8), time(2, 30), "America/New_York").isoformat()
    '2026-03-08T07:00:00+00:00'
    >>> instant(date(2026, 11, 1), time(1, 30), "America/New_York").isoformat()
    '2026-11-01T05:30:00+00:00'
    """
    tz = ZoneInfo(zone)
    local = datetime.combine(day, at, tz)
    early = local.replace(fold=0).astimezone(UTC)
    late = local.replace(fold=1).astimezone(UTC)
    if early <= late:
        return early
    # Skipped: the clock was put forward somewhere between the two readings.
    before, after = late, early
    offset = after.astimezone(tz).utcoffset()
    while after - before > _FINEST:
        middle = before + (after - before) / 2
        if middle.astimezone(tz).utcoffset() == offset:
            after = middle
        else:
            before = middle
    return after.replace(microsecond=0)


def local_day(now: datetime, zone: str) -> date:
    """The local date of a moment."""
    return now.astimezone(ZoneInfo(zone)).date()


def is_quiet(quiet: QuietHours | None, zone: str, now: datetime) -> bool:
    """Whether a moment lies in the quiet hours."""
    if quiet is None:
        return False
    return _within(DutyHours(WEEKDAYS, quiet.begins, quiet.ends), zone, now)


def is_on_duty(
    duty: Iterable[DutyHours], absent: Iterable[Absence], zone: str, now: datetime
) -> bool:
    """Whether somebody is there; without any duty hours: always, but for absences."""
    today = local_day(now, zone)
    if any(away.first <= today <= away.last for away in absent):
        return False
    hours = tuple(duty)
    return not hours or any(_within(each, zone, now) for each in hours)


def _within(hours: DutyHours, zone: str, now: datetime) -> bool:
    today = local_day(now, zone)
    return any(
        begins <= now < ends for begins, ends in spans(hours, zone, today - _DAY, today + _DAY)
    )


def daily_span(
    opens: time, closes: time, zone: str, now: datetime
) -> tuple[datetime, datetime] | None:
    """The opening and the closing of every day between which a moment lies, UTC; None: closed."""
    hours = DutyHours(WEEKDAYS, opens, closes)
    today = local_day(now, zone)
    for begins, ends in spans(hours, zone, today - _DAY, today):
        if begins <= now < ends:
            return begins, ends
    return None


def next_opening(opens: time, zone: str, after: datetime) -> datetime:
    """The first moment after another at which the local time of opening comes, UTC."""
    day = local_day(after, zone)
    while (opening := instant(day, opens, zone)) <= after:
        day += _DAY
    return opening


def spans(
    hours: DutyHours, zone: str, first: date, last: date
) -> Iterator[tuple[datetime, datetime]]:
    """The spans, from instant to instant, that begin on the days from `first` to `last`."""
    day = first
    while day <= last:
        if WEEKDAYS[day.weekday()] in hours.days:
            ends_on = day if hours.ends > hours.begins else day + _DAY
            yield instant(day, hours.begins, zone), instant(ends_on, hours.ends, zone)
        day += _DAY
