"""A station that reports at another interval than the configuration expects (fault F27)."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Final

from windwatch.episodes.state import AirfieldState
from windwatch.fleet import Airfield
from windwatch.rules import in_words

# So many routine reports in a row must come evenly; an engineering judgement. One that is missing
# is no pattern, and a station's clock is not kept to the minute.
_IN_A_ROW: Final = 4
_EVENLY: Final = 1 / 6
# Nearer to what is expected than this the margin of staleness covers it.
_LONGER: Final = 1.5
_SHORTER: Final = 1 / _LONGER
_ROUTINE: Final = "METAR"
_STEP: Final = timedelta(minutes=5)


def observed_interval(times: Iterable[datetime]) -> timedelta | None:
    """The interval at which the latest routine reports came.

    Parameters
    ----------
    times : iterable of datetime
        Observation times of routine reports, in any order, some perhaps twice.

    Returns
    -------
    timedelta or None
        To the nearest 5 minutes from there on; None where the last four did not come evenly, or
        there are fewer.
    """
    latest = sorted(set(times))[-_IN_A_ROW:]
    if len(latest) < _IN_A_ROW:
        return None
    apart = sorted(b - a for a, b in pairwise(latest))
    middle = apart[len(apart) // 2]
    if apart[-1] - apart[0] > middle * _EVENLY:
        return None
    return middle if middle < _STEP else max(_STEP, round(middle / _STEP) * _STEP)


def pattern_hint(airfield: Airfield, state: AirfieldState) -> str:
    """What to set where an airfield's own station reports otherwise than expected; '' else."""
    seen = observed_interval(
        entry.observed_at
        for entry in state.entries
        if not entry.fall_back and entry.kind == _ROUTINE
    )
    expected = airfield.reports_every
    if seen is None or _SHORTER < seen / expected < _LONGER:
        return ""
    so = "would be called missing too early" if seen > expected else "is noticed too late"
    what = "data" if seen > expected else "a silence"
    return (
        f"{airfield.station.id} reports every {in_words(seen)}, and {in_words(expected)} are "
        f'expected: {what} {so}; set reports_every = "{_written(seen)}" at {airfield.id}'
    )


def _written(length: timedelta) -> str:
    minutes = max(1, round(length / timedelta(minutes=1)))
    return f"{minutes // 60}h" if minutes % 60 == 0 else f"{minutes}min"
