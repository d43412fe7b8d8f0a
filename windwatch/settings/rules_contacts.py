"""Contradictions about contacts, and who hears of what; and where each is reached."""

from __future__ import annotations

from importlib.util import find_spec
from typing import Final

from windwatch.addresses import Refused
from windwatch.push_schemes import PUSH_MEND, check_push
from windwatch.settings import words
from windwatch.settings.findings import Findings
from windwatch.settings.lines import Loc
from windwatch.settings.rules_addresses import judge_url
from windwatch.settings.rules_hours import judge_manners
from windwatch.settings.rules_names import (
    known_aircraft,
    known_airfields,
    known_pilots,
    twice,
    unknown_names,
)
from windwatch.settings.rules_rim import existing_file, folder_at
from windwatch.settings.running import ContactAddresses, WebhookValues
from windwatch.settings.schema_people import ContactTable, PushTable, WebhookTable
from windwatch.settings.secret import Secret
from windwatch.settings.secrets_found import password, signing_secrets

CHANNELS: Final = ("email", "webhook", "push", "folder")


def judge_contacts(found: Findings) -> dict[str, ContactAddresses]:
    """Judge every contact and return where each is reached."""
    contacts = found.whole.contact
    twice(found, [(("contact", i, "name"), contact.name) for i, contact in enumerate(contacts)])
    addresses = {}
    for number, contact in enumerate(contacts):
        loc: Loc = ("contact", number)
        _judge_names(found, (*loc, "tell_about"), contact)
        _judge_reach(found, loc, contact)
        judge_manners(found, loc, contact, len(channels(contact)))
        addresses[contact.name] = ContactAddresses(
            email=contact.email,
            webhook=_webhook(found, (*loc, "webhook"), contact.webhook),
            push=_push(found, (*loc, "push"), contact.push),
            folder=folder_at(found, (*loc, "folder"), contact.folder),
            pictures=contact.pictures,
        )
    _judge_heard(found)
    return addresses


def channels(contact: ContactTable) -> tuple[str, ...]:
    """Return the channels of a contact in order of preference."""
    if contact.channels is not None:
        return tuple(contact.channels)
    return tuple(kind for kind in CHANNELS if getattr(contact, kind) is not None)


def _judge_names(found: Findings, loc: Loc, contact: ContactTable) -> None:
    about = contact.tell_about
    unknown_names(found, (*loc, "airfields"), about.airfields, known_airfields(found), "airfield")
    unknown_names(found, (*loc, "aircraft"), about.aircraft, known_aircraft(found), "aircraft")
    unknown_names(
        found, (*loc, "pilot_limits"), about.pilot_limits, known_pilots(found), "pilot standard"
    )


def _judge_reach(found: Findings, loc: Loc, contact: ContactTable) -> None:
    given = [kind for kind in CHANNELS if getattr(contact, kind) is not None]
    parts = [(*loc, kind) for kind in CHANNELS]
    if not given:
        found.refuse(
            loc,
            "nothing can reach it",
            'add email = "ops@larkspur.example", a webhook or a folder',
            loc,
        )
    if contact.channels is not None and sorted(contact.channels) != sorted(given) and given:
        found.refuse(
            (*loc, "channels"),
            f"it lists {', '.join(contact.channels)}, and given are {', '.join(given)}",
            f"write channels = {words.toml(given)} in the order you prefer",
            *parts,
        )
    mail, folder = found.whole.mail, found.whole.delivery.folder
    if contact.email is not None and mail is None and folder is None:
        found.refuse(
            (*loc, "email"),
            "there is no mail server to send by",
            "add a [mail] table with host and sender, or leave mails in a folder with "
            '[delivery] folder = "notices"',
            ("mail",),
            ("delivery",),
        )


def _webhook(found: Findings, loc: Loc, webhook: WebhookTable | None) -> WebhookValues | None:
    if webhook is None:
        return None
    delivery = found.whole.delivery
    judge_url(
        found,
        (*loc, "url"),
        webhook.url,
        allow_http=webhook.allow_http,
        allowed=delivery.allow_networks,
        networks_at=("delivery", "allow_networks"),
    )
    return WebhookValues(
        url=webhook.url,
        secrets=signing_secrets(
            found, loc, webhook.secret_env, webhook.secret_file, needed=delivery.folder is None
        ),
        allow_http=webhook.allow_http,
        ca_file=existing_file(found, (*loc, "ca_file"), webhook.ca_file),
    )


def _push(found: Findings, loc: Loc, push: PushTable | None) -> Secret | None:
    if push is None:
        return None
    needed = found.whole.delivery.folder is None
    if push.url_env is None and push.url_file is None:
        found.refuse(
            loc,
            "no address to push to",
            'add url_env = "WINDWATCH_DESK_PUSH", the environment variable that holds it',
            loc,
        )
        return None
    if find_spec("apprise") is None:
        found.caution(loc, "Apprise is not installed", "run: pip install 'windwatch[push]'")
    address = password(found, loc, push.url_env, push.url_file, stem="url", needed=needed)
    if address is not None:
        key = "url_env" if push.url_env is not None else "url_file"
        try:
            check_push(address.reveal())
        except Refused as error:
            found.refuse((*loc, key), str(error), PUSH_MEND)
    return address


def _judge_heard(found: Findings) -> None:
    """Say where a warning would reach nobody."""
    contacts = found.whole.contact
    if not contacts:
        found.caution(("contact",), "no contact: nobody is told", "add a [[contact]] table")
        return
    for number, craft in enumerate(found.whole.aircraft):
        heard = any(
            _hears(contact.tell_about.airfields, craft.based_at)
            and _hears(contact.tell_about.aircraft, craft.name)
            and (contact.tell_about.levels is None or "over" in contact.tell_about.levels)
            for contact in contacts
        )
        if not heard:
            found.caution(
                ("aircraft", number),
                "no contact is told when it is over a limit",
                "add it to the tell_about of one",
            )


def _hears(asked: list[str], name: str) -> bool:
    return not asked or name in asked
