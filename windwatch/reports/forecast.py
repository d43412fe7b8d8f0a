"""What a decoded forecast says: a timeline of spells of wind."""

from __future__ import annotations

from datetime import datetime
from enum import Enum
from typing import NamedTuple

from windwatch.reports.values import Weather
from windwatch.wind import Wind


class Change(Enum):
    """In which way a wind is forecast."""

    PREVAILING = "prevailing"  # the wind of the base, or after FM, or once BECMG has come about
    BECOMING = "becoming"  # BECMG: the new wind may hold already; the old one still may
    TEMPORARY = "temporary"  # TEMPO, INTER, PROB: on top of what prevails, for a time


class Spell(NamedTuple):
    """One wind over one interval.

    Attributes
    ----------
    change : Change
        Prevailing, becoming or temporary. At any time of the validity one spell prevails, and
        the others come on top of it: for a limit, all that cover the time count.
    from_at, to_at : datetime
        From inclusive, to exclusive, UTC.
    wind : Wind or None
        None for a temporary spell without a wind of its own: the prevailing one holds on, but
        thunder may bring more than any figure says.
    probability_percent : int or None
        30 or 40 where PROB says so; None where the forecast does not say.
    weather : Weather
        What is forecast with it.
    group : str
        The words it comes from.
    """

    change: Change
    from_at: datetime
    to_at: datetime
    wind: Wind | None
    probability_percent: int | None = None
    weather: Weather = Weather()
    group: str = ""


class WindShear(NamedTuple):
    """Wind above the ground where it shears: never the wind at the surface.

    Attributes
    ----------
    from_at, to_at : datetime
        UTC.
    height_ft : int
        Above the ground. [ft]
    wind : Wind
        At that height.
    """

    from_at: datetime
    to_at: datetime
    height_ft: int
    wind: Wind


class Forecast(NamedTuple):
    """One TAF, decoded.

    Attributes
    ----------
    raw : str
        Normalised text.
    station : str
        For where; empty where the text is no forecast.
    issued_at, valid_from, valid_to : datetime or None
        UTC; None where the text does not say.
    amended, corrected : bool
        AMD, COR.
    cancelled : bool
        CNL: there is no forecast any more, and the earlier one must be dropped.
    nil : bool
        NIL: none was made, and nothing is known.
    spells : tuple of Spell
        In the order of their beginning.
    shears : tuple of WindShear
        Kept apart.
    problems : tuple of str
        What contradicts itself or could not be read, the group named.
    """

    raw: str
    station: str
    issued_at: datetime | None = None
    valid_from: datetime | None = None
    valid_to: datetime | None = None
    amended: bool = False
    corrected: bool = False
    cancelled: bool = False
    nil: bool = False
    spells: tuple[Spell, ...] = ()
    shears: tuple[WindShear, ...] = ()
    problems: tuple[str, ...] = ()

    def at(self, moment: datetime) -> tuple[Spell, ...]:
        """Every spell that covers a moment, the prevailing one first."""
        covering = [spell for spell in self.spells if spell.from_at <= moment < spell.to_at]
        return tuple(sorted(covering, key=lambda spell: spell.change is not Change.PREVAILING))
