"""Whom the channels reach: routes that fail, and contacts whom nothing reaches (promise 10)."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from windwatch.delivery.channels import ChannelBook
from windwatch.fleet import Fleet
from windwatch.notices.outbox import Route
from windwatch.store.standing import Deliveries, deliveries
from windwatch.store.store import Store
from windwatch.upkeep import words
from windwatch.upkeep.telling import Teller

# A route that is still tried counts as failing after so long.
ROUTE_PATIENCE: Final = timedelta(minutes=5)

_NOBODY: Final = Deliveries(0, 0, ())


class Reach:
    """Remembers which routes fail, and tells of them.

    Parameters
    ----------
    fleet : Fleet
    store : Store
    channels : ChannelBook
    teller : Teller

    Attributes
    ----------
    deliveries : Deliveries
        As they stood when they were looked at last.
    """

    def __init__(self, fleet: Fleet, store: Store, channels: ChannelBook, teller: Teller) -> None:
        self._fleet = fleet
        self._store = store
        self._book = channels
        self._teller = teller
        self._failing_since: dict[Route, datetime] = {}
        self.deliveries = _NOBODY

    def adopt(self, fleet: Fleet, channels: ChannelBook) -> None:
        """Take a new configuration."""
        self._fleet, self._book = fleet, channels

    def look(self, now: datetime, *, at_once: bool) -> None:
        """Look at the newest deliveries.

        Parameters
        ----------
        at_once : bool
            What fails is told however short a time it has failed.

        Raises
        ------
        StoreError
            If the store cannot be read.
        """
        self.deliveries = deliveries(self._store)
        failing = {each.route: each for each in self.deliveries.failing}
        since = self._failing_since = {
            route: self._failing_since.get(route, now) for route in failing
        }
        self._teller.failing = since.keys()
        for route, each in failing.items():
            if each.ended or at_once or now - since[route] >= ROUTE_PATIENCE:
                self._teller.begun(words.route_trouble(route, each.answer), route=route)
        for contact in self._fleet.contacts:
            routes = [Route(contact.name, kind) for kind in self._book.kinds_of(contact.name)]
            for route in routes:
                if route not in failing:
                    self._teller.over(words.route_key(route))
            if self._is_unreached(contact.name):
                answers = "; ".join(
                    f"{r.channel}: {failing[r].answer}" for r in routes if r in failing
                )
                self._teller.begun(words.contact_trouble(contact.name, answers))
            else:
                self._teller.over(words.contact_key(contact.name))

    @property
    def unreached(self) -> tuple[str, ...]:
        """Contacts that no channel reaches."""
        return tuple(c.name for c in self._fleet.contacts if self._is_unreached(c.name))

    @property
    def deaf(self) -> bool:
        """Whether somebody is reached by no channel, and no operator can be told of it."""
        unreached = self.unreached
        return bool(unreached) and not any(
            c.operator and c.name not in unreached for c in self._fleet.contacts
        )

    def _is_unreached(self, contact: str) -> bool:
        kinds = self._book.kinds_of(contact)
        return bool(kinds) and all(
            self._teller.has(words.route_key(Route(contact, kind))) for kind in kinds
        )
