"""What is open and not among the figures of a notice: its figure now, since when, its worst."""

from __future__ import annotations

from functools import partial

from windwatch.assessment.values import Level, Mark
from windwatch.episodes.values import TrackKey, TrackKind
from windwatch.fleet import PARKED_QUANTITIES
from windwatch.notices import words
from windwatch.notices.figures import in_knots_too, quantity_in, track_words
from windwatch.notices.page import Row
from windwatch.notices.scene import Scene, present_finding
from windwatch.notices.values import OpenTrack
from windwatch.notices.words import against, figure_of, quantity


def open_rows(scene: Scene) -> tuple[Row, ...]:
    """Episodes that are open and not already among the figures above; equal answers together."""
    grouped: dict[tuple[str, Row], list[TrackKey]] = {}
    for track in scene.others_open:
        text, mark = _open_text(scene, track)
        # A late notice has no other place for its figures.
        too = in_knots_too(scene, partial(_figure_now, scene, track)) if scene.late else ()
        kind = track.track.quantity if track.track.kind is TrackKind.GROUND else track.track.kind
        grouped.setdefault((kind, Row(text, mark=mark, details=too)), []).append(track.track)
    return tuple(row._replace(head=_open_head(tracks)) for (_, row), tracks in grouped.items())


def _open_head(tracks: list[TrackKey]) -> str:
    first = tracks[0]
    if first.kind is TrackKind.RUNWAYS:
        return f"Runways {words.subjects([(t.aircraft, t.pilot_limits) for t in tracks])}"
    if first.kind is TrackKind.GROUND:
        names = ", ".join(t.aircraft for t in tracks)
        return words.first_upper(f"{quantity(first.quantity)} {names}")
    return words.first_upper(track_words(first))


def _open_text(scene: Scene, track: OpenTrack) -> tuple[str, Mark]:
    worst = track.step.worst
    since = f"over since {scene.times.at(track.since)}"
    if worst is not None:
        since += f", worst {quantity_in(worst)}{figure_of(worst, scene.unit)}"
    noted = f"; noted by {track.acknowledged_by}" if track.acknowledged_by else ""
    if track.standing:
        noted += f"; {_standing_words(track.track)}"
    finding = present_finding(scene, track.track)
    figure = _figure_now(scene, track, scene.unit)
    if not _is_known(scene, track):
        return f"not known now, {figure}; {since}{noted}", Mark.UNKNOWN
    if track.track.kind is TrackKind.THUNDER:
        return f"{since}{noted}", Mark.OVER
    below = finding is not None and finding.level is not Level.OVER
    if track.easing or below:
        return f"{figure}, {words.not_yet(finding)}; {since}{noted}".lstrip(", "), Mark.OVER
    return "; ".join(part for part in (figure, f"{since}{noted}") if part), Mark.OVER


def _is_known(scene: Scene, track: OpenTrack) -> bool:
    if track.track.kind is TrackKind.THUNDER:
        return scene.situation.weather_known
    return scene.known


def _figure_now(scene: Scene, track: OpenTrack, unit: str) -> str:
    """The present figure against its limit, or the last known one; '' where there is none."""
    if not _is_known(scene, track):
        last = track.step.finding
        return f"last {against(last, unit)}" if last else "last over"
    finding = present_finding(scene, track.track)
    if finding is None:
        return ""
    now = f"by {scene.situation.station_in_use}" if scene.fall_back else "now"
    return f"{now} {quantity_in(finding)}{against(finding, unit)}"


def _standing_words(track: TrackKey) -> str:
    if track.kind is TrackKind.THUNDER:
        return "standing"  # there is no limit to review
    reminded = track.quantity in PARKED_QUANTITIES
    return f"standing: {'no more reminders, ' if reminded else ''}review the limit"
