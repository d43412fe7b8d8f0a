"""When a station is expected to report: around the clock, or within its own hours.

A station that closes at night is no fault. Outside its hours what it last said still becomes too
old, and the level is unknown; but only whoever holds an open episode is told so then (reliability,
section 2, *Stale*).
"""

from __future__ import annotations

from datetime import datetime, timedelta

from windwatch.fleet import Airfield
from windwatch.hours import daily_span, next_opening


def silent_for(airfield: Airfield, since: datetime, now: datetime) -> timedelta | None:
    """How long the station has been silent while it should have reported.

    Parameters
    ----------
    since : datetime
        Time of its last observation, UTC.
    now : datetime
        UTC.

    Returns
    -------
    timedelta or None
        Counted from the opening, where it last reported before it closed; None: it is closed.
    """
    hours = airfield.reports_between
    if hours is None:
        return now - since
    span = daily_span(hours.opens, hours.closes, airfield.time_zone, now)
    return None if span is None else now - max(since, span[0])


def next_report_due(airfield: Airfield, observed_at: datetime) -> datetime:
    """When the routine report after one of `observed_at` is due: at the opening after closing."""
    due = observed_at + airfield.reports_every
    hours = airfield.reports_between
    if hours is None:
        return due
    if daily_span(hours.opens, hours.closes, airfield.time_zone, due) is not None:
        return due
    return next_opening(hours.opens, airfield.time_zone, observed_at)
