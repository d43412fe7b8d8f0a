"""The figures of judgement: each with its default, its range, and where it comes from.

Every figure of the reliability page that is a choice stands here and nowhere else: change it with
evidence. A configuration sets its own in its ``[rules]``, within the range.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import timedelta
from typing import Any, Final, NamedTuple

# Kept as they are read: in the file that sets them, in `config show`, in reasons people read.
Figure = float | int | timedelta

_MINUTE: Final = timedelta(minutes=1)
_HOUR: Final = timedelta(hours=1)


class About(NamedTuple):
    """What is to be known about one figure.

    Attributes
    ----------
    what : str
        What it decides, as one sentence or two.
    least, most : float, int or timedelta
        The documented range, ends included.
    source : str
        Who says so; '' where it is an engineering judgement.
    """

    what: str
    least: Figure
    most: Figure
    source: str = ""


def _about(what: str, least: Figure, most: Figure, source: str = "") -> Mapping[str, About]:
    return {"about": About(what, least, most, source)}


_EEMUA_DEADBAND: Final = (
    "EEMUA 191 suggests 5 % for flow signals; reported speed has 1 kt steps, and the usual "
    "tolerance of a sensor is 2 kt or 5 %"
)
_ISA_RATE: Final = (
    "ISA-18.2 and EEMUA 191: about one alarm in 10 minutes is acceptable, about two are the most "
    "that one person handles"
)


@dataclass(frozen=True, slots=True)
class Rules:
    """What is judged by beside the limits themselves; what each figure is says its `About`.

    `figures` lists them with their ranges. None of them belongs to a limit: when one is changed,
    levels and open episodes go on, and what comes from then on is judged by the new one.
    """

    # --- margins about a limit ---------------------------------------------------------------
    near_at: float = field(
        default=0.8,
        metadata=_about(
            "Share of a limit beyond which the level is near, where the limit has no near_at of "
            "its own.",
            0.5,
            0.99,
        ),
    )
    deadband_kt: float = field(
        default=2.0,
        metadata=_about(
            "How far below its limit a figure must fall, at least, before it may count as back "
            "within limits.",
            0.5,
            5.0,
            _EEMUA_DEADBAND,
        ),
    )
    deadband_share: float = field(
        default=0.05,
        metadata=_about(
            "The same as a share of the limit; the larger counts.", 0.0, 0.2, _EEMUA_DEADBAND
        ),
    )
    deadband_most_share: float = field(
        default=0.2,
        metadata=_about("No margin is more than this share of its limit.", 0.05, 0.4),
    )
    near_deadband_kt: float = field(
        default=1.0,
        metadata=_about(
            "How far below the near threshold a figure must fall, at least, before near ends.",
            0.0,
            5.0,
        ),
    )
    near_deadband_share: float = field(
        default=0.05,
        metadata=_about("The same as a share of the limit; the larger counts.", 0.0, 0.2),
    )
    worsen_kt: float = field(
        default=3.0,
        metadata=_about(
            "How far above the worst that was told a new worst must be, at least, to be told.",
            1.0,
            10.0,
        ),
    )
    worsen_share: float = field(
        default=0.2,
        metadata=_about("The same as a share of the limit; the larger counts.", 0.05, 0.5),
    )

    # --- back within limits ------------------------------------------------------------------
    low_reports: int = field(
        default=2,
        metadata=_about(
            "How many reports in a row must be low before a subject is back within limits.", 2, 4
        ),
    )
    low_apart: timedelta = field(
        default=10 * _MINUTE,
        metadata=_about(
            "How far apart the first and the last of them must be observed, at least.",
            10 * _MINUTE,
            _HOUR,
            "a gust is the peak of 10 minutes: closer reports share it",
        ),
    )
    runway_hold: timedelta = field(
        default=30 * _MINUTE,
        metadata=_about(
            "How long after the last report over its limit a runway, or taxiing, is back within "
            "limits at the earliest.",
            10 * _MINUTE,
            3 * _HOUR,
        ),
    )
    parked_hold: timedelta = field(
        default=_HOUR,
        metadata=_about("The same for tie-down and shelter.", 30 * _MINUTE, 6 * _HOUR),
    )
    convective_hold: timedelta = field(
        default=_HOUR,
        metadata=_about(
            "How long after thunder, a squall, a funnel cloud or a wind shift at the field "
            "anything is back within limits at the earliest.",
            30 * _MINUTE,
            3 * _HOUR,
        ),
    )
    peak_within: timedelta = field(
        default=_HOUR,
        metadata=_about(
            "How old a peak wind or thunder that a report's remarks tell of may be to count.",
            10 * _MINUTE,
            _HOUR,
            "remarks name a time by its minutes, which is no longer clear after an hour",
        ),
    )
    unsettled_openings: int = field(
        default=3,
        metadata=_about(
            "How many openings of one track make it swinging about its limit: it then stays open.",
            2,
            6,
        ),
    )
    unsettled_within: timedelta = field(
        default=6 * _HOUR,
        metadata=_about("Within what time they count together.", _HOUR, 24 * _HOUR),
    )
    unsettled_hold: timedelta = field(
        default=2 * _HOUR,
        metadata=_about(
            "How long after its last report over the limit such a track is back at the earliest.",
            30 * _MINUTE,
            12 * _HOUR,
        ),
    )

    # --- how old an observation may be ---------------------------------------------------------
    stale_margin: timedelta = field(
        default=15 * _MINUTE,
        metadata=_about(
            "How long after a station's next report was due nothing is known any more, where "
            "stale_after is not set.",
            5 * _MINUTE,
            30 * _MINUTE,
        ),
    )
    told_margin: timedelta = field(
        default=30 * _MINUTE,
        metadata=_about(
            "How long after it was due missing data are told where no episode is open, and "
            "no_data_after is not set.",
            30 * _MINUTE,
            6 * _HOUR,
        ),
    )
    often_stale_after: timedelta = field(
        default=10 * _MINUTE,
        metadata=_about(
            "The age at which nothing is known any more from a station that reports at least "
            "every 5 minutes, as a field's own anemometer.",
            6 * _MINUTE,
            20 * _MINUTE,
        ),
    )
    often_told_after: timedelta = field(
        default=20 * _MINUTE,
        metadata=_about(
            "The age at which missing data of such a station are told where no episode is open.",
            20 * _MINUTE,
            2 * _HOUR,
        ),
    )

    # --- when this machine's clock is in doubt -------------------------------------------------
    clock_step: timedelta = field(
        default=timedelta(seconds=30),
        metadata=_about(
            "By how much this machine's clock may step, against one that only counts, without "
            "being in doubt.",
            timedelta(seconds=5),
            5 * _MINUTE,
        ),
    )
    clock_apart: timedelta = field(
        default=5 * _MINUTE,
        metadata=_about(
            "How far it may be from the feed's own clock without being in doubt.",
            _MINUTE,
            30 * _MINUTE,
        ),
    )
    clock_agreeing: int = field(
        default=2,
        metadata=_about("How many polls in a row must agree before it is believed again.", 1, 10),
    )

    # --- which reports count -----------------------------------------------------------------
    main_gone: timedelta = field(
        default=2 * _HOUR,
        metadata=_about(
            "How long the main station must be without a wind before a fall-back station may "
            "end what it did not open.",
            _HOUR,
            12 * _HOUR,
        ),
    )
    stuck_after: timedelta = field(
        default=3 * _HOUR,
        metadata=_about(
            "How long a station may tell the very same wind before its sensor is in doubt, while "
            "a fall-back station blows.",
            _HOUR,
            12 * _HOUR,
        ),
    )
    stuck_beside_kt: float = field(
        default=10.0,
        metadata=_about("Above how much wind that fall-back station blows.", 5.0, 25.0),
    )
    late_after: timedelta = field(
        default=6 * _HOUR,
        metadata=_about(
            "How old a report may be that comes late and is still put in its place; an older one "
            "is only recorded.",
            2 * _HOUR,
            24 * _HOUR,
        ),
    )
    future_by: timedelta = field(
        default=10 * _MINUTE,
        metadata=_about(
            "How far a report's own time may be ahead of the clock, or away from the time that "
            "its feed names, to be believed.",
            _MINUTE,
            30 * _MINUTE,
        ),
    )

    # --- what is told, and for how long it is true -------------------------------------------
    still_told: timedelta = field(
        default=2 * _HOUR,
        metadata=_about(
            "How long after its end an episode that nobody was told of is still told, as past.",
            30 * _MINUTE,
            6 * _HOUR,
        ),
    )
    gather: timedelta = field(
        default=_MINUTE,
        metadata=_about(
            "How long after a notice what comes next is gathered for the next one.",
            timedelta(seconds=10),
            5 * _MINUTE,
        ),
    )
    notices_an_hour: int = field(
        default=6,
        metadata=_about(
            "How many notices an hour a contact gets about an airfield before what can wait does.",
            2,
            12,
            _ISA_RATE,
        ),
    )
    remind_every: timedelta = field(
        default=3 * _HOUR,
        metadata=_about(
            "How long after the last notice an open warning about a parked aircraft is repeated.",
            30 * _MINUTE,
            24 * _HOUR,
        ),
    )
    standing_after: timedelta = field(
        default=24 * _HOUR,
        metadata=_about(
            "How long an episode is open before it is standing: no more reminders, and the limit "
            "should be reviewed.",
            12 * _HOUR,
            168 * _HOUR,
            "ISA-18.2 calls an alarm that is older than 24 hours stale",
        ),
    )
    acknowledged_for: timedelta = field(
        default=6 * _HOUR,
        metadata=_about(
            "How long reminders stop after somebody took note of an episode.", _HOUR, 24 * _HOUR
        ),
    )
    pass_on_after: timedelta = field(
        default=15 * _MINUTE,
        metadata=_about(
            "How long nobody takes note of an episode before the next contact is told.",
            5 * _MINUTE,
            2 * _HOUR,
        ),
    )
    tried_at_least: timedelta = field(
        default=10 * _MINUTE,
        metadata=_about(
            "How long a notice about an observation that came late is tried all the same.",
            5 * _MINUTE,
            _HOUR,
        ),
    )
    state_valid_for: timedelta = field(
        default=6 * _HOUR,
        metadata=_about(
            "How long it may be sent as current that a subject is back within limits, or that "
            "nothing is known.",
            _HOUR,
            24 * _HOUR,
        ),
    )
    withdrawn_valid_for: timedelta = field(
        default=24 * _HOUR,
        metadata=_about("How long a withdrawal may be sent.", 6 * _HOUR, 72 * _HOUR),
    )

    # --- how deliveries are tried ------------------------------------------------------------
    urgent_tries_apart: timedelta = field(
        default=5 * _MINUTE,
        metadata=_about(
            "How far apart the tries of an urgent notice become, at most, until it arrives or is "
            "no longer true.",
            _MINUTE,
            15 * _MINUTE,
        ),
    )
    other_tries_apart: timedelta = field(
        default=30 * _MINUTE,
        metadata=_about("The same for what is not urgent.", 5 * _MINUTE, 2 * _HOUR),
    )
    retry_after_most: timedelta = field(
        default=5 * _MINUTE,
        metadata=_about(
            "How long a receiver that asks for patience is left alone, at most.",
            _MINUTE,
            30 * _MINUTE,
        ),
    )
    channel_down_for: timedelta = field(
        default=_MINUTE,
        metadata=_about(
            "How long a server that refuses our login or offers no encryption is left alone.",
            _MINUTE,
            30 * _MINUTE,
            "mail servers lock an account that tries more often",
        ),
    )
    fall_back_after: timedelta = field(
        default=_MINUTE,
        metadata=_about(
            "How long a contact's first channel may take over an urgent notice before the next "
            "one carries it too, where they are used in turn.",
            timedelta(seconds=30),
            10 * _MINUTE,
        ),
    )

    @property
    def remembered_for(self) -> timedelta:
        """How long closed spans are kept: to tell them, for late reports, to count openings."""
        return max(self.still_told + self.late_after, self.unsettled_within)


# What applies where nothing else is said.
USUAL: Final = Rules()


def figures() -> Mapping[str, About]:
    """Every figure of `Rules` by name, in order, with what is to be known about it."""
    return {each.name: each.metadata["about"] for each in fields(Rules)}


def changed(rules: Rules) -> Mapping[str, tuple[Any, Any]]:
    """Each figure that is not the usual one: what it is, and what it usually is."""
    pairs = {name: (getattr(rules, name), getattr(USUAL, name)) for name in figures()}
    return {name: pair for name, pair in pairs.items() if pair[0] != pair[1]}


def in_words(length: timedelta) -> str:
    """A length of time as people read it: ``30 minutes``, ``6 hours``.

    An hour is ``60 minutes`` here, beside others in minutes; from two hours on whole hours are
    hours.
    """
    seconds = round(length.total_seconds())
    if seconds % 60 or seconds < 60:
        return f"{seconds} seconds"
    minutes = seconds // 60
    if minutes >= 120 and minutes % 60 == 0:
        return f"{minutes // 60} hours"
    return f"{minutes} minute{'' if minutes == 1 else 's'}"
