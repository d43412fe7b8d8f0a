"""A local server that answers as the public feeds do: one answer a path, METAR by area and name.

The METAR endpoint gives records by ``bbox`` (leaving out those that it thins away) or by ``ids``,
as JSON, and 204 where nobody reported (reference/feeds.md section 1).
"""

import json
from datetime import datetime
from http.server import BaseHTTPRequestHandler
from typing import Any
from urllib.parse import parse_qs, urlsplit

from tests.servers.loopback import LoopbackServer


def a_record(station: str, place: tuple[float, float], observed_at: datetime, **more: Any) -> dict:
    """One record as the Data API writes it; elevation in metres."""
    stamp = f"{observed_at:%d%H%M}Z"
    return {
        "icaoId": station,
        "receiptTime": f"{observed_at:%Y-%m-%dT%H:%M:%S}.417Z",
        "obsTime": int(observed_at.timestamp()),
        "reportTime": f"{observed_at:%Y-%m-%dT%H:00:00}.000Z",
        "temp": 22.8,
        "wdir": 20,
        "wspd": 13,
        "visib": "10+",
        "metarType": "METAR",
        "rawOb": f"METAR {station} {stamp} 02013KT 10SM CLR 22/08 A3014",
        "lat": place[0],
        "lon": place[1],
        "elev": 290,
        "name": f"{station} Field, NY, US",
        **more,
    }


class StationsServer(LoopbackServer):
    """Answers while its context is open.

    Attributes
    ----------
    records : list of dict
        What the METAR endpoint knows.
    thinned : set of str
        Stations that no area gives, only their name.
    answers : dict of str to (int, bytes)
        Other paths, and answers instead of the endpoint's: status and body.
    asked : list of str
        Path and query of every request, in order.
    agents : list of str
        User-Agent of every request.
    """

    def __init__(self, *records: dict, thinned: tuple[str, ...] = ()) -> None:
        self.records = list(records)
        self.thinned = set(thinned)
        self.answers: dict[str, tuple[int, bytes]] = {}
        self.asked: list[str] = []
        self.agents: list[str] = []
        super().__init__(_handler(self))

    @property
    def url(self) -> str:
        """What goes into the settings of an awc feed."""
        return f"{self.root}/api/data"

    def answer(self, target: str) -> tuple[int, bytes]:
        self.asked.append(target)
        parts = urlsplit(target)
        if parts.path in self.answers:
            return self.answers[parts.path]
        if parts.path != "/api/data/metar":
            return 404, b"<html><body>404</body></html>"
        query = {key: values[-1] for key, values in parse_qs(parts.query).items()}
        if "bbox" in query:
            south, west, north, east = map(float, query["bbox"].split(","))
            found = [
                record
                for record in self.records
                if record["icaoId"] not in self.thinned
                and south <= record.get("lat", south) <= north
                and west <= record.get("lon", west) <= east
            ]
        else:
            names = query.get("ids", "").split(",")
            found = [record for record in self.records if record["icaoId"] in names]
        return (200, json.dumps(found).encode()) if found else (204, b"")


def _handler(server: StationsServer) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            server.agents.append(self.headers.get("User-Agent", ""))
            status, body = server.answer(self.path)
            self.send_response(status)
            if status != 204:
                self.send_header("Content-Type", "application/json; charset=utf-8")
                self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body if status != 204 else b"")

        def log_message(self, *args: Any) -> None:
            """Say nothing."""

    return Handler
