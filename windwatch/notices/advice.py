"""What to do about this wind: controls on each taxi leg, and aircraft on their tie-downs."""

from __future__ import annotations

from functools import lru_cache
from typing import Final, NamedTuple

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship import control_words, tie_down
from windwatch.airmanship.control_positions import control_positions
from windwatch.airmanship.control_table import ControlPositions
from windwatch.airmanship.tie_down import Reminder, tie_down_reminders
from windwatch.airmanship.variation import to_magnetic, true_heading
from windwatch.airmanship.wing_lift import LiftBand, wing_lift_share
from windwatch.assessment.values import Level
from windwatch.fleet import PARKED_QUANTITIES, Aircraft, Airfield, TaxiLeg
from windwatch.notices.scene import ALARMS, Scene, parked_alarm
from windwatch.wind import KNOTS, DegreesTrue, HeadingTrue, Knots, Wind

# Where no taxi legs are configured: the card of eight.
_EIGHT: Final = tuple(
    TaxiLeg(f"taxiing {point}", HeadingTrue(DegreesTrue(degrees)))
    for point, degrees in (
        ("north", 360.0),
        ("north-east", 45.0),
        ("east", 90.0),
        ("south-east", 135.0),
        ("south", 180.0),
        ("south-west", 225.0),
        ("west", 270.0),
        ("north-west", 315.0),
    )
)
# Differences between textbooks: worth a lesson, not a line in a warning.
_NOT_IN_A_NOTICE: Final = frozenset(
    {control_words.HELD_BACK, control_words.ABEAM, control_words.ASTERN}
)


class Hold(NamedTuple):
    """One way of holding the controls, and the aircraft that it is for."""

    gear: Gear
    wings: tuple[WingPosition, ...]
    aircraft: tuple[str, ...]
    positions: ControlPositions


class LegAdvice(NamedTuple):
    """One taxi leg in this wind.

    Attributes
    ----------
    heading_true, heading_magnetic : float
        [°]
    approximate : bool
        The heading is known only from a painted number.
    holds : tuple of Hold
        Types with the same answer share one.
    """

    name: str
    heading_true: float
    heading_magnetic: float
    approximate: bool
    holds: tuple[Hold, ...]


class ParkedAdvice(NamedTuple):
    """One parked aircraft in this wind.

    Attributes
    ----------
    lift : LiftBand or None
        Share of its weight that the wing can carry; None without a stall speed.
    """

    craft: Aircraft
    reminders: tuple[Reminder, ...]
    lift: LiftBand | None


class Advice(NamedTuple):
    """What a notice advises for this wind."""

    taxi: tuple[LegAdvice, ...]
    parked: tuple[ParkedAdvice, ...]


def advice_for(scene: Scene) -> Advice:
    """Look up what a notice advises."""
    return Advice(taxi_advice(scene), parked_advice(scene))


def craft_concerned(scene: Scene) -> tuple[Aircraft, ...]:
    """Aircraft that the steps name, or else all that this contact hears about."""
    named = {s.track.aircraft for s in scene.steps if s.track.aircraft and not s.past}
    named |= {track.aircraft for s in scene.steps for track in s.affected if track.aircraft}
    if not named or any(not s.track.aircraft for s in scene.steps):
        named |= {t.track.aircraft for t in scene.open_tracks if t.track.aircraft}
        if not named or any(s.name in ALARMS and not s.track.aircraft for s in scene.steps):
            return scene.craft
    return tuple(craft for craft in scene.craft if craft.name in named)


def taxi_advice(scene: Scene) -> tuple[LegAdvice, ...]:
    """How the controls are held on each taxi leg; nothing where the wind is not known."""
    wind = present_wind(scene)
    craft = craft_concerned(scene)
    if wind is None or not craft:
        return ()
    return tuple(
        on_leg(leg, wind, craft, scene.situation.variation_deg) for leg in legs_of(scene.airfield)
    )


def legs_of(airfield: Airfield) -> tuple[TaxiLeg, ...]:
    """The field's taxi legs, or the eight directions where it has none."""
    return airfield.taxi_legs or _EIGHT


def present_wind(scene: Scene) -> Wind | None:
    """The wind, if it is known now."""
    report = scene.situation.report
    return report.wind if scene.known and report is not None else None


def on_leg(
    leg: TaxiLeg, wind: Wind, craft: tuple[Aircraft, ...], variation_deg: float
) -> LegAdvice:
    """How the controls are held on one taxi leg; types with the same answer share a line."""
    heading, approximate = true_heading(leg.heading, variation_deg)
    found: dict[tuple[Gear, str, tuple[str, ...]], Hold] = {}
    for each in craft:
        positions, said, others = _held(wind, heading, each.gear, each.wing)
        key = (each.gear, said, others)
        before = found.get(key)
        if before is None:
            found[key] = Hold(each.gear, (each.wing,), (each.name,), positions)
            continue
        wings = before.wings if each.wing in before.wings else (*before.wings, each.wing)
        # What is said of a high wing is the sterner word, and holds for the line.
        sterner = positions if each.wing is WingPosition.HIGH else before.positions
        found[key] = Hold(each.gear, wings, (*before.aircraft, each.name), sterner)
    return LegAdvice(
        leg.name, heading, to_magnetic(heading, variation_deg), approximate, tuple(found.values())
    )


@lru_cache(maxsize=128)
def _held(
    wind: Wind, heading: DegreesTrue, gear: Gear, wing: WingPosition
) -> tuple[ControlPositions, str, tuple[str, ...]]:
    """Positions, and they and their alternatives in words.

    Kept, because many aircraft and every contact ask the same of one report.
    """
    positions = control_positions(wind, heading, gear, wing)
    others = tuple(control_words.in_words(other) for other in positions.alternatives)
    return positions, control_words.in_words(positions), others


def wing_drawn(hold: Hold) -> WingPosition:
    """Of types that answer alike: the high wing, whose warning is sterner."""
    return WingPosition.HIGH if WingPosition.HIGH in hold.wings else WingPosition.LOW


def notes_in_notice(holds: tuple[Hold, ...]) -> tuple[str, ...]:
    """Notes on a leg that belong in a warning, each once."""
    notes = [note for hold in holds for note in hold.positions.notes]
    kept = dict.fromkeys(note for note in notes if note not in _NOT_IN_A_NOTICE)
    # The same warning, with and without the words for a high wing: the longer one stands.
    return tuple(
        note
        for note in kept
        if not any(other != note and note == _without_wing(other) for other in kept)
    )


def _without_wing(note: str) -> str:
    return note.replace(control_words.ABOVE_ALL, "")


def parked_advice(scene: Scene) -> tuple[ParkedAdvice, ...]:
    """Reminders for the parked aircraft concerned, where anything threatens them."""
    if not parked_alarm(scene):
        return ()
    report = scene.situation.report
    assessment = scene.situation.assessment
    thunder = assessment.thunder if assessment and scene.field_weather else None
    wind = present_wind(scene)
    in_danger = _in_danger(scene)
    return tuple(
        parked_in(
            craft,
            wind,
            None if thunder is None else thunder.level,
            still_open=any(
                t.track.aircraft == craft.name and t.track.quantity in PARKED_QUANTITIES
                for t in scene.open_tracks
            ),
            unit=scene.unit,
        )
        for craft in craft_concerned(scene)
        if report is not None and ("" in in_danger or craft.name in in_danger)
    )


def _in_danger(scene: Scene) -> frozenset[str]:
    """Aircraft of which a parked limit is in a step or still open; '': all, under thunder."""
    tracks = [t.track for t in scene.open_tracks if not t.easing]
    tracks += [s.track for s in scene.steps if s.name in ALARMS and not s.past]
    return frozenset(
        t.aircraft for t in tracks if not t.aircraft or t.quantity in PARKED_QUANTITIES
    )


def parked_in(
    craft: Aircraft,
    wind: Wind | None,
    thunder: Level | None,
    *,
    still_open: bool,
    unit: str = KNOTS,
) -> ParkedAdvice:
    """Reminders and wing lift for one parked aircraft in a wind."""
    reminders, lift = _of_type(
        craft.gear,
        craft.wing,
        craft.stall_speed,
        wind,
        unit,
        front_coming=thunder is Level.NEAR,
    )
    # Flying out is no advice once the wind or the thunder is here, or nothing is known.
    too_late = (
        wind is None or still_open or thunder is Level.OVER or _past_a_parked_limit(craft, wind)
    )
    return ParkedAdvice(
        craft, tuple(r for r in reminders if not (too_late and r == tie_down.PREFERENCE)), lift
    )


@lru_cache(maxsize=128)
def _of_type(
    gear: Gear,
    wing: WingPosition,
    stall_speed: Knots | None,
    wind: Wind | None,
    unit: str,
    *,
    front_coming: bool,
) -> tuple[tuple[Reminder, ...], LiftBand | None]:
    """Reminders and wing lift; kept as in `_held`."""
    if wind is None:
        return tie_down_reminders(gear, wing, None, front_coming=front_coming), None
    reminders = tie_down_reminders(
        gear, wing, wind, stall_speed=stall_speed, front_coming=front_coming
    )
    if stall_speed is None:
        return reminders, None
    return reminders, wing_lift_share(wind.strongest, stall_speed, gear, unit=unit)


def _past_a_parked_limit(craft: Aircraft, wind: Wind) -> bool:
    return any(
        limit.quantity in PARKED_QUANTITIES and wind.strongest > limit.value
        for limit in craft.limits
    )


def merged_reminders(
    parked: tuple[ParkedAdvice, ...],
) -> tuple[tuple[Reminder, tuple[str, ...]], ...]:
    """Every reminder once, in the order of doing, with the aircraft that it is for.

    The sentence on wing lift is left out: its band is told by itself.
    """
    order: list[Reminder] = []
    whose: dict[Reminder, list[str]] = {}
    for advice in parked:
        place = 0
        for reminder in advice.reminders:
            if reminder.source == tie_down.LIFT_EQUATION:
                continue
            if reminder in whose:
                place = max(place, order.index(reminder) + 1)
            else:
                order.insert(place, reminder)
                place += 1
            whose.setdefault(reminder, []).append(advice.craft.name)
    return tuple((reminder, tuple(whose[reminder])) for reminder in order)
