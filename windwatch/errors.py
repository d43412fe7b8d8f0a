"""What can go wrong, as one tree.

::

    WindwatchError
    ├── SettingsError        a configuration that cannot be used; holds every fault found
    ├── UsageError           a command that was asked for something it cannot do
    ├── NoUsableReports      nothing to judge (exit status 3)
    ├── FeedError            a feed did not answer, or not in its format
    │   └── FeedBusy         it asked us to stay away for a while (429, 503, Retry-After)
    ├── StoreError           the store cannot be opened, read or written
    │   ├── StoreHeld        another watcher holds it
    │   └── LeadLost         another watcher has taken over; this one must not write any more
    ├── DeliveryFailed       one try at one delivery did not succeed (permanent or not)
    └── OutwardError         an exchange with somebody outside (drawn out in `addresses`)

Each keeps the facts as attributes beside the sentence.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Literal

# What is wrong with a store, for whoever must act differently on it:
# full, read-only, gone (the file was taken away), unreachable (a database server): it may come
# back. busy: try again. damaged, newer: a person must act. held, lost: another watcher leads.
StoreTrouble = Literal[
    "full",
    "read-only",
    "gone",
    "unreachable",
    "busy",
    "damaged",
    "newer",
    "held",
    "lost",
    "other",
]


class WindwatchError(Exception):
    """Anything windwatch itself raises."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault in a configuration.

    Attributes
    ----------
    file : str
        The file as the user named it.
    line : int or None
        Line in it, counted from 1.
    key : str
        Where it stands, in words a person can find: ``aircraft X-LARK, limits.crosswind_kt``.
    problem : str
        What is wrong, quoting the value.
    mend : str
        What to write instead.
    """

    file: str
    line: int | None
    key: str
    problem: str
    mend: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else self.file
        return f"{place}: {self.key}: {self.problem}; {self.mend}"


class SettingsError(WindwatchError):
    """The configuration cannot be used."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        self.faults = faults
        super().__init__("\n".join(str(fault) for fault in faults))


class UsageError(WindwatchError):
    """A command was asked for something it cannot do."""


class NoUsableReports(WindwatchError):
    """There is nothing to judge."""


class FeedError(WindwatchError):
    """A feed did not answer, or not in its format.

    Attributes
    ----------
    source : str
        Which feed and address (without secrets).
    """

    def __init__(self, source: str, problem: str) -> None:
        self.source = source
        self.problem = problem
        super().__init__(f"{source}: {problem}")


class FeedBusy(FeedError):
    """The feed asked us to stay away.

    Attributes
    ----------
    retry_after : timedelta
        How long.
    """

    def __init__(self, source: str, problem: str, retry_after: timedelta) -> None:
        self.retry_after = retry_after
        super().__init__(source, problem)


class StoreError(WindwatchError):
    """The store cannot be opened, read or written.

    Attributes
    ----------
    kind : StoreTrouble
        What is wrong, in one word.
    """

    def __init__(self, message: str, kind: StoreTrouble = "other") -> None:
        self.kind = kind
        super().__init__(message)


class StoreHeld(StoreError):
    """Another watcher holds the store."""

    def __init__(self, message: str) -> None:
        super().__init__(message, "held")


class LeadLost(StoreError):
    """Another watcher has taken over; nothing of this one's was written."""

    def __init__(self, message: str) -> None:
        super().__init__(message, "lost")


class DeliveryFailed(WindwatchError):
    """One try at one delivery did not succeed.

    Attributes
    ----------
    permanent : bool
        Whether trying again cannot help.
    answer : str
        What the other side said, cut and cleaned.
    retry_after : timedelta or None
        How long the other side asked us to wait.
    status : int or None
        HTTP status or SMTP code.
    """

    def __init__(
        self,
        answer: str,
        *,
        permanent: bool,
        retry_after: timedelta | None = None,
        status: int | None = None,
    ) -> None:
        self.answer = answer
        self.permanent = permanent
        self.retry_after = retry_after
        self.status = status
        super().__init__(answer)
