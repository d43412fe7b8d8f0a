"""How old an observation may be: from the usual interval of reports to the two ages."""

from __future__ import annotations

from datetime import timedelta
from typing import Final

from windwatch.settings.schema_airfield import AirfieldTable
from windwatch.settings.schema_rim import FeedTable
from windwatch.settings.words import duration

# reliability.md section 2 "Stale" (engineering judgement there): stale at the interval and 15 min
# more, told without an open episode at 90 / 60 / 20 min; an anemometer of the field's own, which
# reports every few minutes, is stale after 10 min.
USUAL: Final = timedelta(minutes=60)
OWN_ANEMOMETER: Final = timedelta(minutes=1)
_OFTEN: Final = timedelta(minutes=5)
_STALE_OFTEN: Final = timedelta(minutes=10)
_TOLD_OFTEN: Final = timedelta(minutes=20)
_STALE_MORE: Final = timedelta(minutes=15)
_TOLD_MORE: Final = timedelta(minutes=30)


def ages(airfield: AirfieldTable, feed: FeedTable) -> tuple[timedelta, timedelta, timedelta]:
    """Return the reports' interval, the age of stale, and the age at which no data are told."""
    if airfield.reports_every is not None:
        every = duration(airfield.reports_every)
    else:
        own = feed.kind == "json" and feed.mapping is not None and feed.mapping.report is None
        every = OWN_ANEMOMETER if own else USUAL
    often = every <= _OFTEN
    stale = _STALE_OFTEN if often else every + _STALE_MORE
    told = _TOLD_OFTEN if often else every + _TOLD_MORE
    if airfield.stale_after is not None:
        stale = duration(airfield.stale_after)
        # Somebody who waits longer for stale waits as much longer to be told.
        told = max(told, stale)
    if airfield.no_data_after is not None:
        told = duration(airfield.no_data_after)
    return every, stale, told
