"""When what stands in a lane has become old: pure rules on one lane.

A newer step supersedes a waiting older one, it does not queue behind it; nothing is sent as
current after its validity; and nobody gets the end of something whose beginning could not
have reached them (reliability, sections 1 and 3).
"""

from __future__ import annotations

from datetime import datetime

from windwatch.notices.outbox import Backlog, DeliveryState
from windwatch.notices.values import Notice


def needs_one_notice(backlog: Backlog, now: datetime) -> tuple[Notice, ...]:
    """Notices that one notice of the state now should replace, oldest first; none: go on.

    Parameters
    ----------
    backlog : Backlog
        One lane whose first delivery is not under way.
    now : datetime
        Expiry is judged at this time.
    """
    waiting = backlog.waiting
    if not waiting:
        return ()
    expired = any(delivery.valid_until <= now for delivery in waiting)
    overtaken = len(waiting) > 1 and waiting[0].state is DeliveryState.WAITING
    if not (expired or overtaken or backlog.unreached):
        return ()
    return tuple(delivery.notice for delivery in (*backlog.unreached, *waiting))
