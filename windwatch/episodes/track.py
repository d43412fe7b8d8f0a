"""All subjects of one airfield over time: what is remembered of each."""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

from windwatch.assessment.values import Finding, Level
from windwatch.episodes.gauge import Gauge, Span
from windwatch.episodes.values import TrackKey
from windwatch.wind import Knots


class RunwayStanding(NamedTuple):
    """A runway as it stands for a subject after the newest report, best first.

    `level` is the held one: over until the rule for *back within limits* is met.
    """

    runway: str
    end: str
    level: Level
    finding: Finding | None


class Track(NamedTuple):
    """One subject followed over time: a pure function of the reports.

    Attributes
    ----------
    gauges : tuple of (str, Gauge)
        One a runway; for ground and thunder a single one named ''.
    best : str
        The best runway by the newest report.
    finding : Finding or None
        Deciding figure of the newest report (of the best runway).
    """

    key: TrackKey
    level: Level = Level.WITHIN
    spans: tuple[Span, ...] = ()
    gauges: tuple[tuple[str, Gauge], ...] = ()
    best: str = ""
    finding: Finding | None = None
    end: str = ""
    standing: tuple[RunwayStanding, ...] = ()

    @property
    def open_span(self) -> Span | None:
        """The span that lasts, if any."""
        return self.spans[-1] if self.spans and self.spans[-1].open else None

    @property
    def episode(self) -> Span | None:
        """The open span past the limit, if any."""
        span = self.open_span
        return span if span is not None and span.level is Level.OVER else None

    @property
    def easing(self) -> bool:
        """Below the limit, not yet back within limits."""
        if self.level is not Level.OVER:
            return False
        return any(gauge.easing for _, gauge in self.gauges)

    def gauge(self, name: str) -> Gauge:
        """The gauge of that name, new where there is none yet."""
        for known, gauge in self.gauges:
            if known == name:
                return gauge
        return Gauge()


class Folded(NamedTuple):
    """The state of one airfield's tracks after its reports so far.

    Attributes
    ----------
    convective_at : datetime or None
        Last thunder, squall, funnel cloud or wind shift at the field.
    peaks : tuple of (datetime, Knots)
        Peak winds of the last hours that have been counted.
    wind_at : datetime or None
        Newest observation of the main station that had a wind.
    """

    tracks: tuple[Track, ...] = ()
    convective_at: datetime | None = None
    peaks: tuple[tuple[datetime, Knots], ...] = ()
    wind_at: datetime | None = None

    def track(self, key: TrackKey) -> Track:
        """The track of that key, new where there is none yet."""
        for track in self.tracks:
            if track.key == key:
                return track
        return Track(key)
