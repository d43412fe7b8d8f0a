"""The state of a watch, in a small file beside the store: what `windwatch health` reads.

It is a file and not a row, because it must tell of a store that cannot be written; and each watcher
of several has its own.
"""

from __future__ import annotations

import contextlib
import json
import os
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

from windwatch.episodes.books import Books
from windwatch.episodes.intake import wind_is_known
from windwatch.episodes.pattern import pattern_hint
from windwatch.fleet import Fleet

FORMAT: Final = "windwatch.health/1"
SUFFIX: Final = ".health.json"
# No complete cycle in so many intervals is a watch that does not work.
INTERVALS: Final = 3
MOST_BYTES: Final = 1_000_000

WATCHING: Final = "watching"
STANDING_BY: Final = "standing by"
STOPPED: Final = "stopped"


@dataclass(frozen=True, slots=True)
class StationHealth:
    """What is known from one airfield's station.

    Attributes
    ----------
    hint : str
        What to set where it reports otherwise than expected; '' where it does not. No fault.
    """

    airfield: str
    station: str
    seen_at: datetime | None
    known: bool
    hint: str = ""


@dataclass(frozen=True, slots=True)
class Health:
    """How a watch stands.

    Attributes
    ----------
    state : str
        ``watching``, ``standing by`` or ``stopped``.
    interval : timedelta
        Between two polls.
    last_cycle_at : datetime or None
        The last complete cycle: fetched, judged, stored, every due delivery attempted.
    last_turn_at : datetime or None
        The last poll, complete or not.
    feed_problem, store_problem, clock_problem : str
        '' where there is none.
    config_problem : str
        Why the configuration's files are not, or not wholly, what is in force; the watch works.
    unreached : tuple of str
        Contacts that no channel reaches.
    troubles : tuple of (key, headline, since)
    """

    written_at: datetime
    started_at: datetime
    pid: int
    interval: timedelta
    state: str = WATCHING
    last_cycle_at: datetime | None = None
    last_turn_at: datetime | None = None
    feed_problem: str = ""
    store_problem: str = ""
    clock_problem: str = ""
    heartbeat_problem: str = ""
    config_problem: str = ""
    stations: tuple[StationHealth, ...] = ()
    deliveries_open: int = 0
    deliveries_dead: int = 0
    unreached: tuple[str, ...] = ()
    troubles: tuple[tuple[str, str, datetime], ...] = field(default=())

    def faults(self, now: datetime) -> tuple[str, ...]:
        """Why the watch is not healthy; empty: it is.

        Parameters
        ----------
        now : datetime
            Aware, UTC.
        """
        if self.state == STANDING_BY:
            return self._silent(self.written_at, now, "nothing was written since")
        silent = self._silent(self.last_cycle_at, now, "no complete cycle since")
        return tuple(
            fault
            for fault in (
                *silent,
                # One poll that failed is nothing yet.
                f"feed: {self.feed_problem}" if silent and self.feed_problem else "",
                self.store_problem and f"store: {self.store_problem}",
                self.clock_problem and f"clock in doubt: {self.clock_problem}",
                *(f"{name} is reached by no channel" for name in self.unreached),
            )
            if fault
        )

    def _silent(self, since: datetime | None, now: datetime, what: str) -> tuple[str, ...]:
        if since is not None and now - since <= INTERVALS * self.interval:
            return ()
        begun = self.started_at if since is None else since
        if since is None and now - begun <= INTERVALS * self.interval:
            return ()  # it has just begun
        return (f"{what} {begun:%Y-%m-%d %H:%M:%SZ}",)


def stations_of(
    fleet: Fleet, books: Mapping[str, Books], now: datetime
) -> tuple[StationHealth, ...]:
    """What is known from each airfield's station."""
    return tuple(
        StationHealth(
            airfield.id,
            airfield.station.id,
            None if (seen := books[airfield.id].state.wind) is None else seen.at,
            wind_is_known(airfield, books[airfield.id].state, now),
            pattern_hint(airfield, books[airfield.id].state),
        )
        for airfield in fleet.airfields
        if airfield.id in books
    )


# --- the file --------------------------------------------------------------------


def path_beside(store: Path) -> Path:
    """Where the state of a watch on a store is kept."""
    return store.with_name(store.name + SUFFIX)


def as_json(health: Health) -> dict[str, Any]:
    """The document, as the file and ``health --json`` have it."""
    return {
        "format": FORMAT,
        "state": health.state,
        "written_at": _iso(health.written_at),
        "started_at": _iso(health.started_at),
        "pid": health.pid,
        "interval_s": health.interval.total_seconds(),
        "last_cycle_at": _iso(health.last_cycle_at),
        "last_turn_at": _iso(health.last_turn_at),
        "feed": {"problem": health.feed_problem},
        "store": {"problem": health.store_problem},
        "clock": {"in_doubt": bool(health.clock_problem), "problem": health.clock_problem},
        "heartbeat": {"problem": health.heartbeat_problem},
        "config": {"problem": health.config_problem},
        "stations": [
            {
                "airfield": each.airfield,
                "station": each.station,
                "seen_at": _iso(each.seen_at),
                "known": each.known,
                "hint": each.hint,
            }
            for each in health.stations
        ],
        "deliveries": {"open": health.deliveries_open, "dead": health.deliveries_dead},
        "unreached_contacts": list(health.unreached),
        "troubles": [
            {"key": key, "headline": headline, "since": _iso(since)}
            for key, headline, since in health.troubles
        ],
    }


def from_json(document: Any) -> Health:
    """The state from its document.

    Raises
    ------
    ValueError
        If it is none.
    """
    try:
        if document["format"] != FORMAT:
            raise ValueError(f"its format is {document['format']!r}, not {FORMAT}")
        return Health(
            written_at=datetime.fromisoformat(document["written_at"]),
            started_at=datetime.fromisoformat(document["started_at"]),
            pid=int(document["pid"]),
            interval=timedelta(seconds=float(document["interval_s"])),
            state=str(document["state"]),
            last_cycle_at=_moment(document["last_cycle_at"]),
            last_turn_at=_moment(document["last_turn_at"]),
            feed_problem=str(document["feed"]["problem"]),
            store_problem=str(document["store"]["problem"]),
            clock_problem=str(document["clock"]["problem"]),
            heartbeat_problem=str(document["heartbeat"]["problem"]),
            # Not in the file of an older watch.
            config_problem=str(document.get("config", {}).get("problem", "")),
            stations=tuple(
                StationHealth(
                    str(each["airfield"]),
                    str(each["station"]),
                    _moment(each["seen_at"]),
                    bool(each["known"]),
                    str(each.get("hint", "")),
                )
                for each in document["stations"]
            ),
            deliveries_open=int(document["deliveries"]["open"]),
            deliveries_dead=int(document["deliveries"]["dead"]),
            unreached=tuple(map(str, document["unreached_contacts"])),
            troubles=tuple(
                (str(each["key"]), str(each["headline"]), datetime.fromisoformat(each["since"]))
                for each in document["troubles"]
            ),
        )
    except (KeyError, TypeError, AttributeError) as error:
        raise ValueError(f"it is no state of a watch ({type(error).__name__})") from error


def write(path: Path, health: Health) -> None:
    """Write the file for its owner's eyes, whole or not at all.

    A symbolic link of that name is replaced, never followed.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    text = json.dumps(as_json(health), indent=1)
    descriptor, name = tempfile.mkstemp(prefix=".", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            file.write(text)
        # It is written anew each minute: not worth a wait for the disk.
        os.replace(name, path)  # noqa: PTH105 - a str from mkstemp
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(name)  # noqa: PTH108 - a str from mkstemp
        raise


def read(path: Path) -> Health | None:
    """Read the file; None, where there is none.

    Raises
    ------
    ValueError
        If it is not the state of a watch.
    """
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise ValueError(f"it cannot be read: {error.strerror}") from error
    try:
        return from_json(json.loads(content))
    except json.JSONDecodeError as error:
        raise ValueError("it is no JSON") from error


def runs(health: Health) -> bool:
    """Whether the process that wrote it is there, as far as this machine can tell."""
    if health.state == STOPPED:
        return False
    if os.name != "posix":
        return True  # asking would end it there; the age of the file decides
    try:
        os.kill(health.pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True  # it is there, and another user's
    return True


def _iso(at: datetime | None) -> str | None:
    return None if at is None else f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%S}+00:00"


def _moment(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)
