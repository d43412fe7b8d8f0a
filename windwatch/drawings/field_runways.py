"""The runways of the field from above: paved surfaces in their places, and their numbers."""

from __future__ import annotations

from typing import Final, NamedTuple

from windwatch.drawings.field_facts import FieldRunway
from windwatch.drawings.svg import (
    Markup,
    Point,
    figure,
    group,
    label,
    line,
    placed,
    polygon,
    shortened,
    towards,
)
from windwatch.drawings.theme import Theme

NUMBER_SIZE: Final = 14.0
LONGEST: Final = 96.0  # half a runway
SHORTEST_SHARE: Final = 0.6
RUNWAY_WIDTH: Final = 26.0
PARALLEL_WITHIN_DEG: Final = 12.0


class Laid(NamedTuple):
    """A runway in its place: its middle, where its first end's heading points, half its length."""

    runway: FieldRunway
    middle: Point
    bearing_deg: float
    half: float


def laid_out(runways: tuple[FieldRunway, ...], centre: Point) -> list[Laid]:
    """Each runway in its place: through the middle, parallel ones side by side."""
    known = [runway.length_ft for runway in runways if runway.length_ft]
    longest = max(known, default=1.0)
    bundles: list[list[FieldRunway]] = []
    for runway in runways:
        for bundle in bundles:
            if _turn_between(runway, bundle[0]) <= PARALLEL_WITHIN_DEG:
                bundle.append(runway)
                break
        else:
            bundles.append([runway])
    laid = []
    for bundle in bundles:
        # Side by side as their letters say: left, centre, right of somebody landing.
        first = bundle[0].ends[0].heading_true
        ordered = sorted(bundle, key=lambda runway: _side(runway, first))
        step = RUNWAY_WIDTH + 16
        for place, runway in enumerate(ordered):
            aside = (place - (len(ordered) - 1) / 2) * step
            share = (runway.length_ft or longest) / longest
            half = LONGEST * max(SHORTEST_SHARE, share)
            bearing = runway.ends[0].heading_true
            laid.append(Laid(runway, towards(centre, first + 90, aside), bearing, half))
    order = {id(runway): place for place, runway in enumerate(runways)}
    # The runway named first lies on top, where the others cross below it.
    return sorted(laid, key=lambda one: -order[id(one.runway)])


def _turn_between(one: FieldRunway, other: FieldRunway) -> float:
    """Angle between two runways as lines, 0 to 90."""
    turn = abs(one.ends[0].heading_true - other.ends[0].heading_true) % 180
    return min(turn, 180 - turn)


def _side(runway: FieldRunway, first_heading: float) -> int:
    """-1, 0, 1: left, centre or right of a heading."""
    end = runway.ends[0]
    side = {"L": -1, "R": 1}.get(end.name[-1:].upper(), 0)
    same_way = abs((end.heading_true - first_heading + 180) % 360 - 180) < 90
    return side if same_way else -side


def runway_surface(laid: Laid, theme: Theme) -> Markup:
    """The paved surface with its numbers, or its cross where it is closed."""
    w, half = RUNWAY_WIDTH / 2, laid.half
    corners = placed(
        ((-w, half), (w, half), (w, -half), (-w, -half)), laid.middle, laid.bearing_deg
    )
    parts = [
        polygon(
            corners,
            fill=theme.runway,
            stroke=theme.runway_edge,
            stroke_width=1.5,
            data_part="runway",
        )
    ]
    if laid.runway.closed:
        parts += _closed_cross(laid, theme)
    else:
        from_, to = (
            towards(laid.middle, laid.bearing_deg, ahead) for ahead in (52 - half, half - 52)
        )
        parts.append(line(from_, to, theme.paint, 1.4, stroke_dasharray="9 7"))
    for end in laid.runway.ends:
        for aside in (-9, -5.4, -1.8, 1.8, 5.4, 9):
            stripe = placed(
                ((aside, -half + 3), (aside, -half + 11)), laid.middle, end.heading_true
            )
            parts.append(line(stripe[0], stripe[1], theme.paint, 1.9))
    return group(parts, data_runway=laid.runway.name)


def painted_numbers(laid: Laid, theme: Theme) -> Markup:
    """The painted numbers, each read in the direction of landing; the wind may lie below them."""
    parts = []
    for end in laid.runway.ends:
        foot = towards(laid.middle, end.heading_true, -laid.half + 16)
        turn = f"rotate({figure(end.heading_true)} {figure(foot.x)} {figure(foot.y)})"
        letter = end.name[-1:] if end.name[-1:].isalpha() else ""
        digits = end.name.removesuffix(letter)
        for place, text in enumerate(part for part in (letter, digits) if part):
            parts.append(
                label(
                    shortened(text, NUMBER_SIZE, RUNWAY_WIDTH + 6, bold=True),
                    Point(foot.x, foot.y - place * NUMBER_SIZE),
                    NUMBER_SIZE,
                    theme.paint,
                    "middle",
                    bold=True,
                    halo=theme.runway,
                    transform=turn,
                    data_number=end.name,
                )
            )
    return group(parts)


def _closed_cross(laid: Laid, theme: Theme) -> list[Markup]:
    """A cross towards each end, where nothing else lies on it."""
    w = RUNWAY_WIDTH / 2 - 3
    bars = [
        placed(
            ((-w, ahead - w), (w, ahead + w), (-w, ahead + w), (w, ahead - w)),
            laid.middle,
            laid.bearing_deg,
        )
        for ahead in (laid.half - 47, 47 - laid.half)
    ]
    return [
        line(bar[start], bar[start + 1], theme.paint, 4, data_part="closed")
        for bar in bars
        for start in (0, 2)
    ]
