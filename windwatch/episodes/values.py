"""Tracks, steps and episodes: what changed, and what is remembered of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from hashlib import sha256
from typing import NamedTuple

from windwatch.assessment.values import Finding, Level


def computed_id(*parts: str) -> str:
    """An id computed from what it names: the same parts give the same id, for ever."""
    return sha256("\x1f".join(parts).encode()).hexdigest()[:24]


class TrackKind(StrEnum):
    """What kind of subject a track follows."""

    RUNWAYS = "runways"
    GROUND = "ground"
    THUNDER = "thunder"
    DATA = "data"


class TrackKey(NamedTuple):
    """One subject followed over time.

    ======== ==========================================================
    runways  aircraft × pilot standard × airfield
    ground   aircraft × ground quantity
    thunder  airfield
    data     airfield × group of quantities (``wind``, ``thunder``): what is known
    ======== ==========================================================
    """

    kind: TrackKind
    airfield: str
    aircraft: str = ""
    pilot_limits: str = ""
    quantity: str = ""

    @property
    def name(self) -> str:
        """In words: ``runways X-LARK / student solo``, ``tie_down X-LARK``, ``thunder XLKS``."""
        match self.kind:
            case TrackKind.RUNWAYS:
                return f"runways {self.aircraft} / {self.pilot_limits or 'anybody'}"
            case TrackKind.GROUND:
                return f"{self.quantity} {self.aircraft}"
            case TrackKind.THUNDER:
                return f"thunder {self.airfield}"
            case TrackKind.DATA:
                return f"{self.quantity} {self.airfield}"

    def __str__(self) -> str:
        return "/".join((self.kind, *self[1:]))


class StepName(StrEnum):
    """What changed in a track (reliability, settled case 1)."""

    NEAR = "near"
    OPENED = "opened"
    WORSENED = "worsened"
    EASING = "easing"
    BACK = "back"
    WITHDRAWN = "withdrawn"
    NO_DATA = "no_data"
    DATA_BACK = "data_back"
    RUNWAY_OUT = "runway_out"
    RUNWAY_BACK = "runway_back"
    REMINDER = "reminder"
    UNSETTLED = "unsettled"
    ENDED = "ended"


BEGINNINGS = frozenset(
    {
        StepName.OPENED,
        StepName.UNSETTLED,
        StepName.NEAR,
        StepName.RUNWAY_OUT,
        StepName.NO_DATA,
    }
)
ENDINGS = frozenset(
    {
        StepName.BACK,
        StepName.WITHDRAWN,
        StepName.ENDED,
        StepName.RUNWAY_BACK,
        StepName.DATA_BACK,
    }
)
URGENT = frozenset(
    {
        StepName.OPENED,
        StepName.WORSENED,
        StepName.NO_DATA,
        StepName.WITHDRAWN,
        StepName.BACK,
        StepName.UNSETTLED,
        StepName.ENDED,
    }
)


class ReportRef(NamedTuple):
    """A report as evidence: enough to check a notice with pencil and paper."""

    id: str
    station: str
    kind: str
    observed_at: datetime
    received_at: datetime
    raw: str
    fall_back: bool = False
    corrected: bool = False


@dataclass(frozen=True, slots=True)
class Step:
    """One change in one track.

    Attributes
    ----------
    id : str
        hash(episode, number).
    episode : str
        hash(track, opening report).
    at : datetime
        When it was found, UTC.
    level : Level
        After the step.
    finding : Finding or None
        The deciding figure and its limit.
    end : str
        Name of the runway end the figure belongs to ('' for others).
    runway : str
        The runway lost or regained (``runway_out``, ``runway_back``).
    remaining : tuple of str
        Ends (better one of each runway) that remain not over, best first.
    since : datetime or None
        When the episode opened (observation time).
    worst : Finding or None
        Worst figure of the episode so far.
    reports : tuple of ReportRef
        The report(s) that caused it; for *back*, the two that met the rule.
    ended_at : datetime or None
        Set where the whole episode is already past when it is told.
    reason : str
        The rule, in words a person can check.
    affected : tuple of TrackKey
        For ``no_data``: the open tracks whose present state is not known.
    """

    id: str
    episode: str
    name: StepName
    track: TrackKey
    at: datetime
    level: Level
    finding: Finding | None = None
    end: str = ""
    runway: str = ""
    remaining: tuple[str, ...] = ()
    since: datetime | None = None
    worst: Finding | None = None
    reports: tuple[ReportRef, ...] = ()
    ended_at: datetime | None = None
    reason: str = ""
    affected: tuple[TrackKey, ...] = ()

    @property
    def urgent(self) -> bool:
        """Whether it goes by the urgent schedule."""
        return self.name in URGENT

    @property
    def past(self) -> bool:
        """Whether it began and ended before it could be told."""
        return self.ended_at is not None and self.name in BEGINNINGS
