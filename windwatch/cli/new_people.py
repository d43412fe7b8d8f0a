"""The questions of ``config new`` about aircraft, who flies them, and whom to tell."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from windwatch.cli.new_ask import Asker, read_option
from windwatch.cli.new_given import Given
from windwatch.errors import UsageError
from windwatch.settings import starting_parts as parts
from windwatch.settings import starting_read as read
from windwatch.settings.starting import (
    AircraftAnswer,
    ContactAnswer,
    Limits,
    MailAnswer,
    PilotAnswer,
)
from windwatch.settings.starting_words import (
    AIRCRAFT_LIMITS,
    AIRCRAFT_STARTERS,
    COMMON_PRACTICE,
    HEARS,
    NOT_A_LIMIT,
    PILOT_STARTERS,
    RUNWAY_LIMITS,
    LimitWords,
)

DESK: Final = "operations desk"
MAIL_FOLDER: Final = "windwatch-notices"
_NONE: Final = "none"
_ALL: Final = "all"


def _optional(reader: Callable[[str], float]) -> Callable[[str], float | None]:
    """A reader that takes ``none`` for nothing."""
    return lambda text: None if text.strip().lower() in {"", "-", _NONE} else reader(text)


def _names(text: str) -> tuple[str, ...]:
    """Names between commas; ``none``: none."""
    found = [part for part in text.split(",") if part.strip() and part.strip().lower() != _NONE]
    return tuple(dict.fromkeys(map(read.name, found)))


# --- limits --------------------------------------------------------------------------------


def _limits(
    asker: Asker,
    option: str,
    words: Sequence[LimitWords],
    starters: Mapping[str, float],
    *,
    explained: bool,
) -> tuple[Limits, frozenset[str]]:
    """Ask limit by limit; those that were taken as offered are named."""
    found: list[tuple[str, float]] = []
    taken: set[str] = set()
    for each in words:
        starter = starters.get(each.key)
        offered = _NONE if starter is None else f"{starter:g}"
        value = asker.ask(
            f"{each.short.replace('_', ' ').capitalize()}, knots",
            _optional(read.knots),
            option=option,
            offered=offered,
            said="" if explained else each.meaning,
        )
        if value is None:
            continue
        found.append((each.key, value))
        if value == starter:
            taken.add(each.key)
    return tuple(found), frozenset(taken)


_STARTERS_SAID: Final = (
    "Its limits, in knots; gusts count. Enter takes the figure in brackets, which is "
    f"{COMMON_PRACTICE}. Type none to leave one out."
)


_AGAIN_SAID: Final = "Its limits, in knots; in brackets common practice, no source."


# --- aircraft ------------------------------------------------------------------------------


def ask_aircraft(asker: Asker, given: Given) -> tuple[AircraftAnswer, ...]:
    """Ask for aircraft, one by one, until no more is named."""
    if given.aircraft:
        found = [read_option("--aircraft", text, parts.aircraft) for text in given.aircraft]
        _once("--aircraft", [craft.name for craft in found])
        return tuple(map(_with_starters, found))
    option = "--aircraft X-LARK,nosewheel,high,crosswind=15,tie_down=25"
    if asker.silent:
        raise UsageError(f"Aircraft: not given; add {option}")
    found = []
    while True:
        known = [craft.name for craft in found]
        called = asker.ask(
            "Aircraft" if not found else "Another aircraft",
            _new_name(known, may_end=bool(found)),
            option=option,
            offered="no more" if found else None,
            said="" if found else "Aircraft, one by one: registration, or what people call it.",
        )
        if not called:
            return tuple(found)
        found.append(_one_aircraft(asker, called, option, explained=bool(known)))


def _new_name(known: Sequence[str], *, may_end: bool) -> Callable[[str], str]:
    def reader(text: str) -> str:
        if may_end and text.strip().lower() in {"no more", "no", _NONE, ""}:
            return ""
        found = read.name(text)
        if found in known:
            raise read.Refusal(f"{found} is there already", "give each its own name")
        return found

    return reader


def _one_aircraft(asker: Asker, called: str, option: str, *, explained: bool) -> AircraftAnswer:
    gear = asker.ask(
        "Gear",
        read.gear,
        option=option,
        offered="nosewheel",
        said="Where is the third wheel: nosewheel or tailwheel?",
    )
    wing = asker.ask("Wing", read.wing, option=option, offered="high", said="Wing high or low?")
    asker.say("", _AGAIN_SAID if explained else _STARTERS_SAID)
    found, taken = _limits(
        asker, option, AIRCRAFT_LIMITS, AIRCRAFT_STARTERS[gear], explained=explained
    )
    demonstrated = asker.ask(
        "Demonstrated crosswind",
        _optional(read.knots),
        option=option,
        offered=_NONE,
        said="" if explained else f"From its flight manual, if you like. {NOT_A_LIMIT}",
    )
    return AircraftAnswer(called, gear, wing, found, demonstrated, starters=taken)


def _with_starters(craft: AircraftAnswer) -> AircraftAnswer:
    """An aircraft of an option without any limit gets the figures to start with."""
    if craft.limits:
        return craft
    starters = AIRCRAFT_STARTERS[craft.gear]
    return replace(craft, limits=tuple(starters.items()), starters=frozenset(starters))


def _once(option: str, names: Sequence[str]) -> None:
    again = next((name for name in names if names.count(name) > 1), None)
    if again is not None:
        raise UsageError(f"{option}: {again} is given twice; give each its own name")


# --- pilots --------------------------------------------------------------------------------


def ask_pilots(asker: Asker, given: Given) -> tuple[PilotAnswer, ...]:
    """Ask for standards of pilots and their limits."""
    if given.pilot:
        found = [read_option("--pilot", text, parts.pilot) for text in given.pilot]
        _once("--pilot", [pilot.name for pilot in found])
        return tuple(map(_pilot_with_starters, found))
    option = "--pilot student solo,crosswind=7,wind=15"
    names = asker.ask(
        "Standards",
        _names,
        option=option,
        offered=_NONE,
        said=(
            "Who flies? Standards of pilots with limits of their own, a comma between: "
            f"{', '.join(PILOT_STARTERS)}, or names of yours. The smaller limit of aircraft and "
            "pilot counts. None: the aircraft's limits alone."
        ),
    )
    found = []
    for position, called in enumerate(names):
        asker.say("", f"Limits of {called}. {_STARTERS_SAID if not position else ''}".strip())
        limits, taken = _limits(
            asker,
            option,
            RUNWAY_LIMITS,
            PILOT_STARTERS.get(called.lower(), {}),
            explained=True,
        )
        found.append(PilotAnswer(called, limits, taken))
    return tuple(found)


def _pilot_with_starters(pilot: PilotAnswer) -> PilotAnswer:
    starters = PILOT_STARTERS.get(pilot.name.lower(), {})
    if pilot.limits or not starters:
        return pilot
    return replace(pilot, limits=tuple(starters.items()), starters=frozenset(starters))


def ask_who_flies(
    asker: Asker, given: Given, aircraft: Sequence[AircraftAnswer], pilots: Sequence[PilotAnswer]
) -> tuple[AircraftAnswer, ...]:
    """Ask which standards fly which aircraft; all, unless it is said otherwise."""
    known = tuple(pilot.name for pilot in pilots)
    for craft in aircraft:
        _among("--aircraft", f"{craft.name} is flown_by", craft.flown_by, known)
    if len(known) < 2 or given.aircraft or asker.silent:
        return tuple(aircraft)
    return tuple(
        replace(
            craft,
            flown_by=asker.ask(
                f"Who flies {craft.name}",
                _choice(known),
                option="--aircraft NAME,…,flown_by=student solo+dual",
                offered=_ALL,
            ),
        )
        for craft in aircraft
    )


def _choice(known: Sequence[str]) -> Callable[[str], tuple[str, ...]]:
    """Some of the names that there are; ``all``: empty."""

    def reader(text: str) -> tuple[str, ...]:
        if text.strip().lower() in {"", _ALL}:
            return ()
        found = _names(text)
        odd = next((each for each in found if each not in known), None)
        if odd is not None:
            raise read.Refusal(f"{odd!r} is not there", f"write {', '.join(known)}, or all")
        return found

    return reader


def _among(option: str, said: str, names: Sequence[str], known: Sequence[str]) -> None:
    odd = next((name for name in names if name not in known), None)
    if odd is not None:
        there = ", ".join(known) or "none"
        raise UsageError(f"{option}: {said} {odd!r}, which is not given; there are {there}")


# --- whom to tell ----------------------------------------------------------------------------


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
                "sender=. The password is not asked for: it goes into the environment. Not yet: "
                f"mails are left as files in the folder {MAIL_FOLDER}."
            ),
        )
    elif given.mail_server is not None:
        raise UsageError("--mail-server is given, and nobody has a mail address; add --email")
    waits = mail is None and any(contact.email for contact in contacts)
    return Telling(contacts, mail, MAIL_FOLDER if waits else "")


def _mail_server(text: str) -> MailAnswer | None:
    if text.strip().lower() in {"", "not yet", _NONE, "no"}:
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
    _once("--contact", [contact.name for contact in found])
    for contact in found:
        _among("--contact", f"{contact.name} hears of", contact.aircraft, aircraft)
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
            _new_name(known, may_end=bool(found)),
            option=option,
            offered=DESK if not found else "no more",
            said="" if found else "Whom to tell? A role rather than a person, if you can.",
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
    )
    if first:
        asker.say("", f"What does {called} hear about?")
        asker.say(*(f"{key}: {each.meaning}." for key, each in HEARS.items()))
    hears = asker.ask(
        "Hears", lambda text: read.one_of(text, tuple(HEARS)), option=option, offered="usual"
    )
    about: tuple[str, ...] = ()
    if len(aircraft) > 1:
        about = asker.ask("About which aircraft", _choice(aircraft), option=option, offered=_ALL)
    return replace(way, name=called, hears=hears, aircraft=about, operator=first)


def _way(text: str) -> ContactAnswer:
    """A mail address, a web address or a folder, by its look."""
    if "://" in text:
        return ContactAnswer("", webhook=read.web_address(text))
    if "@" in text:
        return ContactAnswer("", email=read.mail_address(text))
    return ContactAnswer("", folder=read.folder(text))
