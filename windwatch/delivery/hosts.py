"""How many calls each host has, and which of them want to be left alone for a while."""

from __future__ import annotations

from collections import Counter


class Hosts:
    """Counts calls under way per host; kept by the one thread that drains.

    Parameters
    ----------
    most : int
        Calls that one host gets at a time.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._calls: Counter[str] = Counter()
        # Hosts that refused us as a whole, and until when (monotonic) nobody knocks. [s]
        self._down_until: dict[str, float] = {}

    def begin(self, host: str) -> None:
        """Count a call."""
        self._calls[host] += 1

    def end(self, host: str) -> None:
        """Count it no longer."""
        self._calls[host] -= 1
        if not self._calls[host]:
            del self._calls[host]

    def has_room(self, host: str) -> bool:
        """Whether it may get another call; one that was down gets one at a time."""
        most = 1 if host in self._down_until else self._most
        return self._calls[host] < most

    def full(self) -> set[str]:
        """Hosts that have as many calls as they get."""
        return {host for host in self._calls if not self.has_room(host)}

    def down(self, host: str, until: float) -> None:
        """Leave a host alone until a time on the monotonic clock, in seconds."""
        self._down_until[host] = until

    def up(self, host: str) -> None:
        """It talks to us again."""
        self._down_until.pop(host, None)

    def all_up(self) -> None:
        """Forget who was down: the configuration has changed."""
        self._down_until.clear()

    def wait_s(self, host: str, monotonic: float) -> float:
        """How long to leave it alone; 0 or less: no longer, in seconds."""
        return self._down_until.get(host, monotonic) - monotonic
