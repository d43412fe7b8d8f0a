"""What is known, and when that nothing is known must be said."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from windwatch.assessment.values import Level
from windwatch.episodes.values import (
    ReportRef,
    Step,
    StepName,
    TrackKey,
    TrackKind,
    computed_id,
)

# Groups of quantities whose knowledge is kept apart (settled case 8): a report without wind
# refreshes no wind knowledge, but it may refresh what is known of thunder.
WIND: Final = "wind"
THUNDER: Final = "thunder"
GROUPS: Final = (WIND, THUNDER)


@dataclass(frozen=True, slots=True)
class Silence:
    """A time in which nothing is known of one group of quantities.

    Attributes
    ----------
    since : datetime
        Time of the last observation of the group; when the watch began, where there was none.
    told : tuple of str
        Contacts who heard of it, and are owed the word that data are back.
    """

    group: str
    episode: str
    since: datetime
    never: bool
    told: tuple[str, ...] = ()
    steps: int = 0
    first_notices: tuple[tuple[str, str], ...] = ()


def begin(airfield: str, group: str, since: datetime, *, never: bool, without: str = "") -> Silence:
    """A silence that begins; its id is computed from what was known last.

    Parameters
    ----------
    without : str
        Id of the newest report, where it is younger than `since` and has nothing of the group.
        A correction may take back what ended a silence: then another one begins at the same
        observation, and must not be taken for the one that was told.
    """
    key = TrackKey(TrackKind.DATA, airfield, quantity=group)
    younger = (without,) if without else ()
    return Silence(group, computed_id(str(key), since.isoformat(), *younger), since, never)


def no_data(
    airfield: str,
    silence: Silence,
    now: datetime,
    last: ReportRef | None,
    affected: tuple[TrackKey, ...],
    covered_by: str,
    *,
    closed: bool = False,
) -> Step:
    """The step that says that nothing is known.

    Parameters
    ----------
    last : ReportRef or None
        The last report that had the group.
    affected : tuple of TrackKey
        Open tracks whose present state is not known.
    covered_by : str
        The fall-back station that is used meanwhile, or ''.
    closed : bool
        The station is not expected to report at this hour.
    """
    what = "wind" if silence.group == WIND else "present weather"
    if silence.never:
        reason = f"no report with {what} has come since the watch began"
    else:
        reason = f"the newest observation with {what} has become too old"
    if closed:
        reason += "; the station is closed at this hour"
    if covered_by:
        reason += f"; {covered_by} is used meanwhile"
    return Step(
        id=computed_id(silence.episode, "1"),
        episode=silence.episode,
        name=StepName.NO_DATA,
        track=TrackKey(TrackKind.DATA, airfield, quantity=silence.group),
        at=now,
        level=Level.WITHIN,
        since=silence.since,
        reports=() if last is None else (last,),
        reason=reason,
        affected=affected,
    )


def data_back(
    airfield: str,
    silence: Silence,
    now: datetime,
    newest: ReportRef | None,
    level: Level,
    affected: tuple[TrackKey, ...],
) -> Step:
    """The step that says that data are back."""
    return Step(
        id=computed_id(silence.episode, "2"),
        episode=silence.episode,
        name=StepName.DATA_BACK,
        track=TrackKey(TrackKind.DATA, airfield, quantity=silence.group),
        at=now,
        level=level,
        since=silence.since,
        reports=() if newest is None else (newest,),
        ended_at=None if newest is None else newest.observed_at,
        reason="a fresh observation has come",
        affected=affected,
    )


def tell(silence: Silence, contacts: tuple[str, ...]) -> Silence:
    """Note who hears of it."""
    return replace(silence, told=tuple(dict.fromkeys((*silence.told, *contacts))))
