"""Answers of several parts, as one types them in an option: runways, aircraft, contacts."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from windwatch.settings import words
from windwatch.settings.schema_airfield import RunwayEndTable
from windwatch.settings.schema_rim import MailTable, MappingTable
from windwatch.settings.starting import (
    AircraftAnswer,
    ContactAnswer,
    EndAnswer,
    Limits,
    MailAnswer,
    PilotAnswer,
)
from windwatch.settings.starting_read import (
    Refusal,
    as_ruled,
    checked,
    folder,
    gear,
    knots,
    mail_address,
    name,
    number,
    one_of,
    web_address,
    wing,
)
from windwatch.settings.starting_words import HEARS, KEY_OF, RUNWAY_LIMITS

_OPPOSITE_WITHIN_DEG: Final = 10
_END: Final = re.compile(r"([A-Za-z0-9]{1,4})(?:=([-0-9.]+)([Mm]?))?")
_FURTHER: Final = ("demonstrated", "stall")

# --- runways -----------------------------------------------------------------------------


def runways(text: str) -> tuple[tuple[EndAnswer, ...], ...]:
    """``10=91.4/28=271.4, 1/19``: runways between commas, their two ends between slashes."""
    found = tuple(_runway(part) for part in text.split(",") if part.strip())
    if not found:
        raise Refusal(
            "no runway is given", "write the names of its ends with their headings, as 10=91/28=271"
        )
    ends = [end.name.lstrip("0") for runway in found for end in runway]
    again = next((end for end in ends if ends.count(end) > 1), None)
    if again is not None:
        raise Refusal(f"end {again} is given twice", "give each its own name, as 10L and 10R")
    return found


def _runway(text: str) -> tuple[EndAnswer, ...]:
    ends = tuple(_end(part.strip()) for part in text.split("/"))
    if len(ends) > 2:
        raise Refusal(f"{words.shown(text.strip())} has more than two ends", "write as 10/28")
    if len(ends) == 2:
        _opposite(ends[0], ends[1])
    return ends


def _end(text: str) -> EndAnswer:
    found = _END.fullmatch(text)
    if found is None:
        raise Refusal(
            f"{words.shown(text)} is no end of a runway",
            "write its name as painted, = and its heading in degrees true, as 10=91.4; "
            "with m behind a magnetic one, as 10=103m",
        )
    called = found[1].upper()
    as_ruled(RunwayEndTable, "name", called)
    if found[2] is None:
        if _number(called) is None:
            raise Refusal(
                f"{called} has no number to tell its heading", f"write it, as {called}=91.4"
            )
        return EndAnswer(called)
    heading = number(found[2], 0, 360, f"a heading from 0 to 360, as {called}=91.4")
    return EndAnswer(called, heading, magnetic=bool(found[3]))


def _number(called: str) -> int | None:
    digits = called.rstrip("LRCGSW")
    return int(digits) if digits.isdigit() else None


def _opposite(first: EndAnswer, second: EndAnswer) -> None:
    def degrees(end: EndAnswer) -> float:
        return (_number(end.name) or 0) * 10.0 if end.heading_deg is None else end.heading_deg

    alike = first.magnetic == second.magnetic and (first.heading_deg is None) == (
        second.heading_deg is None
    )
    off = 180 - abs((degrees(first) - degrees(second) + 180) % 360 - 180)
    if alike and off > _OPPOSITE_WITHIN_DEG:
        raise Refusal(
            f"{first.name} and {second.name} are {off:.0f}° from opposite",
            "correct one of them; the two ends of a runway look in opposite directions",
        )


# --- things with several parts between commas ----------------------------------------------


def _parts(text: str) -> tuple[list[str], dict[str, str]]:
    """Words, and pairs with a = between them."""
    plain: list[str] = []
    pairs: dict[str, str] = {}
    for part in text.split(","):
        key, equals, value = part.partition("=")
        if not equals:
            if part.strip():
                plain.append(part.strip())
            continue
        key = key.strip().lower().replace("-", "_").removesuffix("_kt")
        if key in pairs:
            raise Refusal(f"{key} is given twice", "keep one of the two")
        pairs[key] = value.strip()
    return plain, pairs


def limits(pairs: Mapping[str, str], allowed: Mapping[str, str]) -> Limits:
    """Limits by their keys, from pairs such as crosswind=15."""
    found = []
    for short, text in pairs.items():
        if short not in allowed:
            near = words.nearest(short, allowed)
            raise Refusal(
                f"{words.shown(short)} is no limit here",
                f"did you mean {near}?" if near else f"there are {', '.join(allowed)}",
            )
        try:
            found.append((allowed[short], knots(text)))
        except Refusal as error:
            raise Refusal(f"{short}: {error.problem}", error.mend) from None
    return tuple(found)


def aircraft(text: str) -> AircraftAnswer:
    """``X-LARK,nosewheel,high,crosswind=15,tie_down=25,flown_by=student solo+dual``."""
    plain, pairs = _parts(text)
    if len(plain) != 3:
        raise Refusal(
            f"{words.shown(text)} does not tell name, gear and wing",
            "write them first, as X-LARK,nosewheel,high,crosswind=15,tie_down=25",
        )
    flown_by = tuple(name(part) for part in pairs.pop("flown_by", "").split("+") if part.strip())
    further = {key: knots(pairs.pop(key)) for key in _FURTHER if key in pairs}
    return AircraftAnswer(
        name=name(plain[0]),
        gear=gear(plain[1]),
        wing=wing(plain[2]),
        limits=limits(pairs, KEY_OF),
        demonstrated_crosswind_kt=further.get("demonstrated"),
        stall_speed_kt=further.get("stall"),
        flown_by=flown_by,
    )


def pilot(text: str) -> PilotAnswer:
    """``student solo,crosswind=7,wind=15``."""
    plain, pairs = _parts(text)
    if len(plain) != 1:
        raise Refusal(
            f"{words.shown(text)} does not begin with one name",
            "write it so: student solo,crosswind=7,wind=15",
        )
    return PilotAnswer(
        name(plain[0]), limits(pairs, {each.short: each.key for each in RUNWAY_LIMITS})
    )


def contact(text: str) -> ContactAnswer:
    """``owner of X-WREN,email=wren@faraway.example,hears=ground,aircraft=X-WREN``."""
    plain, pairs = _parts(text)
    if len(plain) != 1:
        raise Refusal(
            f"{words.shown(text)} does not begin with one name",
            "write it so: operations desk,email=ops@larkspur.example",
        )
    known = ("email", "webhook", "folder", "hears", "aircraft")
    odd = next((key for key in pairs if key not in known), None)
    if odd is not None:
        raise Refusal(
            f"{words.shown(odd)} is not known of a contact", f"there are {', '.join(known)}"
        )
    if not {"email", "webhook", "folder"} & set(pairs):
        raise Refusal(
            f"nothing can reach {words.shown(plain[0])}",
            "add email=ops@larkspur.example, a webhook= or a folder=",
        )
    return ContactAnswer(
        name=name(plain[0]),
        email=mail_address(pairs["email"]) if "email" in pairs else "",
        webhook=web_address(pairs["webhook"]) if "webhook" in pairs else "",
        folder=folder(pairs["folder"]) if "folder" in pairs else "",
        hears=one_of(pairs.get("hears", "usual"), tuple(HEARS)),
        aircraft=tuple(name(part) for part in pairs.get("aircraft", "").split("+") if part.strip()),
    )


def mail_server(text: str) -> MailAnswer:
    """``mail.larkspur.example:587,username=wind@larkspur.example,sender=…,security=tls``."""
    plain, pairs = _parts(text)
    if len(plain) != 1:
        raise Refusal(
            f"{words.shown(text)} does not begin with one host",
            "write it so: mail.larkspur.example,username=wind@larkspur.example",
        )
    odd = next((key for key in pairs if key not in ("username", "sender", "security")), None)
    if odd is not None:
        mend = "there are username, sender and security"
        if "pass" in odd:
            mend = "a password never stands in a file: it goes into the environment"
        raise Refusal(f"{words.shown(odd)} is not known of a mail server", mend)
    host, colon, port = plain[0].partition(":")
    as_ruled(MailTable, "host", host)
    username = name(pairs["username"]) if pairs.get("username") else ""
    sender = pairs.get("sender") or username
    if not sender:
        raise Refusal("there is no sender for the mails", "add sender=wind@larkspur.example")
    return MailAnswer(
        host=host,
        sender=checked(words.sender, sender),
        port=int(number(port, 1, 65535, "a port, as 587")) if colon else None,
        security=one_of(pairs.get("security", "starttls"), ("starttls", "tls", "none")),
        username=username,
    )


def mapping(text: str) -> tuple[tuple[str, str | float], ...]:
    """``station=XLKS,observed_at=time,speed=wind.average``: keys of ``[feed.mapping]``."""
    found: list[tuple[str, str | float]] = []
    for part in text.split(","):
        key, equals, value = (each.strip() for each in part.partition("="))
        if not equals or key not in MappingTable.model_fields:
            near = words.nearest(key, MappingTable.model_fields)
            raise Refusal(
                f"{words.shown(key)} is no key of a mapping",
                f"did you mean {near}=?" if near else "write station=XLKS,report=rawOb",
            )
        is_figure = key == "variation_deg"
        found.append((key, number(value, -180, 180, "degrees, as -11.5") if is_figure else value))
    return tuple(found)
