"""What the store gives back when it is read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from windwatch.assessment.values import Finding
from windwatch.notices.outbox import Delivery
from windwatch.notices.values import Content, Notice


@dataclass(frozen=True, slots=True)
class StoredReport:
    """One report as it was judged.

    Attributes
    ----------
    status : str
        ``accepted``, ``duplicate``, ``late``, ``quarantined`` or ``superseded``.
    reason : str
        Why, where it is not accepted.
    """

    id: str
    station: str
    kind: str
    observed_at: datetime | None
    received_at: datetime
    raw: str
    source: str
    status: str
    reason: str


@dataclass(frozen=True, slots=True)
class StoredEvent:
    """One thing that was judged, in the order of judging."""

    number: int
    kind: str
    at: datetime
    detail: dict[str, Any]


@dataclass(frozen=True, slots=True)
class StoredEpisode:
    """One episode.

    Attributes
    ----------
    track : str
        As `TrackKey` writes itself.
    closed_at : datetime or None
        None: it is open.
    closing : str
        How it ended.
    """

    id: str
    track: str
    airfield: str
    opened_at: datetime
    opened_by: str
    closed_at: datetime | None
    closing: str
    worst: Finding | None
    last_step: str


@dataclass(frozen=True, slots=True)
class StoredNotice:
    """One notice with its words and its deliveries."""

    notice: Notice
    content: Content
    deliveries: tuple[Delivery, ...]


@dataclass(frozen=True, slots=True)
class Acknowledgement:
    """Somebody took note of an episode."""

    episode: str
    by: str
    at: datetime
    note: str


@dataclass(frozen=True, slots=True)
class Found:
    """What an id, or its beginning, names: a ``notice``, ``episode``, ``step`` or ``report``."""

    kind: str
    id: str


@dataclass(frozen=True, slots=True)
class StoredSettings:
    """A configuration that was in force from a time on."""

    fingerprint: str
    at: datetime
    detail: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Leader:
    """Who led last.

    Attributes
    ----------
    owner : str
        In words: which process on which machine.
    number : int
        Counted up at every take-over.
    until : datetime or None
        When the lease runs out, or ran out; None: given up, or a lock of the system decides.
    """

    owner: str
    number: int
    since: datetime
    until: datetime | None


@dataclass(frozen=True, slots=True)
class StoreCheck:
    """What a look through the whole store found.

    Attributes
    ----------
    version, newest : str
        Of its tables, and of the newest that this windwatch knows.
    problems : tuple of str
        What is damaged; empty: nothing.
    counts : mapping of str to int
        Rows of each table.
    journal, why : str
        How commits are kept safe, and the reason.
    leader : Leader or None
        Who watched with it last.
    """

    place: str
    version: str
    newest: str
    problems: tuple[str, ...]
    counts: Mapping[str, int]
    size_bytes: int
    journal: str
    why: str
    leader: Leader | None


@dataclass(frozen=True, slots=True)
class Tidied:
    """What housekeeping dropped.

    Attributes
    ----------
    dropped : mapping of str to int
        Rows of each table.
    size_bytes : int
        What is left.
    over_cap : bool
        It is still more than it should be: everything left is young, or belongs to something open.
    """

    dropped: Mapping[str, int]
    size_bytes: int
    over_cap: bool
