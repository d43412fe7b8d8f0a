"""How often a contact hears of one airfield: in steady state at most six notices an hour.

The usual figures; `windwatch.rules.Rules` may give others.

========================================  ==================================================
a first crossing, a new worst             goes at once, whatever has gone before
another opening, withdrawn, no data       beyond six in the last hour: ten minutes apart
everything else                           beyond six in the last hour: waits until there is
                                          room, or goes with the next notice
========================================  ==================================================

So a report that is corrected to and fro, or a wind that swings about a limit, cannot flood
anybody, and no first crossing waits for it (reliability, promise 14).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

from windwatch.assessment.values import Level
from windwatch.episodes.ledger import Told
from windwatch.episodes.values import Step, StepName

HOUR: Final = timedelta(hours=1)
_NEVER_LONG: Final = frozenset(
    {
        StepName.OPENED,
        StepName.UNSETTLED,
        StepName.WITHDRAWN,
        StepName.NO_DATA,
        StepName.WORSENED,
    }
)


def may_go(
    recent: tuple[datetime, ...],
    steps: Iterable[Step],
    ledger: tuple[Told, ...],
    contact: str,
    most: int,
    now: datetime,
) -> bool:
    """Whether what is ready may go out now as one notice.

    Parameters
    ----------
    recent : tuple of datetime
        When notices went to the contact about the airfield, oldest first.
    ledger : tuple of Told
        What has been said, for what is a first crossing.
    most : int
        Notices an hour; beyond them an hour is shared out evenly.
    """
    in_the_hour = [at for at in recent if at > now - HOUR]
    if len(in_the_hour) < most:
        return True
    names = set()
    for step in steps:
        if is_first(step, ledger, contact, now):
            return True
        names.add(step.name)
    return bool(names & _NEVER_LONG) and now - in_the_hour[-1] >= HOUR / most


def is_first(step: Step, ledger: tuple[Told, ...], contact: str, now: datetime) -> bool:
    """Whether a step is a new worst, or an opening of what the contact has not heard of lately."""
    if step.name is StepName.WORSENED:
        return True
    if step.name is not StepName.OPENED:
        return False
    for told in ledger:
        if told.track != step.track or told.level is not Level.OVER or told.runway:
            continue
        if told.episode == step.episode:
            # Withdrawn and opened again, to and fro.
            if told.steps > 1 and any(name == contact for name, _ in told.first_notices):
                return False
        elif contact in told.contacts and (told.closed_at is None or now - told.closed_at <= HOUR):
            return False
    return True


def noted(recent: tuple[datetime, ...], most: int, now: datetime) -> tuple[datetime, ...]:
    """The times with one more; what is older than an hour is forgotten."""
    return (*(at for at in recent if at > now - HOUR), now)[-most:]
