"""Read a drawing back: what is where, as numbers."""

from __future__ import annotations

from functools import lru_cache
from math import atan2, degrees
from xml.etree import ElementTree as ET

from windwatch.drawings.svg import Drawing, Point
from windwatch.wind import CALM, DegreesTrue, Direction, Knots, Sector, Steady, Wind

SVG = "{http://www.w3.org/2000/svg}"


def root_of(drawing: Drawing) -> ET.Element:
    """The drawing as a tree, to read only; a fault in the XML raises."""
    return _parsed(drawing.svg)


@lru_cache(maxsize=512)
def _parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314 (our own drawing)


def all_text(drawing: Drawing) -> list[str]:
    """Every line of text that is seen."""
    return ["".join(found.itertext()) for found in root_of(drawing).iter(f"{SVG}text")]


def parts(drawing: Drawing, name: str, value: str, tag: str | None = None) -> list[ET.Element]:
    """Elements with an attribute of that value."""
    found = [one for one in root_of(drawing).iter() if one.get(name) == value]
    return [one for one in found if tag is None or one.tag == f"{SVG}{tag}"]


def points(polygon: ET.Element) -> list[Point]:
    """Corners of a polygon or polyline."""
    pairs = (pair.split(",") for pair in polygon.attrib["points"].split())
    return [Point(float(x), float(y)) for x, y in pairs]


def middle(corners: list[Point]) -> Point:
    """Mean of some points."""
    return Point(sum(p.x for p in corners) / len(corners), sum(p.y for p in corners) / len(corners))


def bearing(start: Point, end: Point) -> float:
    """Clockwise from the top of the paper, 0 to 360."""
    return degrees(atan2(end.x - start.x, start.y - end.y)) % 360


def points_to(arrow: ET.Element) -> float:
    """Where an arrow points: its tip is its first corner, the middle of the others its body."""
    corners = points(arrow)
    return bearing(middle(corners[1:]), corners[0])


def length_of(arrow: ET.Element) -> float:
    """From the tip of an arrow to its tail."""
    tip, *rest = points(arrow)
    return max(((tip.x - p.x) ** 2 + (tip.y - p.y) ** 2) ** 0.5 for p in rest)


def wind(
    direction: float | Direction,
    speed: float,
    gust: float | None = None,
    sector: tuple[float, float] | None = None,
) -> Wind:
    """A wind in few words."""

    steady = Steady(DegreesTrue(direction)) if isinstance(direction, int | float) else direction
    return Wind(
        steady if speed or gust else CALM,
        Knots(speed),
        None if gust is None else Knots(gust),
        None if sector is None else Sector(DegreesTrue(sector[0]), DegreesTrue(sector[1])),
    )
