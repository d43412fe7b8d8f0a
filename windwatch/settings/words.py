"""How values of a configuration are read and shown: durations, times, plain text, addresses.

Every function that refuses raises `refused(problem, mend)`, which pydantic carries to the fault.
"""

from __future__ import annotations

import datetime as dt
import difflib
import ipaddress
import json
import re
import unicodedata
from collections.abc import Iterable
from email.utils import parseaddr
from typing import Final
from urllib.parse import SplitResult, urlsplit

from pydantic_core import PydanticCustomError

_DURATION: Final = re.compile(r"(\d{1,6}) ?(s|min|h)")
_SECONDS: Final = {"s": 1, "min": 60, "h": 3600}
_CLOCK: Final = re.compile(r"([01]\d|2[0-3]):[0-5]\d")
_MAIL: Final = re.compile(r"[A-Za-z0-9._%+'=/-]{1,64}@(?:[A-Za-z0-9-]{1,63}\.)+[A-Za-z0-9-]{2,63}")
_LOGIN: Final = re.compile(r"://[^/@\s]*@")
_STATION: Final = re.compile(r"[A-Z][A-Z0-9]{3}")
_ODD_HOST: Final = re.compile(r"(?:0[xX][0-9a-fA-F]*|\d+)(?:\.(?:0[xX][0-9a-fA-F]*|\d+))*\.?")
_LONGEST_SHOWN: Final = 60
_INVISIBLE: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Zl", "Zp"})


def refused(problem: str, mend: str) -> PydanticCustomError:
    """Return the error of a value that is refused, with what to write instead."""
    return PydanticCustomError("refused", "{problem}", {"problem": problem, "mend": mend})


def shown(value: object) -> str:
    """Return a value as TOML would have it: short, no login in it, control characters visible."""
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            value = _LOGIN.sub("://…@", value)
            cut = value if len(value) <= _LONGEST_SHOWN else value[: _LONGEST_SHOWN - 1] + "…"
            return '"' + "".join(_visible(char) for char in cut) + '"'
        case float():
            return f"{value:.10g}"
        case int():
            return str(value) if value.bit_length() < 64 else "a very long number"
        case list():
            return "a list"
        case dict():
            return "a table"
        case dt.datetime() | dt.date() | dt.time():
            return value.isoformat()
        case _:
            return "nothing" if value is None else str(value)


def _visible(char: str) -> str:
    if char in '"\\':
        return "\\" + char
    return json.dumps(char)[1:-1] if unicodedata.category(char) in _INVISIBLE else char


def toml(value: object) -> str:
    """Return a plain value as a line of TOML would give it."""
    match value:
        case list():
            return "[" + ", ".join(toml(item) for item in value) + "]"
        case dict():
            return "{ " + ", ".join(f"{key} = {toml(item)}" for key, item in value.items()) + " }"
        case _:
            return shown(value)


def nearest(word: str, known: Iterable[str], likeness: float = 0.6) -> str | None:
    """Return the known word that `word` was probably meant to be."""
    found = difflib.get_close_matches(word, list(known), n=1, cutoff=likeness)
    return found[0] if found else None


def duration(text: str) -> dt.timedelta:
    """Return the length of time that ``60s``, ``2min`` or ``3h`` says.

    Raises
    ------
    PydanticCustomError
        If it is none of these.
    """
    match = _DURATION.fullmatch(text)
    if match is None:
        raise refused(
            f"{shown(text)} is no length of time",
            'write a whole number and its unit, s, min or h, for example "60s"',
        )
    return dt.timedelta(seconds=int(match.group(1)) * _SECONDS[match.group(2)])


def spoken(length: dt.timedelta) -> str:
    """Return a length of time as `duration` reads it, in the largest unit that is whole."""
    seconds = int(length.total_seconds())
    for unit in ("h", "min"):
        if seconds and seconds % _SECONDS[unit] == 0:
            return f"{seconds // _SECONDS[unit]}{unit}"
    return f"{seconds}s"


def clock_time(text: str) -> str:
    """Let a local time ``HH:MM`` pass."""
    if text == "24:00":
        raise refused(f"{shown(text)} is no time of day", 'write midnight as "00:00"')
    if not _CLOCK.fullmatch(text):
        raise refused(f"{shown(text)} is no time of day", 'write hours and minutes, as "07:00"')
    return text


def plain_text(text: str) -> str:
    """Let a text pass that can stand in one line of a mail or a page."""
    if any(unicodedata.category(char) in _INVISIBLE for char in text):
        raise refused(
            f"{shown(text)} has a line break, control or invisible character in it",
            "type it again in one line, with visible characters only",
        )
    if not text.strip() or text != text.strip():
        raise refused(
            f"{shown(text)} is empty or has blanks around it", "write it without blanks around it"
        )
    return text


def is_station(text: str) -> bool:
    """Return whether a text has the form of a station's identifier."""
    return _STATION.fullmatch(text) is not None


def station_id(text: str) -> str:
    """Let a station's identifier pass, as reports carry it."""
    if not _STATION.fullmatch(text):
        upper = text.upper()
        example = upper if _STATION.fullmatch(upper) else "XLKS"
        raise refused(
            f"{shown(text)} is no station of reports",
            f"write its four letters or digits as reports have them, for example {toml(example)}",
        )
    return text


def mail_address(text: str) -> str:
    """Let one bare mail address pass."""
    plain_text(text)
    if not _MAIL.fullmatch(text):
        raise refused(
            f"{shown(text)} is no mail address",
            'write one address and nothing around it, as "ops@larkspur.example"',
        )
    return text


def sender(text: str) -> str:
    """Let ``address`` or ``Name <address>`` pass."""
    plain_text(text)
    name, address = parseaddr(text)
    if not _MAIL.fullmatch(address) or (name and not text.rstrip().endswith(f"<{address}>")):
        raise refused(
            f"{shown(text)} is no sender",
            'write an address, or "Larkspur wind <wind@larkspur.example>"',
        )
    return text


def shown_url(text: str) -> str:
    """Return an address without what may be secret in it: login, path and query."""
    try:
        parts = urlsplit(text)
        host = parts.hostname
        port = parts.port
    except ValueError:
        return "the address"
    if not host or not parts.scheme:
        return "the address"
    rest = "/…" if parts.path.strip("/") or parts.query else ""
    return shown(f"{parts.scheme}://{host}{f':{port}' if port else ''}{rest}")


def web_address(text: str) -> str:
    """Let an http or https address pass that has a host and no login in it."""
    plain_text(text)
    parts = _split(text)
    if parts.scheme not in {"http", "https"} or not parts.hostname or " " in text:
        raise refused(
            f"{shown_url(text)} is no web address",
            'write it whole, as "https://desk.larkspur.example/wind"',
        )
    if parts.username is not None or parts.password is not None:
        raise refused(
            f"{shown_url(text)} carries a login", "take user:password@ out of the address"
        )
    if parts.fragment:
        raise refused(f"{shown_url(text)} has a # part", "leave out what begins at #")
    if not _is_address(parts.hostname) and _ODD_HOST.fullmatch(parts.hostname):
        raise refused(
            f"{shown_url(text)} hides its host in a number",
            "write the host's name, or four decimal numbers with dots",
        )
    return text


def _split(text: str) -> SplitResult:
    try:
        parts = urlsplit(text)
        _ = parts.port
    except ValueError:
        raise refused(
            "the address cannot be read", 'write it whole, as "https://desk.larkspur.example/wind"'
        ) from None
    return parts


def _is_address(host: str) -> bool:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


def network(text: str) -> str:
    """Let a network such as ``192.168.20.0/24`` pass."""
    try:
        ipaddress.ip_network(text, strict=False)
    except ValueError:
        raise refused(
            f"{shown(text)} is no network",
            'write its first address and length, as "192.168.20.0/24"',
        ) from None
    return text


def path_text(text: str) -> str:
    """Let the name of a file or folder pass."""
    if not text or any(unicodedata.category(char) in {"Cc", "Cs"} for char in text):
        raise refused(f"{shown(text)} is no path", 'write it as "folder/file"')
    if text.startswith("~"):
        raise refused(f"{shown(text)}: ~ is not understood here", "write the whole path")
    return text


def environment_name(text: str) -> str:
    """Let the name of an environment variable pass; never quote what is no such name."""
    if not re.fullmatch(r"[A-Z][A-Z0-9_]*", text):
        raise refused(
            "this is no name of an environment variable (not shown: it may be the secret itself)",
            "write the variable's name in capitals, not what it holds",
        )
    return text
