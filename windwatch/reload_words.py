"""Two configurations side by side: what is different, and what of it only a new start can take."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from windwatch.settings.running import Settings


def in_force(was: Settings, new: Settings) -> Settings:
    """The new configuration, as far as it can be taken while the watch runs.

    The store is open, and locked for this process: it stays the one that it is. So does the
    board, with the address where it listens and the passwords that it knows.
    """
    return replace(new, store=was.store, board=was.board)


def waits_for_restart(was: Settings, new: Settings) -> str:
    """What counts only from the next start on, of the store and the board; '' if nothing new.

    Parameters
    ----------
    was : Settings
        What is in force.
    """
    before, after = was.store, new.store
    keys = [
        key for key in ("path", "url", "password") if getattr(before, key) != getattr(after, key)
    ]
    waiting = [f"store.{key}" for key in keys] + ["board"] * (was.board != new.board)
    if not waiting:
        return ""
    names = " and ".join(waiting)
    verb = "counts" if len(waiting) == 1 else "count"
    return f"{new.files[0]}: {names}: what is changed {verb} from the next start of the watch on"


def what_changed(was: Settings, new: Settings) -> tuple[str, ...]:
    """What is different, in words without addresses; empty: nothing that anybody would notice."""
    return tuple(_changes(was, new))


def _changes(was: Settings, new: Settings) -> Iterator[str]:
    before, after = was.fleet, new.fleet
    yield from _members("airfield", _by(before.airfields, "id"), _by(after.airfields, "id"))
    yield from _members("aircraft", _by(before.aircraft, "name"), _by(after.aircraft, "name"))
    yield from _members("pilot limits", before.pilot_limits, after.pilot_limits)
    # People are not named in a log.
    if (before.contacts, was.addresses) != (after.contacts, new.addresses):
        yield f"contacts: {len(before.contacts)} before, {len(after.contacts)} now"
    order = [[a.id for a in f.airfields] + [a.name for a in f.aircraft] for f in (before, after)]
    if order[0] != order[1] and sorted(order[0]) == sorted(order[1]):
        yield "the order of airfields or aircraft"
    for name, one, other in (
        ("rules", before.rules, after.rules),
        ("feed", was.feed, new.feed),
        ("mail", was.mail, new.mail),
        ("delivery", was.delivery, new.delivery),
        ("watch", was.watch, new.watch),
        ("files of secrets", was.secret_files, new.secret_files),
    ):
        if one != other:
            yield name


def _by(values: Iterable[Any], key: str) -> dict[str, Any]:
    return {getattr(value, key): value for value in values}


def _members(what: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[str]:
    for name in dict.fromkeys((*before, *after)):
        if name not in after:
            yield f"{what} {name} removed"
        elif name not in before:
            yield f"{what} {name} added"
        elif before[name] != after[name]:
            yield f"{what} {name} changed"
