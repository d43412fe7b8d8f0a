"""The leading fact: for the first line, the subject and machines."""

from __future__ import annotations

from datetime import datetime

from windwatch.assessment.values import MARK_OF_LEVEL, Level, Mark
from windwatch.episodes.clock_doubt import WATCH
from windwatch.episodes.values import Step, StepName, TrackKind
from windwatch.notices import words
from windwatch.notices.figures import from_to, known_since, thunder_text, track_words, who
from windwatch.notices.scene import ALARMS, Scene, mark_of, present_finding
from windwatch.notices.words import against, quantity_of


def headline(scene: Scene) -> str:
    """Level, subject, figure against limit: ``Over: tie-down X-WREN 41 kt > 22 kt, +10 more``."""
    lead = scene.lead
    late = ""
    if scene.late:
        first = late_by(scene)
        late = f"Late by {words.minutes(scene.notice.at - first)}. " if first else "Late. "
    if lead is None or (scene.late and not all(s.past for s in scene.steps)):
        return f"{late}State now: {_worst_open(scene)}"
    more = len(scene.steps) - 1
    tail = f", and {more} more" if more else ""
    return f"{late}{words.first_upper(level_words(lead))}: {subject_of(scene, lead)}{tail}"


def late_by(scene: Scene) -> datetime | None:
    """When the first of what is now told late was found."""
    return min((step.at for step in scene.steps), default=None)


def level_words(step: Step) -> str:
    """The word that opens a notice."""
    if step.past:
        return "past"
    if step.name is StepName.ENDED and step.reason:
        return step.reason
    if step.track.quantity == WATCH:
        return "watching again"
    if step.name in ALARMS and step.level is not Level.OVER and step.name is not StepName.UNSETTLED:
        return mark_of(step).value
    return words.STEP[step.name]


def subject_of(scene: Scene, step: Step) -> str:
    """Which subject, which figure, which limit."""
    if step.track.kind is TrackKind.DATA:
        return _data_subject(scene, step)
    if step.track.kind is TrackKind.THUNDER:
        if step.name in ALARMS:
            return f"thunder, {thunder_text(scene, step)}"
        return "thunder"
    name = track_words(step.track)
    finding = step.worst if step.past and step.worst else step.finding
    if step.name is StepName.RUNWAY_OUT or step.name is StepName.RUNWAY_BACK:
        name = f"{step.runway} for {who(step.track)}"
    elif step.track.kind is TrackKind.RUNWAYS and step.name in ALARMS and step.level is Level.OVER:
        name = f"no runway for {who(step.track)}"
    if step.past:
        name += " was over,"
    if finding is None:
        return name.rstrip(",")
    if step.track.kind is TrackKind.RUNWAYS:
        end = f"{step.end} " if step.end else ""
        return f"{name}, {end}{quantity_of(finding)} {against(finding, scene.unit)}"
    return f"{name} {against(finding, scene.unit)}"


def _data_subject(scene: Scene, step: Step) -> str:
    """What is known, or that nobody watched."""
    if step.track.quantity == WATCH:
        return f"not watched from {from_to(scene, step)}"
    what = "wind" if step.track.quantity == "wind" else "weather"
    if step.name is StepName.NO_DATA:
        return f"no {what} known from {scene.airfield.station.id}{known_since(scene, step)}"
    return f"{what} of {scene.airfield.station.id}{_after_data(scene)}"


def _after_data(scene: Scene) -> str:
    count = len(scene.open_tracks)
    return f", {count} still open" if count else ""


def _worst_open(scene: Scene) -> str:
    """The worst of what is open now, for a notice that replaces old ones."""
    if not scene.open_tracks:
        return "none of your alerts is open" if scene.known else "the wind is not known"
    first = scene.open_tracks[0]
    finding = present_finding(scene, first.track)
    if finding is None:
        figure = f", last {against(first.step.finding, scene.unit)}" if first.step.finding else ""
        state = "over" if scene.known else "not known"
    else:
        figure = f" {against(finding, scene.unit)}"
        over = finding.level is Level.OVER and not first.easing
        state = "over" if over else words.not_yet(finding)
    more = len(scene.open_tracks) - 1
    tail = f", and {more} more open" if more else ""
    return f"{state}: {track_words(first.track)}{figure}{tail}"


def mark_now(scene: Scene) -> Mark:
    """The level to show at the top."""
    lead = scene.lead
    if lead is not None and not lead.past and not scene.late:
        return mark_of(lead)
    if not scene.known:
        return Mark.UNKNOWN
    if scene.open_tracks:
        return Mark.OVER
    finding = present_finding(scene, lead.track) if lead is not None else None
    return MARK_OF_LEVEL[finding.level] if finding is not None else Mark.WITHIN


def observed_at(scene: Scene) -> datetime | None:
    """Observation time of what leads: the step's own report, else the present wind."""
    lead = scene.lead
    if lead is not None and lead.reports and not scene.late:
        return lead.reports[-1].observed_at
    return scene.situation.wind_seen_at


def times_line(scene: Scene) -> str:
    """``observed 22 Sep 15:07 local (19:07Z); valid until 16:22 local (20:22Z)``."""
    seen = observed_at(scene)
    lead = scene.lead
    if lead is not None and lead.name is StepName.NO_DATA and not scene.late:
        observed = f"told {scene.times.dated(scene.notice.at)}"
    elif seen is None:
        observed = f"nothing observed; told {scene.times.dated(scene.notice.at)}"
    else:
        observed = f"observed {scene.times.dated(seen)}"
    return f"{observed}; valid until {scene.times.at(scene.notice.valid_until)}"
