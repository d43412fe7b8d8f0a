"""Channels in turn: which starts at once, and which waits for the one before it to fail.

By default every channel of a contact carries every notice. A contact with ``fall_back = true``
gets a notice by its first channel; the next one starts where an urgent notice has not been
accepted within a minute, or at once where the first cannot take it, and the first goes on.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from windwatch.notices.values import Notice
from windwatch.rules import USUAL

# Reliability, section 3: not accepted by channel 1 within 60 s.
PATIENCE: Final = USUAL.fall_back_after


def starts(
    notice: Notice,
    channels: Sequence[str],
    *,
    in_turn: bool,
    patience: timedelta = PATIENCE,
) -> dict[str, datetime | None]:
    """When each channel of a contact starts to carry a notice.

    Parameters
    ----------
    patience : timedelta
        How long each has before the next one starts.

    Returns
    -------
    dict of str to datetime or None
        None: at once. A time: as a fall-back, unless an earlier channel has taken it by then.
    """
    if not in_turn:
        return dict.fromkeys(channels)
    used = channels if notice.urgent else channels[:1]
    return {
        channel: notice.at + patience * place if place else None
        for place, channel in enumerate(used)
    }
