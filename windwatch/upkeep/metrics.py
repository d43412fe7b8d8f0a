"""Figures for a Prometheus server, on request (extra ``metrics``), on a registry of their own."""

from __future__ import annotations

import logging
import threading
from datetime import datetime
from typing import TYPE_CHECKING, Final

from windwatch.errors import UsageError
from windwatch.upkeep.health import Health

if TYPE_CHECKING:
    from threading import Thread
    from wsgiref.simple_server import WSGIServer

log = logging.getLogger(__name__)

LOOPBACK: Final = "127.0.0.1"
_GAUGES: Final = {
    "windwatch_last_cycle_timestamp_seconds": "Time of the last complete cycle",
    "windwatch_last_poll_timestamp_seconds": "Time of the last poll, complete or not",
    "windwatch_healthy": "1 if nothing is wrong",
    "windwatch_feed_up": "1 if the feed answered at the last poll",
    "windwatch_store_up": "1 if the store can be written",
    "windwatch_clock_in_doubt": "1 while the clock of this machine is in doubt",
    "windwatch_deliveries_open": "Deliveries that have not ended",
    "windwatch_deliveries_dead": "Deliveries that ended without arriving",
    "windwatch_contacts_unreached": "Contacts that no channel reaches",
}
_COUNTERS: Final = {
    "windwatch_polls": "Polls of the feed",
    "windwatch_reports": "Reports that the feed gave",
    "windwatch_notices": "Notices made",
    "windwatch_delivered": "Deliveries that the next hop took",
    "windwatch_delivery_failures": "Tries at deliveries that failed",
}


class Metrics:
    """The figures, and the port on which they can be asked for.

    Parameters
    ----------
    port : int
        0: whichever is free.
    address : str
        Where it listens; this machine alone unless somebody says otherwise.

    Attributes
    ----------
    port : int
        Where it listens.

    Raises
    ------
    UsageError
        If the extra is not installed, or the port cannot be had.
    """

    def __init__(self, port: int, address: str = LOOPBACK) -> None:
        try:
            import prometheus_client as prometheus  # noqa: PLC0415 - an extra
        except ImportError:
            raise UsageError(
                "watch.metrics_port needs a library that is not installed; install it with "
                "pip install 'windwatch[metrics]', or take the key out"
            ) from None
        registry = prometheus.CollectorRegistry()
        self._gauges = {
            name: prometheus.Gauge(name, text, registry=registry) for name, text in _GAUGES.items()
        }
        self._counters = {
            name: prometheus.Counter(name, text, registry=registry)
            for name, text in _COUNTERS.items()
        }
        self._ages = prometheus.Gauge(
            "windwatch_station_seen_timestamp_seconds",
            "Observation time of the newest wind",
            ("airfield", "station"),
            registry=registry,
        )
        self._registry = registry
        self._address = address
        self._listening: tuple[WSGIServer, Thread] | None = None
        # Reloading and polling are different threads.
        self._lock = threading.Lock()
        self._lent = False
        try:
            self._listen(port)
        except OSError as error:
            raise UsageError(
                f"watch.metrics_port: port {port} of {address} cannot be had: {error.strerror}"
            ) from error

    def _listen(self, port: int) -> None:
        self._listening = _serve(port, self._address, self._registry)
        self.port = self._listening[0].server_port

    def count(self, **by: int) -> None:
        """Count up: polls, reports, notices, delivered, delivery_failures."""
        for name, number in by.items():
            if number:
                self._counters[f"windwatch_{name}"].inc(number)

    def show(self, health: Health, now: datetime) -> None:
        """Take the figures of a state."""
        self._listen_again()
        figures = {
            "last_cycle_timestamp_seconds": _seconds(health.last_cycle_at),
            "last_poll_timestamp_seconds": _seconds(health.last_turn_at),
            "healthy": float(not health.faults(now)),
            "feed_up": float(not health.feed_problem),
            "store_up": float(not health.store_problem),
            "clock_in_doubt": float(bool(health.clock_problem)),
            "deliveries_open": health.deliveries_open,
            "deliveries_dead": health.deliveries_dead,
            "contacts_unreached": len(health.unreached),
        }
        for name, figure in figures.items():
            self._gauges[f"windwatch_{name}"].set(figure)
        for each in health.stations:
            if each.seen_at is not None:
                self._ages.labels(each.airfield, each.station).set(_seconds(each.seen_at))

    def lend(self) -> None:
        """Let somebody else have the port, for another address of it."""
        with self._lock:
            self._lent = True
            if self._listening is not None:
                server, thread = self._listening
                self._listening = None
                server.shutdown()
                server.server_close()
                thread.join(5)

    def take_back(self) -> None:
        """Listen again after `lend`; where the port cannot be had now, the next figures try."""
        self._lent = False
        self._listen_again()

    def _listen_again(self) -> None:
        with self._lock:
            if self._lent or self._listening is not None:
                return
            try:
                self._listen(self.port)
            except OSError as error:
                log.warning("metrics_silent", extra={"port": self.port, "problem": error.strerror})

    def close(self) -> None:
        """Give the port back for good."""
        self.lend()


def moved(metrics: Metrics, port: int, address: str) -> Metrics:
    """Figures at another port or address; a port that is the same is lent by the old ones.

    Most systems let nobody listen on every address of a port while one of them is taken.

    Raises
    ------
    UsageError
        If it cannot be had; then the old ones listen as before.
    """
    if metrics.port != port:
        return Metrics(port, address)
    metrics.lend()
    try:
        return Metrics(port, address)
    except BaseException:
        metrics.take_back()
        raise


def _serve(port: int, address: str, registry: object) -> tuple[WSGIServer, Thread]:
    from prometheus_client import start_http_server  # noqa: PLC0415 - an extra

    server, thread = start_http_server(port, addr=address, registry=registry)  # type: ignore[arg-type]
    return server, thread


def _seconds(at: datetime | None) -> float:
    return 0.0 if at is None else at.timestamp()
