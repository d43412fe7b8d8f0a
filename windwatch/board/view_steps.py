"""What a notice would have to tell if it told everything that is so now: as steps.

The steps are not made by the watch and are kept nowhere: they let the board say what to do in
the very words of a notice.
"""

from __future__ import annotations

from collections.abc import Iterator

from windwatch.assessment.values import Finding, Level
from windwatch.board.now import FieldNow
from windwatch.episodes import silence
from windwatch.episodes.intake import covering
from windwatch.episodes.made_steps import remaining_ends
from windwatch.episodes.state import Seen
from windwatch.episodes.track import Track
from windwatch.episodes.values import ReportRef, Step, StepName, TrackKey, TrackKind, computed_id


def steps_now(here: FieldNow, aircraft: str | None = None) -> tuple[Step, ...]:
    """Everything over, near, easing or not known now.

    Parameters
    ----------
    aircraft : str or None
        Only what concerns this one, thunder and what is known; None: all.
    """
    steps: list[Step] = []
    if here.known:
        steps += _runways(here)
        steps += _ground(here)
    else:
        steps.append(_no_data(here, silence.WIND, here.read.state.wind))
    if here.weather_known:
        steps += _thunder(here)
    elif not here.fall_back or not here.known:
        steps.append(_no_data(here, silence.THUNDER, here.read.state.weather))
    return tuple(s for s in steps if aircraft in (None, s.track.aircraft) or not s.track.aircraft)


def runway_step(here: FieldNow, aircraft: str, pilot_limits: str, figure: Level) -> Step:
    """How the runways stand for one subject, as a step: over, easing, near, or what remains.

    Parameters
    ----------
    figure : Level
        By the newest report alone; a limit may ask for several before it is held to be over.
    """
    track = here.track(here.runways_key(aircraft, pilot_limits))
    return _step(here, track, max(track.level, figure), remaining_ends(track))


def _runways(here: FieldNow) -> Iterator[Step]:
    assessment = here.assessment
    for found in () if assessment is None else assessment.runways:
        step = runway_step(here, found.aircraft, found.pilot_limits, found.level)
        if step.level is not Level.WITHIN:
            yield step
        if step.level is Level.OVER:
            continue
        track = here.track(step.track)
        for standing in track.standing:
            if standing.level is Level.OVER:
                yield _named(
                    here,
                    track,
                    StepName.RUNWAY_OUT,
                    Level.OVER,
                    standing.finding,
                    standing.end,
                    standing.runway,
                    step.remaining,
                )


def _ground(here: FieldNow) -> Iterator[Step]:
    assessment = here.assessment
    levels: dict[TrackKey, Level] = {}
    findings: dict[TrackKey, Finding] = {}
    for aircraft, found in () if assessment is None else assessment.ground:
        key = here.ground_key(aircraft, found.limit.quantity)
        if key not in levels or found.share > findings[key].share:
            findings[key] = found
        levels[key] = max(levels.get(key, Level.WITHIN), found.level)
    for key, own in levels.items():
        track = here.track(key)._replace(finding=findings[key])
        level = max(track.level, own)
        if level is not Level.WITHIN:
            yield _step(here, track, level, ())


def _thunder(here: FieldNow) -> Iterator[Step]:
    track = here.track(here.thunder_key)
    assessment = here.assessment
    own = Level.WITHIN
    if assessment is not None and assessment.thunder is not None and not here.fall_back:
        own = assessment.thunder.level
    level = max(track.level, own)
    if level is not Level.WITHIN:
        yield _step(here, track, level, ())


def _step(here: FieldNow, track: Track, level: Level, remaining: tuple[str, ...]) -> Step:
    below = track.finding is not None and track.finding.level is not Level.OVER
    if level is Level.OVER:
        name = StepName.OPENED
        if track.easing or below:
            name = StepName.EASING
        elif track.episode is not None and track.episode.unsettled:
            name = StepName.UNSETTLED
    else:
        name = StepName.NEAR
    left = () if level is Level.OVER else remaining
    return _named(here, track, name, level, track.finding, track.end, "", left)


def _named(
    here: FieldNow,
    track: Track,
    name: StepName,
    level: Level,
    finding: Finding | None,
    end: str,
    runway: str,
    remaining: tuple[str, ...],
) -> Step:
    span = track.episode
    ref = here.situation.ref
    return Step(
        id=computed_id("board", str(track.key), name.value, runway),
        episode="" if span is None else computed_id(str(track.key), span.opened_by),
        name=name,
        track=track.key,
        at=here.now,
        level=level,
        finding=finding,
        end=end,
        runway=runway,
        remaining=remaining,
        since=None if span is None else span.opened_at,
        worst=None if span is None else span.worst,
        reports=() if ref is None else (ref,),
    )


def _no_data(here: FieldNow, group: str, seen: Seen | None) -> Step:
    state = here.read.state
    since = state.started_at if seen is None else seen.at
    silent = silence.begin(here.airfield.id, group, since, never=seen is None)
    cover = covering(here.airfield, state, here.now) if group == silence.WIND else None
    last: ReportRef | None = None if seen is None else seen.ref
    kinds = {TrackKind.THUNDER} if group == silence.THUNDER else _OF_WIND
    affected = tuple(t.track for t in here.situation.open_tracks if t.track.kind in kinds)
    return silence.no_data(
        here.airfield.id,
        silent,
        here.now,
        last,
        affected,
        "" if cover is None else cover.station,
    )


_OF_WIND = frozenset({TrackKind.RUNWAYS, TrackKind.GROUND})
