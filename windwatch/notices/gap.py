"""Nobody watched for a while: told once, with what the catch-up found.

It is told as *data back* on the airfield's data track of the group ``watch``: who was told nothing
meanwhile must know that nothing was looked at, and what came of it stands in the same notice.
"""

from __future__ import annotations

from typing import Final

from windwatch.assessment.values import Level
from windwatch.episodes import silence
from windwatch.episodes.clock_doubt import WATCH, Gap
from windwatch.episodes.values import Step, StepName, TrackKey, TrackKind, computed_id
from windwatch.notices.routing import hears_unknown
from windwatch.notices.telling import Telling

REASON: Final = (
    "windwatch did not run, or its machine slept; the reports of that time were asked for as far "
    "back as the feed reaches, and judged at their own times"
)


def tell_gap(telling: Telling, gap: Gap | None) -> None:
    """Tell whoever wants to know what is unknown that nobody watched; of a short gap nobody."""
    state = telling.state
    if gap is None or gap.length <= telling.airfield.stale_after or state.started_at > gap.since:
        return
    names = tuple(
        contact.name
        for contact in telling.setup.fleet.contacts
        if any(hears_unknown(contact, telling.airfield.id, group) for group in silence.GROUPS)
    )
    if names:
        telling.say(_step(telling, gap), names)


def _step(telling: Telling, gap: Gap) -> Step:
    key = TrackKey(TrackKind.DATA, telling.airfield.id, quantity=WATCH)
    # By its beginning alone: told once, also by a watch that is started again while catching up.
    episode = computed_id(str(key), gap.since.isoformat())
    seen = telling.state.wind
    return Step(
        id=computed_id(episode, "1"),
        episode=episode,
        name=StepName.DATA_BACK,
        track=key,
        at=telling.now,
        level=Level.WITHIN,
        since=gap.since,
        reports=() if seen is None else (seen.ref,),
        ended_at=gap.until,
        reason=REASON,
    )
