"""How things stand at one airfield at one moment."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from windwatch.assessment.values import Assessment, Level
from windwatch.episodes.intake import weather_is_known, wind_is_known
from windwatch.episodes.ledger import Told
from windwatch.episodes.reporting import next_report_due
from windwatch.episodes.state import AirfieldState
from windwatch.episodes.told import is_standing
from windwatch.episodes.track import Folded, Track
from windwatch.episodes.values import ReportRef, Step, StepName, TrackKey, computed_id
from windwatch.fleet import Airfield
from windwatch.notices.values import OpenTrack, Situation
from windwatch.reports.values import Report
from windwatch.rules import Rules

# An open episode, and who has been told of it.
OpenNow = tuple[tuple[frozenset[str], OpenTrack], ...]


def every_open_track(folded: Folded, state: AirfieldState, rules: Rules, now: datetime) -> OpenNow:
    """The open episodes of an airfield, each with the contacts who have been told of it."""
    acknowledged = {a.episode: a.by for a in state.acknowledged}
    tracks = {track.key: track for track in folded.tracks}
    return tuple(
        (
            frozenset(told.contacts),
            _open_track(
                told, tracks.get(told.track) or Track(told.track), rules, now, acknowledged
            ),
        )
        for told in state.ledger
        if _is_open(told) and told.contacts
    )


def open_tracks_of(open_now: OpenNow, contact: str) -> tuple[OpenTrack, ...]:
    """The open episodes that a contact has been told of."""
    return tuple(track for contacts, track in open_now if contact in contacts)


def _open_track(
    told: Told, track: Track, rules: Rules, now: datetime, acknowledged: Mapping[str, str]
) -> OpenTrack:
    episode = track.episode
    step = Step(
        id=computed_id(told.episode, "now"),
        episode=told.episode,
        name=StepName.OPENED,
        track=told.track,
        at=now,
        level=track.level,
        finding=track.finding,
        end=track.end,
        since=told.opened_at,
        worst=None if episode is None else episode.worst,
    )
    return OpenTrack(
        told.track,
        told.episode,
        told.opened_at,
        step,
        easing=track.easing,
        acknowledged_by=acknowledged.get(told.episode, ""),
        standing=is_standing(told.opened_at, rules, now),
    )


def holds_any(state: AirfieldState, contact: str, tracks: tuple[TrackKey, ...]) -> bool:
    """Whether a contact has been told of an open episode of one of the tracks."""
    return any(
        _is_open(told) and contact in told.contacts and told.track in tracks
        for told in state.ledger
    )


def _is_open(told: Told) -> bool:
    return told.open and told.level is Level.OVER and not told.runway


def make_situation(
    airfield: Airfield,
    state: AirfieldState,
    now: datetime,
    newest: tuple[ReportRef, Report, Assessment] | None,
    newest_main: ReportRef | None,
    variation_deg: float,
) -> Situation:
    """Put together what words and advice are made from.

    Parameters
    ----------
    newest : tuple or None
        The newest accepted report with a wind, of the station in use.

    Returns
    -------
    Situation
        Without the open episodes, which are each contact's own.
    """
    ref, report, assessment = newest if newest is not None else (None, None, None)
    fall_back = ref is not None and ref.fall_back
    if fall_back and ref is not None:
        wind_known = now - ref.observed_at < airfield.stale_after
    else:
        wind_known = wind_is_known(airfield, state, now)
    due = None
    if newest_main is not None:
        due = next_report_due(airfield, newest_main.observed_at)
    return Situation(
        airfield=airfield.id,
        at=now,
        report=report,
        ref=ref,
        assessment=assessment,
        wind_known=wind_known,
        weather_known=weather_is_known(airfield, state, now),
        wind_seen_at=None if ref is None else ref.observed_at,
        weather_seen_at=None if state.weather is None else state.weather.at,
        next_report_due=due,
        station_in_use=ref.station if fall_back and ref is not None else airfield.station.id,
        newest=newest_main,
        open_tracks=(),
        variation_deg=variation_deg,
    )
