"""Taxi legs and parked aircraft in the wind of now."""

from __future__ import annotations

from typing import Final

from windwatch.airmanship import control_words, tie_down
from windwatch.airmanship.components import round_half_up_tenth
from windwatch.airmanship.variation import to_magnetic, true_heading
from windwatch.airmanship.wing_lift import lift_in_words
from windwatch.assessment.values import Finding, Level, Mark
from windwatch.board.now import FieldNow
from windwatch.board.values import Figure, HoldCard, LegCard, ParkedCard, Stand
from windwatch.board.view_figures import figure
from windwatch.board.view_steps import steps_now
from windwatch.drawings.control_card import Craft
from windwatch.episodes.values import StepName, TrackKind
from windwatch.fleet import PARKED_QUANTITIES, TAXI, Aircraft, TaxiLeg
from windwatch.notices import words
from windwatch.notices.advice import Hold, legs_of, on_leg, parked_in
from windwatch.notices.clean import visible

NOT_KNOWN: Final = (
    "The present wind is not known: no control positions are named. Follow the windsock."
)
EIGHT: Final = "No taxi legs are configured: these are the eight directions."
_WORST: Final = (Mark.OVER, Mark.NEAR, Mark.UNKNOWN, Mark.WITHIN)


# --- taxi legs ----------------------------------------------------------------------


def leg_cards(here: FieldNow, craft: tuple[Aircraft, ...]) -> tuple[LegCard, ...]:
    """How the controls are held on each leg; nothing is named while the wind is not known."""
    wind = here.wind if here.known else None
    variation = here.read.plan.variation_deg
    return tuple(
        _leg(
            leg,
            variation,
            () if wind is None else on_leg(leg, wind, craft, variation).holds,
        )
        for leg in legs_of(here.airfield)
    )


def legs_note(here: FieldNow) -> str:
    """What stands above the legs, in a sentence or two; '' where nothing has to."""
    notes = []
    if not here.known:
        notes.append(NOT_KNOWN)
    elif here.fall_back:
        station = here.situation.station_in_use
        notes.append(words.by_whose_wind(station))
    if not here.airfield.taxi_legs:
        notes.append(EIGHT)
    return " ".join(notes)


def taxi_stopped(here: FieldNow) -> tuple[str, ...]:
    """Which aircraft must not taxi now, as configured: by their limit, or all for thunder.

    Held too, while it is not yet back within limits; none while the wind is not known, since
    nothing is then said of anybody.
    """
    if not here.known:
        return ()
    steps = steps_now(here)
    stopping = [s for s in steps if s.track.kind is TrackKind.THUNDER]
    if any(step.name is not StepName.EASING for step in stopping):
        return tuple(craft.name for craft in here.read.craft)
    over = {s.track.aircraft for s in steps if s.track.quantity == TAXI and s.level is Level.OVER}
    return tuple(craft.name for craft in here.read.craft if craft.name in over)


def _leg(leg: TaxiLeg, variation_deg: float, holds: tuple[Hold, ...]) -> LegCard:
    heading, approximate = true_heading(leg.heading, variation_deg)
    return LegCard(
        name=visible(leg.name),
        heading_true_deg=round_half_up_tenth(heading),
        heading_magnetic_deg=round_half_up_tenth(to_magnetic(heading, variation_deg)),
        approximate=approximate,
        holds=tuple(_hold(each) for each in holds),
    )


def _hold(hold: Hold) -> HoldCard:
    positions = hold.positions
    wings = words.listed([words.WING[wing] for wing in hold.wings])
    return HoldCard(
        aircraft=hold.aircraft,
        types=f"{words.GEAR[hold.gear]}, {wings}",
        positions=positions,
        craft=Craft(hold.gear, hold.wings[0]),
        words=f"{control_words.wind_in_words(positions.relative_wind)}: "
        f"{control_words.in_words(positions)}",
        held=control_words.yoke_in_words(positions.yoke),
        most_critical=positions.most_critical,
        notes=positions.notes,
        alternatives=tuple(control_words.in_words(other) for other in positions.alternatives),
    )


# --- parked aircraft ------------------------------------------------------------------


def parked_cards(here: FieldNow, aircraft: str | None = None) -> tuple[ParkedCard, ...]:
    """Every aircraft based here, on the ground: the worst first, then as configured."""
    cards = [_parked(here, craft) for craft in here.read.craft if aircraft in (None, craft.name)]
    return tuple(sorted(cards, key=lambda card: _rank(card.stand)))


def _rank(stand: Stand) -> int:
    return _WORST.index(stand.last_known or stand.mark)


def _parked(here: FieldNow, craft: Aircraft) -> ParkedCard:
    figures = _figures(here, craft)
    parked = [each for each in figures if each.quantity in PARKED_QUANTITIES]
    stand = min((each.stand for each in parked), key=_rank, default=None)
    still_open = any(
        t.track.aircraft == craft.name and t.track.quantity in PARKED_QUANTITIES
        for t in here.situation.open_tracks
    )
    thunder = _thunder(here)
    pressing = thunder is not Level.WITHIN or still_open or _presses(parked)
    wind = here.wind if here.known else None
    advice = parked_in(craft, wind, thunder, still_open=still_open)
    lift = advice.lift
    return ParkedCard(
        aircraft=craft.name,
        description=visible(craft.description),
        stand=stand or Stand(Mark.UNKNOWN, note="no limit for parked aircraft is configured"),
        figures=figures,
        lift="" if lift is None else lift_in_words(lift),
        lift_share=None if lift is None else (round(lift.low, 3), round(lift.high, 3)),
        reminders=tuple(
            reminder.text
            for reminder in advice.reminders
            if pressing and reminder.source != tie_down.LIFT_EQUATION
        ),
    )


def _presses(parked: list[Figure]) -> bool:
    """Whether a limit for parked aircraft is near or over; what is not known presses nobody."""
    return any(each.stand.mark in (Mark.NEAR, Mark.OVER) for each in parked)


def _thunder(here: FieldNow) -> Level:
    if not here.weather_known:
        return Level.WITHIN
    return here.track(here.thunder_key).level


def _figures(here: FieldNow, craft: Aircraft) -> tuple[Figure, ...]:
    """Its ground quantities, the parked ones first; of several of one, the worst is held."""
    assessment = here.assessment
    if assessment is None:
        return ()
    mine = [found for name, found in assessment.ground if name == craft.name]
    worst: dict[str, Finding] = {}
    for found in mine:
        known = worst.get(found.limit.quantity)
        if known is None or found.share > known.share:
            worst[found.limit.quantity] = found
    held = {q: here.track(here.ground_key(craft.name, q)).level for q in worst}
    mine.sort(key=lambda found: found.limit.quantity not in PARKED_QUANTITIES)
    return tuple(
        figure(
            here,
            found,
            held[found.limit.quantity] if found is worst[found.limit.quantity] else Level.WITHIN,
        )
        for found in mine
    )
