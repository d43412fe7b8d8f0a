"""The simple model's history of one airfield: what was true, from all reports in order.

Everything is computed anew from the first report, each time: slow, and with nothing to forget.
"""

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from tests.model.model_figures import (
    NEAR,
    OVER,
    WITHIN,
    Bounds,
    Own,
    own_of_ground,
    own_of_runway,
    runway_bounds,
    tenth,
)
from windwatch.fleet import (
    GROUND_QUANTITIES,
    PARKED_QUANTITIES,
    RUNWAY_QUANTITIES,
    Airfield,
    Fleet,
)
from windwatch.reports.values import Report
from windwatch.wind import Missing

MINUTE = timedelta(minutes=1)
UNSETTLED = timedelta(hours=6)


def believed(report: Report, own: Own) -> Own:
    """What a report says of one subject; a wind that contradicts itself ends nothing, also no
    near (reliability, promise 7: nothing contradicted takes a level back).
    """
    return replace(own, low=False, near_low=False) if report.wind_doubtful else own


@dataclass(frozen=True)
class Seen:
    """A report that counts."""

    report: Report
    key: str

    @property
    def at(self) -> datetime:
        assert self.report.observed_at is not None
        return self.report.observed_at


@dataclass
class Span:
    """A time past a limit, or near it."""

    opened_at: datetime
    opened_by: str
    closed_at: datetime | None = None
    closed_by: str = ""
    unsettled: bool = False
    silent: bool = False
    was_best: bool = False
    crossed_at: datetime | None = None  # its own time, if a peak older than opened_at
    figures: list[tuple[str, float]] = field(default_factory=list)

    @property
    def open(self) -> bool:
        return self.closed_at is None

    def overlaps(self, other: "Span") -> bool:
        """Whether they share a moment."""
        return (self.closed_at is None or other.opened_at < self.closed_at) and (
            other.closed_at is None or self.opened_at < other.closed_at
        )


@dataclass
class Course:
    """The course of one track (or of one runway in it)."""

    overs: list[Span] = field(default_factory=list)
    nears: list[Span] = field(default_factory=list)
    runways: dict[str, "Course"] = field(default_factory=dict)
    easing: bool = False

    @property
    def level(self) -> int:
        if self.overs and self.overs[-1].open:
            return OVER
        return NEAR if self.nears and self.nears[-1].open else WITHIN


class Held:
    """The level of one subject, with deadband and clearing rule (reliability section 2)."""

    def __init__(self, hold: timedelta, stale_after: timedelta, *, settles: bool) -> None:
        self.course = Course()
        self.hold = hold
        self.stale_after = stale_after
        self.settles = settles
        self.last_over: datetime | None = None
        self.lows: list[datetime] = []
        self.unsettled = False

    def begin_over(self, seen: Seen, at: datetime) -> None:
        course = self.course
        if course.nears and course.nears[-1].open:
            course.nears[-1].closed_at = max(at, course.nears[-1].opened_at)
        # A peak may be older than the all-clear that it did not contradict: it opens anew.
        before = course.overs[-1].closed_at if course.overs else None
        span = Span(at if before is None else max(at, before), seen.key, crossed_at=at)
        # Of six hours count the crossings' own times: a peak's is its own (case 7).
        lately = [s for s in course.overs if at - (s.crossed_at or s.opened_at) <= UNSETTLED]
        span.unsettled = self.settles and len(lately) >= 2
        course.overs.append(span)

    def end_over(self, seen: Seen, *, near: bool) -> None:
        span = self.course.overs[-1]
        span.closed_at, span.closed_by = seen.at, seen.key
        self.lows = []
        if near:
            self.course.nears.append(Span(seen.at, seen.key, silent=True))

    def take(self, seen: Seen, own: Own, clears: bool, quiet_since: datetime | None) -> None:
        if own.level == OVER:
            self.over(seen, seen.at, own.figure)
        else:
            self.under(seen, own, clears, quiet_since)

    def peak(self, seen: Seen, at: datetime, own: Own) -> None:
        """A peak counts at its own time; it opens and holds, and never clears."""
        if own.level == OVER:
            self.over(seen, at, own.figure)
        elif self.course.level == OVER:
            if not own.low:
                self.lows = [low for low in self.lows if low > at]
        elif own.level == NEAR and self.course.level != NEAR:
            self.course.nears.append(Span(at, seen.key))

    def over(self, seen: Seen, at: datetime, figure: float) -> None:
        """The figure is past the limit."""
        if self.course.level != OVER:
            self.begin_over(seen, at)
        self.course.overs[-1].figures.append((seen.key, figure))
        self.last_over = at if self.last_over is None else max(self.last_over, at)
        self.lows = [low for low in self.lows if low > at]

    def under(self, seen: Seen, own: Own, clears: bool, quiet_since: datetime | None) -> None:
        """One report that is not past the limit; `clears`: it may count for clearing."""
        course = self.course
        if course.level == OVER:
            if not (own.low and clears):
                self.lows = []
                return
            self.lows.append(seen.at)
            if self._may_clear(seen.at, quiet_since):
                self.end_over(seen, near=own.level == NEAR)
            return
        if course.level == NEAR:
            if own.near_low:
                course.nears[-1].closed_at = seen.at
        elif own.level == NEAR:
            course.nears.append(Span(seen.at, seen.key))

    def _may_clear(self, at: datetime, quiet_since: datetime | None) -> bool:
        hold = self.hold
        if self.unsettled or self.course.overs[-1].unsettled:
            hold = max(hold, timedelta(hours=2))
        assert self.last_over is not None
        first, reports = at, 0
        for low in sorted(self.lows, reverse=True):
            # *Fresh*: one that had become stale before the next came is none of them.
            if first - low >= self.stale_after:
                break
            first, reports = low, reports + 1
        return (
            reports >= 2
            and at - first >= 10 * MINUTE
            and at - self.last_over >= hold
            and (quiet_since is None or at - quiet_since >= 60 * MINUTE)
        )


class History:
    """All tracks of one airfield after a list of reports, oldest first.

    Attributes
    ----------
    tracks : dict of name to Course
    wind_at, weather_at : datetime or None
        Newest observation that had it.
    """

    def __init__(self, fleet: Fleet, airfield: Airfield, reports: list[Seen]) -> None:
        self.fleet, self.airfield = fleet, airfield
        self.wind_at: datetime | None = None
        self.weather_at: datetime | None = None
        self.tracks: dict[str, Course] = {}
        self._peaks: set[tuple[datetime, float]] = set()
        self._quiet_since: datetime | None = None
        self._thunder_at: datetime | None = None
        self._thunder = Held(timedelta(0), airfield.stale_after, settles=True)
        self.tracks[f"thunder {airfield.id}"] = self._thunder.course
        self._grounds: list[tuple[str, Bounds, Held]] = []
        self._sets: list[RunwaySet] = []
        for craft in fleet.based_at(airfield.id):
            for pilot in craft.flown_by or ("",):
                self._sets.append(RunwaySet(self, craft, pilot))
            for limit in craft.limits:
                if limit.quantity in RUNWAY_QUANTITIES:
                    continue
                assert limit.quantity in GROUND_QUANTITIES
                hold = 60 if limit.quantity in PARKED_QUANTITIES else 30
                held = Held(hold * MINUTE, airfield.stale_after, settles=True)
                name = f"{limit.quantity} {craft.name}"
                self._grounds.append((name, Bounds.of(limit), held))
                self.tracks[name] = held.course
        for seen in reports:
            self._take(seen)

    def _take(self, seen: Seen) -> None:
        report, weather = seen.report, seen.report.weather
        loud = weather.thunderstorm or weather.squall or weather.funnel_cloud
        moments = [report.wind_shift_at, weather.thunder_ended_at, seen.at if loud else None]
        for moment in moments:
            if moment is not None and (self._quiet_since is None or moment > self._quiet_since):
                self._quiet_since = moment
        for moment in moments[1:]:
            if moment is not None and (self._thunder_at is None or moment > self._thunder_at):
                self._thunder_at = moment
        if report.wind is not None:
            self.wind_at = seen.at
        if weather.reported:
            self.weather_at = seen.at
            self._take_thunder(seen, loud)
        self._take_ground(seen)
        for runways in self._sets:
            runways.take(seen, self._clears(report), self._quiet_since)

    def _clears(self, report: Report) -> bool:
        weather = report.weather
        return (
            report.wind is not None
            and not isinstance(report.wind.direction, Missing)
            and not report.wind_doubtful
            and not (
                weather.thunderstorm
                or weather.squall
                or weather.funnel_cloud
                or weather.thunder_in_vicinity
                or weather.cumulonimbus
            )
        )

    def _take_thunder(self, seen: Seen, loud: bool) -> None:
        weather, held = seen.report.weather, self._thunder
        about = weather.thunder_in_vicinity or weather.cumulonimbus
        ended = weather.thunder_ended_at
        if ended is not None and timedelta(0) <= seen.at - ended <= 60 * MINUTE:
            # What has ended since the report before was at the field all the same.
            past = [s for s in held.course.overs if not s.open]
            if not any(s.opened_at <= ended < s.closed_at for s in past):
                held.over(seen, ended, 0.0)
        if loud:
            held.over(seen, seen.at, 0.0)
        elif held.course.level == OVER:
            hold = timedelta(hours=2 if held.course.overs[-1].unsettled else 1)
            if not about and seen.at - self._thunder_at >= hold:
                held.end_over(seen, near=False)
        else:
            level = NEAR if about else WITHIN
            held.under(seen, Own(level, 0.0, not about, not about), True, None)

    def _take_ground(self, seen: Seen) -> None:
        report, wind = seen.report, seen.report.wind
        peak = report.peak_wind
        new_peak: tuple[datetime, float] | None = None
        if peak is not None:
            # Once, at its own time (case 7); again only as one that is stronger than was known.
            known = any(at == peak.at and speed >= peak.speed for at, speed in self._peaks)
            if not known and timedelta(0) <= seen.at - peak.at <= 60 * MINUTE:
                new_peak = (peak.at, float(peak.speed))
            self._peaks.add((peak.at, float(peak.speed)))
        for _, bounds, held in self._grounds:
            if new_peak is not None and not bounds.of_mean:
                held.peak(seen, new_peak[0], own_of_ground(new_peak[1], bounds))
            if wind is None:
                held.lows = []
            else:
                own = own_of_ground(tenth(wind.speed if bounds.of_mean else wind.strongest), bounds)
                own = believed(report, own)
                held.take(seen, own, self._clears(report), self._quiet_since)
            held.course.easing = bool(held.lows) and held.course.level == OVER


class RunwaySet:
    """A runways track: every runway has its own level; none left is the episode."""

    def __init__(self, history: History, craft, pilot: str) -> None:
        stale_after = history.airfield.stale_after
        self.track = Held(timedelta(0), stale_after, settles=True)
        self.runways = []
        names = {craft.name, pilot}
        for runway in history.airfield.runways:
            if runway.uses and not names & set(runway.uses):
                continue
            bounds = runway_bounds(history.fleet, craft, pilot, runway)
            held = Held(30 * MINUTE, stale_after, settles=False)
            self.runways.append((runway, bounds, held))
            self.track.course.runways[runway.name] = held.course
        history.tracks[f"runways {craft.name} / {pilot}"] = self.track.course
        self.best = ""

    def take(self, seen: Seen, clears: bool, quiet_since: datetime | None) -> None:
        wind = seen.report.wind
        if wind is None:
            for _, _, held in self.runways:
                held.lows = []
            return
        owns = {}
        best_before = self.best
        overs = self.track.course.overs
        for runway, bounds, held in self.runways:
            held.unsettled = bool(overs) and overs[-1].open and overs[-1].unsettled
            own = believed(seen.report, own_of_runway(wind, runway, bounds))
            owns[runway.name] = own
            held.take(seen, own, clears, quiet_since)
            if held.course.overs and held.course.overs[-1].opened_by == seen.key:
                held.course.overs[-1].was_best = runway.name == best_before
        self._choose_best(owns)
        self._hold(seen, owns)

    def _choose_best(self, owns: dict[str, Own]) -> None:
        ranked = {
            runway.name: (held.course.level, -round(owns[runway.name].headwind, 6))
            for runway, _, held in self.runways
        }
        top = min(ranked.values())
        firsts = [name for name, rank in ranked.items() if rank == top]
        self.best = self.best if self.best in firsts else firsts[0]

    def _hold(self, seen: Seen, owns: dict[str, Own]) -> None:
        levels = [held.course.level for _, _, held in self.runways]
        level, track = min(levels), self.track
        if level == OVER:
            track.over(seen, seen.at, owns[self.best].figure)
            return
        if track.course.level == OVER:
            track.end_over(seen, near=level == NEAR)
        elif track.course.level == NEAR:
            if level == WITHIN:
                track.course.nears[-1].closed_at = seen.at
        elif level == NEAR:
            track.course.nears.append(Span(seen.at, seen.key))
