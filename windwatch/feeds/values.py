"""What a feed is asked for, what it gives, and how it is set up: plain frozen values."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final, Protocol

from windwatch.reports.raw import RawReport

KINDS: Final = (
    "awc",
    "awc-cache",
    "noaa-text",
    "noaa-cycles",
    "nws",
    "recorded",
    "json",
)
PUBLIC_KINDS: Final = ("awc", "awc-cache", "noaa-text", "noaa-cycles", "nws")
FORMATS: Final = ("json", "raw")
SPEED_UNITS: Final = ("kt", "m/s", "km/h", "mph")
REFERENCES: Final = ("true", "magnetic")
# A public feed is asked at most once a minute (its own policy, reference/feeds.md 1.3).
PUBLIC_FLOOR: Final = timedelta(seconds=60)
EVERY: Final = timedelta(seconds=120)


@dataclass(frozen=True, slots=True)
class FetchResult:
    """What one asking brought.

    Attributes
    ----------
    reports : tuple of RawReport
        In order of observation where the feed tells it.
    problems : tuple of str
        What could not be used, in words, the value quoted and made harmless.
    asked : tuple of str
        Stations really asked about; a station that is not among them was not looked up.
    not_modified : bool
        The feed said that nothing changed since the reply before; `reports` is then empty.
    server_date : datetime or None
        The feed's own clock, from its headers, UTC: to be compared with ours.
    """

    reports: tuple[RawReport, ...]
    problems: tuple[str, ...] = ()
    asked: tuple[str, ...] = ()
    not_modified: bool = False
    server_date: datetime | None = None


class Feed(Protocol):
    """A source of reports."""

    def fetch(
        self,
        stations: tuple[str, ...],
        now: datetime,
        *,
        since: datetime | None = None,
        fresh: bool = False,
    ) -> FetchResult:
        """Ask once for the reports of these stations.

        Parameters
        ----------
        stations : tuple of str
            Station identifiers.
        now : datetime
            The time of asking, UTC; becomes `RawReport.received_at`.
        since : datetime or None
            Ask back to this time (after a gap in watching), as far as the feed reaches.
            None: the last two hours or so, which no two polls can fall between.
        fresh : bool
            Ask without conditions and past every cache. Needed past two thirds of
            `stale_after`, and after a reply that could not be judged and stored: the feed
            would otherwise answer "not modified" about reports that nobody has.

        Raises
        ------
        FeedBusy
            If the feed asked us to stay away, or it is too early to ask again.
        FeedError
            If nothing usable came; the message names what came instead.
        """
        ...

    def close(self) -> None:
        """Give back connections."""
        ...


@dataclass(frozen=True, slots=True)
class JsonMapping:
    """Where a field's own anemometer or aggregator keeps its values.

    Keys are dotted paths into the JSON document; a number picks an item of a list
    (``"data.0.wind.speed"``). An empty key means that there is no such value.

    Attributes
    ----------
    records : str
        Path to the list of records (or to the one record); empty: the document itself.
    station : str
        Identifier of the one station that is meant; empty: read `station_key`.
    station_key : str
        Path to the identifier inside a record.
    report : str
        Path to a whole METAR or SPECI text; where given, the wind keys are not needed.
    observed_at : str
        Path to the observation time: ISO 8601 with zone, or Unix seconds (or milliseconds).
    wind_from : str
        Path to the direction that the wind comes from, degrees.
    speed, gust : str
        Paths to the mean (or momentary) speed and the peak.
    unit : str
        Unit of the speeds: ``kt``, ``m/s``, ``km/h`` or ``mph``.
    reference : str
        What the directions refer to: ``true`` or ``magnetic``. There is no default.
    variation_deg : float or None
        Magnetic variation at the sensor, east positive; needed for ``magnetic``. [deg]
    averaging_period : timedelta or None
        Over how long the device averages its speed; 0 for momentary values. Below two
        minutes the feed itself makes the two-minute mean and the ten-minute peak. No default.
    """

    records: str = ""
    station: str = ""
    station_key: str = ""
    report: str = ""
    observed_at: str = ""
    wind_from: str = ""
    speed: str = ""
    gust: str = ""
    unit: str = ""
    reference: str = ""
    variation_deg: float | None = None
    averaging_period: timedelta | None = None


@dataclass(frozen=True, slots=True)
class FeedSettings:
    """How one feed is set up. `settings_faults` (feeds/build.py) says what contradicts itself.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    url : str
        ``awc``, ``noaa-text``, ``noaa-cycles``, ``nws``: another base address instead of the
        public one (for ``awc`` up to and including ``/api/data``); ``awc-cache``: the whole
        address of another file; ``json``: the whole address, needed.
    contact : str
        Mail or web address of whoever runs this windwatch; goes into the User-Agent, as
        public feeds ask. Needed for every feed that is called over the network.
    every : timedelta
        How often to ask. Public feeds: not below one minute.
    format : str
        ``awc`` only: ``json`` (default) or ``raw``.
    files : tuple of Path
        ``recorded`` only: the files to play, in any order.
    mapping : JsonMapping or None
        ``json`` only: where the values are.
    allow_http : bool
        Whether an address without TLS may be called.
    allow_networks : tuple of str
        Private networks or addresses that may be called (``192.168.1.0/24``), on any port.
    ca_file : Path or None
        Certificate authorities trusted besides the usual ones.
    api_key : str
        ``json`` only: a secret that the address asks for; never shown.
    api_key_header : str
        Header that carries it; for ``Authorization`` it is sent as ``Bearer ...``.
    """

    kind: str
    # Not in the repr: some addresses carry a key in their query.
    url: str = field(default="", repr=False)
    contact: str = ""
    every: timedelta = EVERY
    format: str = "json"
    files: tuple[Path, ...] = ()
    mapping: JsonMapping | None = None
    allow_http: bool = False
    allow_networks: tuple[str, ...] = ()
    ca_file: Path | None = None
    api_key: str = field(default="", repr=False)
    api_key_header: str = "Authorization"
