"""Which pictures go with a notice: the field in this wind, and the controls on the way.

They answer at a glance which runway, and how the controls are held. Their facts are chosen here;
`drawn` makes the drawing, when a mail is sent.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from windwatch.airmanship import control_words
from windwatch.airmanship.control_table import ControlPositions
from windwatch.airmanship.variation import true_heading
from windwatch.assessment.values import EndFinding, Mark, RunwayFinding
from windwatch.drawings.field_facts import Field, FieldEnd, FieldRunway, end_of
from windwatch.drawings.svg import Drawing
from windwatch.episodes.values import Step, StepName, TrackKey, TrackKind, computed_id
from windwatch.fleet import Runway
from windwatch.notices import words
from windwatch.notices.advice import Advice, Hold, LegAdvice, present_wind, wing_drawn
from windwatch.notices.clean import visible
from windwatch.notices.figures import who
from windwatch.notices.scene import Scene, runways_of
from windwatch.notices.values import HeldOnLeg, Picture
from windwatch.wind import DegreesTrue

MOST: Final = 4  # pictures in one mail
# Of these nothing is judged any more.
_NOT_JUDGED: Final = frozenset({StepName.ENDED, StepName.NO_DATA})


def pictures_for(scene: Scene, advice: Advice) -> tuple[Picture, ...]:
    """The pictures of a notice, the most needed first; none where the wind is not known.

    A contact who hears of parked aircraft alone gets the field and its wind.
    """
    if present_wind(scene) is None:
        return ()
    field = _field(scene)
    first = () if field is None else (_picture(field, "", scene.unit),)
    if scene.ground_only:
        return first
    return first + _cards(scene, advice, MOST - len(first))


def drawn(picture: Picture) -> Drawing:
    """The drawing of a picture, on paper of its own: no mail program turns it dark."""
    from windwatch.drawings.control_card import Craft, control_card  # noqa: PLC0415 - when sent
    from windwatch.drawings.field import field_drawing  # noqa: PLC0415
    from windwatch.drawings.theme import LIGHT  # noqa: PLC0415

    facts = picture.facts
    if isinstance(facts, Field):
        return field_drawing(facts, LIGHT, picture.unit)
    craft = Craft(facts.gear, facts.wing)
    return control_card(facts.positions, craft, LIGHT, facts.leg, facts.heading_true, picture.unit)


def _picture(facts: Field | HeldOnLeg, caption: str, unit: str) -> Picture:
    return Picture(computed_id("picture", repr(facts), caption, unit), facts, caption, unit)


# --- the field ---------------------------------------------------------------------


def _field(scene: Scene) -> Field | None:
    """The field as the notice's leading runway subject finds it; without one, nothing is judged."""
    if not scene.airfield.runways:
        return None
    subject = _subject(scene)
    return Field(
        name=visible(f"{scene.airfield.id} {scene.airfield.name}".strip()),
        wind=present_wind(scene),
        runways=_runways(scene, subject),
        for_whom="" if subject is None else visible(who(subject)),
        as_of=_as_of(scene),
    )


def _subject(scene: Scene) -> TrackKey | None:
    """Whose runways the notice is about in the first place."""
    steps = (
        step.track
        for step in scene.steps
        if step.track.kind is TrackKind.RUNWAYS and not step.past and step.name not in _NOT_JUDGED
    )
    still_open = (t.track for t in scene.open_tracks if t.track.kind is TrackKind.RUNWAYS)
    subjects = steps if scene.ground_only else (*steps, *still_open)
    return next(iter(subjects), None)


def _runways(scene: Scene, subject: TrackKey | None) -> tuple[FieldRunway, ...]:
    assessment = scene.situation.assessment
    found = runways_of(assessment, subject) if assessment and subject else None
    judged = {each.runway: each for each in found.runways} if found else {}
    held = _held(scene, subject)
    return tuple(
        _not_judged(scene, runway)
        if (each := judged.get(runway.name)) is None
        else FieldRunway(tuple(_end(end, each, held, scene.unit) for end in each.ends))
        for runway in scene.airfield.runways
    )


class _Held(NamedTuple):
    """Which runways count as over although their figure is not: they are not yet back."""

    every: bool
    remaining: frozenset[str]

    def holds(self, runway: RunwayFinding) -> bool:
        """Whether a runway is one of them."""
        if self.every:
            return True
        return bool(self.remaining) and self.remaining.isdisjoint(e.end for e in runway.ends)


def _held(scene: Scene, subject: TrackKey | None) -> _Held:
    if any(track.track == subject for track in scene.open_tracks):
        return _Held(True, frozenset())
    steps: list[Step] = [s for s in scene.steps if s.track == subject and not s.past]
    newest = max(steps, key=lambda step: step.at, default=None)
    return _Held(False, frozenset(() if newest is None else newest.remaining))


def _end(found: EndFinding, runway: RunwayFinding, held: _Held, unit: str) -> FieldEnd:
    end = end_of(found, unit)
    if end.mark in (Mark.WITHIN, Mark.NEAR) and held.holds(runway):
        return end._replace(mark=Mark.OVER, reason="not yet back")
    return end


def _not_judged(scene: Scene, runway: Runway) -> FieldRunway:
    """A runway of which the notice says nothing: drawn, and nothing said."""
    variation = scene.situation.variation_deg
    headings = [(end.name, *true_heading(end.heading, variation)) for end in runway.ends]
    return FieldRunway(
        tuple(FieldEnd(name, true, approximate=about) for name, true, about in headings)
    )


def _as_of(scene: Scene) -> str:
    seen = scene.situation.wind_seen_at
    by = f" by {scene.situation.station_in_use}" if scene.fall_back else ""
    return "" if seen is None else f"observed{by} {scene.times.at(seen)}"


# --- the controls ------------------------------------------------------------------


class _Card(NamedTuple):
    """A way of holding the controls: for whom, and on which legs."""

    holds: tuple[Hold, ...]
    legs: tuple[LegAdvice, ...]

    @property
    def aircraft(self) -> frozenset[str]:
        return frozenset(name for hold in self.holds for name in hold.aircraft)


def _cards(scene: Scene, advice: Advice, most: int) -> tuple[Picture, ...]:
    """How the controls are held on the way; types and legs with the same answer share one.

    Where they are too many, those of the aircraft come first for which the field is drawn, and of
    these the most critical; all of them stand in the words below.
    """
    subject = _subject(scene) or (scene.lead.track if scene.lead else None)
    named = set() if subject is None else {subject.aircraft} - {""}
    cards = _shared(advice.taxi)
    chosen = sorted(
        range(len(cards)),
        key=lambda place: (
            bool(named) and named.isdisjoint(cards[place].aircraft),
            not cards[place].holds[0].positions.most_critical,
        ),
    )[:most]
    return tuple(_card(cards[place], scene.unit) for place in sorted(chosen))


def _shared(legs: tuple[LegAdvice, ...]) -> list[_Card]:
    found: dict[tuple[object, ...], _Card] = {}
    for leg in legs:
        answers: dict[tuple[object, ...], tuple[Hold, ...]] = {}
        for hold in leg.holds:
            # A yoke on the picture is of no use to whoever holds a stick.
            answer = (hold.gear, *_answer(hold.positions))
            answers[answer] = (*answers.get(answer, ()), hold)
        for answer, holds in answers.items():
            key = (*answer, *(hold.aircraft for hold in holds))
            before = found.get(key)
            found[key] = _Card(holds, (leg,)) if before is None else _add_leg(before, leg)
    return list(found.values())


def _answer(positions: ControlPositions) -> tuple[object, ...]:
    others = tuple(control_words.in_words(other) for other in positions.alternatives)
    return positions.relative_wind.quarter, control_words.in_words(positions), others


def _add_leg(card: _Card, leg: LegAdvice) -> _Card:
    return card._replace(legs=(*card.legs, leg))


def _card(card: _Card, unit: str) -> Picture:
    leg, *others = card.legs
    hold = card.holds[0]
    caption = words.first_upper(
        "; ".join(f"{words.GEAR[each.gear]}: {', '.join(each.aircraft)}" for each in card.holds)
    )
    if others:
        caption += f". Held the same: {words.listed([other.name for other in others])}"
    heading = DegreesTrue(leg.heading_true)
    facts = HeldOnLeg(visible(leg.name), heading, hold.gear, wing_drawn(hold), hold.positions)
    return _picture(facts, visible(caption), unit)
