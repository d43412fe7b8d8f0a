"""What to do, in the order of doing: people, then aircraft that move, then parked ones."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from windwatch.assessment.values import Level
from windwatch.episodes.clock_doubt import WATCH
from windwatch.episodes.values import Step, StepName, TrackKind
from windwatch.fleet import PARKED_QUANTITIES, SHELTER, TAXI, TIE_DOWN
from windwatch.notices import words
from windwatch.notices.figures import from_to, remaining_text, thunder_text, track_words
from windwatch.notices.page import Row
from windwatch.notices.scene import ALARMS, Scene
from windwatch.rules import in_words

_OVER: Final = frozenset(
    {StepName.OPENED, StepName.WORSENED, StepName.REMINDER, StepName.UNSETTLED}
)


def action_rows(scene: Scene) -> tuple[Row, ...]:
    """What this contact should do now."""
    sentences: list[str] = []
    for part in _LATE_PARTS if scene.late else _PARTS:
        sentences += part(scene)
    if not sentences:
        sentences = ["Nothing new to do; this is for your information."]
    return tuple(Row(sentence) for sentence in dict.fromkeys(sentences))


# --- which steps ----------------------------------------------------------------


def _steps(scene: Scene, kind: TrackKind, quantity: str = "") -> list[Step]:
    return [
        s
        for s in scene.steps
        if not s.past and s.track.kind is kind and (not quantity or s.track.quantity == quantity)
    ]


def _over(steps: list[Step]) -> list[Step]:
    return [s for s in steps if s.name in _OVER]


def _near(steps: list[Step]) -> list[Step]:
    return [s for s in steps if s.name is StepName.NEAR]


def _names(steps: list[Step]) -> str:
    return words.listed(list(dict.fromkeys(s.track.aircraft for s in steps)))


def _subjects(steps: list[Step]) -> str:
    return words.subjects([(s.track.aircraft, s.track.pilot_limits) for s in steps])


# --- the parts, in the order of doing ---------------------------------------------


def _unknown(scene: Scene) -> list[str]:
    data = [s for s in _steps(scene, TrackKind.DATA) if s.name is StepName.NO_DATA]
    if not data:
        return []
    wind = any(s.track.quantity == "wind" for s in data)
    what, look = ("wind", "the windsock") if wind else ("weather", "the sky")
    ask = f"Ask somebody who can see {look}" if scene.ground_only else f"Judge by {look}"
    sentences = [
        (
            f"Nothing is known of the present {what} here; that is not the end of any alert. "
            f"{ask}, and leave secured what is secured."
        )
    ]
    if scene.fall_back:
        sentences.append(
            f"{scene.situation.station_in_use} covers for {scene.airfield.station.id}: see below. "
            "It can open alerts, and by itself ends none of these for "
            f"{in_words(scene.rules.main_gone)}."
        )
    return sentences


def _unknown_now(scene: Scene) -> list[str]:
    if scene.known:
        return []
    return ["Nothing is known of the present wind here; that is not the end of any alert."]


def _withdrawn(scene: Scene) -> list[str]:
    steps = scene.named(StepName.WITHDRAWN)
    if not steps:
        return []
    times = dict.fromkeys(scene.times.at(s.since) for s in steps if s.since is not None)
    which = f" of {words.listed(list(times))}" if times else " that caused it"
    return [
        (
            f"The alert no longer stands: the report{which} was corrected. "
            "Judge by the corrected report below; your decision."
        )
    ]


def _thunder(scene: Scene) -> list[str]:
    steps = _steps(scene, TrackKind.THUNDER)
    if _over(steps):
        if scene.ground_only:
            return ["Thunder at the field: people come before aircraft."]
        return [
            (
                f"Recall those out and stop taxiing: {thunder_text(scene, _over(steps)[0])}. "
                "People come before aircraft."
            )
        ]
    if _near(steps):
        if scene.ground_only:
            return ["Thunder is near: secure before the outflow comes."]
        return ["Thunder is near: recall, stop taxiing and secure before the outflow comes."]
    return []


def _runways(scene: Scene) -> list[str]:
    steps = _steps(scene, TrackKind.RUNWAYS)
    sentences = []
    over = _over(steps)
    if over:
        before = _down_before(scene, over)
        already = f" (down before: {before})" if before else ""
        recall = "" if _thunder_recalls(scene) else "; recall those out"
        sentences.append(f"Keep {_subjects(over)} down{recall}{already}.")
    for out in (s for s in steps if s.name is StepName.RUNWAY_OUT):
        who = _subjects([out])
        sentences.append(f"{who}: not {out.runway}. {remaining_text(out)}.")
    near = _near(steps)
    if near:
        sentences.append(f"{_subjects(near)}: near the limits; expect to keep them down.")
    return sentences


def _down_before(scene: Scene, over: list[Step]) -> str:
    """Who is down already by an episode that this notice does not open."""
    told = {step.track for step in over}
    return words.subjects(
        [
            (t.track.aircraft, t.track.pilot_limits)
            for t in scene.open_tracks
            if t.track.kind is TrackKind.RUNWAYS and t.track not in told
        ]
    )


def _thunder_recalls(scene: Scene) -> bool:
    """Whether thunder at the field has already said: recall, stop taxiing."""
    return bool(_over(_steps(scene, TrackKind.THUNDER))) and not scene.ground_only


def _taxi(scene: Scene) -> list[str]:
    steps = _steps(scene, TrackKind.GROUND, TAXI)
    sentences = []
    if _over(steps) and not _thunder_recalls(scene):
        sentences.append(f"Stop taxiing {_names(_over(steps))}.")
    if _near(steps):
        sentences.append(f"Be ready to stop taxiing {_names(_near(steps))}.")
    return sentences


def _tie_down(scene: Scene) -> list[str]:
    steps = _steps(scene, TrackKind.GROUND, TIE_DOWN)
    over = _over(steps)
    again = [s for s in over if s.name in (StepName.WORSENED, StepName.REMINDER)]
    fresh = [s for s in over if s not in again]
    sentences = []
    if fresh:
        sentences.append(f"Tie down {_names(fresh)} now.")
    if again:
        sentences.append(f"Check the tie-downs of {_names(again)} again.")
    if _near(steps):
        sentences.append(f"Make ready to tie down {_names(_near(steps))}.")
    return sentences


def _shelter(scene: Scene) -> list[str]:
    steps = _steps(scene, TrackKind.GROUND, SHELTER)
    sentences = []
    if _over(steps):
        sentences.append(
            f"{_names(_over(steps))}: past the shelter limit. Into the hangar, if that needs no "
            "taxiing and endangers nobody; else secure more on the spot."
        )
    if _near(steps):
        sentences.append(f"Make room in the hangar for {_names(_near(steps))}, if there is time.")
    return sentences


def _own_quantities(scene: Scene) -> list[str]:
    """Ground quantities of the school's own: towing, hangar doors."""
    sentences = []
    for step in _steps(scene, TrackKind.GROUND):
        if step.track.quantity in (TAXI, TIE_DOWN, SHELTER):
            continue
        name = words.quantity(step.track.quantity)
        if step.name in _OVER:
            sentences.append(f"{words.first_upper(name)}: stop for {step.track.aircraft}.")
        elif step.name is StepName.NEAR:
            sentences.append(
                f"{words.first_upper(name)}: be ready to stop for {step.track.aircraft}."
            )
    return sentences


def _not_there(scene: Scene) -> list[str]:
    if scene.ground_only and any(s.name in ALARMS and s.track.aircraft for s in scene.steps):
        return ["Not at the field? Ask somebody there."]
    return []


def _unsettled(scene: Scene) -> list[str]:
    steps = scene.named(StepName.UNSETTLED)
    if not steps:
        return []
    names = words.listed([track_words(s.track) for s in steps])
    return [f"The wind swings about the limit: treat {names} as over until you hear again."]


def _easing(scene: Scene) -> list[str]:
    steps = scene.named(StepName.EASING)
    if not steps:
        return []
    names = words.listed(list(dict.fromkeys(track_words(s.track) for s in steps)))
    return [f"Wait, {words.NOT_YET}: {names}. Leave secured what is secured."]


def _back(scene: Scene) -> list[str]:
    steps = scene.named(StepName.BACK)
    if not steps:
        return []
    parked = [s for s in steps if s.track.quantity in PARKED_QUANTITIES]
    sentences = []
    limited = [s for s in steps if s.track.kind is not TrackKind.THUNDER]
    if limited:
        names = words.listed(_back_names(limited))
        sentences.append(f"{words.first_upper(words.BACK)}: {names}.")
    if len(limited) < len(steps):
        sentences.append(f"Thunder is no longer reported; {words.BACK}.")
    parked_names = dict.fromkeys(s.track.aircraft for s in parked)
    still = [name for name in parked_names if _still_past(scene, name)]
    free = [name for name in parked_names if name not in still]
    if free:
        sentences.append(f"{words.first_upper(words.REMOVE_LOCKS)}: {words.listed(free)}.")
    if still:
        sentences.append(
            f"Leave {words.listed(still)} secured: another limit for parked aircraft is not "
            "yet back."
        )
    return sentences


def _still_past(scene: Scene, aircraft: str) -> bool:
    """Whether a parked limit of an aircraft is still open, told to this contact or not."""
    if any(
        t.track.aircraft == aircraft and t.track.quantity in PARKED_QUANTITIES
        for t in scene.open_tracks
    ):
        return True
    assessment = scene.situation.assessment
    return assessment is not None and any(
        name == aircraft and finding.quantity in PARKED_QUANTITIES and finding.level is Level.OVER
        for name, finding in assessment.ground
    )


def _back_names(steps: list[Step]) -> list[str]:
    """What is back, quantity by quantity: ``tie-down X-LARK, X-TERN``."""
    ground: dict[str, list[str]] = {}
    others: list[str] = []
    for step in steps:
        if step.track.kind is TrackKind.GROUND:
            ground.setdefault(step.track.quantity, []).append(step.track.aircraft)
        else:
            others.append(track_words(step.track))
    return [f"{words.quantity(q)} {', '.join(n)}" for q, n in ground.items()] + others


def _runway_back(scene: Scene) -> list[str]:
    return [
        f"{s.runway} {words.BACK}: {_subjects([s])}." for s in scene.named(StepName.RUNWAY_BACK)
    ]


def _gap(scene: Scene) -> list[str]:
    return [
        (
            f"Nobody watched from {from_to(scene, step)}: windwatch did not run, or its machine "
            "slept. Its silence in that time said nothing about the wind. What was reported then "
            "was asked for, as far back as the feed reaches, and judged."
        )
        for step in scene.named(StepName.DATA_BACK)
        if step.track.quantity == WATCH
    ]


def _data_back(scene: Scene) -> list[str]:
    steps = [s for s in scene.named(StepName.DATA_BACK) if s.track.quantity != WATCH]
    if not steps:
        return []
    what = "wind" if any(s.track.quantity == "wind" for s in steps) else "weather"
    still = (
        "What is still open is listed below." if scene.open_tracks else "No alert of yours is open."
    )
    return [f"The {what} is known again from {scene.airfield.station.id}. {still}"]


def _ended(scene: Scene) -> list[str]:
    steps = scene.named(StepName.ENDED)
    if not steps:
        return []
    names = words.listed([track_words(s.track) for s in steps])
    return [
        (
            f"You will hear no more of this alert ({names}): what is watched has changed, "
            "not the wind. Judge by the wind itself."
        )
    ]


def _past(scene: Scene) -> list[str]:
    past = [s for s in scene.steps if s.past]
    if not past:
        return []
    parked = [s for s in past if s.track.quantity in PARKED_QUANTITIES]
    if parked:
        return [f"It is past. Look over {_names(parked)} before the next flight."]
    return ["It is past; told once, for the record."]


def _state_now(scene: Scene) -> list[str]:
    """What follows from the episodes that are open, for a notice that replaces old ones."""
    if not scene.late:
        return []
    if not scene.open_tracks:
        return ["No alert of yours is open now; your decision."]
    sentences = []
    open_now = [t for t in scene.open_tracks if not t.easing]
    runways = [
        (t.track.aircraft, t.track.pilot_limits)
        for t in open_now
        if t.track.kind is TrackKind.RUNWAYS
    ]
    if runways:
        sentences.append(f"Keep {words.subjects(runways)} down; recall those out.")
    for quantity, sentence in (
        (TAXI, "Do not taxi {}."),
        (TIE_DOWN, "Check that {} is tied down."),
        (SHELTER, "{}: past the shelter limit."),
    ):
        names = [t.track.aircraft for t in open_now if t.track.quantity == quantity]
        if names:
            sentences.append(sentence.format(words.listed(names)))
    if not sentences:
        sentences.append("Leave secured what is secured; see what is open below.")
    return sentences


_LATE_PARTS: Final[tuple[Callable[[Scene], list[str]], ...]] = (_unknown_now, _state_now)
_PARTS: Final[tuple[Callable[[Scene], list[str]], ...]] = (
    _unknown,
    _thunder,
    _runways,
    _taxi,
    _tie_down,
    _shelter,
    _own_quantities,
    _not_there,
    _unsettled,
    _easing,
    _withdrawn,
    _back,
    _runway_back,
    _gap,
    _data_back,
    _ended,
    _past,
    _state_now,
)
