"""Reports in their order: what is accepted, what replaces what, what has no effect.

An accepted report is an `Entry`. Entries are ordered by time, correction rank and strength, never
by arrival, so that the same reports give the same state whatever order they came in.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import NamedTuple

from windwatch.episodes.values import ReportRef
from windwatch.fleet import Airfield
from windwatch.reports.decode import decode_report, identity
from windwatch.reports.raw import RawReport
from windwatch.reports.values import Report
from windwatch.rules import Rules, in_words


class Status(StrEnum):
    """What became of a report."""

    ACCEPTED = "accepted"
    DUPLICATE = "duplicate"
    STANDBY = "standby"
    LATE = "late"
    QUARANTINED = "quarantined"
    UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True)
class Entry:
    """An accepted report.

    Attributes
    ----------
    id : str
        Identity of the report: station, time, kind and text.
    order_at : datetime
        Its place: the observation time; for a fall-back report, when the fall-back took over,
        if that was later.
    in_doubt : bool
        The sensor seems stuck: the report is shown, and clears nothing.
    """

    id: str
    station: str
    kind: str
    observed_at: datetime
    order_at: datetime
    received_at: datetime
    text: str
    correction: int = 0
    strongest: float = 0.0
    fall_back: bool = False
    in_doubt: bool = False

    @property
    def place(self) -> tuple[datetime, datetime, int, float, str]:
        """What entries are ordered by; of two texts for one time the worse comes last."""
        return self.order_at, self.observed_at, self.correction, self.strongest, self.id

    @property
    def ref(self) -> ReportRef:
        """The report as evidence."""
        return ReportRef(
            self.id,
            self.station,
            self.kind,
            self.observed_at,
            self.received_at,
            self.text,
            self.fall_back,
            self.correction > 0,
        )

    def replaces(self, other: Entry) -> bool:
        """Whether it is a correction of the other."""
        return (
            self.station == other.station
            and self.observed_at == other.observed_at
            and self.kind == other.kind
            and self.correction > other.correction
        )


class Judged(NamedTuple):
    """What became of one raw report, and why."""

    status: Status
    reason: str
    report: Report
    entry: Entry | None


def read_entry(
    raw: RawReport,
    airfield: Airfield,
    rules: Rules,
    now: datetime,
    missed_since: datetime | None = None,
) -> Judged:
    """Decode a raw report and decide whether it can be believed.

    Parameters
    ----------
    missed_since : datetime or None
        Observations after this were missed while nobody watched: none of them is too late.

    Returns
    -------
    Judged
        With an entry where the report is accepted or waits as a fall-back.
    """
    report = decode_report(raw.text, raw.received_at, raw.observed_at, raw.kind)
    doubt = _doubt(raw, report, airfield, rules, now)
    if doubt is not None or report.observed_at is None:
        status, reason = doubt or (Status.UNREADABLE, "no readable time")
        return Judged(status, reason, report, None)
    fall_back = report.station != airfield.station.id
    entry = Entry(
        identity(report),
        report.station,
        report.kind,
        report.observed_at,
        report.observed_at,
        raw.received_at,
        report.raw,
        report.correction,
        0.0 if report.wind is None else float(report.wind.strongest),
        fall_back,
    )
    missed = missed_since is not None and report.observed_at > missed_since
    if now - report.observed_at > rules.late_after and not missed:
        reason = f"older than {in_words(rules.late_after)}: recorded only"
        return Judged(Status.LATE, reason, report, None)
    return Judged(Status.STANDBY if fall_back else Status.ACCEPTED, "", report, entry)


def _doubt(
    raw: RawReport, report: Report, airfield: Airfield, rules: Rules, now: datetime
) -> tuple[Status, str] | None:
    if not report.station or report.observed_at is None:
        return Status.UNREADABLE, "; ".join(report.problems) or "no report was recognised"
    if raw.station_asked is not None and report.station != raw.station_asked:
        return (
            Status.QUARANTINED,
            f"the text is of {report.station}, but {raw.station_asked} was asked for",
        )
    if report.station not in stations_of(airfield):
        return Status.QUARANTINED, f"{report.station} is no station of {airfield.id}"
    dated_at = raw.observed_at
    if dated_at is not None and abs(dated_at - report.observed_at) > rules.future_by:
        dated, says = f"{dated_at:%Y-%m-%d %H:%MZ}", f"{report.observed_at:%d %H:%MZ}"
        return Status.QUARANTINED, f"the feed dates it {dated}, its text says {says}"
    if report.observed_at - now > rules.future_by:
        return Status.QUARANTINED, f"its time, {report.observed_at:%d %H:%MZ}, is still to come"
    return None


def stations_of(airfield: Airfield) -> tuple[str, ...]:
    """The main station and its fall-backs, in order."""
    return (airfield.station.id, *(s.id for s in airfield.fall_back_stations))


def insert(entries: tuple[Entry, ...], new: Entry) -> tuple[Entry, ...]:
    """Put an entry in its place; a correction takes the place of what it corrects.

    An entry that a later correction already replaced is not let in again.
    """
    if any(new.id == e.id or e.replaces(new) for e in entries):
        return entries
    kept = [e for e in entries if not new.replaces(e)]
    kept.append(new)
    kept.sort(key=lambda e: e.place)
    return tuple(kept)
