"""A report as a feed hands it over: text, and what the feed knows about it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class RawReport:
    """One report as received.

    Attributes
    ----------
    text : str
        The report, as it came.
    received_at : datetime
        When windwatch received it, aware, UTC.
    source : str
        Which feed: ``awc``, ``noaa-text``, ``recorded`` ...
    station_asked : str or None
        The station it was asked for, where the feed keeps one file or address a station.
        A text of another station is quarantined.
    observed_at : datetime or None
        Full observation time where the feed gives one (aware, UTC). The text's own day and
        hour must agree with it.
    kind : str or None
        ``METAR`` or ``SPECI`` where the feed says so beside the text.
    """

    text: str
    received_at: datetime
    source: str
    station_asked: str | None = None
    observed_at: datetime | None = None
    kind: str | None = None
