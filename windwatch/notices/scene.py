"""Everything a notice is made from, looked up once."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from windwatch.assessment.values import (
    MARK_OF_LEVEL,
    Assessment,
    Finding,
    Level,
    Mark,
    RunwaysFinding,
)
from windwatch.episodes.silence import WIND as WIND_GROUP
from windwatch.episodes.values import Step, StepName, TrackKey, TrackKind
from windwatch.fleet import (
    PARKED_QUANTITIES,
    Aircraft,
    Airfield,
    Fleet,
    RunwaySteps,
    Station,
    TellAbout,
)
from windwatch.notices.values import Notice, OpenTrack, Situation
from windwatch.notices.words import KIND_ORDER, Times
from windwatch.rules import Rules
from windwatch.wind import KNOTS

# What leads a notice, and stands first in it. Opened and worsened rank alike: the worst leads.
STEP_ORDER = (
    StepName.OPENED,
    StepName.NO_DATA,
    StepName.WITHDRAWN,
    StepName.UNSETTLED,
    StepName.REMINDER,
    StepName.BACK,
    StepName.ENDED,
    StepName.NEAR,
    StepName.DATA_BACK,
    StepName.RUNWAY_OUT,
    StepName.RUNWAY_BACK,
    StepName.EASING,
)
# Steps after which a subject is past its limit, or close to it.
ALARMS = frozenset(
    {
        StepName.OPENED,
        StepName.WORSENED,
        StepName.NEAR,
        StepName.REMINDER,
        StepName.UNSETTLED,
    }
)
STATE_NOW = "state now"


@dataclass(frozen=True, slots=True)
class Scene:
    """A notice, how things stand, and who and what it is about.

    Attributes
    ----------
    ground_only : bool
        This contact hears of parked aircraft and nothing of runways.
    steps : tuple of Step
        The notice's steps, the leading one first.
    open_tracks : tuple of OpenTrack
        What is open and this contact was told of, the worst first.
    craft : tuple of Aircraft
        Aircraft at the field that this contact hears about, in configured order.
    rules : Rules
        The figures of judgement in force.
    unit : str
        In which this contact is told speeds; what is judged in knots, and raw, stays so.
    """

    notice: Notice
    situation: Situation
    airfield: Airfield
    ground_only: bool
    times: Times
    steps: tuple[Step, ...]
    open_tracks: tuple[OpenTrack, ...]
    craft: tuple[Aircraft, ...]
    rules: Rules
    unit: str = KNOTS

    @property
    def lead(self) -> Step | None:
        """The step that leads; None in a *state now* with nothing to tell."""
        return self.steps[0] if self.steps else None

    @property
    def known(self) -> bool:
        """Whether the present wind is known."""
        return self.situation.wind_known and self.situation.report is not None

    @property
    def late(self) -> bool:
        """Whether it replaces what became old."""
        return self.notice.kind == STATE_NOW

    @property
    def fall_back(self) -> bool:
        """Whether another station covers for the main one."""
        return self.situation.station_in_use != self.airfield.station.id

    @property
    def others_open(self) -> tuple[OpenTrack, ...]:
        """What is open besides that which the steps tell."""
        told = {s.track for s in self.steps if s.name in ALARMS and not s.past}
        return (
            self.open_tracks
            if self.late
            else tuple(t for t in self.open_tracks if t.track not in told)
        )

    @property
    def field_weather(self) -> bool:
        """Whether the assessment's weather is the field's own, and the newest."""
        found = self.situation.assessment
        fresh = found is not None and found.observed_at == self.situation.weather_seen_at
        return fresh and not self.fall_back and self.situation.weather_known

    def named(self, name: StepName) -> tuple[Step, ...]:
        """The steps of one name that are not past."""
        return tuple(s for s in self.steps if s.name is name and not s.past)

    def assessment_of(self, step: Step) -> Assessment | None:
        """The assessment, if it is of the very report that caused the step."""
        found = self.situation.assessment
        if found is None or not step.reports:
            return None
        newest = step.reports[-1]
        same = newest.station == found.station and newest.observed_at == found.observed_at
        return found if same else None


def set_scene(notice: Notice, situation: Situation, fleet: Fleet) -> Scene:
    """Look up everything a notice is about.

    A field that is configured no longer has no runways, no local time and no aircraft, and can
    still be told of.
    """
    airfield = next((a for a in fleet.airfields if a.id == notice.airfield), None)
    contact = next((c for c in fleet.contacts if c.name == notice.contact), None)
    tell = contact.tell_about if contact else TellAbout()
    zone = None
    if airfield is not None:
        try:
            zone = ZoneInfo(airfield.time_zone)
        except (ZoneInfoNotFoundError, ValueError):
            zone = None
    return Scene(
        notice=notice,
        situation=situation,
        airfield=airfield or _unknown_airfield(notice.airfield),
        ground_only=contact is not None and tell.runways is RunwaySteps.NONE,
        times=Times(zone, notice.at),
        steps=tuple(sorted(notice.steps, key=step_rank)),
        open_tracks=tuple(
            sorted(
                situation.open_tracks,
                key=lambda t: (_track_rank(t.track, t.step.finding), t.since, t.track),
            )
        ),
        craft=tuple(
            craft
            for craft in fleet.based_at(notice.airfield)
            if not tell.aircraft or craft.name in tell.aircraft
        ),
        rules=fleet.rules,
        unit=fleet.unit_of(notice.contact),
    )


def step_rank(step: Step) -> tuple[object, ...]:
    """Current before past, then by what it is, parked aircraft first, the worst first."""
    return (
        step.past,
        order_of(step.name),
        _track_rank(step.track, step.finding),
        step.at,
        step.id,
    )


def order_of(name: StepName) -> int:
    """Place among the kinds of steps."""
    return STEP_ORDER.index(StepName.OPENED if name is StepName.WORSENED else name)


def _track_rank(track: TrackKey, finding: Finding | None) -> tuple[float, float]:
    order = float(KIND_ORDER[track.kind])
    if track.kind is TrackKind.GROUND and track.quantity not in PARKED_QUANTITIES:
        order = 1.0
    if track.kind is TrackKind.DATA and track.quantity != WIND_GROUP:
        order += 0.5  # that the wind is not known is said first
    return order, 0.0 if finding is None else -finding.share


def mark_of(step: Step) -> Mark:
    """The level to show beside a step."""
    if step.name is StepName.NO_DATA:
        return Mark.UNKNOWN
    if step.name in (StepName.RUNWAY_OUT, StepName.UNSETTLED, StepName.EASING):
        return Mark.OVER
    return MARK_OF_LEVEL[step.level]


def present_finding(scene: Scene, track: TrackKey) -> Finding | None:
    """The present figure of a track; None where the wind is not known or nothing applies."""
    assessment = scene.situation.assessment
    if not scene.known or assessment is None:
        return None
    if track.kind is TrackKind.GROUND:
        for aircraft, finding in assessment.ground:
            if aircraft == track.aircraft and finding.quantity == track.quantity:
                return finding
    if track.kind is TrackKind.RUNWAYS:
        found = runways_of(assessment, track)
        if found is not None and found.runways:
            return found.runways[0].best.deciding
    return None


def runways_of(assessment: Assessment, track: TrackKey) -> RunwaysFinding | None:
    """What a report means for the runways of a track."""
    for found in assessment.runways:
        if found.aircraft == track.aircraft and found.pilot_limits == track.pilot_limits:
            return found
    return None


def parked_alarm(scene: Scene) -> bool:
    """Whether parked aircraft need attention: by a step, by thunder, or by what is still open."""
    for step in scene.steps:
        if step.past or step.name not in ALARMS or step.level is Level.WITHIN:
            continue
        if step.track.quantity in PARKED_QUANTITIES or step.track.kind is TrackKind.THUNDER:
            return True
    return any(
        track.track.quantity in PARKED_QUANTITIES and not track.easing
        for track in scene.open_tracks
    )


def _unknown_airfield(airfield_id: str) -> Airfield:
    return Airfield(
        id=airfield_id,
        name=airfield_id,
        station=Station(airfield_id),
        latitude=0.0,
        longitude=0.0,
        elevation_ft=0.0,
        time_zone="",
        runways=(),
    )
