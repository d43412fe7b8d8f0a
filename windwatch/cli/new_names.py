"""Names that somebody types for ``config new``: new ones, some of those known, each once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from windwatch.errors import UsageError
from windwatch.settings import starting_read as read
from windwatch.settings.words import shown

NONE: Final = "none"
ALL: Final = "all"
NO_MORE: Final = "no more"


def names(text: str) -> tuple[str, ...]:
    """Names between commas; ``none``: none."""
    found = [part for part in text.split(",") if part.strip() and part.strip().lower() != NONE]
    return tuple(dict.fromkeys(map(read.name, found)))


def new_name(known: Sequence[str], *, may_end: bool) -> Callable[[str], str]:
    """A name that is not there yet; '' for no more, where that may be said."""

    def reader(text: str) -> str:
        if may_end and text.strip().lower() in {NO_MORE, "no", NONE, ""}:
            return ""
        if text.strip().lower() in {"yes", "y"}:
            raise read.Refusal(f"{shown(text)} is no name", "type it")
        if "," in text:
            raise read.Refusal("there is a comma in it", "name one; the next is asked for later")
        found = read.name(text)
        if found.casefold() in map(str.casefold, known):
            raise read.Refusal(f"{found} is there already", "give each its own name")
        return found

    return reader


def choice(known: Sequence[str]) -> Callable[[str], tuple[str, ...]]:
    """Some of the names that there are; ``all``: empty."""

    def reader(text: str) -> tuple[str, ...]:
        if text.strip().lower() in {"", ALL}:
            return ()
        found = names(text)
        odd = next((each for each in found if each not in known), None)
        if odd is not None:
            raise read.Refusal(f"{shown(odd)} is not there", f"write {', '.join(known)}, or all")
        return found

    return reader


def once(option: str, names: Sequence[str]) -> None:
    """Refuse a name that an option gives twice."""
    again = next((name for name in names if names.count(name) > 1), None)
    if again is not None:
        raise UsageError(f"{option}: {again} is given twice; give each its own name")


def among(option: str, said: str, names: Sequence[str], known: Sequence[str]) -> None:
    """Refuse a name in an option that stands for nothing."""
    odd = next((name for name in names if name not in known), None)
    if odd is not None:
        there = ", ".join(known) or "none"
        raise UsageError(f"{option}: {said} {odd!r}, which is not given; there are {there}")
