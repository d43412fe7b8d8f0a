"""What was read from the store at one moment: all that pages are made from, frozen.

One snapshot serves everybody who looks: it holds nothing that depends on who asks or when. What
is known *now* is worked out from it by `windwatch.board.now`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType
from typing import NamedTuple

from windwatch.assessment.plan import AirfieldPlan
from windwatch.assessment.values import Assessment
from windwatch.board.forecast_read import ForecastRead
from windwatch.episodes.state import AirfieldState
from windwatch.episodes.track import Folded
from windwatch.episodes.values import ReportRef, Step
from windwatch.fleet import Aircraft, Airfield, Fleet
from windwatch.notices.outbox import Attempt, Delivery
from windwatch.notices.values import Notice
from windwatch.reports.values import Report
from windwatch.store.glance import Crossing
from windwatch.store.values import Acknowledgement, StoredEpisode
from windwatch.upkeep.health import Health
from windwatch.wind import Wind

# The newest report with a wind, as evidence, decoded and judged.
Newest = tuple[ReportRef, Report, Assessment]


class Observation(NamedTuple):
    """One stored report of a station, its wind read.

    Attributes
    ----------
    wind : Wind or None
        None: the report gave none.
    """

    id: str
    kind: str
    observed_at: datetime
    received_at: datetime
    raw: str
    wind: Wind | None


class NoticeRead(NamedTuple):
    """One notice with its words and its deliveries as they stand."""

    notice: Notice
    subject: str
    text: str
    deliveries: tuple[Delivery, ...]


@dataclass(frozen=True, slots=True)
class FieldRead:
    """What is remembered of one airfield.

    Attributes
    ----------
    craft : tuple of Aircraft
        Based there, in configured order.
    state, folded : AirfieldState, Folded
        As the watch kept them; where the main station was silent when this was read, a fall-back
        is folded in.
    newest_main, newest_any : Newest or None
        The newest report with a wind of the main station; of any of its stations.
    last_main : ReportRef or None
        The main station's newest report, with or without a wind.
    plan : AirfieldPlan
        Runways and limits of the day, and the variation.
    observations : mapping of station to tuple of Observation
        Of the last 24 hours, oldest first.
    crossings : tuple of Crossing
        Of the last 24 hours, in order.
    noted : mapping of episode to Acknowledgement
        The last one, while it stops reminders.
    notices : tuple of NoticeRead
        Of the last 24 hours, newest first.
    forecast : ForecastRead or None
        The newest of its forecast station, whether or not it still holds.
    """

    airfield: Airfield
    craft: tuple[Aircraft, ...]
    state: AirfieldState
    folded: Folded
    plan: AirfieldPlan
    newest_main: Newest | None = None
    newest_any: Newest | None = None
    last_main: ReportRef | None = None
    observations: Mapping[str, tuple[Observation, ...]] = field(
        default_factory=lambda: MappingProxyType({})
    )
    crossings: tuple[Crossing, ...] = ()
    noted: Mapping[str, Acknowledgement] = field(default_factory=lambda: MappingProxyType({}))
    notices: tuple[NoticeRead, ...] = ()
    forecast: ForecastRead | None = None


@dataclass(frozen=True, slots=True)
class WatchRead:
    """What is known of the watch that feeds the store.

    Attributes
    ----------
    health : Health or None
        None: no watch has ever run here, or its state cannot be read.
    there : bool
        Its process is there, as far as this machine can tell.
    problem : str
        Why the state cannot be read; '' where it can.
    led_until : datetime or None
        For one that stands by: until when another one's lease runs.
    """

    health: Health | None = None
    there: bool = False
    problem: str = ""
    led_until: datetime | None = None


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All of it at one moment.

    Attributes
    ----------
    stored : str
        Changes with the store and with the watch's state.
    turns : tuple of datetime
        When what is known changes although nothing comes: an observation becomes too old, a
        report overdue, the watch silent.
    store_problem : bool
        The store cannot be read any more: this is what it said last.
    other_settings : bool
        The watch goes by another configuration than this board.
    """

    stored: str
    read_at: datetime
    fleet: Fleet
    watch: WatchRead
    fields: tuple[FieldRead, ...]
    turns: tuple[datetime, ...] = ()
    store_problem: bool = False
    other_settings: bool = False

    def version(self, now: datetime) -> str:
        """Different as soon as a page may look different, but for ages that count."""
        passed = sum(turn <= now for turn in self.turns)
        return f"{self.stored}-{passed}{'x' if self.store_problem else ''}"

    def field(self, airfield: str) -> FieldRead:
        """What is remembered of one airfield.

        Raises
        ------
        KeyError
            If it is not configured.
        """
        for each in self.fields:
            if each.airfield.id == airfield:
                return each
        raise KeyError(airfield)


@dataclass(frozen=True, slots=True)
class EpisodeRead:
    """One episode with its steps, notices and who took note."""

    episode: StoredEpisode
    steps: tuple[Step, ...]
    notices: tuple[NoticeRead, ...]
    noted: tuple[Acknowledgement, ...]


@dataclass(frozen=True, slots=True)
class NoticeDetail:
    """One notice with every try at it, and the episodes that it is about."""

    read: NoticeRead
    attempts: Mapping[str, tuple[Attempt, ...]]
    episodes: tuple[StoredEpisode, ...]


@dataclass(frozen=True, slots=True)
class NoticesRead:
    """The latest notices, newest first; `more`: there are older ones in that time."""

    since: datetime
    notices: tuple[NoticeRead, ...]
    more: bool
