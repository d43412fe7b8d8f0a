"""The words for people, all in one place.

Short, calm and concrete. No exclamation marks. Nothing is ever called safe, and the end of an
alert is *back within limits; your decision*.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from functools import lru_cache
from typing import Final, assert_never

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship.conversions import beside_limits, speed_figure
from windwatch.assessment.values import Cause, Finding, Level
from windwatch.episodes.values import StepName, TrackKind
from windwatch.fleet import (
    CROSSWIND,
    GUST_SPREAD,
    RUNWAY_QUANTITIES,
    SHELTER,
    TAILWIND,
    TAXI,
    TIE_DOWN,
    WIND,
    Of,
)
from windwatch.wind import KNOTS, PER_KNOT, Calm, Knots, Missing, Steady, Variable, Wind

QUANTITY: Final = {
    CROSSWIND: "crosswind",
    TAILWIND: "tailwind",
    WIND: "total wind",
    GUST_SPREAD: "gust spread",
    TAXI: "taxi wind",
    TIE_DOWN: "tie-down",
    SHELTER: "shelter",
}

RUNWAY_WORDS: Final = frozenset(RUNWAY_QUANTITIES)

# What a step is called in a first line and a subject.
STEP: Final = {
    StepName.NEAR: "near",
    StepName.OPENED: "over",
    StepName.WORSENED: "over, worse than told before",
    StepName.EASING: "below the limit, not yet back within limits",
    StepName.BACK: "back within limits; your decision",
    StepName.WITHDRAWN: "withdrawn: the report was corrected",
    StepName.NO_DATA: "unknown",
    StepName.DATA_BACK: "known again",
    StepName.RUNWAY_OUT: "runway out",
    StepName.RUNWAY_BACK: "runway back within limits; your decision",
    StepName.REMINDER: "reminder: still over",
    StepName.UNSETTLED: "swinging about the limit",
    StepName.ENDED: "no longer watched",
}

GEAR: Final = {Gear.NOSEWHEEL: "nosewheel", Gear.TAILWHEEL: "tailwheel"}
WING: Final = {WingPosition.HIGH: "high wing", WingPosition.LOW: "low wing"}

AT_LIMIT: Final = "at the limit, not yet back within limits"
NOT_YET: Final = "below the limit, not yet back within limits"
BACK: Final = "back within limits; your decision"
REMOVE_LOCKS: Final = "remove locks, covers and ropes before flight"
NO_SPREAD: Final = "gust spread: not reported, which does not mean a steady wind"

# Words of a link under a notice.
TAKE_NOTE: Final = "Take note, which stops its reminders"
TITLES: Final = {
    "do": "What to do",
    "figures": "Figures and limits",
    "late": "Late",
    "why": "Why",
    "taxi": "Controls while taxiing (yoke, control column or stick)",
    "parked": "Parked aircraft (tie-down or picketing)",
    "open": "Still open",
    "state": "State now",
    "evidence": "Evidence",
    "caution": "Caution",
}

# The space between a number and its unit: they stay on one line.
BEFORE_UNIT: Final = re.compile(rf"(?<=\d) (?=(?:{'|'.join(PER_KNOT)}|ft|NM|min|h|lb|local)\b|%)")

_MONTHS: Final = (
    "", "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
)  # fmt: skip


# --- figures -------------------------------------------------------------------


def number(figure: float) -> str:
    """A figure as judged, to 0.1, without an empty decimal: ``41``, ``35.9``."""
    return f"{figure:.1f}".removesuffix(".0")


def kt(figure: float) -> str:
    """A speed in knots with its unit."""
    return f"{number(figure)} kt"


def speed(figure_kt: float, unit: str = KNOTS) -> str:
    """A speed with its unit, in the unit of whoever is told: ``41 kt``, ``76 km/h``."""
    return f"{speed_figure(Knots(figure_kt), unit)} {unit}"


def quantity(name: str) -> str:
    """A quantity in words; a school's own ones by their own name."""
    return QUANTITY.get(name, name.replace("_", " "))


def quantity_of(finding: Finding) -> str:
    """The quantity, with *mean* where the limit is on the mean."""
    mean = "mean " if finding.limit.of is Of.MEAN else ""
    return mean + quantity(finding.quantity)


def figure_of(finding: Finding, unit: str = KNOTS) -> str:
    """The figure, marked where it is a lower bound; it is written as beside its limit."""
    return f"{figure_and_limit(finding, unit)[0]} {unit}"


def figure_and_limit(finding: Finding, unit: str = KNOTS) -> tuple[str, str]:
    """Both without their unit, written so that they compare as judged: ``at least 99``, ``22``."""
    figure, limit = beside_limits(finding.figure, (finding.limit.value,), unit)
    return f"{'at least ' if finding.at_least else ''}{figure}", limit


def against(finding: Finding, unit: str = KNOTS) -> str:
    """Figure against limit, so that the sign cannot contradict the level.

    ``41 kt > 22 kt`` when over; ``21 kt of 22 kt`` else.
    """
    sign = ">" if finding.level is Level.OVER else "of"
    figure, limit = figure_and_limit(finding, unit)
    return f"{figure} {unit} {sign} {limit} {unit}"


def bare(finding: Finding, unit: str = KNOTS) -> str:
    """``41 > 22`` for a subject, the unit said once elsewhere."""
    figure, limit = figure_and_limit(finding, unit)
    return f"{figure} {'>' if finding.level is Level.OVER else 'of'} {limit}"


def in_knots_too(figures: str) -> str:
    """Figures against limits once more, for whoever is told in another unit."""
    return f"In knots: {figures}"


def not_yet(finding: Finding | None) -> str:
    """Not over, and not yet back within limits."""
    return AT_LIMIT if finding and finding.figure == finding.limit.value else NOT_YET


CAUSE: Final = {
    Cause.SECTOR: "the worst over the reported sector",
    Cause.VARIABLE: "direction variable: the full speed counts as crosswind and as tailwind",
    Cause.NO_DIRECTION: "direction not reported: counted as from anywhere",
    Cause.PEAK: "the reported peak wind; it counts for aircraft on the ground",
}


# --- times ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Times:
    """Moments in words, local and UTC.

    Attributes
    ----------
    zone : tzinfo or None
        The airfield's; None where it is not known: then UTC alone is shown.
    today : datetime
        When the notice was made; moments of another local day bear their date.
    """

    zone: tzinfo | None
    today: datetime

    def clock(self, moment: datetime) -> str:
        """``15:07 local``, for a subject."""
        if self.zone is None:
            return f"{moment.astimezone(UTC):%H:%MZ}"
        return f"{moment.astimezone(self.zone):%H:%M} local"

    def hhmm(self, moment: datetime) -> str:
        """Hour and minute alone, beside another that says which clock it is."""
        return f"{moment.astimezone(self.zone or UTC):%H:%M}"

    def at(self, moment: datetime) -> str:
        """``15:07 local (19:07Z)``; the date before it where it is not today."""
        local = moment.astimezone(self.zone or UTC)
        if local.date() != self.today.astimezone(self.zone or UTC).date():
            return self.dated(moment)
        return self._both(moment)

    def dated(self, moment: datetime) -> str:
        """``22 Sep 15:07 local (19:07Z)``."""
        local = moment.astimezone(self.zone or UTC)
        return f"{local.day} {_MONTHS[local.month]} {self._both(moment)}"

    def _both(self, moment: datetime) -> str:
        return _local_and_utc(moment, self.zone)


@lru_cache(maxsize=256)
def _local_and_utc(moment: datetime, zone: tzinfo | None) -> str:
    utc = f"{moment.astimezone(UTC):%H:%MZ}"
    return utc if zone is None else f"{moment.astimezone(zone):%H:%M} local ({utc})"


def by_whose_wind(station: str) -> str:
    """What advice by the wind of another station says first."""
    return f"By the wind of {station}, not the field's own; the windsock decides."


def minutes(span: timedelta) -> str:
    """A length of time in whole minutes or hours: ``2 min``, ``1 h 15 min``."""
    whole = max(0, int(span.total_seconds() // 60))
    if whole < 60:
        return f"{whole} min"
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


# --- wind ----------------------------------------------------------------------


def wind_short(wind: Wind | None, unit: str = KNOTS) -> str:
    """The wind for a subject: ``300/28G41 kt``, ``300/52G76 km/h``."""
    if wind is None:
        return "wind not reported"
    blows = f"{'at least ' if wind.speed_at_least else ''}{speed_figure(wind.speed, unit)}"
    if wind.gust is not None:
        least = "at least " if wind.gust_at_least else ""
        blows += f"G{least}{speed_figure(wind.gust, unit)}"
    match wind.direction:
        case Calm():
            return "calm" if wind.gust is None else f"calm, {blows} {unit}"
        case Steady(wind_from):
            sector = ""
            if wind.sector is not None:
                sector = f" {degrees(wind.sector.from_true)}V{degrees(wind.sector.to_true)}"
            return f"{degrees(wind_from)}/{blows} {unit}{sector}"
        case Variable():
            return f"variable {blows} {unit}"
        case Missing():
            return f"direction not reported, {blows} {unit}"
        case _:
            assert_never(wind.direction)


def wind_long(wind: Wind | None, variation_deg: float, unit: str = KNOTS) -> tuple[str, ...]:
    """The wind in sentences: direction true and magnetic, mean, gust, sector."""
    if wind is None:
        return ("Wind: not reported, which is not calm",)
    least = "at least " if wind.speed_at_least else ""
    match wind.direction:
        case Calm():
            first = "Wind calm"
        case Steady(wind_from):
            magnetic = degrees(wind_from - variation_deg)
            first = (
                f"Wind from {degrees(wind_from)} true ({magnetic} magnetic), "
                f"{least}{speed(wind.speed, unit)}"
            )
        case Variable():
            first = f"Wind variable, {least}{speed(wind.speed, unit)}"
        case Missing():
            first = f"Wind {least}{speed(wind.speed, unit)}, direction not reported"
        case _:
            assert_never(wind.direction)
    if wind.gust is None:
        lines = [first, NO_SPREAD.capitalize()]
    else:
        gust_least = "at least " if wind.gust_at_least else ""
        lines = [f"{first}, gusts {gust_least}{speed(wind.gust, unit)}"]
    if wind.sector is not None:
        lines.append(
            f"Varying from {degrees(wind.sector.from_true)} to "
            f"{degrees(wind.sector.to_true)} true; judged at its worst"
        )
    return tuple(lines)


def degrees(direction: float) -> str:
    """Three figures; north is 360."""
    return f"{round(direction) % 360 or 360:03d}"


# --- lists ---------------------------------------------------------------------


def listed(items: tuple[str, ...] | list[str]) -> str:
    """Names after each other: ``A, B and C``."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


def subjects(pairs: list[tuple[str, str]]) -> str:
    """Aircraft and standards together: ``X-LARK, X-TERN / dual``, ``X-LARK / solo, dual``."""
    by_standard: dict[str, list[str]] = {}
    for aircraft, standard in dict.fromkeys(pairs):
        by_standard.setdefault(standard, []).append(aircraft)
    by_names: dict[str, list[str]] = {}
    for standard, names in by_standard.items():
        by_names.setdefault(", ".join(names), []).append(standard)
    return "; ".join(
        f"{names} / {', '.join(standards)}" if any(standards) else names
        for names, standards in by_names.items()
    )


def first_upper(text: str) -> str:
    """The first letter large, the rest untouched (X-LARK stays X-LARK)."""
    return text[:1].upper() + text[1:]


KIND_ORDER: Final = {
    TrackKind.GROUND: 0,
    TrackKind.RUNWAYS: 2,
    TrackKind.THUNDER: 3,
    TrackKind.DATA: 4,
}
