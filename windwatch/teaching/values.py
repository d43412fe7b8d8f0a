"""What stands on a teaching sheet: questions with their answers, and whose wind they are about."""

from __future__ import annotations

from typing import NamedTuple

from windwatch.airmanship.control_reasons import Reason, reasons
from windwatch.airmanship.control_table import ControlPositions
from windwatch.drawings.control_card import Craft
from windwatch.wind import DegreesTrue


class Question(NamedTuple):
    """One drawing to fill in, and its answer.

    Attributes
    ----------
    name : str
        What the aeroplane is doing: the taxi leg, or where the wind comes from.
    craft : Craft
        The aeroplane that is drawn.
    positions : ControlPositions
        The answer, as `control_positions` gave it.
    whose : tuple of str
        Aircraft by name; empty for any of that gear and wing.
    heading_true : DegreesTrue or None
        Of the nose; None where the wind is told by the aeroplane alone. [°T]
    heading_magnetic : float or None
        The same against the compass, where the variation is known. [°M]
    approximate : bool
        The heading is known only from a painted number.
    """

    name: str
    craft: Craft
    positions: ControlPositions
    whose: tuple[str, ...] = ()
    heading_true: DegreesTrue | None = None
    heading_magnetic: float | None = None
    approximate: bool = False

    def reasons(self) -> tuple[Reason, ...]:
        """Why the controls are held so."""
        return reasons(self.positions, self.craft.gear, self.craft.wing)

    def reasons_of(self, other: ControlPositions) -> tuple[Reason, ...]:
        """Why they would be held so in an alternative; what the answer has said already is not."""
        said = self.reasons()
        found = reasons(other, self.craft.gear, self.craft.wing)
        return tuple(each for each in found if each not in said)


class Sheet(NamedTuple):
    """A whole sheet.

    Attributes
    ----------
    about : str
        The airfield, or the kind of aeroplane.
    wind : tuple of str
        Which wind, whose and when: sentences for the head of each part.
    warnings : tuple of str
        What this wind is past, so that nobody takes the sheet out into it.
    questions : tuple of Question
        In the order of the sheet; their numbers are their places, from 1.
    order : str
        How they were shuffled; '' where they were not.
    wall : tuple of ControlPositions
        The eight answers for a wall card of `questions[0].craft`; empty for none.
    """

    about: str
    wind: tuple[str, ...]
    questions: tuple[Question, ...]
    warnings: tuple[str, ...] = ()
    order: str = ""
    wall: tuple[ControlPositions, ...] = ()
