"""The pages of the board as plain frozen values, one tree a page.

`windwatch.board.view` makes them, `pages` and templates put them into words and pictures,
`as_json` into JSON.
"""

from __future__ import annotations

from dataclasses import dataclass

from windwatch.board.event_values import (
    AcknowledgementShown,
    EpisodeCard,
    EvidenceShown,
    NoticeCard,
    StepLine,
)
from windwatch.board.forecast_values import ForecastShown
from windwatch.board.values import (
    Banner,
    Figure,
    LegCard,
    ParkedCard,
    Stand,
    StationCard,
    SubjectField,
    SubjectRow,
    ThunderShown,
    ToDo,
    WatchShown,
    When,
    WindShown,
)
from windwatch.drawings.strip_facts import Strip


@dataclass(frozen=True, slots=True)
class FieldLink:
    """An airfield, to go to."""

    id: str
    name: str


@dataclass(frozen=True, slots=True)
class Frame:
    """What every page has.

    Attributes
    ----------
    title : str
    now : When
        When the page was made; in the airfield's local time where it is about one.
    version : str
        Changes whenever anything on the page may have; the live event bears it.
    unit : str
        The reader's: ``kt``, ``m/s``, ``km/h``, ``mph``.
    banners : tuple of Banner
        The gravest first.
    fields : tuple of FieldLink
        Every airfield that is watched.
    caution : tuple of str
        Stands under all advice.
    """

    title: str
    now: When
    version: str
    unit: str
    watch: WatchShown
    banners: tuple[Banner, ...]
    fields: tuple[FieldLink, ...]
    caution: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FieldCard:
    """One airfield on the overview.

    Attributes
    ----------
    todo : ToDo
        With its stand: the worst at the field.
    wind : WindShown
        The present one, or the last known where the stand is unknown.
    observed : When or None
    drawing : SubjectField or None
        For the subject that the wind restricts most; None where no runway is judged.
    open_episodes, failed_notices : int
    """

    id: str
    name: str
    todo: ToDo
    wind_known: bool
    wind: WindShown
    station: str
    observed: When | None
    drawing: SubjectField | None
    open_episodes: int
    failed_notices: int


@dataclass(frozen=True, slots=True)
class OverviewPage:
    """All airfields: ``/``."""

    frame: Frame
    cards: tuple[FieldCard, ...]


@dataclass(frozen=True, slots=True)
class FieldPage:
    """The board of one airfield, and of its kiosk: ``/field/{id}``, in the order of reading.

    Attributes
    ----------
    wind_known : bool
        False: `wind` is the last known one, every level is unknown, no controls are named.
    wind : WindShown
    station_in_use : str
    observed : When or None
        Of the wind that counts, or of the last known.
    due : When or None
        Of the main station's next report.
    overdue : bool
    todo : ToDo
    thunder : ThunderShown or None
        None: neither reported nor near, and that is known.
    drawing : SubjectField or None
        For the chosen subject; without a choice the one that the wind restricts most.
    subjects : tuple of SubjectRow
        Every aircraft and pilot standard, in configured order: also what can be chosen.
    why : tuple of str
        Wind, station, times and local notes, in sentences.
    legs_note : str
        Why no controls are named, or that the legs are the eight directions; '' else.
    forecast : ForecastShown or None
        Beside the strip; None: the airfield names no station for it.
    notices : tuple of NoticeCard
        Of the last 24 hours, newest first, at most 20.
    taxi_stopped : tuple of str
        Aircraft that must not taxi now: their legs are for the way to the tie-down alone.
    """

    frame: Frame
    id: str
    name: str
    wind_known: bool
    wind: WindShown
    station_in_use: str
    observed: When | None
    due: When | None
    overdue: bool
    todo: ToDo
    thunder: ThunderShown | None
    drawing: SubjectField | None
    subjects: tuple[SubjectRow, ...]
    legs: tuple[LegCard, ...]
    legs_note: str
    parked: tuple[ParkedCard, ...]
    strip: Strip
    forecast: ForecastShown | None
    episodes: tuple[EpisodeCard, ...]
    notices: tuple[NoticeCard, ...]
    stations: tuple[StationCard, ...]
    why: tuple[str, ...]
    evidence: tuple[EvidenceShown, ...]
    taxi_stopped: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LimitLine:
    """One limit as configured, for the ramp card.

    Attributes
    ----------
    applies_to : str
        ``in flight, student solo``, ``on the ground``.
    words : str
        ``crosswind 7 kt (student solo)``.
    """

    applies_to: str
    quantity: str
    name: str
    limit_kt: float
    whose: str
    words: str
    beside: str = ""


@dataclass(frozen=True, slots=True)
class RampCardPage:
    """Today's card for one aircraft, one sheet: ``/field/{id}/card/{aircraft}``.

    Attributes
    ----------
    day : str
        ``22 Sep 2026``, local.
    types : str
        ``nosewheel, high wing``.
    demonstrated : str
        The largest crosswind shown at certification, which is no limitation; '' if not given.
    legs : tuple of LegCard
        With this aircraft's holds alone.
    """

    frame: Frame
    id: str
    name: str
    day: str
    aircraft: str
    description: str
    types: str
    wind_known: bool
    wind: WindShown
    observed: When | None
    station_in_use: str
    due: When | None
    todo: ToDo
    drawing: SubjectField | None
    subjects: tuple[SubjectRow, ...]
    limits: tuple[LimitLine, ...]
    demonstrated: str
    legs: tuple[LegCard, ...]
    legs_note: str
    parked: ParkedCard
    taxi_stopped: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class EpisodePage:
    """One episode: ``/episodes/{id}``.

    Attributes
    ----------
    worst : Figure or None
        The worst figure of the episode.
    can_acknowledge : bool
        It is open.
    acknowledged_for : str
        How long reminders stop: ``6 h``.
    """

    frame: Frame
    episode: EpisodeCard
    worst: Figure | None
    steps: tuple[StepLine, ...]
    notices: tuple[NoticeCard, ...]
    acknowledgements: tuple[AcknowledgementShown, ...]
    can_acknowledge: bool
    acknowledged_for: str


@dataclass(frozen=True, slots=True)
class NoticesPage:
    """What was sent and what failed: ``/notices``; newest first.

    Attributes
    ----------
    since : When
        How far back.
    more : bool
        There are older ones in that time, not listed.
    dead : int
        Notices that reached nobody, among those listed.
    """

    frame: Frame
    since: When
    notices: tuple[NoticeCard, ...]
    more: bool
    dead: int


@dataclass(frozen=True, slots=True)
class NoticePage:
    """One notice: ``/notice/{id}``.

    Attributes
    ----------
    text : str
        Exactly as it was sent, for a fixed-width block; it holds text from outside.
    late_because : str
        Where it replaces others.
    episodes : tuple of EpisodeCard
        What it is about, as it stands now.
    """

    frame: Frame
    notice: NoticeCard
    valid_until: When
    text: str
    late_because: str
    steps: tuple[StepLine, ...]
    episodes: tuple[EpisodeCard, ...]


@dataclass(frozen=True, slots=True)
class LevelMeaning:
    """A level, its shape in words, and what it means."""

    stand: Stand
    shape: str
    meaning: str


@dataclass(frozen=True, slots=True)
class AboutPage:
    """Words, shapes, rules and versions: ``/about``.

    Attributes
    ----------
    rules : tuple of str
        The figures of judgement in force, in sentences.
    versions : tuple of (name, version)
    """

    frame: Frame
    levels: tuple[LevelMeaning, ...]
    rules: tuple[str, ...]
    versions: tuple[tuple[str, str], ...]
