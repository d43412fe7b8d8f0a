"""The questions of ``config new`` about whom to tell, by which way, and about what."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from windwatch.cli.new_ask import Asker, read_option
from windwatch.cli.new_given import Given
from windwatch.cli.new_names import ALL, NO_MORE, NONE, among, choice, new_name, once
from windwatch.errors import UsageError
from windwatch.settings import starting_parts as parts
from windwatch.settings import starting_read as read
from windwatch.settings.starting import AircraftAnswer, ContactAnswer, MailAnswer
from windwatch.settings.starting_words import HEARS
from windwatch.settings.words import shown

DESK: Final = "operations desk"
MAIL_FOLDER: Final = "windwatch-notices"


@dataclass(frozen=True, slots=True)
class Telling:
    """Whom to tell, and how mail leaves."""

    contacts: tuple[ContactAnswer, ...]
    mail: MailAnswer | None
    folder: str


def ask_contacts(asker: Asker, given: Given, aircraft: Sequence[AircraftAnswer]) -> Telling:
    """Ask whom to tell, by which way, and about what."""
    names = tuple(craft.name for craft in aircraft)
    contacts = _given_contacts(given, names) or _asked_contacts(asker, names)
    mail = None
    if any(contact.email for contact in contacts):
        mail = asker.ask(
            "Mail server",
            _mail_server,
            option="--mail-server mail.larkspur.example,username=wind@larkspur.example",
            given=given.mail_server,
            offered="not yet",
            said=(
                "Which server takes your mail? Its name, a comma, username= and, if it differs, "
                "sender=, as mail.larkspur.example,username=wind@larkspur.example. The password "
                "is not asked for: it goes into the environment. Not yet: notices are left as "
                f"files in the folder {MAIL_FOLDER}."
            ),
        )
    elif given.mail_server is not None:
        raise UsageError("--mail-server is given, and nobody has a mail address; add --email")
    waits = mail is None and any(contact.email for contact in contacts)
    return Telling(contacts, mail, MAIL_FOLDER if waits else "")


def _mail_server(text: str) -> MailAnswer | None:
    if text.strip().lower() in {"", "not yet", NONE, "no"}:
        return None
    return parts.mail_server(text)


def _given_contacts(given: Given, aircraft: tuple[str, ...]) -> tuple[ContactAnswer, ...]:
    found = []
    if given.email or given.webhook or given.folder:
        found.append(
            ContactAnswer(
                DESK,
                email=""
                if given.email is None
                else read_option("--email", given.email, read.mail_address),
                webhook=""
                if given.webhook is None
                else read_option("--webhook", given.webhook, read.web_address),
                folder=""
                if given.folder is None
                else read_option("--folder", given.folder, read.folder),
            )
        )
    found += [read_option("--contact", text, parts.contact) for text in given.contact]
    once("--contact", [contact.name for contact in found])
    for contact in found:
        among("--contact", f"{contact.name} hears of", contact.aircraft, aircraft)
    if found:
        found[0] = replace(found[0], operator=True)
    return tuple(found)


def _asked_contacts(asker: Asker, aircraft: tuple[str, ...]) -> tuple[ContactAnswer, ...]:
    option = "--email ops@larkspur.example, --webhook URL or --folder DIR"
    if asker.silent:
        raise UsageError(f"Whom to tell: not given; add {option}")
    found: list[ContactAnswer] = []
    while True:
        known = [contact.name for contact in found]
        called = asker.ask(
            "Contact" if not found else "Another contact",
            _called(known),
            option=option,
            offered=NO_MORE if found else DESK,
            said="Whom to tell? A role rather than a person, if you can. Its address comes next.",
            explained=bool(found),
            about=", ".join(known),
        )
        if not called:
            return tuple(found)
        found.append(_one_contact(asker, called, option, aircraft, first=not found))


def _one_contact(
    asker: Asker, called: str, option: str, aircraft: tuple[str, ...], *, first: bool
) -> ContactAnswer:
    way = asker.ask(
        "How",
        _way,
        option=option,
        said=(
            f"How is {called} reached? A mail address; a web address that is called (a webhook, "
            "https://…); or the name of a folder in which notices are left as files."
        ),
        about=called,
    )
    if first:
        asker.say("", f"What does {called} hear about?")
        asker.say(*(f"{key}: {each.meaning}." for key, each in HEARS.items()))
    hears = asker.ask(
        "Hears",
        lambda text: read.one_of(text, tuple(HEARS)),
        option=option,
        offered="usual",
        said=" ".join(f"{key}: {each.meaning}." for key, each in HEARS.items()),
        explained=True,
        about=called,
    )
    about: tuple[str, ...] = ()
    if len(aircraft) > 1:
        about = asker.ask(
            "About which aircraft",
            choice(aircraft),
            option=option,
            offered=ALL,
            said=f"Those of {', '.join(aircraft)} that it hears about, a comma between; or all.",
            explained=True,
            about=called,
        )
    return replace(way, name=called, hears=hears, aircraft=about, operator=first)


def _called(known: Sequence[str]) -> Callable[[str], str]:
    """A new name of a contact, unless it is an address."""
    reader = new_name(known, may_end=bool(known))

    def called(text: str) -> str:
        if "@" in text or "://" in text:
            raise read.Refusal("that is an address", "first type what to call them; it comes next")
        return reader(text)

    return called


# What somebody may type who was asked how: a kind of way instead of an address, or a telephone.
_KINDS: Final = frozenset(
    (
        *("e-mail", "email", "mail", "phone", "sms", "telephone", "web", "webhook"),
        *("file", "folder", "no", "none", "y", "yes"),
    )
)
_TELEPHONE: Final = re.compile(r"\+?[0-9][0-9 ()/.-]{4,}")


def _way(text: str) -> ContactAnswer:
    """A mail address, a web address or a folder, by its look."""
    if text.strip().lower() in _KINDS or _TELEPHONE.fullmatch(text.strip()):
        raise read.Refusal(
            f"{shown(text)} is no address",
            "write one, as ops@larkspur.example or https://desk.larkspur.example/wind, or a "
            "folder, as notices/desk",
        )
    if "://" in text:
        return ContactAnswer("", webhook=read.web_address(text))
    if "@" in text:
        return ContactAnswer("", email=read.mail_address(text))
    return ContactAnswer("", folder=read.folder(text))
