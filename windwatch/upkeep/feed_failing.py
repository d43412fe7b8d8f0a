"""Since when the feed fails, and from when on that is told."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from windwatch.errors import FeedBusy

# A feed that fails for so long is told to the operator; one that bans us at once.
FEED_PATIENCE: Final = timedelta(minutes=15)
LONG_RETRY: Final = timedelta(minutes=10)
# So do refusals that only a person can mend.
_AT_ONCE: Final = ("certificate", "HTTP 403")


class FeedFailing:
    """Since when the feed fails.

    Attributes
    ----------
    problem : str
        What was wrong last, without secrets; '' where it answered.
    """

    def __init__(self) -> None:
        self.problem = ""
        self._since: datetime | None = None

    def answered(self, problem: str) -> None:
        """It gave something, perhaps with a `problem`."""
        self.problem = problem
        self._since = None

    def failed(self, error: Exception, problem: str, hidden: str, now: datetime) -> bool:
        """Note that it gave nothing; return whether that is to be told.

        Parameters
        ----------
        error : Exception
            Why it gave nothing.
        problem : str
            The same in words.
        hidden : str
            The same without secrets.
        now : datetime
            Aware, UTC.
        """
        self.problem = hidden
        self._since = self._since or now
        banned = isinstance(error, FeedBusy) and error.retry_after >= LONG_RETRY
        at_once = banned or any(word in problem for word in _AT_ONCE)
        return at_once or now - self._since >= FEED_PATIENCE
