"""What one turn of a watch comes to, and the small judgements on the way."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime

from windwatch import pipeline
from windwatch.episodes.books import Books
from windwatch.episodes.entries import Judged, stations_of
from windwatch.episodes.intake import covering, wind_is_known
from windwatch.errors import FeedBusy, FeedError, StoreError
from windwatch.fleet import Airfield
from windwatch.notices.values import Content, Notice
from windwatch.reports.decode import read_wind
from windwatch.reports.raw import RawReport
from windwatch.reports.text import split_reports
from windwatch.rules import USUAL, Rules

log = logging.getLogger(__name__)


@dataclass(slots=True)
class CycleReport:
    """What one poll came to.

    Attributes
    ----------
    fetched : int
        Reports that the feed gave.
    problems : list of str
        What could not be used, in words.
    feed_failed : str
        Why the feed gave nothing; '' where it answered.
    judged : list of (airfield, Judged)
        What became of each report.
    notices : list of (Notice, Content)
        What goes out.
    failed : list of str
        Airfields for which something could not be judged or stored, and why: nothing has
        changed there, and the same reports come again.
    """

    fetched: int = 0
    problems: list[str] = field(default_factory=list)
    feed_failed: str = ""
    failed: list[str] = field(default_factory=list)
    judged: list[tuple[str, Judged]] = field(default_factory=list)
    notices: list[tuple[Notice, Content]] = field(default_factory=list)


def why_not_fetched(error: Exception) -> str:
    """Why the feed gave nothing: a mistake in a feed is one failed poll, too."""
    if isinstance(error, FeedError):
        event = "feed_busy" if isinstance(error, FeedBusy) else "feed_failed"
        log.warning(event, extra={"problem": error.problem})
        return str(error)
    log.error("feed_broke", exc_info=error)
    return f"windwatch failed ({type(error).__name__}); see the log"


def received(
    reports: Iterable[RawReport], asked_at: datetime, now: datetime, rules: Rules = USUAL
) -> Iterable[RawReport]:
    """Reports with the time at which they really came, where the feed put our clock right."""
    if abs(now - asked_at) <= rules.clock_apart:
        return reports
    return [replace(raw, received_at=now) for raw in reports]


def single(raw: RawReport) -> list[RawReport]:
    """The reports of a text that holds several: an original and its correction, say."""
    texts = split_reports(raw.text)
    return [raw] if len(texts) < 2 else [replace(raw, text=text) for text in texts]


def news(outcome: pipeline.Outcome) -> bool:
    """Whether there is anything to write: a step, a notice, a gap, or a report not seen before."""
    return bool(
        outcome.steps
        or outcome.notices
        or outcome.gap is not None
        or any(j.status != "duplicate" for j in outcome.judged)
    )


def fail(report: CycleReport, airfield: str, error: Exception) -> None:
    """Tell what failed at one airfield: a full disk in its own words, a mistake with its place."""
    if isinstance(error, StoreError):
        log.error("airfield_failed", extra={"airfield": airfield, "problem": str(error)})
        report.failed.append(f"{airfield}: {error}")
        return
    log.error("airfield_failed", extra={"airfield": airfield}, exc_info=error)
    report.failed.append(f"{airfield}: windwatch failed ({type(error).__name__}); see the log")


def knows_wind(airfield: Airfield, books: Books, now: datetime) -> bool:
    """Whether the wind of an airfield is known now, if only by a fall-back station."""
    state = books.state
    return wind_is_known(airfield, state, now) or covering(airfield, state, now) is not None


def sort_by_airfield(
    airfields: Iterable[Airfield], reports: Iterable[RawReport], problems: list[str]
) -> dict[str, list[RawReport]]:
    """Sort reports by the airfields that listen to their stations.

    Parameters
    ----------
    problems : list of str
        Takes up which reports nobody asked for.
    """
    homes_of: dict[str, list[str]] = {}
    for airfield in airfields:
        for station in dict.fromkeys(stations_of(airfield)):
            homes_of.setdefault(station, []).append(airfield.id)
    by_airfield: dict[str, list[RawReport]] = {}
    for raw in (one for several in reports for one in single(several)):
        station = raw.station_asked or read_wind(raw.text, raw.received_at).station
        homes = homes_of.get(station, [])
        if not homes:
            problems.append(f"a report of {station or 'nobody'} was not asked for")
        for home in homes:
            by_airfield.setdefault(home, []).append(raw)
    return by_airfield
