"""What to do now, in the words that a notice would have."""

from __future__ import annotations

from typing import Final

from windwatch.assessment.values import MARK_OF_LEVEL, Level, Mark
from windwatch.board.now import FieldNow
from windwatch.board.values import Stand, ThunderShown, ToDo
from windwatch.board.view_steps import runway_step, steps_now
from windwatch.episodes.silence import THUNDER
from windwatch.episodes.values import Step, StepName, TrackKind
from windwatch.notices import words
from windwatch.notices.actions import action_rows
from windwatch.notices.clean import visible
from windwatch.notices.figures import remaining_text, runways_text
from windwatch.notices.headline import headline
from windwatch.notices.scene import mark_of

NOTHING_JUDGED: Final = "Nothing is judged here: no limit is configured"
NONE_NEAR: Final = "Within: nothing here is near its limit or over it; your decision"
ONE_REMAINS: Final = "Within: a runway remains within limits for everybody here; your decision"
NOT_WATCHED: Final = "Unknown: no watch is running here"
WIND_NOT_KNOWN: Final = "The present wind is not known"


def todo(here: FieldNow, aircraft: str | None = None) -> ToDo:
    """What to do now.

    Parameters
    ----------
    aircraft : str or None
        Only for this one; None: for the whole field.
    """
    steps = steps_now(here, aircraft)
    scene = here.scene(steps, aircraft)
    sentences = tuple(visible(row.line) for row in action_rows(scene))
    stand = _stand(here, steps, aircraft)
    return ToDo(
        stand, _headline(here, steps, stand, aircraft), sentences, runway_lines(here, aircraft)
    )


def _stand(here: FieldNow, steps: tuple[Step, ...], aircraft: str | None) -> Stand:
    """The worst of all; of a field that is not known, with the worst that was known last."""
    if not here.known:
        return Stand(Mark.UNKNOWN, _last_known(here, aircraft))
    if not _judges(here, aircraft):
        return Stand(Mark.UNKNOWN)
    # On most days one of two runways is out for somebody: no alarm while another remains.
    telling = [s for s in steps if s.track.kind is not TrackKind.DATA and not s.runway]
    worst = max((step.level for step in telling), default=Level.WITHIN)
    over = [step for step in telling if step.level is Level.OVER]
    easing = bool(over) and all(step.name is StepName.EASING for step in over)
    return Stand(MARK_OF_LEVEL[worst], None, words.NOT_YET if easing else "")


def _judges(here: FieldNow, aircraft: str | None) -> bool:
    found = here.assessment
    if found is None:
        return False
    names = {each.aircraft for each in found.runways} | {each.aircraft for each in found.ground}
    return bool(names) if aircraft is None else aircraft in names


def _last_known(here: FieldNow, aircraft: str | None) -> Mark | None:
    tracks = [t for t in here.tracks.values() if aircraft in (None, t.key.aircraft)]
    if here.assessment is None or not tracks:
        return None
    return MARK_OF_LEVEL[max(track.level for track in tracks)]


def _headline(here: FieldNow, steps: tuple[Step, ...], stand: Stand, aircraft: str | None) -> str:
    if here.blind:
        return NOT_WATCHED
    # That the weather is not known is said below, and in a banner; the wind leads.
    leading = tuple(s for s in steps if not s.runway and not (here.known and _of_weather(s)))
    if leading:
        return visible(headline(here.scene(leading, aircraft)))
    if stand.mark is Mark.UNKNOWN:
        return NOTHING_JUDGED
    found = here.assessment
    names = () if found is None else tuple(each.aircraft for each in found.runways)
    flies = bool(names) if aircraft is None else aircraft in names
    return ONE_REMAINS if flies else NONE_NEAR


def _of_weather(step: Step) -> bool:
    return step.name is StepName.NO_DATA and step.track.quantity == THUNDER


def runway_lines(here: FieldNow, aircraft: str | None = None) -> tuple[str, ...]:
    """Which runway remains for whom, the worst first; equal answers share a line."""
    assessment = here.assessment
    if assessment is None or not here.known:
        return ()
    found: dict[tuple[int, str], list[tuple[str, str]]] = {}
    for subject in assessment.runways:
        if aircraft not in (None, subject.aircraft):
            continue
        step = runway_step(here, subject.aircraft, subject.pilot_limits, subject.level)
        text = remains(here, step)
        found.setdefault((-int(step.level), text), []).append(
            (subject.aircraft, subject.pilot_limits)
        )
    return tuple(
        visible(f"{words.subjects(pairs)}: {text}") for (_, text), pairs in sorted(found.items())
    )


def remains(here: FieldNow, step: Step) -> str:
    """What remains for a subject: the runways left, or why none is."""
    if not here.known:
        return WIND_NOT_KNOWN
    if step.level is Level.OVER:
        return runways_text(here.scene((step,)), step)
    return remaining_text(step)


def thunder_shown(here: FieldNow) -> ThunderShown | None:
    """Thunder at the field; None where there is none, and that is known."""
    track = here.track(here.thunder_key)
    if not here.weather_known:
        seen = here.read.state.weather
        last = None if seen is None else MARK_OF_LEVEL[track.level]
        return ThunderShown(Stand(Mark.UNKNOWN, last), ())
    steps = [s for s in steps_now(here) if s.track.kind is TrackKind.THUNDER]
    if not steps:
        return None
    found = here.assessment
    fresh = found is not None and here.scene(()).field_weather
    reasons = found.thunder.reasons if fresh and found is not None and found.thunder else ()
    below = track.level is Level.OVER and not reasons
    note = f"no longer reported, {words.NOT_YET}" if below else ""
    return ThunderShown(Stand(mark_of(steps[0]), None, note), tuple(map(visible, reasons)))
