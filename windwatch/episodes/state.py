"""Everything that is remembered of one airfield, as one frozen value that the store keeps."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from windwatch.episodes.entries import Entry
from windwatch.episodes.ledger import Told
from windwatch.episodes.silence import Silence
from windwatch.episodes.track import Folded
from windwatch.episodes.values import ReportRef, Step
from windwatch.rules import Rules


@dataclass(frozen=True, slots=True)
class Held:
    """A step that waits for its contact.

    Attributes
    ----------
    until : datetime or None
        End of the gathering minute; None: the opening of the airfield, the end of the contact's
        own quiet hours or absence, or room in the hour.
    """

    step: Step
    until: datetime | None


@dataclass(frozen=True, slots=True)
class ContactState:
    """What one contact last heard about this airfield, and what waits.

    Attributes
    ----------
    recent : tuple of datetime
        When the last notices went out, oldest first: no more than count for the rate.
    """

    contact: str
    last_notice_at: datetime | None = None
    held: tuple[Held, ...] = ()
    recent: tuple[datetime, ...] = ()


@dataclass(frozen=True, slots=True)
class Acknowledgement:
    """Somebody took note of an episode: no reminders for a while."""

    episode: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Seen:
    """The newest observation of the main station that had one group of quantities."""

    at: datetime
    ref: ReportRef


@dataclass(frozen=True, slots=True)
class Ruled:
    """The figures of judgement in force for reports in this place or later.

    Attributes
    ----------
    stale_after : timedelta or None
        The airfield's own, which says whether two low reports follow one another; None: books
        of a version that did not keep it, which go by the one configured now.
    """

    since: datetime
    rules: Rules
    stale_after: timedelta | None = None


@dataclass(frozen=True, slots=True)
class AirfieldState:
    """Everything that is remembered of one airfield.

    Attributes
    ----------
    started_at : datetime
        When it was first watched.
    checkpoint : Folded
        Tracks after all entries up to `settled_at`; younger entries are folded in anew, so that
        late and corrected reports find their place.
    settled_at : datetime or None
        Entries placed at or before this are in the checkpoint.
    entries : tuple of Entry
        Accepted reports of the last six hours, in order.
    standby : tuple of Entry
        Newest reports of the fall-back stations.
    fingerprints : tuple of (track, fingerprint)
        Of the limits each track was judged by.
    judged_from : tuple of (track, datetime)
        Tracks whose limits were changed: entries placed before are not judged by the new ones.
    known_contacts : tuple of str
        Who was configured at the last step; others were added since.
    ruled : tuple of Ruled
        The figures of judgement that have been in force, oldest first; empty: the usual ones.
    missed_since : datetime or None
        Observations after this were missed while nobody watched, and the feed has not answered
        yet; None: none were.
    """

    airfield: str
    started_at: datetime
    checkpoint: Folded = Folded()
    settled_at: datetime | None = None
    entries: tuple[Entry, ...] = ()
    standby: tuple[Entry, ...] = ()
    ledger: tuple[Told, ...] = ()
    silences: tuple[Silence, ...] = ()
    contacts: tuple[ContactState, ...] = ()
    acknowledged: tuple[Acknowledgement, ...] = ()
    wind: Seen | None = None
    weather: Seen | None = None
    fingerprints: tuple[tuple[str, str], ...] = ()
    judged_from: tuple[tuple[str, datetime], ...] = ()
    known_contacts: tuple[str, ...] = ()
    ruled: tuple[Ruled, ...] = ()
    missed_since: datetime | None = None

    def contact(self, name: str) -> ContactState:
        """The state of one contact, new where there is none yet."""
        for known in self.contacts:
            if known.contact == name:
                return known
        return ContactState(name)
