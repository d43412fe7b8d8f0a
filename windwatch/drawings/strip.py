"""The wind strip: time to the right, speed upward, direction in a lane below."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from math import ceil
from typing import Final, NamedTuple

from windwatch.airmanship.conversions import from_knots, to_knots
from windwatch.drawings.levels import colour_of, level_shape
from windwatch.drawings.strip_facts import (
    Strip,
    StripFlag,
    StripForecast,
    flag_words,
    gaps,
    runs,
    shown_flags,
    strip_in_words,
    thinned,
)
from windwatch.drawings.strip_lane import LANE_HEIGHT, direction_lane
from windwatch.drawings.strip_limits import limit_lines, limit_names
from windwatch.drawings.svg import (
    Drawing,
    Markup,
    Point,
    box,
    document,
    group,
    hatching,
    label,
    line,
    polygon,
    polyline,
    shortened,
    width_of,
    wrapped,
)
from windwatch.drawings.theme import Theme
from windwatch.drawings.wind_words import mean_and_gust
from windwatch.wind import Knots, Wind

SMALL: Final = 14.0
LARGE: Final = 20.0
LEFT: Final = 46.0
RIGHT: Final = 14.0
PLOT_HEIGHT: Final = 170.0
FLAG_HEIGHT: Final = 30.0
FLAGS_SAID: Final = 8
LEAST_WIDTH: Final = 340.0
LEAST_STEP: Final = 3.0  # across, between two reports that are drawn


class _Plot(NamedTuple):
    """Where things are."""

    strip: Strip
    width: float
    top: float
    highest: Knots

    def x(self, moment: datetime) -> float:
        share = (moment - self.strip.start) / (self.strip.end - self.strip.start)
        return LEFT + min(1.0, max(0.0, share)) * (self.width - LEFT - RIGHT)

    def y(self, speed: float) -> float:
        return self.foot - min(1.0, speed / self.highest) * PLOT_HEIGHT

    @property
    def foot(self) -> float:
        return self.top + PLOT_HEIGHT

    def at(self, moment: datetime, speed: float) -> Point:
        return Point(self.x(moment), self.y(speed))


def strip_drawing(strip: Strip, theme: Theme, width: float = 960, unit: str = "kt") -> Drawing:
    """The wind of the last hours and, lighter, the forecast.

    Parameters
    ----------
    strip : Strip
    theme : Theme
    width : float
        Of the drawing; text keeps its size, so ask for the width it is shown in.
    unit : str
        Of the scale: ``kt``, ``km/h``, ``m/s``, ``mph``.
    """
    width = max(width, LEAST_WIDTH)
    text, head_parts = strip_in_words(strip, unit), _head(strip, width, theme, unit)
    strip = thinned(strip, (strip.end - strip.start) * LEAST_STEP / (width - LEFT - RIGHT))
    head = 58.0
    plot = _Plot(strip, width, head + FLAG_HEIGHT, _highest(strip, unit))
    named = (plot.top + SMALL / 2, plot.foot - SMALL / 2)
    lane_top = plot.foot + 20
    hours_top = lane_top + LANE_HEIGHT
    notes, bottom = _notes(strip, hours_top + 52, width, theme)
    parts = [
        *head_parts,
        *_scale(plot, theme, unit),
        *_gaps(plot, lane_top, theme),
        *(_forecast(plot, span, theme) for span in _in_order(strip)),
        *limit_lines(strip.limits, plot.y, LEFT, width - RIGHT, theme),
        *_observed(plot, theme),
        *limit_names(strip.limits, plot.y, LEFT, width - RIGHT, named, theme, unit),
        direction_lane(strip, plot.x, lane_top, width, theme),
        *_hours(plot, hours_top, theme),
        *_now(plot, hours_top, theme),
        *_flags(plot, hours_top, theme),
        *notes,
    ]
    title = f"Wind at {strip.name}"
    return document("strip", width, bottom, title, text, parts)


def _highest(strip: Strip, unit: str) -> Knots:
    """Top of the scale: all that is drawn, in whole tens of the unit."""
    speeds = [limit.value for limit in strip.limits]
    speeds += [point.wind.strongest for point in strip.points if point.wind]
    speeds += [span.wind.strongest for span in strip.forecast if span.wind]
    most = from_knots(max(speeds, default=Knots(20.0)), unit)
    step = _step(most)
    return to_knots(max(2 * step, step * ceil(most * 1.04 / step)), unit)


def _step(most: float) -> float:
    return next((step for step in (2.0, 5.0, 10.0, 20.0) if most <= 5 * step), 50.0)


# --- head, scale, hours --------------------------------------------------------------


def _head(strip: Strip, width: float, theme: Theme, unit: str) -> list[Markup]:
    """Name, the figure now, and what the signs mean; an old figure is never shown as now's."""
    known = [point for point in strip.points if point.wind is not None and point.at <= strip.now]
    last = max(known, key=lambda point: point.at, default=None)
    first = f"Wind at {strip.name}"
    if last is None or last.wind is None:
        said = "Not reported"
    elif any(second == strip.now for _, second in gaps(strip)):
        said = f"Not reported since {_hhmm(last.at, strip)}"
    else:
        first += f", reported {_hhmm(last.at, strip)}"
        said = mean_and_gust(last.wind, unit)
    said = shortened(said, LARGE, width - 24, bold=True)
    parts = [
        label(shortened(first, SMALL, width - 24), Point(12, 22), SMALL, theme.quiet),
        label(said, Point(12, 48), LARGE, theme.wind, bold=True),
    ]
    legend = "line: mean, ticks: gusts"
    if any(span.temporary for span in _in_order(strip)):
        legend += ", hatched: temporary"
    if width - 24 - width_of(said, LARGE, bold=True) > width_of(legend, SMALL) + 20:
        parts.append(label(legend, Point(width - RIGHT, 22), SMALL, theme.quiet, "end"))
    return parts


def _hhmm(moment: datetime, strip: Strip) -> str:
    if strip.zone is None:
        return f"{moment.astimezone(UTC):%H:%MZ}"
    return f"{moment.astimezone(strip.zone):%H:%M} local"


def _scale(plot: _Plot, theme: Theme, unit: str) -> list[Markup]:
    most = from_knots(plot.highest, unit)
    step = _step(most / 1.05)
    parts = [label(unit, Point(LEFT - 6, plot.top - 14), SMALL, theme.quiet, "end")]
    value = 0.0
    while value <= most + 1e-6:
        y = plot.y(to_knots(value, unit))
        parts.append(line(Point(LEFT, y), Point(plot.width - RIGHT, y), theme.hair, 1))
        parts.append(label(f"{value:g}", Point(LEFT - 6, y + 5), SMALL, theme.quiet, "end"))
        value += step
    return parts


def _hours(plot: _Plot, top: float, theme: Theme) -> list[Markup]:
    """Local hours and UTC below them, as many as there is room for."""
    strip = plot.strip
    zone = strip.zone or UTC
    span = (strip.end - strip.start).total_seconds() / 3600
    room = (plot.width - LEFT - RIGHT) / max(span, 1)
    local = strip.start.astimezone(zone).replace(minute=0, second=0, microsecond=0)
    moment = local.astimezone(UTC)
    # Where the zone is half an hour off, UTC beside a full local hour needs its minutes.
    form, needs = ("%HZ", 40) if moment.minute == 0 else ("%H:%MZ", 62)
    every = next((h for h in (1, 2, 3, 6, 12) if h * room >= needs), 24)
    parts = []
    while moment <= strip.end:
        shown = moment.astimezone(zone)
        if moment >= strip.start and shown.hour % every == 0:
            x = plot.x(moment)
            parts.append(line(Point(x, top), Point(x, top + 5), theme.thin, 1))
            inside = LEFT - 4 <= x <= plot.width - 20
            if inside and strip.zone is not None:
                parts.append(label(f"{shown:%H}", Point(x, top + 20), SMALL, theme.ink, "middle"))
            if inside:
                y = top + (38 if strip.zone is not None else 20)
                parts.append(label(f"{moment:{form}}", Point(x, y), SMALL, theme.quiet, "middle"))
        moment += timedelta(hours=1)
    if strip.zone is not None:
        parts.append(label("local", Point(4, top + 20), SMALL, theme.ink))
    parts.append(label("UTC", Point(4, top + (38 if strip.zone else 20)), SMALL, theme.quiet))
    return parts


def _now(plot: _Plot, bottom: float, theme: Theme) -> list[Markup]:
    x = plot.x(plot.strip.now)
    word_at = Point(x, plot.top - FLAG_HEIGHT + 4)
    anchor = "end" if plot.strip.ahead <= timedelta(0) else "middle"
    parts = [
        line(Point(x, plot.top - 20), Point(x, bottom), theme.ink, 2, data_part="now"),
        label("now", word_at, SMALL, theme.ink, anchor, bold=True, halo=theme.paper),
    ]
    whose = plot.strip.forecast_of
    # Whose it is only where it is another station's, and where there is room.
    names = ("forecast", f"forecast {whose}")[: 1 if whose in ("", plot.strip.name) else 2]
    # Beside the word for now, above all that is drawn.
    at = Point(x + width_of("now", SMALL, bold=True) / 2 + 8, word_at.y)
    fitting = [name for name in names if plot.width - RIGHT - at.x > width_of(name, SMALL)]
    if fitting:
        parts.append(label(fitting[-1], at, SMALL, theme.quiet, halo=theme.paper))
    return parts


# --- wind and limits -----------------------------------------------------------------


def _observed(plot: _Plot, theme: Theme) -> list[Markup]:
    """The mean as a line, each gust as a tick above it."""
    parts = []
    for run in runs(plot.strip):
        for at, wind in run:
            if wind.gust is None or wind.gust <= wind.speed:
                continue
            mean, peak = plot.at(at, wind.speed), plot.at(at, wind.gust)
            parts.append(line(mean, peak, theme.wind, 1.2))
            bar = (Point(peak.x - 3.5, peak.y), Point(peak.x + 3.5, peak.y))
            parts.append(line(*bar, theme.wind, 2.2, data_part="gust"))
        points = [plot.at(at, wind.speed) for at, wind in run]
        if len(points) == 1:
            only = points[0]
            points = [Point(only.x - 3, only.y), Point(only.x + 3, only.y)]
        parts.append(polyline(points, theme.wind, 2.6, stroke_linejoin="round", data_part="mean"))
    return parts


def _in_order(strip: Strip) -> list[StripForecast]:
    """What prevails first, so that what is temporary lies on top."""
    inside = [
        span for span in strip.forecast if span.to_at > strip.now and span.from_at < strip.end
    ]
    return sorted(inside, key=lambda span: span.temporary)


def _forecast(plot: _Plot, span: StripForecast, theme: Theme) -> Markup:
    """A forecast wind, lighter; a temporary one as a hatched block up to its gust."""
    strip = plot.strip
    if span.wind is None:
        return Markup("")
    wind: Wind = span.wind
    left, right = plot.x(max(span.from_at, strip.now)), plot.x(min(span.to_at, strip.end))
    mean, peak = plot.y(wind.speed), plot.y(wind.strongest)
    if span.temporary:
        corner = Point(left, peak)
        high = plot.foot - peak
        return group(
            [
                hatching(corner, right - left, high, theme.thin, step=8),
                box(
                    corner,
                    right - left,
                    high,
                    fill="none",
                    stroke=theme.thin,
                    stroke_width=1.4,
                    stroke_dasharray="5 3",
                ),
            ],
            data_part="temporary",
        )
    parts = [line(Point(left, mean), Point(right, mean), theme.thin, 2.6)]
    if peak < mean:
        parts.append(
            line(Point(left, peak), Point(right, peak), theme.thin, 2.2, stroke_dasharray="3 4")
        )
    return group(parts, data_part="forecast")


def _gaps(plot: _Plot, lane_top: float, theme: Theme) -> list[Markup]:
    """What was not reported is marked, and no line runs across it."""
    parts = []
    for first, second in gaps(plot.strip):
        left, right = plot.x(first), plot.x(second)
        high = lane_top + LANE_HEIGHT - plot.top
        parts.append(
            box(
                Point(left, plot.top),
                max(2.0, right - left),
                high,
                fill=theme.body,
                stroke=theme.unknown,
                stroke_width=1.4,
                stroke_dasharray="4 3",
                data_part="gap",
            )
        )
        said = "not reported"
        middle = Point((left + right) / 2, plot.foot - 10)
        if right - left > width_of(said, SMALL) + 6:
            parts.append(label(said, middle, SMALL, theme.unknown, "middle", data_on="body"))
        elif right - left > SMALL + 2:
            at = Point(middle.x + 5, plot.foot - 8)
            turn = f"rotate(-90 {at.x:.1f} {at.y:.1f})"
            parts.append(label(said, at, SMALL, theme.unknown, transform=turn, data_on="body"))
    return parts


# --- flags ---------------------------------------------------------------------------


def _flags(plot: _Plot, bottom: float, theme: Theme) -> list[Markup]:
    """Crossings by the shape of their level, notices by a pennant, each on a pole."""
    parts = []
    for place, flag in enumerate(shown_flags(plot.strip), 1):
        x = plot.x(flag.at)
        pole = theme.ink if flag.mark is None else colour_of(flag.mark, theme)
        top = plot.top - 10
        parts.append(line(Point(x, top), Point(x, bottom), pole, 1, stroke_dasharray="1 3"))
        parts.append(_sign(flag, Point(x, top), theme, place))
    return parts


def _sign(flag: StripFlag, at: Point, theme: Theme, place: int) -> Markup:
    drawn = _pennant(at, theme) if flag.mark is None else level_shape(flag.mark, at, 14, theme)
    return group([drawn], data_flag=str(place))


def _pennant(at: Point, theme: Theme) -> Markup:
    return polygon(
        (Point(at.x, at.y - 7), Point(at.x + 13, at.y - 1), Point(at.x, at.y + 5)),
        fill=theme.ink,
        stroke=theme.paper,
        stroke_width=1,
    )


def _notes(strip: Strip, top: float, width: float, theme: Theme) -> tuple[list[Markup], float]:
    """The flags in words, the newest of them where they are many; and where they end."""
    flags = shown_flags(strip)
    parts: list[Markup] = []
    y = top
    left_out = len(flags) - FLAGS_SAID
    if left_out > 0:
        said = f"{left_out} earlier not listed"
        parts.append(label(said, Point(12, y + 14), SMALL, theme.quiet))
        y += 20
    for flag in flags[-FLAGS_SAID:]:
        at = Point(20, y + 9)
        shape = (
            _pennant(Point(14, at.y), theme)
            if flag.mark is None
            else level_shape(flag.mark, at, 14, theme)
        )
        parts.append(shape)
        said = f"{_hhmm(flag.at, strip)} {flag_words(flag)}"
        lines = wrapped(said, SMALL, width - 46, 2)
        for one in lines:
            parts.append(label(one, Point(36, y + 14), SMALL, theme.ink))
            y += 19
    return parts, y + 8
