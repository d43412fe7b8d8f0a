"""Taking up airfields: from what the store remembers of them, or anew."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping
from datetime import datetime

from windwatch import pipeline
from windwatch.episodes.books import Books, Setup
from windwatch.episodes.state import AirfieldState
from windwatch.episodes.track import Folded
from windwatch.fleet import Airfield

log = logging.getLogger(__name__)


def take_up(
    setup: Setup, airfields: Iterable[Airfield], states: Mapping[str, AirfieldState], now: datetime
) -> dict[str, Books]:
    """The books of airfields that are watched from now on.

    Parameters
    ----------
    states : mapping of str to AirfieldState
        What the store remembers.
    now : datetime
        Aware, UTC.
    """
    books = {}
    for airfield in airfields:
        state = states.get(airfield.id)
        if state is not None:
            try:
                books[airfield.id] = pipeline.restore(setup, airfield, state)
                continue
            except Exception:
                # Rather watched from now on than not at all; nothing is cleared by it.
                log.exception("state_unusable", extra={"airfield": airfield.id})
        books[airfield.id] = pipeline.begin(setup, airfield, now)
    return books


def left_open(states: Iterable[AirfieldState], configured: Iterable[str]) -> dict[str, Books]:
    """Airfields that are not configured any more, where somebody still holds an alert."""
    known = set(configured)
    return {
        state.airfield: Books(state, Folded())
        for state in states
        if state.airfield not in known and any(told.open for told in state.ledger)
    }
