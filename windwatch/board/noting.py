"""Taking note: the one thing that the board writes, as `windwatch acknowledge` does."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import cached_property
from typing import Final

from windwatch.board.faces import LinkShown
from windwatch.episodes.values import Step
from windwatch.fleet import Fleet
from windwatch.rules import in_words
from windwatch.store.glance import latest_acknowledgements
from windwatch.store.store import Store
from windwatch.store.values import StoredEpisode, StoredNotice

GONE: Final = (
    "The contact to whom this notice went is not configured any more; its link does not hold."
)
ENDED: Final = "All that this notice told has ended: there is nothing left to take note of."
NOTED_ALREADY: Final = "Noted already, by {}: once is enough."
WHAT_IT_DOES: Final = (
    "To take note stops its reminders for {}; a new worst, missing data and the end are told all "
    "the same. That you opened this page has changed nothing."
)
NOTED: Final = (
    "Noted. Its reminders stop for {}; a new worst, missing data and the end are told all the same."
)
BY_LINK: Final = "by the link in a notice"


def acknowledge(store: Store, episodes: tuple[str, ...], by: str, note: str, now: datetime) -> None:
    """Write that somebody took note of episodes.

    Raises
    ------
    KeyError
        If there is none of such an id; then nothing is written.
    StoreError
        If it cannot be written.
    """
    for episode in episodes:
        if store.episode(episode) is None:
            raise KeyError(episode)
    with store.transaction() as books:
        for episode in episodes:
            books.acknowledge(episode, by, now, note)


def contact_of(store: Store, notice: str) -> str | None:
    """To whom a notice went; None where there is none of that id."""
    stored = store.notice(notice)
    return None if stored is None else stored.notice.contact


class Told:
    """What a notice told one contact, as it stands now.

    Parameters
    ----------
    store : Store
    fleet : Fleet
    notice, contact : str
    now : datetime
    """

    def __init__(
        self, store: Store, fleet: Fleet, notice: str, contact: str, now: datetime
    ) -> None:
        self._store = store
        self.contact = contact
        self.now = now
        self.configured = any(each.name == contact for each in fleet.contacts)
        self.lasts = fleet.rules.acknowledged_for
        self.stored: StoredNotice | None = store.notice(notice)

    @cached_property
    def episodes(self) -> tuple[StoredEpisode, ...]:
        """Its episodes, in order."""
        steps: tuple[Step, ...] = () if self.stored is None else self.stored.notice.steps
        told = dict.fromkeys(step.episode for step in steps)
        found = (self._store.episode(each) for each in told)
        return tuple(each for each in found if each is not None)

    @property
    def still_open(self) -> tuple[str, ...]:
        """Those of which somebody can take note."""
        return tuple(each.id for each in self.episodes if each.closed_at is None)

    @cached_property
    def noted_by(self) -> dict[str, str]:
        """Who took note of those, as long as it holds."""
        found = latest_acknowledgements(self._store, self.still_open, self.now - self.lasts)
        return {episode: by for episode, (by, _, _) in found.items()}

    @property
    def waiting(self) -> tuple[str, ...]:
        """Those that nobody has taken note of."""
        return tuple(each for each in self.still_open if each not in self.noted_by)


# An episode in words, as it stands at a moment.
Describe = Callable[[str, datetime], str]


def shown(told: Told, describe: Describe) -> LinkShown:
    """The page of a link: nothing has happened by that it was opened."""
    if not told.configured or told.stored is None:
        return LinkShown(valid=False, words=GONE)
    if told.waiting:
        words = WHAT_IT_DOES.format(in_words(told.lasts))
    elif told.still_open:
        words = NOTED_ALREADY.format(", ".join(dict.fromkeys(told.noted_by.values())))
    else:
        words = ENDED
    return LinkShown(
        valid=True,
        words=words,
        button=bool(told.waiting),
        contact=told.contact,
        subject=told.stored.content.subject,
        episodes=tuple(describe(each.id, told.now) for each in told.episodes),
    )


def take_note(store: Store, told: Told, describe: Describe) -> LinkShown:
    """Take note of what waits for it, in the contact's name; a second time nothing does."""
    before = shown(told, describe)
    if not before.button:
        return before
    acknowledge(store, told.waiting, told.contact, BY_LINK, told.now)
    return before._replace(words=NOTED.format(in_words(told.lasts)), button=False)
