"""What one turn of a watch comes to, and the small judgements on the way."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime

from windwatch import pipeline
from windwatch.episodes.clock_doubt import DISAGREEMENT
from windwatch.episodes.entries import Judged
from windwatch.errors import FeedBusy, FeedError, StoreError
from windwatch.notices.values import Content, Notice
from windwatch.reports.raw import RawReport
from windwatch.reports.text import split_reports

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
    reports: Iterable[RawReport], asked_at: datetime, now: datetime
) -> Iterable[RawReport]:
    """Reports with the time at which they really came, where the feed put our clock right."""
    if abs(now - asked_at) <= DISAGREEMENT:
        return reports
    return [replace(raw, received_at=now) for raw in reports]


def single(raw: RawReport) -> list[RawReport]:
    """The reports of a text that holds several: an original and its correction, say."""
    texts = split_reports(raw.text)
    return [raw] if len(texts) < 2 else [replace(raw, text=text) for text in texts]


def news(outcome: pipeline.Outcome) -> bool:
    """Whether there is anything to write: a step, a notice, or a report not seen before."""
    return bool(
        outcome.steps or outcome.notices or any(j.status != "duplicate" for j in outcome.judged)
    )


def fail(report: CycleReport, airfield: str, error: Exception) -> None:
    """Tell what failed at one airfield: a full disk in its own words, a mistake with its place."""
    if isinstance(error, StoreError):
        log.error("airfield_failed", extra={"airfield": airfield, "problem": str(error)})
        report.failed.append(f"{airfield}: {error}")
        return
    log.error("airfield_failed", extra={"airfield": airfield}, exc_info=error)
    report.failed.append(f"{airfield}: windwatch failed ({type(error).__name__}); see the log")
