"""What has become old, in one notice of the state now."""

from __future__ import annotations

from datetime import datetime

from windwatch.episodes.values import Step, computed_id
from windwatch.fleet import Airfield
from windwatch.notices.routing import compress
from windwatch.notices.values import Notice, Situation
from windwatch.rules import Rules


def state_now(
    contact: str,
    airfield: Airfield,
    old: tuple[Notice, ...],
    situation: Situation,
    rules: Rules,
    now: datetime,
) -> Notice:
    """Put one notice in the place of several that could not be delivered in time.

    It tells the present state, and what happened meanwhile; what began and ended meanwhile is
    told as past. Its id is computed from the notices it replaces.

    Parameters
    ----------
    old : tuple of Notice
        Oldest first; not empty.
    situation : Situation
        At `now`, for this contact.
    """
    steps: dict[str, Step] = {step.id: step for notice in old for step in notice.steps}
    fresh = situation.wind_known and situation.wind_seen_at is not None
    # Without a fresh wind the notice says just that, and is true for as long as *no data* is.
    until = now + rules.state_valid_for
    if fresh and situation.wind_seen_at is not None:
        until = max(situation.wind_seen_at + airfield.stale_after, now + rules.tried_at_least)
    return Notice(
        id=computed_id(contact, "state now", *(notice.id for notice in old)),
        contact=contact,
        airfield=airfield.id,
        at=now,
        kind="state now",
        steps=compress(tuple(steps.values())),
        urgent=any(notice.urgent for notice in old),
        valid_until=until,
        references=tuple(
            dict.fromkeys(ref for notice in old for ref in (*notice.references, notice.id))
        ),
        late_because="earlier notices could not be delivered",
        replaces=tuple(notice.id for notice in old),
    )
