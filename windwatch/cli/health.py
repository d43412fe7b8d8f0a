"""`windwatch health`: does the watch work; for people and for supervisors."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Final

import click

from windwatch.cli.show import (
    NO_DATA,
    examples,
    iso,
    load_settings,
    paragraph,
    print_json,
    with_exit_status,
)
from windwatch.clock import SystemClock
from windwatch.errors import NoUsableReports, SettingsError
from windwatch.notices.clean import visible
from windwatch.upkeep.health import STANDING_BY, Health, StationHealth, as_json, read, runs
from windwatch.wiring import status_path, status_path_guessed

HEALTHY: Final = 0
NOT_HEALTHY: Final = 1


@click.command(epilog=examples("windwatch health field.toml"))
@click.argument("config", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--json", "as_document", is_flag=True, help="One JSON document instead of words.")
@with_exit_status
def health(config: tuple[Path, ...], as_document: bool) -> None:
    """Say whether the watch works, and what is wrong.

    Exit status: 0 it works, 1 it does not, 2 the configuration is wrong, 3 no watch runs here.
    """
    path = _path_of_state(config)
    now = SystemClock().now()
    try:
        found = read(path)
    except ValueError as error:
        raise NoUsableReports(f"{path}: {error}") from error
    if found is None or not runs(found):
        since = "" if found is None else f"; the last one wrote its state at {_z(found.written_at)}"
        if as_document:
            last = None if found is None else as_json(found)
            print_json({"healthy": False, "runs": False, "faults": ["no watch runs"], "last": last})
            sys.exit(NO_DATA)
        raise NoUsableReports(f"no watch runs on this machine with this store{since}")
    faults = found.faults(now)
    if as_document:
        state = as_json(found)
        print_json({"healthy": not faults, "runs": True, "faults": list(faults), **state})
    else:
        for line in _words(found, faults, now):
            click.echo(paragraph(visible(line), hang="  "))
    sys.exit(NOT_HEALTHY if faults else HEALTHY)


def _path_of_state(config: tuple[Path, ...]) -> Path:
    """Where the state is; a file that was spoilt after the start says nothing against the watch.

    Raises
    ------
    SettingsError
        If the configuration cannot be used, and the state not be found without it.
    """
    try:
        return status_path(load_settings(config, require_secrets=False))
    except SettingsError as error:
        path = status_path_guessed(config)
        if path is None:
            raise
        note = f"the configuration cannot be used as it stands now: {error.faults[0]}"
        click.echo(paragraph(note, hang="  "), err=True)
        return path


def _words(found: Health, faults: tuple[str, ...], now: datetime) -> Iterator[str]:
    if found.state == STANDING_BY:
        yield "The watch stands by: another one leads."
    elif faults:
        yield "The watch does NOT work as it should:"
    else:
        yield "The watch works. That says nothing about the wind."
    for fault in faults:
        yield f"- {fault}"
    last = "never yet" if found.last_cycle_at is None else _z(found.last_cycle_at)
    yield f"last complete cycle: {last} (a poll every {found.interval.total_seconds():.0f} s)"
    for each in found.stations:
        yield from _station_words(each, now)
    if found.feed_problem:
        yield f"feed: {found.feed_problem}"
    if found.heartbeat_problem:
        yield f"heartbeat: {found.heartbeat_problem}"
    if found.config_problem:
        yield f"configuration: {found.config_problem}"
    yield (
        f"deliveries: {found.deliveries_open} open, {found.deliveries_dead} ended without arriving"
    )
    for _, headline, since in found.troubles:
        yield f"since {_z(since)}: {headline}"


def _station_words(station: StationHealth, now: datetime) -> Iterator[str]:
    if station.seen_at is None:
        yield f"{station.airfield}: nothing known from {station.station}"
    else:
        minutes = int((now - station.seen_at).total_seconds() // 60)
        known = "" if station.known else ", too old to count"
        yield f"{station.airfield}: wind of {station.station} observed {minutes} min ago{known}"
    if station.hint:
        yield f"hint: {station.hint}"


def _z(at: datetime) -> str:
    return (iso(at) or "").replace("T", " ")
