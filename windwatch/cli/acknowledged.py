"""Who took note of what: part of `windwatch log`."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any

from windwatch.cli.show import iso, table
from windwatch.notices.clean import visible
from windwatch.store.store import Store
from windwatch.store.values import Acknowledgement


def taken_note_since(store: Store, since: datetime) -> tuple[Acknowledgement, ...]:
    """Acknowledgements from a moment on, oldest first."""
    return tuple(each for each in store.acknowledgements() if each.at >= since)


def acknowledged_lines(
    store: Store, taken: Iterable[Acknowledgement], track_words: Callable[[str], str]
) -> str:
    """The acknowledgements as a table: when, by whom, of what, and the word they left."""
    return table(
        [
            (
                f"{each.at:%d %H:%MZ}",
                visible(each.by, 60),
                _of_what(store, each, track_words),
                visible(each.note, 80),
                each.episode[:8],
            )
            for each in taken
        ],
        ("taken note", "by", "track", "note", "episode"),
    )


def _of_what(store: Store, taken: Acknowledgement, track_words: Callable[[str], str]) -> str:
    episode = store.episode(taken.episode)
    return "" if episode is None else track_words(episode.track)


def acknowledged_json(taken: Iterable[Acknowledgement]) -> list[dict[str, Any]]:
    """The acknowledgements for ``log --json``."""
    return [
        {"episode": each.episode, "by": each.by, "at": iso(each.at), "note": each.note}
        for each in taken
    ]
