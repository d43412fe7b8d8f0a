"""Labels in their places: beside what they speak of, upon nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import hypot
from typing import Final, NamedTuple

from windwatch.drawings.svg import Point, towards

_GAP: Final = 3.0
_TURNS: Final = (0, 15, -15, 30, -30, 45, -45, 60, -60, 75, -75, 90, -90, 110, -110, 135, -135)
_DISTANCES: Final = (3, 10, 18, 28, 40, 60, 85)
# What it costs to lie on a runway or on another label, in units of way: more than any way.
_ON_A_STRIP: Final = 300.0
_ON_A_LABEL: Final = 1000.0


class Box(NamedTuple):
    """A rectangle on the paper by its middle, in units of the drawing."""

    x: float
    y: float
    width: float
    height: float

    def touches(self, other: Box) -> bool:
        """Whether two boxes lie on each other, or nearly."""
        return (
            abs(self.x - other.x) < (self.width + other.width) / 2 + _GAP
            and abs(self.y - other.y) < (self.height + other.height) / 2 + _GAP
        )

    def reach(self, direction_deg: float) -> float:
        """From its middle to its edge in a direction, at most."""
        edge = towards(Point(0, 0), direction_deg, 1)
        return abs(edge.x) * self.width / 2 + abs(edge.y) * self.height / 2


class Strip(NamedTuple):
    """A straight strip that no label may cover: a runway with the way to it."""

    start: Point
    end: Point
    half_width: float

    def under(self, box: Box) -> bool:
        """Whether a box lies on the strip: some part of its axis runs through the box, widened."""
        across, down = self.end.x - self.start.x, self.end.y - self.start.y
        low, high = 0.0, 1.0
        for begin, step, middle, size in (
            (self.start.x, across, box.x, box.width),
            (self.start.y, down, box.y, box.height),
        ):
            half = size / 2 + self.half_width
            if abs(step) < 1e-9:
                if abs(begin - middle) > half:
                    return False
                continue
            first, second = (middle - half - begin) / step, (middle + half - begin) / step
            low, high = max(low, min(first, second)), min(high, max(first, second))
        return low <= high


class Wanted(NamedTuple):
    """A label and where it would like to be: beyond a point, in a direction."""

    beyond: Point
    direction_deg: float
    width: float
    height: float


def beside(
    labels: Iterable[Wanted], strips: Sequence[Strip], taken: Iterable[Box], paper: Box
) -> list[Box]:
    """A place for each label, close to what it speaks of, on the paper and on nothing else.

    Where there is no free place, a label lies on as little as it can.
    """
    occupied = list(taken)
    found = []
    for label in labels:
        place = _place(label, strips, occupied, paper)
        occupied.append(place)
        found.append(place)
    return found


def _place(label: Wanted, strips: Sequence[Strip], occupied: Sequence[Box], paper: Box) -> Box:
    size = Box(0, 0, label.width, label.height)
    best, least = _kept(label.beyond, size, paper), float("inf")
    for turn in _TURNS:
        direction = label.direction_deg + turn
        reach = size.reach(direction)
        for away in _DISTANCES:
            box = _kept(towards(label.beyond, direction, reach + away), size, paper)
            # Sliding a label back onto the paper may carry it far from its end: that counts.
            cost = hypot(box.x - label.beyond.x, box.y - label.beyond.y) + abs(turn) * 0.2
            if cost >= least:
                continue
            cost += _ON_A_LABEL * sum(box.touches(other) for other in occupied)
            if cost < least:
                cost += _ON_A_STRIP * sum(strip.under(box) for strip in strips)
            if cost < least:
                best, least = box, cost
    return best


def _kept(middle: Point, size: Box, paper: Box) -> Box:
    """A box of that size about a point, moved onto the paper."""
    across, down = (paper.width - size.width) / 2, (paper.height - size.height) / 2
    return Box(
        min(max(middle.x, paper.x - across), paper.x + across),
        min(max(middle.y, paper.y - down), paper.y + down),
        size.width,
        size.height,
    )
