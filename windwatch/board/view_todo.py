"""What to do now, in the words that a notice would have."""

from __future__ import annotations

from collections import Counter
from typing import Final

from windwatch.assessment.values import MARK_OF_LEVEL, Level, Mark, RunwaysFinding
from windwatch.board.ends import out, remain, remaining
from windwatch.board.now import FieldNow
from windwatch.board.values import Stand, ThunderShown, ToDo
from windwatch.board.view_steps import runway_step, steps_now
from windwatch.episodes.silence import THUNDER
from windwatch.episodes.track import Track
from windwatch.episodes.values import Step, StepName, TrackKind
from windwatch.fleet import PARKED_QUANTITIES, TAXI
from windwatch.notices import words
from windwatch.notices.actions import action_rows
from windwatch.notices.clean import visible
from windwatch.notices.figures import remaining_text, runways_text
from windwatch.notices.headline import headline
from windwatch.notices.scene import mark_of
from windwatch.rules import in_words

NOTHING_JUDGED: Final = "Nothing is judged here: no limit is configured"
NONE_NEAR: Final = "Within: nothing here is near its limit or over it; your decision"
ONE_REMAINS: Final = "Within: a runway remains within limits for everybody here; your decision"
SAME_REMAINS: Final = "Within: {ends} for everybody here; your decision"
# What the others are, behind "and 13 more", in the order of doing: one of them, and several.
NO_RUNWAY: Final = ("without a runway", "without a runway")
RUNWAY_LIMITS: Final = ("runway limit", "runway limits")
TAXI_LIMITS: Final = ("taxi limit", "taxi limits")
PARKING_LIMITS: Final = ("parking limit", "parking limits")
OTHER_LIMITS: Final = ("other limit on the ground", "other limits on the ground")
THUNDER_TOO: Final = ("thunder", "thunder")
NOT_KNOWN_TOO: Final = ("thing not known", "things not known")
_KINDS: Final = (
    *(NO_RUNWAY, RUNWAY_LIMITS, TAXI_LIMITS, PARKING_LIMITS, OTHER_LIMITS),
    *(THUNDER_TOO, NOT_KNOWN_TOO),
)
THUNDER_LAST: Final = (
    "last reported {at}; counts as over until a report {hold} or more later is free of it"
)
THUNDER_HELD: Final = "not in the newest report; counts as over until {hold} have passed without it"
NOT_TAXIING_YET: Final = "No taxiing yet for {names}: not yet back within limits."
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
    stand = _stand(here, steps, aircraft)
    return ToDo(
        stand,
        _headline(here, steps, stand, aircraft),
        _sentences(here, steps, aircraft),
        runway_lines(here, aircraft),
        outs(here, aircraft),
    )


def _sentences(here: FieldNow, steps: tuple[Step, ...], aircraft: str | None) -> tuple[str, ...]:
    """What to do; of runways that are out, every end is named in `ToDo.outs`."""
    whole = tuple(step for step in steps if not step.runway)
    if not whole:
        return ()
    said = [visible(row.line) for row in action_rows(here.scene(whole, aircraft))]
    held = [s for s in whole if s.track.quantity == TAXI and s.name is StepName.EASING]
    if held:
        names = words.listed(list(dict.fromkeys(s.track.aircraft for s in held)))
        # Beside who must stop; else before the last sentence, which is to wait.
        stops = [place for place, each in enumerate(said) if "taxiing" in each]
        place = stops[-1] + 1 if stops else max(1, len(said) - 1)
        said.insert(place, visible(NOT_TAXIING_YET.format(names=names)))
    return tuple(said)


def outs(here: FieldNow, aircraft: str | None = None) -> tuple[str, ...]:
    """Who lost a runway while another remains, and every end that is out for them."""
    assessment = here.assessment
    if assessment is None or not here.known:
        return ()
    found: dict[tuple[tuple[str, ...], tuple[str, ...]], list[tuple[str, str]]] = {}
    for subject in assessment.runways:
        if aircraft not in (None, subject.aircraft):
            continue
        kept, over = ends_kept_and_over(here, subject)
        lost = [each for each in subject.runways if not any(e.end in kept for e in each.ends)]
        if kept and lost:
            found.setdefault((kept, over), []).append((subject.aircraft, subject.pilot_limits))
    lines = sorted(found.items(), key=lambda each: (len(each[0][0]), each[0]))
    return tuple(
        # What is out first: the mark of over stands before the line.
        visible(f"{words.subjects(whom)}: {out(over)}; {_rest(kept)}")
        for (kept, over), whom in lines
    )


def _rest(kept: tuple[str, ...]) -> str:
    return remaining(kept) if len(kept) == 1 else remain(kept)


def ends_kept_and_over(
    here: FieldNow, subject: RunwaysFinding
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The ends that remain not over, best first; and those that are out."""
    track = here.track(here.runways_key(subject.aircraft, subject.pilot_limits))
    held = {standing.runway: standing.level for standing in track.standing}
    order = [standing.runway for standing in track.standing]
    kept: list[str] = []
    over: list[str] = []
    for runway in sorted(
        subject.runways,
        key=lambda each: order.index(each.runway) if each.runway in order else len(order),
    ):
        for end in sorted(runway.ends, key=lambda end: end.end != runway.best.end):
            level = max(end.level, held.get(runway.runway, Level.WITHIN))
            (over if level is Level.OVER else kept).append(end.end)
    return tuple(kept), tuple(over)


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
        return visible(_with_the_rest(here, leading, aircraft))
    if stand.mark is Mark.UNKNOWN:
        return NOTHING_JUDGED
    found = here.assessment
    runways = () if found is None else found.runways
    flies = [each for each in runways if aircraft in (None, each.aircraft)]
    if not flies:
        return NONE_NEAR
    kept = [ends_kept_and_over(here, each)[0] for each in flies]
    shared = tuple(end for end in kept[0] if all(end in other for other in kept))
    if not shared:
        return ONE_REMAINS
    verb = "remains" if len(shared) == 1 else "remain"
    said = f"{words.listed(shared)} {verb} within limits"
    if len(flies) == 1 or aircraft is not None:
        return visible(f"Within: {said}; your decision")
    return visible(SAME_REMAINS.format(ends=said))


def _with_the_rest(here: FieldNow, leading: tuple[Step, ...], aircraft: str | None) -> str:
    """The headline of a notice, with what the others are: ``and 13 more: 4 without a runway``."""
    scene = here.scene(leading, aircraft)
    lead = scene.lead or leading[0]
    alone = headline(here.scene((lead,), aircraft))
    others = [step for step in leading if step.id != lead.id]
    if not others:
        return alone
    told = []
    for near, lead_in in ((False, ""), (True, "near: ")):
        counts = Counter(_kind(step) for step in others if (step.level is Level.NEAR) is near)
        if counts:
            told.append(
                lead_in
                + ", ".join(_counted(kind, counts[kind]) for kind in _KINDS if kind in counts)
            )
    return f"{alone}, and {len(others)} more: {'; '.join(told)}"


def _counted(kind: tuple[str, str], count: int) -> str:
    return kind[0] if kind == THUNDER_TOO else f"{count} {kind[count > 1]}"


def _kind(step: Step) -> tuple[str, str]:
    """What a step is about, in the words of `_KINDS`."""
    match step.track.kind:
        case TrackKind.THUNDER:
            return THUNDER_TOO
        case TrackKind.DATA:
            return NOT_KNOWN_TOO
        case TrackKind.RUNWAYS:
            return NO_RUNWAY if step.level is Level.OVER else RUNWAY_LIMITS
        case TrackKind.GROUND:
            if step.track.quantity == TAXI:
                return TAXI_LIMITS
            parked = step.track.quantity in PARKED_QUANTITIES
            return PARKING_LIMITS if parked else OTHER_LIMITS


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
        kept, over = ends_kept_and_over(here, subject)
        if step.level is not Level.OVER and kept:
            text = f"{remain(kept)}{f', {out(over)}' if over else ''}"
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
    note = _thunder_held(here, track) if track.level is Level.OVER and not reasons else ""
    return ThunderShown(Stand(mark_of(steps[0]), None, note), tuple(map(visible, reasons)))


def _thunder_held(here: FieldNow, track: Track) -> str:
    """Why it counts as over although the newest report does not tell of it."""
    last = track.gauge("").last_over_at
    hold = in_words(here.rules.convective_hold)
    if last is None:
        return THUNDER_HELD.format(hold=hold)
    return THUNDER_LAST.format(at=here.times.at(last), hold=hold)
