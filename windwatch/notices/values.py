"""What people get, before and after it is put into words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship.control_table import ControlPositions
from windwatch.assessment.values import Assessment
from windwatch.drawings.field_facts import Field
from windwatch.episodes.values import ReportRef, Step, TrackKey
from windwatch.reports.values import Report
from windwatch.wind import DegreesTrue


@dataclass(frozen=True, slots=True)
class OpenTrack:
    """An episode that is open now, for the list in every notice.

    Attributes
    ----------
    easing : bool
        Below the limit, not yet back within limits.
    standing : bool
        Open so long that nobody is reminded any more: the limit should be reviewed.
    """

    track: TrackKey
    episode: str
    since: datetime
    step: Step
    easing: bool = False
    acknowledged_by: str = ""
    standing: bool = False


@dataclass(frozen=True, slots=True)
class Situation:
    """How things stand at one airfield at one moment: what words and advice are made from.

    Attributes
    ----------
    report : Report or None
        The newest report that had a wind (of the station in use); None: nothing is known.
    ref : ReportRef or None
        The same as evidence.
    assessment : Assessment or None
        What it means for every subject.
    wind_known, weather_known : bool
        Whether that is fresh.
    wind_seen_at, weather_seen_at : datetime or None
        Observation time of the newest wind and weather of the station in use.
    next_report_due : datetime or None
    station_in_use : str
        The main station, or the fall-back that covers for it.
    newest : ReportRef or None
        The newest report of the main station, with or without a wind.
    variation_deg : float
        East positive, at the field and date.
    """

    airfield: str
    at: datetime
    report: Report | None
    ref: ReportRef | None
    assessment: Assessment | None
    wind_known: bool
    weather_known: bool
    wind_seen_at: datetime | None
    weather_seen_at: datetime | None
    next_report_due: datetime | None
    station_in_use: str
    newest: ReportRef | None
    open_tracks: tuple[OpenTrack, ...]
    variation_deg: float

    @property
    def age(self) -> timedelta | None:
        """Age of the wind, from its observation time."""
        return None if self.wind_seen_at is None else self.at - self.wind_seen_at


@dataclass(frozen=True, slots=True)
class Notice:
    """All steps of one event at one airfield, for one contact.

    Attributes
    ----------
    id : str
        hash(contact, step ids).
    kind : str
        ``alert`` (something opened or worsened), ``update``, ``cancel`` (only back, ended or
        withdrawn steps), ``state now`` (replaces what became old), ``test``.
    urgent : bool
        Whether it goes by the urgent schedule.
    valid_until : datetime
        Never sent as current after this.
    references : tuple of str
        Ids of the earlier notices to this contact about the same episodes, first one first:
        one episode is one conversation.
    late_because : str
        For ``state now``: why it is late and what it replaces.
    replaces : tuple of str
        Ids of the notices it replaces.
    undelivered_by : tuple of str
        Channels by which earlier notices did not reach the contact.
    """

    id: str
    contact: str
    airfield: str
    at: datetime
    kind: str
    steps: tuple[Step, ...]
    urgent: bool
    valid_until: datetime
    references: tuple[str, ...] = ()
    late_because: str = ""
    replaces: tuple[str, ...] = ()
    undelivered_by: tuple[str, ...] = ()


class HeldOnLeg(NamedTuple):
    """How the controls are held on one taxi leg: what its picture is drawn from.

    Attributes
    ----------
    leg : str
    heading_true : DegreesTrue
        [°T]
    """

    leg: str
    heading_true: DegreesTrue
    gear: Gear
    wing: WingPosition
    positions: ControlPositions


class Picture(NamedTuple):
    """A picture that goes with a notice's words and says nothing that they do not.

    It is kept as its facts and drawn when it is sent: most notices go to machines, and a warning
    must not wait for pictures.

    Attributes
    ----------
    id : str
        hash(all the others): contacts who hear the same have the same pictures.
    facts : Field or HeldOnLeg
        The field from above, or the controls on a taxi leg.
    caption : str
        What stands above it; '' where nothing has to.
    unit : str
        Of its speeds.
    """

    id: str
    facts: Field | HeldOnLeg
    caption: str = ""
    unit: str = "kt"


class Joined:
    """A text of a value that may be kept in parts, and is joined when it is asked for.

    Ten thousand contacts hear of one crossing: what all are told alike is in memory once.
    """

    def __set_name__(self, owner: type, name: str) -> None:
        self.place = f"_{name}"

    def __get__(self, holder: object, owner: type | None = None) -> str:
        if holder is None:
            # Asked by the class for a default: there is none.
            raise AttributeError(self.place)
        kept: str | tuple[str, ...] = holder.__dict__[self.place]
        return kept if isinstance(kept, str) else "".join(kept)

    def __set__(self, holder: object, text: str) -> None:
        holder.__dict__[self.place] = text


@dataclass(frozen=True)
class Content:
    """A notice in words.

    Attributes
    ----------
    subject : str
        One line; alone it tells field, time, wind, what is over and by how much.
    text : str
        Complete in itself.
    html : str
        The same for mail programs.
    payload : dict
        The same for machines (JSON).
    pictures : tuple of Picture
        For mail programs, the most needed first; the words are complete without them.
    """

    subject: str
    text: str
    html: str = Joined()  # type: ignore[assignment]  # it hands out a text
    payload: dict[str, Any]  # type: ignore[misc]  # what stands before it is no default
    pictures: tuple[Picture, ...] = ()

    @classmethod
    def in_parts(
        cls,
        subject: str,
        text: str,
        html: tuple[str, ...],
        payload: dict[str, Any],
        pictures: tuple[Picture, ...] = (),
    ) -> Content:
        """Make one whose HTML is kept in parts, because others share them."""
        content = cls(subject, text, "", payload, pictures)
        content.__dict__["_html"] = html
        return content
