"""What the board shows, as plain frozen values: the parts that pages are made of.

Words are ready to be shown (and still to be escaped by whoever puts them into HTML); figures are
in knots, with the same figure in the reader's own unit beside them in words. The pages
themselves stand in `windwatch.board.page_values`.

Nothing is within that is not known: a `Stand` is unknown then, with the last known level beside.
"""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

from windwatch.airmanship.control_table import ControlPositions
from windwatch.assessment.values import Mark
from windwatch.drawings.control_card import Craft
from windwatch.drawings.field_facts import Field
from windwatch.wind import Wind


class When(NamedTuple):
    """A moment, local and UTC side by side.

    Attributes
    ----------
    at : datetime
        UTC; pages put it into ``data-`` attributes so that ages count.
    words : str
        ``15:07 local (19:07Z)``, with the date before it where it is not today.
    local : str
        ``15:07``; with its date where it is not today; the same as `utc` without a time zone.
    utc : str
        ``19:07Z``.
    """

    at: datetime
    words: str
    local: str
    utc: str


class Stand(NamedTuple):
    """How something stands to its limit.

    Attributes
    ----------
    mark : Mark
        ``unknown`` where the present wind (or weather) is not known.
    last_known : Mark or None
        Beside ``unknown``: how it stood last; None where it is known, or never was.
    note : str
        ``below the limit, not yet back within limits``, where one report does not end it.
    """

    mark: Mark
    last_known: Mark | None = None
    note: str = ""

    @property
    def words(self) -> str:
        """``over``; ``unknown, last known over``."""
        if self.last_known is None:
            return self.mark.value
        return f"{self.mark.value}, last known {self.last_known.value}"


class Figure(NamedTuple):
    """One quantity against its limit.

    Attributes
    ----------
    quantity : str
        As configured: ``crosswind``, ``tie_down``.
    name : str
        In words: ``crosswind``, ``mean crosswind``, ``tie-down``.
    figure_kt, limit_kt : float
        Of the last known wind where the stand is unknown. [kt]
    margin_kt : float
        Limit minus figure; negative when over. [kt]
    whose : str
        Whose limit it is.
    at_least : bool
        The figure is a lower bound.
    stand : Stand
    words : str
        ``17 kt > 7 kt``, ``5 kt of 7 kt``: always in knots, in which limits are judged.
    beside : str
        The same in the reader's unit, ``8.7 m/s > 3.6 m/s``; '' for knots.
    margin_words : str
        ``2 kt left``, ``10 kt over``, ``at the limit``.
    remarks : tuple of str
        What made the figure what it is: sector, variable direction, peak.
    """

    quantity: str
    name: str
    figure_kt: float
    limit_kt: float
    margin_kt: float
    whose: str
    at_least: bool
    stand: Stand
    words: str
    beside: str = ""
    margin_words: str = ""
    remarks: tuple[str, ...] = ()


class Banner(NamedTuple):
    """What nobody may miss.

    Attributes
    ----------
    kind : str
        ``watch`` (it does not run), ``stale`` (nothing is known), ``fall-back`` (another station
        covers), ``clock``, ``store``, ``feed``, ``delivery`` (a contact is not reached),
        ``config``.
    headline, text : str
        What it is; what it means and what to do.
    since : When or None
    grave : bool
        Levels are not known because of it, or people are not told.
    """

    kind: str
    headline: str
    text: str
    since: When | None = None
    grave: bool = True


class WatchShown(NamedTuple):
    """How the watch stands, that feeds the board.

    Attributes
    ----------
    runs : bool
        False: every level is unknown.
    words : str
        ``watching``, ``not running``, ``standing by``.
    last_turn : When or None
        The last complete cycle.
    """

    runs: bool
    words: str
    last_turn: When | None


class WindShown(NamedTuple):
    """A wind for people.

    Attributes
    ----------
    wind : Wind or None
        For drawings; None: not reported, which is never calm.
    short : str
        ``300/28G41 kt``.
    lines : tuple of str
        In sentences, with true and magnetic direction.
    beside : str
        Speeds in the reader's unit: ``14 gusting 21 m/s``; '' for knots.
    """

    wind: Wind | None
    short: str
    lines: tuple[str, ...] = ()
    beside: str = ""


# --- runways -----------------------------------------------------------------------


class EndRow(NamedTuple):
    """One end of a runway for one aircraft and pilot standard.

    Attributes
    ----------
    runway, end : str
        ``10/28``, ``28``.
    heading_true_deg : float
    approximate : bool
        Known from the painted number only.
    best : bool
        The better end of its runway.
    stand : Stand
        Over, too, while the runway is not yet back within limits.
    headwind_kt, crosswind_kt : float or None
        Nominal, of the gust where there is one; crosswind positive from the right, headwind
        negative for a tailwind; None without a direction, or while nothing is known. [kt]
    along, across : str
        The same in words: ``headwind 12 kt``, ``crosswind 9 kt from the right``; '' if none.
    deciding : Figure or None
        The figure nearest to or furthest over its limit; None: no limit applies.
    others : tuple of Figure
        The other limits of this end.
    """

    runway: str
    end: str
    heading_true_deg: float
    approximate: bool
    best: bool
    stand: Stand
    headwind_kt: float | None
    crosswind_kt: float | None
    along: str
    across: str
    deciding: Figure | None
    others: tuple[Figure, ...] = ()


class SubjectRow(NamedTuple):
    """One aircraft and pilot standard on every runway that they may use.

    Attributes
    ----------
    key : str
        For an address: chosen by ``?for=``.
    who : str
        ``X-LARK / student solo``.
    pilot_limits : str
        ``anybody`` where no standard is named.
    stand : Stand
        At the field: the best runway's.
    remaining : tuple of str
        Ends, the better one of each runway, that remain not over, best first; empty while
        nothing is known.
    remains : str
        In words: ``One left: 28 remains within limits``; what is not known where it is not.
    ends : tuple of EndRow
        Best runway first, better end first.
    notes : tuple of str
        Local knowledge that applies to this wind.
    """

    key: str
    who: str
    aircraft: str
    pilot_limits: str
    stand: Stand
    remaining: tuple[str, ...]
    remains: str
    ends: tuple[EndRow, ...]
    notes: tuple[str, ...] = ()


class SubjectField(NamedTuple):
    """The field drawing for one subject, ready to be drawn."""

    key: str
    who: str
    field: Field


# --- taxiing and parking ---------------------------------------------------------------


class HoldCard(NamedTuple):
    """How some aircraft hold their controls on one leg.

    Attributes
    ----------
    aircraft : tuple of str
    types : str
        ``nosewheel, high wing and low wing``.
    positions, craft
        For `windwatch.drawings.control_card`.
    words : str
        The whole in one line: wind, ailerons, elevator, yoke or stick.
    held : str
        ``turn left, forward``.
    most_critical : bool
    notes, alternatives : tuple of str
        What else holds; other answers that a little more wind or sector would give.
    """

    aircraft: tuple[str, ...]
    types: str
    positions: ControlPositions
    craft: Craft
    words: str
    held: str
    most_critical: bool
    notes: tuple[str, ...] = ()
    alternatives: tuple[str, ...] = ()


class LegCard(NamedTuple):
    """One taxi leg in the present wind; `holds` is empty while the wind is not known."""

    name: str
    heading_true_deg: float
    heading_magnetic_deg: float
    approximate: bool
    holds: tuple[HoldCard, ...]


class ParkedCard(NamedTuple):
    """One aircraft on the ground.

    Attributes
    ----------
    stand : Stand
        The worst of its figures for parked aircraft.
    figures : tuple of Figure
        Every ground quantity, parked ones first.
    lift : str
        Share of its weight that the wing can carry, in words; '' where it is not known.
    lift_share : (float, float) or None
        Least and most; 1.0 is all of the weight. [1]
    reminders : tuple of str
        In the order of doing; empty where nothing threatens it.
    """

    aircraft: str
    description: str
    stand: Stand
    figures: tuple[Figure, ...]
    lift: str
    lift_share: tuple[float, float] | None
    reminders: tuple[str, ...] = ()


class StationCard(NamedTuple):
    """One station beside the others.

    Attributes
    ----------
    role : str
        ``main station``, ``fall-back 1``.
    in_use : bool
        Levels are judged by it now.
    known : bool
        Its wind is fresh.
    observed : When or None
        Its newest report with a wind; None: none was kept.
    age_min : int or None
        At the time of the page; JavaScript counts on from `observed`.
    due : When or None
        Of the next report; for the main station only.
    overdue : bool
    wind : WindShown or None
        None: no report.
    trend : str
        The last three hours in words: ``easing: 28 gusting 41 kt three hours ago ...``.
    where : str
        Distance, bearing and height against the field.
    raw : str
        Its newest report.
    """

    id: str
    role: str
    in_use: bool
    known: bool
    observed: When | None
    age_min: int | None
    due: When | None
    overdue: bool
    wind: WindShown | None
    trend: str
    where: str
    raw: str


class ThunderShown(NamedTuple):
    """Thunder, squall and funnel cloud at the field."""

    stand: Stand
    reasons: tuple[str, ...]


class ToDo(NamedTuple):
    """What to do now, in the words that a notice would have.

    Attributes
    ----------
    stand : Stand
        The worst at the field.
    headline : str
        ``Over: no runway for X-LARK / student solo, 28 crosswind 17 kt > 7 kt, and 3 more``.
    sentences : tuple of str
        In the order of doing.
    runways : tuple of str
        One line a pilot standard: which runway remains for whom, or that none does.
    outs : tuple of str
        Who lost a runway while another remains, with every end that is out; fewest left first.
    """

    stand: Stand
    headline: str
    sentences: tuple[str, ...]
    runways: tuple[str, ...]
    outs: tuple[str, ...] = ()
