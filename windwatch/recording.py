"""What a watch has judged, as the lines that `replay` plays (promise 4)."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Final

from windwatch.feeds.recorded import RecordedKind, RecordedLine, recorded_line
from windwatch.reports.raw import RawReport
from windwatch.store.clock_events import CLOCK_EVENT
from windwatch.store.store import Store
from windwatch.store.values import StoredEvent, StoredReport

# Of reports that had an effect: the others are kept, but nothing came of them.
_COUNTED: Final = frozenset({"accepted", "standby"})
_KINDS: Final = ("METAR", "SPECI")


def recorded_lines(store: Store, since: datetime | None = None) -> Iterator[str]:
    """The events of a store, oldest first, as lines of a recorded file.

    Parameters
    ----------
    since : datetime or None
        From this moment on; what was known before it is then not in the recording.

    Raises
    ------
    StoreError
        If the store cannot be read.
    """
    told: set[tuple[datetime, str]] = set()
    for event in store.events():
        if since is not None and event.at < since:
            continue
        for line in _lines(store, event):
            # Several airfields may hear of one station, and of one gap.
            text = recorded_line(line)
            if (line.at, text) not in told:
                told.add((line.at, text))
                yield text


def _lines(store: Store, event: StoredEvent) -> Iterator[RecordedLine]:
    detail = event.detail
    unwatched_since = detail.get("not_watched_since")
    if unwatched_since is not None:
        since = datetime.fromisoformat(unwatched_since)
        # A store of an older windwatch does not say it: when that was noted, to a second or so.
        until = datetime.fromisoformat(detail.get("not_watched_until", event.at.isoformat()))
        yield RecordedLine(event.at, "", 0, RecordedKind.UNWATCHED, since=since, until=until)
    match event.kind:
        case "report":
            ids = [each["id"] for each in detail["reports"] if each["status"] in _COUNTED]
            if not ids:
                # Nothing new came, but time had passed, and something was due.
                yield RecordedLine(event.at, "", 0, RecordedKind.TICK)
            for report in store.reports(ids):
                raw = RawReport(_with_its_kind(report), event.at, "recorded")
                yield RecordedLine(event.at, "", 0, RecordedKind.REPORT, report=raw)
        case "tick":
            yield RecordedLine(event.at, "", 0, RecordedKind.TICK)
        case "acknowledge":
            for episode in detail["episodes"]:
                yield RecordedLine(
                    event.at, "", 0, RecordedKind.ACKNOWLEDGE, episode=episode, by=detail["by"]
                )
        case kind if kind == CLOCK_EVENT:
            doubt = (detail["reason"] or "in doubt") if detail["in_doubt"] else ""
            yield RecordedLine(event.at, "", 0, RecordedKind.CLOCK, doubt=doubt)


def _with_its_kind(report: StoredReport) -> str:
    """The text, with the kind that the feed named where the text does not begin with it."""
    if report.raw.startswith(_KINDS) or report.kind not in _KINDS:
        return report.raw
    return f"{report.kind} {report.raw}"
