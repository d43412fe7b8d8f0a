"""How old an observation may be: from the usual interval of reports to the two ages."""

from __future__ import annotations

from datetime import timedelta
from typing import Final

from windwatch.rules import Rules
from windwatch.settings.schema_airfield import AirfieldTable
from windwatch.settings.schema_rim import FeedTable
from windwatch.settings.words import duration

# What stations do where nothing is said; an anemometer of the field's own reports all the time.
USUAL: Final = timedelta(minutes=60)
OWN_ANEMOMETER: Final = timedelta(minutes=1)
OFTEN: Final = timedelta(minutes=5)


def ages(
    airfield: AirfieldTable, feed: FeedTable, rules: Rules
) -> tuple[timedelta, timedelta, timedelta]:
    """Return the reports' interval, the age of stale, and the age at which no data are told."""
    if airfield.reports_every is not None:
        every = duration(airfield.reports_every)
    else:
        own = feed.kind == "json" and feed.mapping is not None and feed.mapping.report is None
        every = OWN_ANEMOMETER if own else USUAL
    often = every <= OFTEN
    stale = rules.often_stale_after if often else every + rules.stale_margin
    told = rules.often_told_after if often else every + rules.told_margin
    if airfield.stale_after is not None:
        stale = duration(airfield.stale_after)
        # Somebody who waits longer for stale waits as much longer to be told.
        told = max(told, stale)
    if airfield.no_data_after is not None:
        told = duration(airfield.no_data_after)
    return every, stale, told
