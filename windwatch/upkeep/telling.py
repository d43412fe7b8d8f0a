"""What is wrong with windwatch itself, told by channels that work."""

from __future__ import annotations

import threading
from collections.abc import Collection, Iterable
from dataclasses import replace
from typing import Final

from windwatch.clock import Clock
from windwatch.delivery.channels import ChannelBook
from windwatch.errors import LeadLost, StoreError, StoreHeld
from windwatch.fleet import Fleet
from windwatch.notices.operator import Trouble
from windwatch.notices.outbox import Route
from windwatch.notices.values import Content, Notice
from windwatch.store.store import Store
from windwatch.upkeep import words
from windwatch.upkeep.direct import Direct
from windwatch.upkeep.hiding import Hider
from windwatch.upkeep.troubles import AGAIN_AFTER, Standing, TroubleBook

# Troubles of the store that are another watcher's business.
NOT_OURS: Final = (LeadLost, StoreHeld)


class Teller:
    """Tells operators, and whom it concerns, of troubles: into the outbox, or directly.

    Parameters
    ----------
    fleet : Fleet
    store : Store
    channels : ChannelBook
    direct : Direct
        The way past the outbox.
    clock : Clock
        The minded one.
    hide : Hider

    Attributes
    ----------
    failing : collection of Route
        Routes that are known to fail: no trouble is told by them while there are others.
    """

    def __init__(
        self,
        fleet: Fleet,
        store: Store,
        channels: ChannelBook,
        direct: Direct,
        clock: Clock,
        hide: Hider,
    ) -> None:
        self._operators = _operators(fleet)
        self._store = store
        self._book = channels
        self._direct = direct
        self._clock = clock
        self._hide = hide
        self._troubles = TroubleBook(self._operators)
        self._lock = threading.RLock()
        self.failing: Collection[Route] = ()

    def adopt(self, fleet: Fleet, channels: ChannelBook, hide: Hider) -> None:
        """Take a new configuration."""
        names = [c.name for c in fleet.contacts]
        routes = [Route(name, kind) for name in names for kind in channels.kinds_of(name)]
        keys = [words.contact_key(n) for n in names] + [words.route_key(r) for r in routes]
        with self._lock:
            self._operators, self._book, self._hide = _operators(fleet), channels, hide
            self._troubles.replace_people(self._operators, names, keys)

    def recall(self) -> None:
        """Take up what operators were told by the watch before.

        Raises
        ------
        StoreError
            If the store cannot be read.
        """
        since = self._clock.now() - AGAIN_AFTER
        for contact in self._operators:
            kept = self._store.notices(since, contact, limit=100)
            with self._lock:
                self._troubles.remember((k.notice, k.content) for k in kept)

    def begun(self, trouble: Trouble, also: Iterable[str] = (), route: Route | None = None) -> None:
        """Tell of a trouble, where it has not been told.

        Parameters
        ----------
        also : iterable of str
            Contacts whom it concerns beside the operators.
        route : Route or None
            The one that it is about.
        """
        with self._lock:
            clean = replace(trouble, reason=self._hide(trouble.reason))
            told = self._troubles.begun(clean, self._clock.now(), also)
        self._post(told, route)

    def over(self, key: str) -> None:
        """Tell that a trouble is over, if it was one."""
        with self._lock:
            told = self._troubles.over(key, self._clock.now())
        self._post(told)

    def dismiss(self, key: str) -> None:
        """Forget a trouble of which there is no end to tell."""
        with self._lock:
            self._troubles.dismiss(key)

    def has(self, key: str) -> bool:
        """Whether a trouble lasts."""
        return self._troubles.has(key)

    @property
    def standing(self) -> tuple[Standing, ...]:
        """What is wrong now, the oldest first."""
        return self._troubles.standing

    def _post(self, told: list[tuple[Notice, Content]], failing: Route | None = None) -> None:
        """Send notices about windwatch itself, by channels that work."""
        if not told:
            return
        try:
            with self._store.transaction() as books:
                for notice, content in told:
                    books.enqueue(notice, content, self._working(notice.contact, failing))
        except NOT_OURS:
            return
        except StoreError:
            self._direct.send(told)

    def _working(self, contact: str, failing: Route | None) -> tuple[str, ...]:
        """The first channel of a contact that is not known to fail; where all do, all of them."""
        kinds = self._book.kinds_of(contact)
        bad = {*self.failing, *((failing,) if failing is not None else ())}
        hosts = {channel.host for route in bad if (channel := self._book.get(route)) is not None}
        good = [
            kind
            for kind in kinds
            if (channel := self._book.get(Route(contact, kind))) is not None
            and channel.host not in hosts
        ]
        return tuple(good[:1]) or kinds


def _operators(fleet: Fleet) -> tuple[str, ...]:
    return tuple(c.name for c in fleet.contacts if c.operator)
