"""Figures against limits, and winds, as values that can be shown in the reader's unit."""

from __future__ import annotations

from windwatch.airmanship.components import round_half_up_tenth
from windwatch.airmanship.conversions import speed_figure
from windwatch.assessment.values import Finding, Level
from windwatch.board.now import FieldNow
from windwatch.board.values import Figure, Stand, WindShown
from windwatch.drawings.field_facts import against as against_in
from windwatch.drawings.wind_words import mean_and_gust
from windwatch.notices import words
from windwatch.wind import Knots, Wind


def figure(here: FieldNow, found: Finding, held: Level = Level.WITHIN) -> Figure:
    """One finding of the wind that counts, or of the last known one.

    Parameters
    ----------
    held : Level
        The level that the rule for *back within limits* still holds; the worse of the two is
        shown.
    """
    return make_figure(found, stand_of(here, found, held), here.unit)


def stand_of(here: FieldNow, found: Finding | None, held: Level = Level.WITHIN) -> Stand:
    """The worse of a finding's own level and of the one that is held."""
    own = Level.WITHIN if found is None else found.level
    if held is Level.OVER and own is not Level.OVER:
        return here.stand(held, words.not_yet(found))
    return here.stand(max(own, held))


def make_figure(found: Finding, stand: Stand, unit: str) -> Figure:
    """A finding with its margin and in words."""
    limit = found.limit
    margin = round_half_up_tenth(limit.value - found.figure)
    return Figure(
        quantity=found.quantity,
        name=words.quantity_of(found),
        figure_kt=found.figure,
        limit_kt=limit.value,
        margin_kt=margin,
        whose=limit.whose,
        at_least=found.at_least,
        stand=stand,
        words=words.against(found),
        beside="" if unit == "kt" else against_in(found, unit),
        margin_words=margin_in_words(margin),
        remarks=_remarks(found),
    )


def margin_in_words(margin_kt: float) -> str:
    """``2 kt left``, ``10 kt over``, ``at the limit``."""
    if margin_kt == 0:
        return "at the limit"
    return f"{words.kt(abs(margin_kt))} {'left' if margin_kt > 0 else 'over'}"


def _remarks(found: Finding) -> tuple[str, ...]:
    """What made the figure what it is, as a notice says it."""
    cause = words.CAUSE.get(found.cause)
    if cause is None:
        return ()
    nominal = ""
    if found.nominal is not None and found.nominal != found.figure:
        nominal = f" ({words.kt(found.nominal)} by the mean direction)"
    return (f"{words.quantity(found.quantity)}: {cause}{nominal}",)


def wind_shown(wind: Wind | None, variation_deg: float, unit: str) -> WindShown:
    """A wind for people."""
    return WindShown(
        wind,
        words.wind_short(wind),
        words.wind_long(wind, variation_deg),
        "" if unit == "kt" or wind is None else mean_and_gust(wind, unit),
    )


def speed_beside(speed: Knots, unit: str) -> str:
    """A speed in the reader's unit, beside the knots; '' for knots."""
    return "" if unit == "kt" else f"{speed_figure(speed, unit)} {unit}"
