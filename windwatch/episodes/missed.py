"""What was missed while nobody watched: judged at its own time, and told however long ago it was.

A report that *comes* late has a crossing told only for a while after its end, and after some hours
it is only recorded (`still_told`, `late_after`). A report that nobody asked for, because the
program did not run or its machine slept, is not late: people could not be told, and are told once,
with the gap (reliability, promise 6 and *Restart*).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from windwatch.episodes.clock_doubt import Gap
from windwatch.episodes.state import AirfieldState
from windwatch.rules import Rules


def missed_since(state: AirfieldState, gap: Gap | None) -> datetime | None:
    """From what observation time on an airfield's reports were missed; None: none were.

    Parameters
    ----------
    gap : Gap or None
        Not told yet.

    Returns
    -------
    datetime or None
        The newest observation known when the gap began, where there is one: what was observed
        just before the gap had not come yet.
    """
    if gap is None:
        return None
    seen = [one.at for one in (state.wind, state.weather) if one is not None]
    return min(gap.since, *seen) if seen else gap.since


def catching_up(rules: Rules, since: datetime | None, now: datetime) -> Rules:
    """The figures by which missed reports are told: what has ended since is told, however old.

    Parameters
    ----------
    since : datetime or None
        As `missed_since` says.
    """
    if since is None or now - since <= rules.still_told:
        return rules
    return replace(rules, still_told=now - since)
