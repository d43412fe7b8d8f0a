"""The figures of a runway held against each other; nothing is chosen in silence.

A heading can come from four places: the bearing between the two thresholds, the heading that is
stated, the number that is painted (magnetic, so with variation), and for some strips and water
lanes the compass point that is their name. Where two of them disagree the runway is *doubtful*,
and the words say which two.
"""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass, replace
from math import asin, atan2, cos, degrees, radians, sin, sqrt
from typing import Final, NamedTuple

from windwatch.airfields.values import Basis, RowEnd, RowRunway
from windwatch.airmanship.variation import reciprocal, to_true
from windwatch.wind import DegreesMagnetic, DegreesTrue

# Common practice, no source: a survey and a stated heading of one runway agree within a few
# degrees (median 0.25, 95 % within 2.4 in the copy of September 2026), so 10 is an error.
AGREE_WITHIN_DEG: Final = 10.0
# Beyond the 95 %: no error, but worth a look where the points of a short strip are coarse.
WORTH_A_REMARK_DEG: Final = 3.0
# A number is rounded to 10 degrees and repainted years after the variation has moved on.
NUMBER_WITHIN_DEG: Final = 15.0
# A strip named N lies nearer to north than to any other of the four points.
POINT_WITHIN_DEG: Final = 45.0
OPPOSITE_WITHIN_DEG: Final = 5.0
# Nearer to each other than this, or far from the stated length, two points are no thresholds.
_LEAST_APART_FT: Final = 200.0
_SHARE_OF_LENGTH: Final = (0.5, 1.5)

_EARTH_RADIUS_FT: Final = 6_371_008.8 / 0.3048  # mean radius, IUGG
_NUMBERED: Final = re.compile(r"(?P<number>[0-9]{1,2})(?P<letter>[A-Z]?)")
_POINTS: Final = {
    point: step * 22.5
    for step, point in enumerate(
        "N NNE NE ENE E ESE SE SSE S SSW SW WSW W WNW NW NNW".split()  # noqa: SIM905 # a rose
    )
}

_THRESHOLDS: Final = "the thresholds"
_STATED: Final = "the stated heading"

Pair = tuple[float, float]


class Number(NamedTuple):
    """What a painted number says: degrees, and whether they are true."""

    degrees: float
    is_true: bool


class ByName(NamedTuple):
    """What the names of both ends say.

    Attributes
    ----------
    pair : tuple of two floats
        Headings of both ends. [°T]
    within_deg : float
        How far a better figure may lie from it. [°]
    words : str
        What it is called in a doubt.
    """

    pair: Pair
    basis: Basis
    within_deg: float
    words: str

    def agrees(self, other: Pair) -> bool:
        """Whether another figure lies near enough."""
        return _off(self.pair, other) <= self.within_deg


@dataclass(frozen=True, slots=True)
class Checked:
    """The headings of both ends after the check.

    Attributes
    ----------
    headings_true : tuple of two DegreesTrue, or None
        None where nothing tells them. [°T]
    basis : Basis
        What they rest on.
    doubts : tuple of str
        Which two figures disagree, a sentence each.
    supported : bool
        No doubt, or a second figure speaks for these headings.
    remarks : tuple of str
        Differences too small for a doubt.
    """

    headings_true: tuple[DegreesTrue, DegreesTrue] | None
    basis: Basis
    doubts: tuple[str, ...] = ()
    supported: bool = True
    remarks: tuple[str, ...] = ()


# --- geometry ----------------------------------------------------------------------


def apart(first_deg: float, second_deg: float) -> float:
    """Angle between two directions, 0 to 180 degrees."""
    return abs((first_deg - second_deg + 180) % 360 - 180)


def opposite(heading_deg: float) -> float:
    """The other way, above 0 to 360."""
    return (heading_deg + 180) % 360 or 360.0


def bearing_true(from_place: Pair, to_place: Pair) -> DegreesTrue:
    """Initial great-circle bearing between two places (latitude, longitude), above 0 to 360."""
    latitude, to_latitude = radians(from_place[0]), radians(to_place[0])
    east = radians(to_place[1] - from_place[1])
    found = atan2(
        sin(east) * cos(to_latitude),
        cos(latitude) * sin(to_latitude) - sin(latitude) * cos(to_latitude) * cos(east),
    )
    return DegreesTrue(degrees(found) % 360 or 360.0)


def distance_ft(from_place: Pair, to_place: Pair) -> float:
    """Great-circle distance in feet between two places (latitude, longitude)."""
    latitude, to_latitude = radians(from_place[0]), radians(to_place[0])
    half_north = sin((to_latitude - latitude) / 2)
    half_east = sin(radians(to_place[1] - from_place[1]) / 2)
    square = half_north**2 + cos(latitude) * cos(to_latitude) * half_east**2
    return 2 * _EARTH_RADIUS_FT * asin(sqrt(min(1.0, max(0.0, square))))


# --- what a name says ----------------------------------------------------------------


def number_of(name: str) -> Number | None:
    """What the number in a name says, before variation; None where it holds none.

    ``17T`` is numbered in degrees true, as in the far north. Some assault strips are named in
    whole degrees (``161``): that is no runway number, and not taken for one.
    """
    found = _NUMBERED.fullmatch(name)
    if found is None or not 1 <= int(found["number"]) <= 36:
        return None
    return Number(int(found["number"]) * 10.0, found["letter"] == "T")


def other_name(name: str) -> str:
    """Name of the other end where only one is named: 34 of 16; '' where it cannot be told."""
    if number_of(name) is not None:
        with suppress(ValueError):  # a letter that no runway carries, as in 16H
            return reciprocal(name)
        return ""
    turned = (_POINTS.get(name, -1.0) + 180) % 360
    return next((point for point, at in _POINTS.items() if at == turned), "")


def _by_name(ends: tuple[RowEnd, RowEnd], variation_deg: float) -> ByName | None:
    """What the names of both ends say; None where they say nothing."""
    numbers = (number_of(ends[0].name), number_of(ends[1].name))
    if numbers != (None, None):
        found = [None if each is None else _true(each, variation_deg) for each in numbers]
        pair = _completed(found[0], found[1])
        if any(each is not None and each.is_true for each in numbers):
            return ByName(pair, Basis.NUMBER_TRUE, NUMBER_WITHIN_DEG, "the number")
        return ByName(pair, Basis.NUMBER, NUMBER_WITHIN_DEG, "the number with the variation")
    first, second = (_POINTS.get(end.name) for end in ends)
    if first is None and second is None:
        return None
    pair = _completed(first, second)
    return ByName(pair, Basis.COMPASS_POINT, POINT_WITHIN_DEG, "the compass point of its name")


def _completed(first: float | None, second: float | None) -> Pair:
    """Both headings; one that is missing is the opposite of the other."""
    if first is None:
        first = opposite(second or 0.0)
    return first, opposite(first) if second is None else second


def _true(number: Number, variation_deg: float) -> float:
    if number.is_true:
        return number.degrees
    return to_true(DegreesMagnetic(number.degrees), variation_deg)


# --- the check -----------------------------------------------------------------------


def cross_check(runway: RowRunway, variation_deg: float) -> Checked:
    """Hold thresholds, stated headings and numbers of a runway against each other.

    The bearing between the thresholds is taken where both are known and sensible, else the
    stated heading, else what the name says (the number with the variation, or a compass point).
    Where the first two disagree and the name speaks for the stated heading alone, that one is
    taken; it stays doubtful.

    Parameters
    ----------
    variation_deg : float
        Positive to the east. [°]
    """
    doubts = _names_disagree(runway.ends)
    surveyed, problem = _between_thresholds(runway)
    doubts += [problem] if problem else []
    named = _by_name(runway.ends, variation_deg)
    stated, problem = _stated(runway.ends, named)
    doubts += [problem] if problem else []

    if surveyed and stated:
        return _of_both(runway.ends, surveyed, stated, named, doubts)
    if surveyed:
        return _of_one(runway.ends, surveyed, Basis.THRESHOLDS, named, doubts)
    if stated:
        return _of_one(runway.ends, stated, Basis.STATED, named, doubts)
    if named:
        return _settled(named.pair, named.basis, doubts, supported=not doubts)
    return Checked(None, Basis.NONE, tuple(doubts), supported=not doubts)


def _of_both(
    ends: tuple[RowEnd, RowEnd],
    surveyed: Pair,
    stated: Pair,
    named: ByName | None,
    doubts: list[str],
) -> Checked:
    """Thresholds and a stated heading: where they disagree the name may speak for one of them."""
    off = _off(surveyed, stated)
    if off <= AGREE_WITHIN_DEG:
        remark = _between(ends, _THRESHOLDS, surveyed, _STATED, stated)
        found = _of_one(ends, surveyed, Basis.THRESHOLDS, named, doubts)
        return replace(found, supported=True, remarks=(remark,) if off > WORTH_A_REMARK_DEG else ())
    doubts = [*doubts, _between(ends, _THRESHOLDS, surveyed, _STATED, stated)]
    for_surveyed = named is not None and named.agrees(surveyed)
    for_stated = named is not None and named.agrees(stated)
    if for_stated and not for_surveyed:
        return _settled(stated, Basis.STATED, doubts, supported=True)
    if named and not for_surveyed:
        doubts.append(_between(ends, _THRESHOLDS, surveyed, named.words, named.pair))
    return _settled(surveyed, Basis.THRESHOLDS, doubts, supported=for_surveyed and not for_stated)


def _of_one(
    ends: tuple[RowEnd, RowEnd], pair: Pair, basis: Basis, named: ByName | None, doubts: list[str]
) -> Checked:
    """One better figure and perhaps a name."""
    if named is None or named.agrees(pair):
        return _settled(pair, basis, doubts, supported=not doubts or named is not None)
    words = _THRESHOLDS if basis is Basis.THRESHOLDS else _STATED
    return _settled(
        pair,
        basis,
        [*doubts, _between(ends, words, pair, named.words, named.pair)],
        supported=False,
    )


def _settled(pair: Pair, basis: Basis, doubts: list[str], *, supported: bool) -> Checked:
    return Checked(
        (DegreesTrue(pair[0] or 360.0), DegreesTrue(pair[1] or 360.0)),
        basis,
        tuple(doubts),
        supported,
    )


def _between_thresholds(runway: RowRunway) -> tuple[Pair | None, str | None]:
    """Bearings between the thresholds, or why they are not taken."""
    first, second = (
        None if end.latitude is None or end.longitude is None else (end.latitude, end.longitude)
        for end in runway.ends
    )
    if first is None or second is None:
        return None, None
    between = distance_ft(first, second)
    length = runway.length_ft
    least, most = (share * (length or between) for share in _SHARE_OF_LENGTH)
    if between < max(least, _LEAST_APART_FT) or between > most:
        said = "no length is stated" if length is None else f"the runway is {length} ft long"
        return None, f"the two thresholds lie {between:.0f} ft apart and {said}: they are not used"
    return (bearing_true(first, second), bearing_true(second, first)), None


def _stated(ends: tuple[RowEnd, RowEnd], named: ByName | None) -> tuple[Pair | None, str | None]:
    """Both stated headings, the missing one completed; and what is wrong between them."""
    first, second = (end.heading_true for end in ends)
    if first is None or second is None:
        if first is not None:
            return (first, opposite(first)), None
        return (None if second is None else (opposite(second), second)), None
    off = apart(first, opposite(second))
    if off <= OPPOSITE_WITHIN_DEG:
        return (first, second), None
    problem = (
        f"the stated headings {_degrees(first)} and {_degrees(second)} are {off:.0f}° from opposite"
    )
    by_first, by_second = (first, opposite(first)), (opposite(second), second)
    if named is not None and _off(by_second, named.pair) < _off(by_first, named.pair):
        return by_second, problem
    return by_first, problem


def _names_disagree(ends: tuple[RowEnd, RowEnd]) -> list[str]:
    numbers = [number_of(end.name) for end in ends]
    if numbers[0] is None or numbers[1] is None:
        return []
    off = apart(numbers[0].degrees, opposite(numbers[1].degrees))
    if off <= OPPOSITE_WITHIN_DEG:
        return []
    return [f"the numbers {ends[0].name} and {ends[1].name} are {off:.0f}° from opposite"]


def _off(one: Pair, other: Pair) -> float:
    """How far two pairs of headings disagree in degrees, the worse end counting."""
    return max(apart(one[0], other[0]), apart(one[1], other[1]))


def _between(
    ends: tuple[RowEnd, RowEnd], one: str, one_pair: Pair, other: str, other_pair: Pair
) -> str:
    """Which two figures disagree, said of the end where they do so more."""
    off = [apart(one_pair[end], other_pair[end]) for end in (0, 1)]
    end = 1 if off[1] > off[0] + 1 else 0
    of_end = f"for {ends[end].name} " if ends[end].name else ""
    return (
        f"{of_end}{one} {'give' if one.endswith('s') else 'gives'} {_degrees(one_pair[end])} and "
        f"{other} {_degrees(other_pair[end])}, {off[end]:.0f}° apart"
    )


def _degrees(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0") + "° true"
