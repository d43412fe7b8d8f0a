"""What the figures of judgement may not say together."""

from __future__ import annotations

from windwatch.rules import Rules
from windwatch.settings import words
from windwatch.settings.findings import Findings
from windwatch.settings.schema_rules import rules_of


def judge_rules(found: Findings) -> None:
    """Judge the figures of judgement against each other."""
    rules: Rules = rules_of(found.whole.rules, found.whole.reminders)
    if rules.remind_every >= rules.standing_after:
        every, standing = words.spoken(rules.remind_every), words.spoken(rules.standing_after)
        found.refuse(
            ("reminders", "remind_every"),
            f'"{every}": no reminder would ever be sent, for an episode is standing after '
            f'standing_after = "{standing}"',
            f'write a shorter time, as remind_every = "3h", or a standing_after above {every}',
            ("reminders", "standing_after"),
        )
