"""A step, a report and a delivery in one line each: for the terminal and the log."""

from __future__ import annotations

from windwatch.episodes.values import Step
from windwatch.notices import words
from windwatch.notices.clean import visible
from windwatch.notices.figures import quantity_in, track_words, who


def step_line(step: Step) -> str:
    """A step in one line: ``over: tie-down X-WREN 41 kt > 22 kt (X-WREN)``."""
    subject = track_words(step.track)
    if step.runway:
        subject = f"runway {step.runway} for {who(step.track)}"
    word = words.STEP[step.name].partition(";")[0].partition(":")[0]
    parts = [f"{word}: {subject}"]
    found = step.finding
    if found is not None:
        end = f" on {step.end}" if step.end else ""
        whose = f" ({found.limit.whose})"
        parts.append(f"{quantity_in(found)}{words.against(found)}{whose}{end}")
    elif step.reason:
        parts.append(f"({step.reason})")
    if step.past:
        parts.append("(past)")
    return visible(" ".join(parts))
