"""What is wrong with windwatch: told once in six hours, and its end once."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, NamedTuple

from windwatch.notices.operator import OPERATOR, Trouble, operator_notice
from windwatch.notices.values import Content, Notice
from windwatch.upkeep.words import is_of_a_contact

LOG: Final = logging.getLogger(__name__)
# The same trouble is told to the same person once in this time, however often it comes and goes.
AGAIN_AFTER: Final = timedelta(hours=6)

Told = list[tuple[Notice, Content]]


class _LastTold(NamedTuple):
    at: datetime
    notice: str


@dataclass(frozen=True, slots=True)
class Standing:
    """A trouble that lasts."""

    trouble: Trouble
    since: datetime


class TroubleBook:
    """Remembers what is wrong and who was told.

    Parameters
    ----------
    operators : tuple of str
        Contacts who hear of windwatch itself.
    """

    def __init__(self, operators: tuple[str, ...]) -> None:
        self._operators = operators
        self._standing: dict[str, Standing] = {}
        self._told: dict[tuple[str, str], _LastTold] = {}

    def replace_people(
        self, operators: tuple[str, ...], known: Iterable[str], reaching: Iterable[str]
    ) -> None:
        """Take a new configuration.

        Parameters
        ----------
        operators : tuple of str
            Contacts who hear of windwatch itself.
        known : iterable of str
            Names of all contacts.
        reaching : iterable of str
            Keys of the troubles that there may be in reaching them.
        """
        names, keys = set(known), set(reaching)
        self._operators = operators
        self._standing = {
            key: standing
            for key, standing in self._standing.items()
            if key in keys or not is_of_a_contact(key)
        }
        self._told = {key: last for key, last in self._told.items() if key[1] in names}

    def remember(self, kept: Iterable[tuple[Notice, Content]]) -> None:
        """Take up what was told before a restart, oldest first."""
        for notice, content in kept:
            about = content.payload.get("trouble")
            if notice.kind != OPERATOR or not isinstance(about, dict):
                continue
            key = str(about.get("key", ""))
            if about.get("over"):
                self._standing.pop(key, None)
                continue
            self._told[key, notice.contact] = _LastTold(notice.at, notice.id)
            headline = str(about.get("headline", key))
            trouble = Trouble(key, headline, "", "")
            self._standing.setdefault(key, Standing(trouble, notice.at))

    @property
    def standing(self) -> tuple[Standing, ...]:
        """What is wrong now, the oldest first."""
        return tuple(sorted(self._standing.values(), key=lambda s: s.since))

    def has(self, key: str) -> bool:
        """Whether a trouble lasts."""
        return key in self._standing

    def begun(self, trouble: Trouble, now: datetime, also: Iterable[str] = ()) -> Told:
        """Note a trouble; return what is to be told, and to whom.

        Parameters
        ----------
        also : iterable of str
            Contacts whom it concerns beside the operators.
        """
        known = self._standing.get(trouble.key)
        since = now if known is None else known.since
        self._standing[trouble.key] = Standing(trouble, since)
        if known is None:
            fields = {"trouble": trouble.key, "problem": trouble.headline, "said": trouble.reason}
            LOG.warning("trouble", extra=fields)
        told: Told = []
        for contact in dict.fromkeys((*self._operators, *also)):
            last = self._told.get((trouble.key, contact))
            if last is not None and timedelta(0) <= now - last.at < AGAIN_AFTER:
                continue
            notice, content = operator_notice(trouble, contact, since, now)
            self._told[trouble.key, contact] = _LastTold(now, notice.id)
            told.append((notice, content))
        return told

    def over(self, key: str, now: datetime) -> Told:
        """Note the end of a trouble; whoever was told of it is told that, once."""
        known = self._standing.pop(key, None)
        if known is None:
            return []
        LOG.warning("trouble_over", extra={"trouble": key})
        told: Told = []
        for (its_key, contact), last in self._told.items():
            if its_key == key and last.at >= known.since:
                told.append(
                    operator_notice(
                        known.trouble,
                        contact,
                        known.since,
                        now,
                        over=True,
                        references=(last.notice,),
                    )
                )
        return told

    def dismiss(self, key: str) -> None:
        """Forget a trouble of which there is no end to tell."""
        self._standing.pop(key, None)
