"""A slow and simple second opinion on episodes, written from reliability section 2 alone.

It looks at whole lists again and again instead of remembering, resolves sectors degree by degree,
and shares no code with the rooms it is held against.
"""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import cos, floor, radians, sin

MINUTE = timedelta(minutes=1)
HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class Said:
    """One report, as its maker meant it.

    `wind_from`: degrees true; 'VRB', '///', or None where there is no wind group.
    """

    at: datetime
    kind: str
    wind_from: int | str | None
    mean: int = 0
    gust: int | None = None
    sector: tuple[int, int] | None = None
    weather: str = ""
    peak: tuple[datetime, int] | None = None
    shift_at: datetime | None = None
    correction: int = 0

    @property
    def strongest(self) -> float:
        return float(0 if self.wind_from is None else max(self.mean, self.gust or 0))

    @property
    def thunder(self) -> bool:
        return "TS" in self.weather and "VCTS" not in self.weather

    @property
    def disturbed(self) -> bool:
        return "TS" in self.weather or "CB" in self.weather


def in_order(reports: list[Said], identity: dict[Said, str]) -> list[Said]:
    """What counts, in its order: a correction replaces, of two texts the worse comes last."""
    kept = [
        r
        for r in dict.fromkeys(reports)
        if not any(
            o.at == r.at and o.kind == r.kind and o.correction > r.correction for o in reports
        )
    ]
    return sorted(kept, key=lambda r: (r.at, r.correction, r.strongest, identity[r]))


def tenth(figure: float) -> float:
    return floor(figure * 10 + 0.5 + 1e-6) / 10


def degrees_of(report: Said) -> list[int]:
    """Every degree the wind may come from."""
    if isinstance(report.wind_from, str):
        return list(range(360))
    assert report.wind_from is not None
    found = [report.wind_from]
    if report.sector is not None:
        first, last = report.sector
        found += [(first + n) % 360 for n in range((last - first) % 360 + 1)]
    return found


def across(report: Said, heading: int) -> float:
    speed = report.strongest
    return tenth(max(speed * abs(sin(radians(d - heading))) for d in degrees_of(report)))


def behind(report: Said, heading: int) -> float:
    speed = report.strongest
    return tenth(max(max(0.0, -speed * cos(radians(d - heading))) for d in degrees_of(report)))


def headwind(report: Said, heading: int) -> float:
    if isinstance(report.wind_from, str) or report.wind_from is None:
        return 0.0
    speed = report.mean if report.gust is None else report.gust
    return speed * cos(radians(report.wind_from - heading))


@dataclass(frozen=True)
class Mark:
    """One figure against a limit: 0 within, 1 near, 2 over."""

    level: int
    low: bool
    quiet: bool


def mark(figures: list[tuple[float, float]]) -> Mark:
    """Of several (figure, limit), the worst of each."""
    level, low, quiet = 0, True, True
    for figure, limit in figures:
        near = round(0.8 * limit, 6)
        if figure > limit:
            level = max(level, 2)
        elif figure > near:
            level = max(level, 1)
        low = low and figure <= round(limit - min(max(2, 0.05 * limit), 0.2 * limit), 6)
        quiet = quiet and figure <= round(near - min(max(1, 0.05 * limit), 0.2 * limit), 6)
    return Mark(level, low, quiet)


@dataclass
class Read:
    """One reading of one figure: what it says, when, from which report."""

    report: Said
    at: datetime
    mark: Mark | None
    peak: bool = False


@dataclass
class History:
    """What one figure went through."""

    level: int = 0
    openings: list[datetime] = field(default_factory=list)
    closings: list[datetime] = field(default_factory=list)
    levels: list[int] = field(default_factory=list)

    @property
    def swinging(self) -> bool:
        """Whether the episode that lasts is the third to open within six hours."""
        if self.level != 2:
            return False
        newest = self.openings[-1]
        return sum(o >= newest - 6 * HOUR for o in self.openings) >= 3


class Figure:
    """One figure over time. Every reading since the opening is kept and looked at anew."""

    def __init__(self, hold: timedelta) -> None:
        self.hold = hold
        self.history = History()
        self.since_opening: list[Read] = []

    def take(self, read: Read, told_so_far: list[Said], hold: timedelta) -> None:
        history = self.history
        if history.level == 2:
            self.since_opening.append(read)
            if self.may_close(read, told_so_far, hold):
                assert read.mark is not None
                history.level = 1 if read.mark.level == 1 else 0
                history.closings.append(read.at)
                self.since_opening = []
        elif read.mark is None:
            pass
        elif read.mark.level == 2:
            history.level = 2
            history.openings.append(read.at)
            self.since_opening = [read]
        elif read.mark.level == 1:
            history.level = 1
        elif history.level == 1 and read.mark.quiet and not read.peak:
            history.level = 0
        history.levels.append(history.level)

    def may_close(self, read: Read, told_so_far: list[Said], hold: timedelta) -> bool:
        if read.peak or not self.counts(read):
            return False
        overs = [r.at for r in self.since_opening if r.mark is not None and r.mark.level == 2]
        if read.at - max(overs) < hold:
            return False
        troubles = [r.at for r in told_so_far if r.thunder]
        troubles += [r.shift_at for r in told_so_far if r.shift_at is not None]
        if troubles and read.at - max(troubles) < HOUR:
            return False
        return any(
            self.counts(other)
            and other.report is not read.report
            and read.at - other.at >= 10 * MINUTE
            and self.nothing_between(other)
            for other in self.since_opening
            if not other.peak
        )

    def counts(self, read: Read) -> bool:
        """Whether a reading is low, and nothing worse is known of its time or later."""
        if not low(read):
            return False
        return not any(
            high.at >= read.at
            for high in self.since_opening
            if high.mark is not None and not low(high)
        )

    def nothing_between(self, first: Read) -> bool:
        place = next(i for i, r in enumerate(self.since_opening) if r is first)
        return all(r.peak or low(r) for r in self.since_opening[place:])


def low(read: Read) -> bool:
    """Whether it may count towards *back within limits*."""
    if read.mark is None or not read.mark.low:
        return False
    return read.peak or (not read.report.disturbed and read.report.wind_from != "///")


def ground(reports: list[Said], limit: float, *, parked: bool) -> Figure:
    """The history of a ground quantity."""
    hold = HOUR if parked else 30 * MINUTE
    figure = Figure(hold)
    counted: dict[datetime, int] = {}
    for place, report in enumerate(reports):
        told = reports[: place + 1]
        if report.peak is not None:
            at, knots = report.peak
            fell_in_the_hour = timedelta(0) <= report.at - at <= HOUR
            if fell_in_the_hour and knots > counted.get(at, 0):
                counted[at] = knots
                read = Read(report, at, mark([(float(knots), limit)]), peak=True)
                figure.take(read, told, held(figure.history, hold))
        wind = None if report.wind_from is None else mark([(report.strongest, limit)])
        figure.take(Read(report, report.at, wind), told, held(figure.history, hold))
    return figure


def held(track: History, hold: timedelta) -> timedelta:
    return max(hold, 2 * HOUR) if track.swinging else hold


@dataclass
class Runways:
    """The history of a runways track and of each of its runways."""

    each: dict[str, Figure]
    track: History


def runways(
    reports: list[Said], headings: dict[str, tuple[int, int]], crosswind: float, tailwind: float
) -> Runways:
    """The history of a runways track: over while every runway is."""
    hold = 30 * MINUTE
    each = {name: Figure(hold) for name in headings}
    track = History()
    for place, report in enumerate(reports):
        told = reports[: place + 1]
        now_held = held(track, hold)
        for name, ends in headings.items():
            if report.wind_from is None:
                each[name].take(Read(report, report.at, None), told, now_held)
                continue
            marks = [
                (
                    mark([(across(report, end), crosswind), (behind(report, end), tailwind)]),
                    headwind(report, end),
                )
                for end in ends
            ]
            better = min(marks, key=lambda m: (m[0].level, -m[1]))[0]
            each[name].take(Read(report, report.at, better), told, now_held)
        level = min(figure.history.level for figure in each.values())
        if report.wind_from is not None:
            if level == 2 and track.level != 2:
                track.openings.append(report.at)
            if level != 2 and track.level == 2:
                track.closings.append(report.at)
            track.level = level
    return Runways(each, track)
