"""The subject line: it alone tells field, time, wind, what is over and by how much."""

from __future__ import annotations

from typing import Final

from windwatch.airmanship.conversions import beside_limits
from windwatch.assessment.values import Finding, Level
from windwatch.episodes.clock_doubt import WATCH
from windwatch.episodes.values import ENDINGS, Step, StepName, TrackKind
from windwatch.notices import words
from windwatch.notices.clean import visible
from windwatch.notices.figures import thunder_text, track_words, who
from windwatch.notices.headline import late_by, observed_at
from windwatch.notices.scene import ALARMS, Scene, present_finding
from windwatch.notices.words import quantity, quantity_of
from windwatch.wind import KNOTS

LONGEST: Final = 110
# Room kept for ", +12 more".
_MORE: Final = 10


def subject_line(scene: Scene) -> str:
    """One line of at most about 110 characters, without control characters."""
    return one_line(_subject(scene))


def one_line(text: str) -> str:
    """A header's worth of text: visible characters, one line, cut with a mark."""
    shown = visible(text)
    return shown if len(shown) <= LONGEST + 30 else f"{shown[: LONGEST + 29]}…"


def _subject(scene: Scene) -> str:
    lead = scene.lead
    if scene.late or lead is None:
        return _state_now(scene)
    field = scene.airfield.id
    if lead.name is StepName.NO_DATA:
        return f"{field} {scene.times.clock(scene.notice.at)}: {_no_data(scene, lead)}"
    seen = observed_at(scene) or scene.notice.at
    start = f"{field} {scene.times.clock(seen)}: "
    if lead.past:
        return _fitted(f"{start}past - ", [_past(scene, s) for s in scene.steps if s.past])
    wind = _wind(scene)
    opening, items = _what(scene, lead)
    if lead.name is StepName.DATA_BACK:
        count = len(scene.open_tracks)
        return f"{start}{wind} - {opening}{f'; {count} still open' if count else ''}"
    if lead.name in ENDINGS:
        # What ends is counted by itself; what goes on, or begins with it, is said behind it.
        ended = _fitted(f"{start}{wind} - {opening}", items, len(items))
        return f"{ended}{_besides(scene)}"
    return _fitted(f"{start}{wind} - {opening}", items, len(_told(scene)))


def _besides(scene: Scene) -> str:
    """Runways that are out, and how many alerts are still open, in a notice of endings."""
    out = dict.fromkeys(s.runway for s in scene.steps if s.name is StepName.RUNWAY_OUT)
    count = len(scene.open_tracks)
    return "".join((f"; {', '.join(out)} out" if out else "", f"; {count} open" if count else ""))


def _wind(scene: Scene) -> str:
    report = scene.situation.report
    if report is None or not scene.known:
        return "wind not known"
    wind = words.wind_short(report.wind, scene.unit)
    if not scene.field_weather or _only_thunder(scene):
        return wind  # weather of another place or hour would mislead; thunder alone is said below
    weather = report.weather
    for word, there in (
        ("thunderstorm", weather.thunderstorm),
        ("funnel cloud", weather.funnel_cloud),
        ("squall", weather.squall and not weather.thunderstorm),
        ("thunder near", weather.thunder_in_vicinity and not weather.thunderstorm),
    ):
        if there:
            wind += f", {word}"
    return wind


def _what(scene: Scene, lead: Step) -> tuple[str, list[str]]:
    """What it is, and the subjects of that kind, the leading one first."""
    alike = [s for s in _told(scene) if not s.past and _opening(s) == _opening(lead)]
    one_aircraft = len({s.track.aircraft for s in alike if s.track.aircraft}) == 1
    items: list[str] = []
    said = ""
    for step in alike:
        item = _item(scene, step)
        if step.track.kind is TrackKind.GROUND and items:
            # The quantity is said once for neighbours that share it, and so is the aircraft.
            if said == step.track.quantity:
                item = item.removeprefix(f"{quantity(said)} ")
            elif one_aircraft:
                item = item.replace(f"{step.track.aircraft} ", "", 1)
        items.append(item)
        said = step.track.quantity
    return _opening(lead), [item for item in items if item]


def _only_thunder(scene: Scene) -> bool:
    return all(s.track.kind is TrackKind.THUNDER and s.name in ALARMS for s in scene.steps)


def _told(scene: Scene) -> tuple[Step, ...]:
    """The steps to name; thunder that already stands beside the wind only where it is alone."""
    others = tuple(
        s for s in scene.steps if s.track.kind is not TrackKind.THUNDER or s.name not in ALARMS
    )
    return others or scene.steps


def _opening(step: Step) -> str:
    if step.name in ALARMS and step.name not in (StepName.REMINDER, StepName.UNSETTLED):
        return "over: " if step.level is Level.OVER else "near: "
    if step.track.quantity == WATCH:
        return "watching again after a gap"
    if step.name is StepName.DATA_BACK:
        return f"{track_words(step.track)} known again"
    if step.name is StepName.ENDED:
        return f"{step.reason or words.STEP[step.name]}: "
    return {
        StepName.REMINDER: "still over: ",
        StepName.UNSETTLED: "swinging about the limit: ",
        StepName.EASING: "below the limit, not yet back: ",
        StepName.BACK: "back within limits, your decision: ",
        StepName.WITHDRAWN: "withdrawn, report corrected: ",
        StepName.RUNWAY_OUT: "",
        StepName.RUNWAY_BACK: "back within limits, your decision: ",
    }[step.name]


def _item(scene: Scene, step: Step) -> str:
    """A subject in few words."""
    match step.track.kind:
        case TrackKind.GROUND:
            figure = "" if step.finding is None else f" {_figure(scene, step)}"
            return f"{quantity(step.track.quantity)} {step.track.aircraft}{figure}"
        case TrackKind.RUNWAYS:
            return _runways_item(scene, step, who(step.track))
        case TrackKind.THUNDER:
            return thunder_text(scene, step) if step.name in ALARMS else "thunder"
        case TrackKind.DATA:
            return "" if step.name is StepName.DATA_BACK else track_words(step.track)


def _runways_item(scene: Scene, step: Step, who: str) -> str:
    finding = step.finding
    figure = "" if finding is None else f"{quantity_of(finding)} {_figure(scene, step)}"
    place = f"{step.end} " if step.end else ""
    if step.name is StepName.RUNWAY_OUT:
        left = (
            f"; {words.listed(step.remaining)} remains" if step.remaining else "; no runway remains"
        )
        return f"{step.runway} out for {who}: {figure}{left}"
    if step.name is StepName.RUNWAY_BACK:
        return f"{step.runway} for {who}"
    if step.name in ALARMS and step.level is Level.OVER:
        return f"no runway for {who}: {place}{figure}"
    if not figure or step.name is StepName.WITHDRAWN:
        return f"runways {who}"
    return f"{who}: {place}{figure}"


def _figure(scene: Scene, step: Step) -> str:
    finding = step.finding
    if finding is None:
        return ""
    if step.name in ALARMS or step.name is StepName.RUNWAY_OUT:
        return _bare(scene, finding)
    figure, limit = beside_limits(finding.figure, (finding.limit.value,), scene.unit)
    return f"{figure} of {limit}{_unit(scene)}"


def _bare(scene: Scene, finding: Finding) -> str:
    """``41 > 22``: the unit stands beside the wind; ``76 > 41 km/h`` where no speed does."""
    return f"{words.bare(finding, scene.unit)}{_unit(scene)}"


def _unit(scene: Scene, wind: str | None = None) -> str:
    """The unit of a figure behind this wind: knots need none, and what it shows is said."""
    if scene.unit == KNOTS:
        return ""
    said = f" {scene.unit}" in (_wind(scene) if wind is None else wind)
    return "" if said else f" {scene.unit}"


def _no_data(scene: Scene, lead: Step) -> str:
    what = "wind" if lead.track.quantity == "wind" else "weather"
    last = lead.reports[-1].observed_at if lead.reports else lead.since
    if last is None and not scene.fall_back:
        last = scene.situation.wind_seen_at
    since = f" since {scene.times.clock(last)}" if last else ""
    count = len(scene.open_tracks)
    still = f"; {count} alert{'s' if count > 1 else ''} still open" if count else ""
    covers = f"; {scene.situation.station_in_use} covers" if scene.fall_back else ""
    return f"no {what} known from {scene.airfield.station.id}{since}{still}{covers}"


def _past(scene: Scene, step: Step) -> str:
    worst = step.worst or step.finding
    figure = f", worst {words.bare(worst, scene.unit)}{_unit(scene, '')}" if worst else ""
    began = f" {scene.times.hhmm(step.since)}" if step.since else ""
    ended = f" to {scene.times.hhmm(step.ended_at)}" if step.ended_at else ""
    return f"{track_words(step.track)} was over{began}{ended}{figure}"


def _state_now(scene: Scene) -> str:
    first = late_by(scene)
    late = f"late by {words.minutes(scene.notice.at - first)}, " if scene.late and first else ""
    start = f"{scene.airfield.id} {scene.times.clock(scene.notice.at)}: {late}"
    if scene.steps and all(s.past for s in scene.steps):
        return _fitted(f"{start}past - ", [_past(scene, s) for s in scene.steps])
    items = []
    for track in scene.open_tracks:
        finding = present_finding(scene, track.track)
        figure = f" {_bare(scene, finding)}" if finding else ""
        items.append(f"{track_words(track.track)}{figure}")
    if not items:
        return f"{start}state now - {_wind(scene)}; none of your alerts is open"
    state = "open: " if scene.known else "open, not known now: "
    return _fitted(f"{start}state now - {_wind(scene)} - {state}", items)


def _fitted(start: str, items: list[str], whole: int = 0) -> str:
    """As many items as the line holds, and how many more there are; the first one always."""
    whole = max(whole, len(items))
    line = start + "".join(items[:1])
    shown = min(1, len(items))
    for item in items[1:]:
        room = LONGEST if shown + 1 == whole else LONGEST - _MORE
        if len(line) + len(item) + 2 > room:
            break
        line += f", {item}"
        shown += 1
    left = whole - shown
    return f"{line}, +{left} more" if left > 0 else line
