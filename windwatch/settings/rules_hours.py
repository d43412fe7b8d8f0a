"""Contradictions about channels in turn, contacts' own hours, and who is told next."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from windwatch.settings import words
from windwatch.settings.findings import Findings
from windwatch.settings.lines import Loc
from windwatch.settings.rules_names import known_contacts, unknown_name
from windwatch.settings.schema_people import ContactTable


def judge_manners(found: Findings, loc: Loc, contact: ContactTable, channels: int) -> None:
    """Judge how a contact wants to be told.

    Parameters
    ----------
    channels : int
        How many ways there are to reach it.
    """
    if contact.fall_back and channels == 1:
        found.refuse(
            (*loc, "fall_back"),
            "there is only one channel, and nothing to fall back to",
            "add a second one, or take fall_back out",
            loc,
        )
    if contact.then_tell is not None:
        unknown_name(
            found, (*loc, "then_tell"), contact.then_tell, known_contacts(found), "contact"
        )
        if contact.then_tell == contact.name:
            found.refuse(
                (*loc, "then_tell"), "it names the contact itself", "name somebody else", loc
            )
    if contact.time_zone is not None:
        _judge_zone(found, (*loc, "time_zone"), contact.time_zone)
    _judge_quiet(found, loc, contact)
    for number, away in enumerate(contact.absent):
        if away.until < away.from_:
            found.refuse(
                (*loc, "absent", number, "until"),
                f"it ends before it begins, on {away.from_}",
                "write the last day away",
            )


def _judge_quiet(found: Findings, loc: Loc, contact: ContactTable) -> None:
    quiet = contact.quiet_hours
    if quiet is None:
        if contact.full_silence:
            found.refuse(
                (*loc, "full_silence"),
                "there are no quiet hours that it could be about",
                'add quiet_hours = { from = "22:00", to = "06:00" }, or take full_silence out',
                loc,
            )
    elif quiet.from_ == quiet.to:
        found.refuse(
            (*loc, "quiet_hours"),
            f"from {quiet.from_} to {quiet.to} is the whole day",
            'write the hours that are meant, as { from = "22:00", to = "06:00" }',
        )


def _judge_zone(found: Findings, loc: Loc, name: str) -> None:
    try:
        ZoneInfo(name)
    except (ValueError, OSError, LookupError):
        found.refuse(
            loc,
            f"there is no time zone {words.shown(name)}",
            'write its name in the time zone database, as "America/New_York"',
        )
