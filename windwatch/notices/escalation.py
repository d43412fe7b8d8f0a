"""Where nobody takes note of an open episode, the next contact is told."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from windwatch.assessment.values import Level
from windwatch.episodes.ledger import Told
from windwatch.episodes.values import StepName
from windwatch.notices.owed import present_state
from windwatch.notices.telling import Telling, joined


def pass_on(telling: Telling) -> None:
    """Tell the present state of what nobody has taken note of, once an episode and contact.

    The clock starts anew with every contact who is told, so that a chain of contacts is told one
    after the other.
    """
    after = {c.name: c.then_tell for c in telling.setup.fleet.contacts if c.then_tell}
    if not after:
        return
    waited = telling.rules.pass_on_after // timedelta(minutes=1)
    acknowledged = {a.episode for a in telling.state.acknowledged}
    ledger = []
    for told in telling.state.ledger:
        line = told
        if _is_due(telling, told) and told.episode not in acknowledged:
            for name in told.contacts:
                following = after.get(name, "")
                if following and following not in line.contacts:
                    reason = f"{name} took no note within {waited} min"
                    step = present_state(telling, line, StepName.OPENED, reason)
                    telling.say(step, (following,))
                    line = line._replace(
                        steps=line.steps + 1,
                        contacts=joined(line.contacts, (following,)),
                        told_at=telling.now,
                    )
        ledger.append(line)
    telling.state = replace(telling.state, ledger=tuple(ledger))


def _is_due(telling: Telling, told: Told) -> bool:
    if not told.open or told.level is not Level.OVER or told.runway or told.told_at is None:
        return False
    return (
        telling.now - told.told_at >= telling.rules.pass_on_after
        and not telling.folded.track(told.track).easing
    )
