"""Leading: one watcher at a time polls, judges and sends; where there are others, they stand by."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from datetime import timedelta
from types import TracebackType
from typing import Final, Protocol, Self

from windwatch.clock import Clock
from windwatch.errors import StoreError
from windwatch.store.hold import Hold
from windwatch.store.values import Leader

LOG: Final = logging.getLogger("windwatch.store")

# A leader that died is followed after at most this and one look by the one that stands by:
# 35 s, of the 60 that are promised (reliability, promise 19).
TTL: Final = timedelta(seconds=30)
RENEW_EVERY: Final = timedelta(seconds=10)
LOOK_EVERY: Final = timedelta(seconds=5)


class Leadership:
    """The right to watch with a store: until released, taken over, or the process ends.

    Attributes
    ----------
    owner : str
        Who leads, in words.
    number : int
        The newest is the leader's; the store takes nothing from one that led before.
    """

    def __init__(
        self,
        owner: str,
        number: int,
        lease: Lease,
        lock: Hold | None,
    ) -> None:
        self.owner = owner
        self.number = number
        self._lease = lease
        self._lock = lock

    def renew(self) -> bool:
        """Lead on; to be called every `RENEW_EVERY`. False: another watcher has taken over.

        Raises
        ------
        StoreError
            If the store does not answer: nobody can take over either, as long as that lasts.
        """
        return self._lease.renew(self.number)

    def still_leads(self) -> bool:
        """Whether nobody else leads or may; to be asked just before each sending.

        Raises
        ------
        StoreError
            If the store does not answer.
        """
        return self._lease.runs(self.number)

    def release(self) -> None:
        """Let another watcher lead at once."""
        try:
            self._lease.give_up(self.number)
        except StoreError as error:
            # It runs out by itself.
            LOG.warning("lease_not_released", extra={"problem": str(error)})
        if self._lock is not None:
            self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.release()


class Lease(Protocol):
    """What a leadership needs of the store."""

    def renew(self, number: int) -> bool:
        """Lead on, if nobody else has taken over."""
        ...

    def runs(self, number: int) -> bool:
        """Whether the lease of that number has not run out."""
        ...

    def give_up(self, number: int) -> None:
        """Let another one lead at once."""
        ...


class Leadable(Protocol):
    """What can be led: a store."""

    def lead(self, owner: str, *, ttl: timedelta = TTL) -> Leadership | None:
        """Take the lead; None while another has it."""
        ...

    def leader(self) -> Leader | None:
        """Who led last."""
        ...


def wait_to_lead(
    store: Leadable,
    owner: str,
    clock: Clock,
    stop: threading.Event,
    *,
    ttl: timedelta = TTL,
    look_every: timedelta = LOOK_EVERY,
    said: Callable[[str], None] | None = None,
) -> Leadership | None:
    """Stand by until this watcher leads.

    Parameters
    ----------
    stop : Event
        Set by whoever wants a clean end.
    said : callable or None
        Gets a sentence each time that somebody else is found to lead, or the store is found
        not to answer.

    Returns
    -------
    Leadership or None
        None: stopped before.
    """
    before = ""
    while not stop.is_set():
        try:
            leadership = store.lead(owner, ttl=ttl)
            if leadership is not None:
                return leadership
            now = store.leader()
            sentence = "standing by" if now is None else f"standing by; {now.owner} leads"
        except StoreError as error:
            sentence = f"standing by; {error}"
        if sentence != before:
            LOG.warning("standing_by", extra={"because": sentence})
            if said is not None:
                said(sentence)
            before = sentence
        clock.wait(stop, look_every.total_seconds())
    return None
