"""What the wind strip needs to know: plain frozen values, independent of any store."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, tzinfo
from typing import Final, NamedTuple

from windwatch.airmanship.conversions import speed_figure
from windwatch.assessment.values import Mark
from windwatch.drawings.wind_words import wind_sentence
from windwatch.reports.forecast import Change, Forecast
from windwatch.wind import Knots, Wind

USUAL_GAP: Final = timedelta(minutes=75)


class StripPoint(NamedTuple):
    """One observation; where `wind` is None the report gave none."""

    at: datetime
    wind: Wind | None


class StripLimit(NamedTuple):
    """A line across the strip: a limit on the wind's speed, in knots, and whose it is."""

    value: Knots
    label: str


class StripFlag(NamedTuple):
    """Something that happened: a crossing of a limit (with its level) or a notice sent (None)."""

    at: datetime
    text: str
    mark: Mark | None = None


class StripForecast(NamedTuple):
    """One forecast wind over one time.

    Attributes
    ----------
    wind : Wind or None
        None: the forecast gives none for this time; nothing is drawn.
    temporary : bool
        On top of what prevails, for a time: hatched.
    """

    from_at: datetime
    to_at: datetime
    wind: Wind | None
    temporary: bool = False


class Strip(NamedTuple):
    """The wind of the last hours and of those to come.

    Attributes
    ----------
    name : str
        Whose wind: station or airfield.
    now : datetime
        Drawn as a line.
    points : tuple of StripPoint
        Oldest first.
    forecast_of : str
        Whose forecast; '' where it is that of `name`.
    back, ahead : timedelta
        How far the strip reaches; `ahead` 0: no forecast.
    gap_after : timedelta
        Longer without a report is a gap, not a line.
    zone : tzinfo or None
        Of the local hours; None: UTC alone.
    """

    name: str
    now: datetime
    points: tuple[StripPoint, ...]
    limits: tuple[StripLimit, ...] = ()
    flags: tuple[StripFlag, ...] = ()
    forecast: tuple[StripForecast, ...] = ()
    forecast_of: str = ""
    back: timedelta = timedelta(hours=24)
    ahead: timedelta = timedelta(0)
    gap_after: timedelta = USUAL_GAP
    zone: tzinfo | None = None

    @property
    def start(self) -> datetime:
        """Left edge."""
        return self.now - self.back

    @property
    def end(self) -> datetime:
        """Right edge."""
        return self.now + self.ahead


def spans_of(forecast: Forecast) -> tuple[StripForecast, ...]:
    """A decoded forecast as it is drawn; what becomes is drawn on top, as what is temporary."""
    return tuple(
        StripForecast(spell.from_at, spell.to_at, spell.wind, spell.change is not Change.PREVAILING)
        for spell in forecast.spells
    )


def shown_points(strip: Strip) -> tuple[StripPoint, ...]:
    """The observations on the strip, oldest first."""
    inside = (point for point in strip.points if strip.start <= point.at <= strip.now)
    return tuple(sorted(inside, key=lambda point: point.at))


def thinned(strip: Strip, least: timedelta) -> Strip:
    """The strip with one report in each length of time: the strongest, and one without a wind.

    For a field's own anemometer, which reports more often than a line can show.
    """
    kept: dict[tuple[int, bool], StripPoint] = {}
    for point in shown_points(strip):
        key = (int((point.at - strip.start) / least), point.wind is None)
        other = kept.get(key)
        if other is None or _strongest(point) > _strongest(other):
            kept[key] = point
    return strip._replace(points=tuple(sorted(kept.values(), key=lambda point: point.at)))


def _strongest(point: StripPoint) -> float:
    return -1.0 if point.wind is None else point.wind.strongest


def gaps(strip: Strip) -> tuple[tuple[datetime, datetime], ...]:
    """When nothing was reported: no report for too long, or reports without a wind."""
    known = [point.at for point in shown_points(strip) if point.wind is not None]
    silent = {point.at for point in shown_points(strip) if point.wind is None}
    found = []
    for first, second in zip([strip.start, *known], [*known, strip.now], strict=True):
        said_nothing = any(first <= at <= second for at in silent)
        # At the edges a report may lie just outside, and a new one may not be due yet.
        if said_nothing or second - first > strip.gap_after:
            found.append((first, second))
    return tuple(found)


def runs(strip: Strip) -> tuple[tuple[tuple[datetime, Wind], ...], ...]:
    """Observations that follow each other without a gap."""
    broken = {first for first, _ in gaps(strip)}
    found: list[list[tuple[datetime, Wind]]] = [[]]
    for at, wind in shown_points(strip):
        if wind is None:
            continue
        found[-1].append((at, wind))
        if at in broken:
            found.append([])
    return tuple(tuple(run) for run in found if run)


# --- in words --------------------------------------------------------------------


def clock(moment: datetime, zone: tzinfo | None) -> str:
    """``15:07 local (19:07Z)``."""
    utc = f"{moment.astimezone(UTC):%H:%MZ}"
    return utc if zone is None else f"{moment.astimezone(zone):%H:%M} local ({utc})"


def strip_in_words(strip: Strip, unit: str) -> str:
    """What the strip says, in sentences."""
    hours = f"{strip.back.total_seconds() / 3600:g}"
    sentences = [f"The last {hours} hours until {clock(strip.now, strip.zone)}"]
    known = [(point.at, point.wind) for point in shown_points(strip) if point.wind is not None]
    if known:
        last_at, last = known[-1]
        sentences.append(
            f"Last reported at {clock(last_at, strip.zone)}: {wind_sentence(last, unit)}"
        )
        at, most = max(known, key=lambda pair: pair[1].strongest)
        sentences.append(
            f"Strongest {speed_figure(most.strongest, unit)} {unit} at {clock(at, strip.zone)}"
        )
    sentences += [
        f"Not reported from {clock(first, strip.zone)} to {clock(second, strip.zone)}"
        for first, second in gaps(strip)
    ]
    sentences += [
        f"Limit {limit.label}: {speed_figure(limit.value, unit)} {unit}" for limit in strip.limits
    ]
    sentences += [
        f"{clock(flag.at, strip.zone)}: {flag_words(flag)}" for flag in shown_flags(strip)
    ]
    for span in strip.forecast:
        if span.wind is None or span.to_at <= strip.now or span.from_at >= strip.end:
            continue
        kind = "Temporary forecast" if span.temporary else "Forecast"
        sentences.append(
            f"{kind} {clock(span.from_at, strip.zone)} to {clock(span.to_at, strip.zone)}: "
            f"{wind_sentence(span.wind, unit)}"
        )
    return ". ".join(sentences) + "."


def shown_flags(strip: Strip) -> tuple[StripFlag, ...]:
    """The flags on the strip, oldest first."""
    inside = (flag for flag in strip.flags if strip.start <= flag.at <= strip.end)
    return tuple(sorted(inside, key=lambda flag: flag.at))


def flag_words(flag: StripFlag) -> str:
    """A crossing with its level, a notice as such."""
    return f"{flag.mark.value}: {flag.text}" if flag.mark else f"notice: {flag.text}"
