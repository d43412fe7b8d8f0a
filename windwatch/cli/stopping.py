"""How a command that goes on and on is asked to end."""

from __future__ import annotations

import signal
import threading
from types import FrameType
from typing import Final

# Said at the end by whoever was asked: silence would leave open whether it went well.
STOPPED: Final = "windwatch has stopped watching; started again, it goes on where it was"


def stop_cleanly(stop: threading.Event) -> None:
    """SIGTERM and SIGINT: nothing new is begun, what is under way ends."""

    def ask(number: int, frame: FrameType | None) -> None:
        del number, frame
        # In a thread of its own: the one that is interrupted may hold the event's lock.
        threading.Thread(target=stop.set).start()

    signal.signal(signal.SIGTERM, ask)
    signal.signal(signal.SIGINT, ask)
