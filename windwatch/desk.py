"""What people know and reports do not: dated, signed, expiring entries.

Only closures are judged so far; the desk's other entries come with a later piece of work and
join here, as one more input to the assessment.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Closure:
    """A runway that may not be used from a moment until another.

    Attributes
    ----------
    by : str
        The role that entered it.
    """

    airfield: str
    runway: str
    from_at: datetime
    until_at: datetime
    by: str
    reason: str = ""

    def holds(self, at: datetime) -> bool:
        """Whether it is in force at a moment."""
        return self.from_at <= at < self.until_at


@dataclass(frozen=True, slots=True)
class Desk:
    """Every desk entry that is known."""

    closures: tuple[Closure, ...] = ()

    def closed(self, airfield: str, runway: str, at: datetime) -> bool:
        """Whether a runway is closed at a moment."""
        return any(
            c.airfield == airfield and c.runway == runway and c.holds(at) for c in self.closures
        )


NOTHING_KNOWN = Desk()
