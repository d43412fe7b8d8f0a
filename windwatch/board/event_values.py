"""What happened and who was told, as the board shows it: plain frozen values."""

from __future__ import annotations

from typing import NamedTuple

from windwatch.assessment.values import Mark
from windwatch.board.values import Stand, When


class EvidenceShown(NamedTuple):
    """A raw report: text from outside, made visible, never to be trusted as HTML.

    Attributes
    ----------
    words : str
        ``METAR of XLKS, observed 15:07 local (19:07Z), received ...``
    raw : str
    """

    id: str
    station: str
    kind: str
    observed: When
    received: When
    words: str
    raw: str


class AcknowledgementShown(NamedTuple):
    """Somebody took note."""

    by: str
    at: When
    note: str = ""


class EpisodeCard(NamedTuple):
    """One episode.

    Attributes
    ----------
    id : str
        Whole; `short` is what people type.
    subject : str
        ``tie-down X-WREN``, ``runways X-LARK / dual``.
    stand : Stand
        Of its subject now: unknown where the wind is not known. Once it is closed the subject may
        be within, or over by another episode.
    text : str
        As a notice lists it: figure now, since when, the worst.
    closed : When or None
        None: it is open.
    closing : str
        How it ended, in words.
    easing, standing : bool
        Below the limit and not yet back; open so long that nobody is reminded any more.
    acknowledged : AcknowledgementShown or None
        Who took note last, while that stops reminders; always None once it is closed.
    """

    id: str
    short: str
    airfield: str
    subject: str
    stand: Stand
    text: str
    opened: When
    closed: When | None = None
    closing: str = ""
    easing: bool = False
    standing: bool = False
    acknowledged: AcknowledgementShown | None = None


class StepLine(NamedTuple):
    """One change in an episode, with what shows why.

    Attributes
    ----------
    text : str
        ``over: tie-down X-WREN 41 kt > 22 kt (X-WREN)``.
    rule : str
        The rule that made it, in words; '' where it is the figure itself.
    reports : tuple of EvidenceShown
        The raw reports that caused it.
    """

    id: str
    at: When
    name: str
    mark: Mark
    text: str
    rule: str
    reports: tuple[EvidenceShown, ...]


class AttemptShown(NamedTuple):
    """One try at a delivery."""

    number: int
    at: When
    outcome: str
    answer: str


class DeliveryShown(NamedTuple):
    """One notice by one channel.

    Attributes
    ----------
    state : str
        As the store has it: ``accepted``, ``waiting``, ``refused``, ``expired``, ``dead`` ...
    words : str
        For people: ``taken by the next hop``, ``not delivered: refused after 3 tries``.
    failed : bool
        It ended without arriving: a dead letter, to be shown in red, shape and word.
    under_way : bool
        Not ended.
    answer : str
        What the other side said last.
    attempts : tuple of AttemptShown
        Only on the page of its notice.
    """

    channel: str
    state: str
    words: str
    failed: bool
    under_way: bool
    tries: int
    answer: str
    attempts: tuple[AttemptShown, ...] = ()


class NoticeCard(NamedTuple):
    """One notice: to whom, what about, and what became of it.

    Attributes
    ----------
    kind : str
        ``alert``, ``update``, ``cancel``, ``state now``, ``test``.
    mark : Mark or None
        Level of its leading step; None where it has none.
    failed : bool
        By no channel did it arrive, and none is under way.
    """

    id: str
    short: str
    at: When
    contact: str
    airfield: str
    kind: str
    subject: str
    mark: Mark | None
    urgent: bool
    deliveries: tuple[DeliveryShown, ...]
    failed: bool
