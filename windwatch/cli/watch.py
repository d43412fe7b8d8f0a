"""`windwatch watch`: the monitor, until it is stopped."""

from __future__ import annotations

import contextlib
import gc
import logging
import os
import signal
import sys
import threading
from dataclasses import replace
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, NamedTuple

import click

from windwatch.board.links import composer
from windwatch.board.opening import beside_watch
from windwatch.cli.show import examples, load_settings, paragraph, with_exit_status
from windwatch.cli.stopping import STOPPED, stop_cleanly
from windwatch.clock import Clock, SystemClock
from windwatch.errors import NoUsableReports, StoreError
from windwatch.forecasting import Forecasting
from windwatch.logs import log_to
from windwatch.reload import Reload
from windwatch.schedule import run
from windwatch.settings.running import Settings
from windwatch.store.leading import Leadership, wait_to_lead
from windwatch.store.store import Store
from windwatch.watch import Watch
from windwatch.wiring import hidden_texts, make_parts, open_store_of

if TYPE_CHECKING:
    from windwatch.board.beside import Beside


@click.command(epilog=examples("windwatch watch field.toml"))
@click.argument("config", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--once", is_flag=True, help="Poll, judge, deliver what is due, and end.")
@click.option("--verbose", is_flag=True, help="Log every poll and delivery, not only troubles.")
@click.option(
    "--log-file",
    type=click.Path(path_type=Path),
    help="Log there instead of on the error stream; of bounded size, older ones beside it.",
)
@with_exit_status
def watch(config: tuple[Path, ...], once: bool, verbose: bool, log_file: Path | None) -> None:
    """Watch the reports and tell people, until stopped (Ctrl-C or SIGTERM).

    Exactly one watch may run on one store file; a second one is refused. On a database server
    several may run: one leads, the others stand by and take over. A changed configuration is taken
    while it runs, at once on SIGHUP; one with a fault changes nothing.
    """
    settings = load_settings(config)
    level = logging.INFO if verbose else logging.WARNING
    log_to(sys.stderr, level, hide=hidden_texts(settings), file=log_file)
    for warning in settings.warnings:
        click.echo(paragraph(f"note: {warning}", hang="  "), err=True)
    clock = SystemClock()
    stop = threading.Event()
    if not once:
        stop_cleanly(stop)
    changed = threading.Event()
    if not once:
        _reload_on_hang_up(changed, stop)
    store = open_store_of(settings, clock, repair=True)
    owner = f"windwatch watch {' '.join(map(str, config))}"
    with store:
        if once or not store.may_stand_by:
            shown = replace(settings, board=None) if once else settings
            with store.hold(owner) as leadership, beside_watch(shown, store, clock) as board:
                watched = _Watched(config, settings, changed, board)
                _watch(watched, store, clock, stop, leadership, once=once)
        else:
            with beside_watch(settings, store, clock) as board:
                watched = _Watched(config, settings, changed, board)
                _lead_in_turn(watched, store, clock, stop, owner)
    if stop.is_set():
        # Where its terminal has gone, nobody is left to read it.
        with contextlib.suppress(OSError):
            _say(STOPPED)


class _Watched(NamedTuple):
    """A configuration as it was read, where it is read from, and the board that shows it."""

    paths: tuple[Path, ...]
    settings: Settings
    changed: threading.Event
    board: Beside | None = None


def _lead_in_turn(
    config: _Watched, store: Store, clock: Clock, stop: threading.Event, owner: str
) -> None:
    """Watch whenever no other watcher does, until told to stop."""
    while not stop.is_set():
        found = wait_to_lead(store, owner, clock, stop, said=_say)
        if found is None:
            return
        with found:
            # What has changed while it stood by is taken at the first look.
            _watch(config, store, clock, stop, found, once=False)


def _watch(
    config: _Watched,
    store: Store,
    clock: Clock,
    stop: threading.Event,
    leadership: Leadership,
    *,
    once: bool,
) -> None:
    """Watch as long as this process leads."""
    settings = config.settings
    parts = make_parts(settings, clock)
    others = leadership if store.may_stand_by else None
    watched = Watch(
        settings,
        store,
        parts.feed,
        parts.channels,
        clock,
        outward=parts.outward,
        leadership=others,
        with_links=composer(settings.board),
    )
    if config.board is not None:
        config.board.follow(lambda: watched.settings)
    forecasting = Forecasting(lambda: watched.settings, store, clock)
    if once:
        try:
            _turn_once(watched, forecasting)
        finally:
            watched.close()
            forecasting.close()
        return
    reload = Reload(
        watched,
        parts,
        config.paths,
        os.environ,
        clock,
        asked=config.changed,
    )
    names = ", ".join(a.id for a in settings.fleet.airfields)
    _say(f"windwatch watches {names}; stop it with Ctrl-C")
    _settle_memory()
    # It closes the watch at its end.
    run(
        watched,
        settings.feed.every,
        clock,
        stop,
        leadership=others,
        reload=reload,
        forecasting=forecasting,
    )


def _say(sentence: str) -> None:
    click.echo(sentence, err=True)


def _settle_memory() -> None:
    """What was loaded stays: to look through it for garbage took 0.1 s, perhaps at a crossing."""
    gc.collect()
    gc.freeze()


def _turn_once(watched: Watch, forecasting: Forecasting) -> None:
    report = watched.poll()
    delivered = watched.deliver()
    # Last: it is only shown, and nobody who is to be told waits for it.
    forecasting.turn()
    click.echo(
        f"reports {report.fetched}, notices {len(report.notices)}, "
        f"delivered {delivered.accepted}, not delivered {delivered.failed + delivered.refused}"
    )
    for problem in (report.feed_failed, *report.problems, *delivered.for_operator):
        if problem:
            click.echo(paragraph(f"problem: {problem}", hang="  "), err=True)
    if report.failed:
        raise StoreError("; ".join(report.failed))
    if report.feed_failed or not report.fetched:
        raise NoUsableReports("no report came; nothing is known, which is not calm")
    if not watched.knows_a_wind():
        raise NoUsableReports("no fresh wind came; nothing is known, which is not calm")


def _reload_on_hang_up(changed: threading.Event, stop: threading.Event) -> None:
    """SIGHUP: the configuration is read again; where the terminal has gone, the watch ends."""
    if not hasattr(signal, "SIGHUP"):
        return  # Windows has none: there the change of the file alone is noticed
    terminal = _terminal()

    def ask(number: int, frame: FrameType | None) -> None:
        del number, frame
        gone = terminal is not None and not os.isatty(terminal)
        # As above.
        threading.Thread(target=(stop if gone else changed).set).start()

    signal.signal(signal.SIGHUP, ask)


def _terminal() -> int | None:
    """The terminal that this was started from; None: from none, or nobody can tell any more."""
    try:
        number = sys.stdin.fileno()
    except (AttributeError, OSError, ValueError):
        # None at all, closed (`<&-`), or something that has no number.
        return None
    return number if os.isatty(number) else None
