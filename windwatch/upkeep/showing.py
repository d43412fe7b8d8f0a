"""Where a watch shows how it stands."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

from windwatch.upkeep.heartbeat import Heartbeat
from windwatch.upkeep.hiding import Hider
from windwatch.upkeep.hints import HintLog
from windwatch.upkeep.metrics import Metrics


@dataclass(frozen=True, slots=True)
class Outward:
    """Where a watch shows how it stands; each may be missing.

    Attributes
    ----------
    store_patience : timedelta
        A store that cannot be written for so long ends the watch.
    hide : Hider
        Takes secrets and addresses out of what others said.
    hints : HintLog
        Where hints about the configuration are written.
    """

    status: Path | None = None
    heartbeat: Heartbeat | None = None
    metrics: Metrics | None = None
    store_patience: timedelta = timedelta(minutes=5)
    hide: Hider = field(default_factory=Hider)
    hints: HintLog = field(default_factory=HintLog)
