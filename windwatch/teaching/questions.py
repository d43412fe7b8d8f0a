"""Questions from the control rules: eight winds around an aeroplane, or a field's taxi legs."""

from __future__ import annotations

from collections.abc import Iterable
from random import Random

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship.control_positions import card_of_eight
from windwatch.airmanship.control_table import EIGHTHS, ControlPositions
from windwatch.drawings.control_card import Craft
from windwatch.notices.advice import Hold, LegAdvice, wing_drawn
from windwatch.teaching import words
from windwatch.teaching.values import Question
from windwatch.wind import DegreesTrue, Knots


def around_the_aeroplane(
    speed: Knots, gust: Knots | None, gear: Gear, wing: WingPosition
) -> tuple[Question, ...]:
    """Eight winds, every 45° clockwise from the nose.

    Parameters
    ----------
    speed, gust : Knots
        Strength of each. [kt]
    """
    craft = Craft(gear, wing)
    return tuple(
        Question(words.from_the_nose(angle), craft, positions)
        for (angle, _, _), positions in zip(
            EIGHTHS, card_of_eight(speed, gust, gear, wing), strict=True
        )
    )


def on_legs(legs: Iterable[LegAdvice]) -> tuple[Question, ...]:
    """A question for each taxi leg and each kind of aeroplane that answers it in its own way.

    A wind without a direction, and calm, ask the same on every leg: then it is asked once.
    """
    asked: list[Question] = []
    everywhere: dict[tuple[Craft, tuple[str, ...]], Question] = {}
    for leg in legs:
        for hold in leg.holds:
            craft = craft_of(hold)
            if hold.positions.relative_wind.angle_deg is None:
                once = Question(words.EVERY_LEG, craft, hold.positions, hold.aircraft)
                everywhere.setdefault((craft, hold.aircraft), once)
            else:
                asked.append(
                    Question(
                        leg.name,
                        craft,
                        hold.positions,
                        hold.aircraft,
                        DegreesTrue(leg.heading_true),
                        leg.heading_magnetic,
                        leg.approximate,
                    )
                )
    return (*asked, *everywhere.values())


def craft_of(hold: Hold) -> Craft:
    """What is drawn where several types answer alike."""
    return Craft(hold.gear, wing_drawn(hold))


def on_headings(
    rows: Iterable[tuple[DegreesTrue | None, ControlPositions]], craft: Craft, reference: str
) -> tuple[Question, ...]:
    """A question for each heading of one wind, as the card of `windwatch taxi` has them.

    Parameters
    ----------
    rows : iterable of (DegreesTrue or None, ControlPositions)
        Headings from the north of `reference`; None: as the windsock shows the wind.
    reference : str
        ``true`` or ``magnetic``.
    """
    asked = []
    for heading, positions in rows:
        angle = positions.relative_wind.angle_deg
        if angle is None:
            return (Question(words.ANY_HEADING, craft, positions),)
        if heading is None:
            asked.append(Question(words.from_the_nose(angle), craft, positions))
        elif reference == words.TRUE:
            asked.append(Question(words.TAXIING, craft, positions, heading_true=heading))
        else:
            asked.append(Question(words.TAXIING, craft, positions, heading_magnetic=heading))
    return tuple(asked)


def shuffled(questions: tuple[Question, ...], seed: str) -> tuple[Question, ...]:
    """The questions in another order, the same for the same seed."""
    mixed = list(questions)
    Random(seed).shuffle(mixed)  # noqa: S311 - an order for a class, no secret
    return tuple(mixed)
