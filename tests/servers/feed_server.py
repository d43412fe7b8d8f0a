"""A local server that speaks the Data API's METAR endpoint and plays a recorded file.

It shows what had been received by the time on a hand-moved clock, as JSON or raw text, with
the headers, the 204 and the ETag of the real one (reference/feeds.md section 1).
"""

import hashlib
import json
import math
import threading
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

from tests.servers.loopback import LoopbackServer
from windwatch.clock import Clock
from windwatch.feeds.forecasts import forecast_station
from windwatch.feeds.recorded import read_recorded
from windwatch.feeds.report_text import observed_near, station_of
from windwatch.reports.raw import RawReport

MOST_ENTRIES = 400


class PlayedFeed(LoopbackServer):
    """Serve a recorded file as the Data API would have shown it.

    Attributes
    ----------
    url : str
        What goes into the feed's settings as `url` (with ``allow_http`` and
        ``allow_networks = ["127.0.0.0/8"]``).
    asked : list of str
        Path and query of every request, in order.
    faults : list of (int, dict, bytes)
        Answers to give instead, first in first out: status, headers, body.
    hidden : set of str
        Stations to leave out of every answer.
    forecasts_hang : Event or None
        Answers about forecasts wait for it.
    """

    def __init__(self, recorded_path: Path, clock: Clock) -> None:
        lines = read_recorded(recorded_path)
        self._reports = [line.report for line in lines if line.report]
        self._forecasts = [line.forecast for line in lines if line.forecast]
        self.forecasts_hang: threading.Event | None = None
        self._clock = clock
        self.asked: list[str] = []
        self.faults: list[tuple[int, dict[str, str], bytes]] = []
        self.hidden: set[str] = set()
        super().__init__(_handler(self))

    @property
    def url(self) -> str:
        return f"{self.root}/api/data"

    def date(self) -> str:
        return f"{self._clock.now():%a, %d %b %Y %H:%M:%S} GMT"

    def answer(self, target: str, condition: str | None) -> tuple[int, dict[str, str], bytes]:
        """Answer one request: status, headers, body."""
        self.asked.append(target)
        if self.faults:
            return self.faults.pop(0)
        parts = urlsplit(target)
        if parts.path == "/api/data/taf":
            return self._answer_forecasts(parts.query)
        if parts.path != "/api/data/metar":
            return 404, {"Content-Type": "text/html"}, b"<html><body>404</body></html>"
        query = {key: values[-1] for key, values in parse_qs(parts.query).items()}
        if not query.get("ids"):
            body = b'{"status":"error","error":"Must specify station IDs"}'
            return 400, {"Content-Type": "application/json"}, body
        shown = self._shown(query["ids"].upper().split(","), query.get("hours"))
        if not shown:
            return 204, {}, b""
        if query.get("format", "raw") == "json":
            kind = "application/json; charset=utf-8"
            body = json.dumps([_object(report) for report in shown]).encode()
        else:
            kind = "text/plain"
            body = "".join(f"{report.text}\n" for report in shown).encode()
        tag = f'W/"{hashlib.sha256(body).hexdigest()[:16]}"'
        headers = {"Content-Type": kind, "ETag": tag, "Cache-Control": "max-age=60"}
        return (304, headers, b"") if condition == tag else (200, headers, body)

    def _answer_forecasts(self, query: str) -> tuple[int, dict[str, str], bytes]:
        """The newest forecast of each station, and the one before it as superseded."""
        if self.forecasts_hang is not None:
            self.forecasts_hang.wait()
        stations = parse_qs(query)["ids"][-1].upper().split(",")
        found = []
        for station in stations:
            here = [
                each
                for each in self._forecasts
                if forecast_station(each.text) == station and each.received_at <= self._clock.now()
            ]
            found += [
                {"icaoId": station, "rawTAF": each.text, "mostRecent": int(each is here[-1])}
                for each in reversed(here)
            ]
        kind = "application/json; charset=utf-8"
        return 200, {"Content-Type": kind}, json.dumps(found).encode()

    def _shown(self, stations: list[str], hours: str | None) -> list[RawReport]:
        """What has come by now, newest first."""
        now = self._clock.now()
        here = [
            report
            for report in self._reports
            if report.received_at <= now
            and station_of(report.text) in stations
            and station_of(report.text) not in self.hidden
        ]
        here.sort(key=lambda report: (_observed(report), report.received_at), reverse=True)
        if hours is None:
            latest = {station_of(report.text): report for report in reversed(here)}
            return list(latest.values())
        begin = now - timedelta(hours=float(hours))
        return [report for report in here if _observed(report) >= begin][:MOST_ENTRIES]


def _observed(report: RawReport) -> datetime:
    return observed_near(report.text, report.received_at) or report.received_at


def _object(report: RawReport) -> dict[str, Any]:
    """Write one record, with the fields windwatch looks at and the one that misleads."""
    observed = _observed(report)
    hour = math.ceil(observed.timestamp() / 3600) * 3600
    kind = report.text.split()[0]
    return {
        "icaoId": station_of(report.text),
        "receiptTime": f"{report.received_at:%Y-%m-%dT%H:%M:%S}.000Z",
        "obsTime": int(observed.timestamp()),
        "reportTime": f"{datetime.fromtimestamp(hour, UTC):%Y-%m-%dT%H:%M:%S}.000Z",
        "metarType": kind if kind in ("METAR", "SPECI") else "METAR",
        "rawOb": report.text,
    }


def _handler(feed: PlayedFeed) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            status, headers, body = feed.answer(self.path, self.headers.get("If-None-Match"))
            self.send_response(status)
            for name, value in headers.items():
                self.send_header(name, value)
            if status not in (204, 304):
                self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def date_time_string(self, timestamp: float | None = None) -> str:
            return feed.date()

        def log_message(self, *args: Any) -> None:
            """Say nothing."""

    return Handler
