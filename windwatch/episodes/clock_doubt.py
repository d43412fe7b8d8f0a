"""Whether this machine's clock can be believed, and what holds while it cannot.

While it is in doubt, alerts go on; nothing is called *back within limits*, stale or over, and
nothing is forgotten (reliability, promise 21 and section 2, *Time*).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from windwatch.rules import USUAL, Rules

# A gap in watching is told on the airfield's data track of this group, beside wind and thunder.
WATCH: Final = "watch"


@dataclass(frozen=True, slots=True)
class Gap:
    """A time in which nobody watched: the program did not run, or the machine slept."""

    since: datetime
    until: datetime

    @property
    def length(self) -> timedelta:
        """How long it lasted."""
        return self.until - self.since


@dataclass(frozen=True, slots=True)
class Conditions:
    """Under which conditions a step is made.

    Attributes
    ----------
    clock_in_doubt : bool
        Nothing is called back within limits or stale, and nothing is forgotten.
    unwritten : bool
        The store cannot be written: nothing is called back within limits.
    catching_up : bool
        Watching again after a gap, and the feed was not asked yet: nothing is called stale.
    not_watched : Gap or None
        To be told, once.
    """

    clock_in_doubt: bool = False
    unwritten: bool = False
    catching_up: bool = False
    not_watched: Gap | None = None

    @property
    def may_clear(self) -> bool:
        """Whether anything may be called back within limits."""
        return not (self.clock_in_doubt or self.unwritten)

    @property
    def may_call_silent(self) -> bool:
        """Whether an observation may be called too old."""
        return not (self.clock_in_doubt or self.catching_up)


ALL_IS_WELL: Final = Conditions()


@dataclass(frozen=True, slots=True)
class Trust:
    """What is known of the wall clock.

    Attributes
    ----------
    offset_s : float
        Wall clock less monotonic clock at the last look. [s]
    correction : timedelta
        What is added to the wall clock to get the time that is judged by: it goes on evenly
        over a step, and follows the feed's clock where the two disagree.
    since : datetime or None
        From when on the clock is in doubt, by the corrected time; None: it is not.
    reason : str
        Why, in words.
    stepped : timedelta
        By how much it has stepped since the doubt began; a step alone may be a machine that
        slept.
    disagrees : bool
        The feed's clock said otherwise when it was last heard.
    disagreed : bool
        It has said so at any time since the doubt began.
    agreed : int
        Polls in a row that agreed.
    checked : bool
        The feed's clock has been heard since the last step.
    """

    offset_s: float
    correction: timedelta = timedelta(0)
    since: datetime | None = None
    reason: str = ""
    stepped: timedelta = timedelta(0)
    disagrees: bool = False
    disagreed: bool = False
    agreed: int = 0
    checked: bool = False

    @property
    def in_doubt(self) -> bool:
        """Whether the clock is in doubt."""
        return self.since is not None

    @property
    def confirmed(self) -> bool:
        """Whether the corrected time may be written down: not doubted, or by the feed's clock."""
        return self.checked or not self.in_doubt

    @property
    def told(self) -> bool:
        """Whether people should hear of it: not of a machine that merely slept."""
        return self.in_doubt and (self.disagreed or not self.checked)


def begin(wall: datetime, monotonic_s: float) -> Trust:
    """Trust in a clock that was never looked at."""
    return Trust(wall.timestamp() - monotonic_s)


def look(trust: Trust, wall: datetime, monotonic_s: float, rules: Rules = USUAL) -> Trust:
    """Look at both clocks, for a step of the wall clock since the last look.

    Parameters
    ----------
    wall : datetime
        What the wall clock says.
    monotonic_s : float
        What the monotonic clock says. [s]
    rules : Rules
        `clock_step` is what it may step by.
    """
    offset_s = wall.timestamp() - monotonic_s
    step = timedelta(seconds=offset_s - trust.offset_s)
    if abs(step) <= rules.clock_step:
        # Slewing, and small steps, are taken as they come.
        return replace(trust, offset_s=offset_s)
    correction = trust.correction - step
    return replace(
        trust,
        offset_s=offset_s,
        correction=correction,
        since=trust.since if trust.since is not None else wall + correction,
        reason=f"it stepped by {_spoken(step)}",
        stepped=trust.stepped + step,
        agreed=0,
        checked=False,
    )


def hear(trust: Trust, wall: datetime, feed_says: datetime | None, rules: Rules = USUAL) -> Trust:
    """Take one poll's word for it.

    Parameters
    ----------
    wall : datetime
        What the wall clock says.
    feed_says : datetime or None
        What the feed's clock said just now; None: it said nothing.
    rules : Rules
        `clock_apart` is how far the two may be apart; `clock_agreeing` polls end a doubt.
    """
    if feed_says is None:
        # No word against it since: a disagreement that was heard stands until it is taken back.
        return trust if trust.disagrees else _agreed(trust, rules)
    away = wall - feed_says
    if abs(away) <= rules.clock_apart:
        heard = replace(trust, disagrees=False, checked=True, correction=timedelta(0))
        return _agreed(heard, rules)
    return replace(
        trust,
        correction=-away,
        since=trust.since if trust.since is not None else feed_says,
        reason=f"it is {_spoken(abs(away))} {'ahead of' if away > timedelta(0) else 'behind'} "
        "the clock of the feed",
        disagrees=True,
        disagreed=True,
        agreed=0,
        checked=True,
    )


def suspect(trust: Trust, wall: datetime, reason: str) -> Trust:
    """Doubt the clock for a reason that does not say which time it is: it goes on as it stands."""
    if trust.in_doubt:
        return replace(trust, disagrees=True, disagreed=True, agreed=0)
    since = wall + trust.correction
    return replace(trust, since=since, reason=reason, disagrees=True, disagreed=True, agreed=0)


def _agreed(trust: Trust, rules: Rules) -> Trust:
    if not trust.in_doubt:
        return trust
    if trust.agreed + 1 < rules.clock_agreeing:
        return replace(trust, agreed=trust.agreed + 1)
    return Trust(trust.offset_s)


def slept(trust: Trust) -> timedelta:
    """How long the machine seems to have slept: a forward step that nothing speaks against.

    A clock that was wrong before, and was put right, has stepped, too; that is no sleep.
    """
    if not trust.in_doubt or trust.disagreed:
        return timedelta(0)
    return max(timedelta(0), trust.stepped)


def _spoken(length: timedelta) -> str:
    seconds = abs(length.total_seconds())
    sign = "-" if length < timedelta(0) else ""
    if seconds < 120:
        return f"{sign}{seconds:.0f} s"
    if seconds < 2 * 3600:
        return f"{sign}{seconds / 60:.0f} min"
    if seconds < 48 * 3600:
        return f"{sign}{seconds / 3600:.1f} h"
    return f"{sign}{seconds / 86400:.0f} days"
