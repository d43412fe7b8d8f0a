"""What nobody may miss: the watch, the store, what is not known, and who is not reached."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Final

from windwatch.board.now import FieldNow, when
from windwatch.board.snapshot import Snapshot
from windwatch.board.values import Banner, WatchShown
from windwatch.board.watch_now import in_words, last_sign, runs
from windwatch.notices import words
from windwatch.notices.clean import REMARK_LIMIT, visible
from windwatch.notices.words import Times

NOBODY_WATCHES: Final = (
    "Nobody is told of anything, and every level here is unknown, which is not within limits. "
    "Judge by the windsock; start windwatch watch again."
)
OLD_RECORD: Final = (
    "What is shown is what was written last; every level is unknown, which is not within limits."
)
JUDGE: Final = (
    "Every level here is unknown, which is not within limits and no end of any alert. Judge by "
    "the windsock."
)


def watch_shown(snapshot: Snapshot, times: Times, now: datetime) -> WatchShown:
    """How the watch stands."""
    health = snapshot.watch.health
    last = None if health is None else health.last_cycle_at
    return WatchShown(
        runs(snapshot.watch, now),
        in_words(snapshot.watch, now),
        None if last is None else when(last, times),
    )


def banners(
    snapshot: Snapshot, fields: tuple[FieldNow, ...], times: Times, now: datetime
) -> tuple[Banner, ...]:
    """Everything that nobody may miss, the gravest first.

    Parameters
    ----------
    fields : tuple of FieldNow
        The airfields that the page is about.
    """
    found = [*_watch(snapshot, times, now), *_upkeep(snapshot)]
    for here in fields:
        found += _field(here)
    return tuple(sorted(found, key=lambda banner: not banner.grave))


def _watch(snapshot: Snapshot, times: Times, now: datetime) -> Iterator[Banner]:
    health = snapshot.watch.health
    if snapshot.store_problem:
        read = when(snapshot.read_at, times)
        yield Banner("store", f"The store cannot be read since {read.words}", OLD_RECORD, read)
    if not runs(snapshot.watch, now):
        if health is None:
            yield Banner("watch", "No watch is running on this store", NOBODY_WATCHES)
        else:
            sign = when(last_sign(health), times)
            headline = f"The watch is not running: nothing of it since {sign.words}"
            yield Banner("watch", headline, NOBODY_WATCHES, sign)
    elif health is not None and health.store_problem:
        text = (
            "People are warned directly, past the store, but nothing new can be shown here. "
            f"{OLD_RECORD}"
        )
        yield Banner("store", "The watch cannot write its record", text)


def _upkeep(snapshot: Snapshot) -> Iterator[Banner]:
    health = snapshot.watch.health
    if health is None:
        return
    if health.clock_problem:
        yield Banner(
            "clock",
            "The clock of this machine is in doubt",
            f"Ages and times may be wrong, and nothing is called back within limits meanwhile: "
            f"{_cut(health.clock_problem)}.",
        )
    if health.unreached:
        names = visible(words.listed(health.unreached))
        text = "No channel reaches them: tell them by telephone, and look at what failed below."
        yield Banner("delivery", f"Not reached: {names}", text)
    if health.feed_problem:
        text = f"What is known grows old meanwhile: {_cut(health.feed_problem)}."
        yield Banner("feed", "The feed gives no reports", text, grave=False)
    if health.deliveries_dead and not health.unreached:
        count = health.deliveries_dead
        headline = f"{count} {'delivery' if count == 1 else 'deliveries'} did not arrive"
        yield Banner("delivery", headline, "See what failed under the notices.", grave=False)
    if health.config_problem:
        text = f"The watch goes on by the configuration it has: {_cut(health.config_problem)}."
        yield Banner("config", "The configuration's files are not in force", text, grave=False)
    elif snapshot.other_settings:
        yield Banner(
            "config",
            "The watch goes by another configuration than this board",
            "Limits here may differ from those that people are told of: start the board again.",
            grave=False,
        )


def _cut(problem: str) -> str:
    return visible(problem, REMARK_LIMIT).rstrip(".")


# --- one airfield -----------------------------------------------------------------


def _field(here: FieldNow) -> Iterator[Banner]:
    if here.blind:
        return  # why nothing is known is said already
    station = here.airfield.station.id
    at = here.airfield.id
    seen = here.situation.wind_seen_at
    if not here.known:
        if seen is None:
            yield Banner("stale", f"{at}: no wind was ever known from {station}", JUDGE)
        else:
            since = here.when(seen)
            yield Banner("stale", f"{at}: no wind known since {since.words}", JUDGE, since)
    elif here.fall_back:
        used = here.situation.station_in_use
        yield Banner(
            "fall-back",
            f"{at}: {used} covers for {station}",
            f"{station} gives no fresh wind: levels here are by the wind of {used}, not the "
            "field's own. The windsock decides.",
            None if seen is None else here.when(seen),
            grave=False,
        )
    yield from _lacking(here)


def _lacking(here: FieldNow) -> Iterator[Banner]:
    """What the main station did not say."""
    station, at = here.airfield.station.id, here.airfield.id
    situation = here.situation
    newest, due = situation.newest, situation.next_report_due
    if here.known and not here.fall_back and newest is not None:
        seen = situation.wind_seen_at
        if seen is not None and newest.observed_at > seen:
            yield Banner(
                "no wind",
                f"{at}: the newest report of {station} has no wind",
                f"That is not calm. Levels here are by the report of {here.times.at(seen)}.",
                here.when(newest.observed_at),
                grave=False,
            )
    if here.known and due is not None and due < here.now:
        yield Banner(
            "overdue",
            f"{at}: the report of {station} due {here.times.at(due)} has not come",
            "What is known grows old; the windsock is the newest report.",
            here.when(due),
            grave=False,
        )
    if not here.weather_known and here.known:
        weather = situation.weather_seen_at
        since = "" if weather is None else f" since {here.times.at(weather)}"
        yield Banner(
            "weather",
            f"{at}: no present weather known from {station}{since}",
            "Thunder near the field is not seen here: look at the sky.",
            None if weather is None else here.when(weather),
            grave=False,
        )
