"""What people type, read into answers; rubbish is refused with what to write instead.

The same readers serve the questions of `config new` and its options.
"""

from __future__ import annotations

import math
import re
import zoneinfo
from collections.abc import Callable
from pathlib import PurePath
from typing import Final

from pydantic import BaseModel, TypeAdapter, ValidationError
from pydantic_core import PydanticCustomError

from windwatch.settings import words
from windwatch.settings.schema_base import MOST_KNOTS

_PLACE: Final = re.compile(r"([0-9.+-]+)\s*([NSns]?)\s*[, ]\s*([0-9.+-]+)\s*([EWew]?)")
_HOURS: Final = re.compile(r"\s*([0-9:]+)\s*(?:-|–|to)\s*([0-9:]+)\s*")
_GEARS: Final = ("nosewheel", "tricycle", "tailwheel")
_WINGS: Final = ("high", "low")


class Refusal(ValueError):
    """What was typed cannot be taken.

    Attributes
    ----------
    problem, mend : str
        What is wrong with it, and what to write instead.
    """

    def __init__(self, problem: str, mend: str) -> None:
        self.problem = problem
        self.mend = mend
        super().__init__(f"{problem}; {mend}")


def checked(check: Callable[[str], str], text: str) -> str:
    """What a check of the configuration says of a text, as a refusal."""
    try:
        return check(text.strip())
    except PydanticCustomError as error:
        raise Refusal(error.message(), str((error.context or {})["mend"])) from None


def as_ruled(table: type[BaseModel], key: str, text: str) -> str:
    """Hold a text against the rules of a key of the configuration."""
    try:
        TypeAdapter(table.model_fields[key].rebuild_annotation()).validate_python(text)
    except ValidationError as error:
        found = error.errors(include_url=False)[0].get("ctx", {})
        problem = str(found.get("problem", f"{words.shown(text)} cannot be taken"))
        raise Refusal(problem, str(found.get("mend", "write it otherwise"))) from None
    return text


# --- single values ---------------------------------------------------------------------


def name(text: str) -> str:
    """A name in one line, at most 60 characters."""
    found = checked(words.plain_text, text)
    if len(found) > 60:
        raise Refusal(f"{words.shown(found)} is longer than 60 characters", "write it shorter")
    return found


def airfield_id(text: str) -> str:
    """An identifier of an airfield."""
    found = text.strip().upper()
    if not re.fullmatch(r"[A-Z0-9][A-Z0-9-]{1,9}", found):
        raise Refusal(
            f"{words.shown(text)} is no identifier of an airfield",
            "write 2 to 10 letters, digits or hyphens, as XLKS; windwatch airfields near LAT,LON "
            "lists those near a place",
        )
    return found


def station(text: str) -> str:
    """A station's identifier."""
    return checked(words.station_id, text.upper())


def mail_address(text: str) -> str:
    """One mail address."""
    return checked(words.mail_address, text)


def contact_address(text: str) -> str:
    """A mail or web address that a request can carry."""
    found = name(text)
    if not found.isascii() or not ("@" in found or "." in found):
        raise Refusal(
            f"{words.shown(found)} is no mail or web address", "write one, as ops@larkspur.example"
        )
    return found


def web_address(text: str) -> str:
    """An address that begins with https."""
    found = checked(words.web_address, text)
    if not found.startswith("https://"):
        raise Refusal(
            f"{words.shown_url(found)} is not encrypted", "write an address that begins with https"
        )
    return found


def place(text: str) -> tuple[float, float]:
    """``42.93,-76.02`` or ``42.93N 76.02W``: latitude and longitude, north and east positive."""
    found = _PLACE.fullmatch(text.strip())
    figures = () if found is None else tuple(map(_figure, (found[1], found[3])))
    if found is None or None in figures:
        raise Refusal(
            f"{words.shown(text)} is no position",
            "write latitude and longitude in degrees, north and east positive, as 42.93,-76.02",
        )
    north, east = (figure or 0.0 for figure in figures)
    latitude = -north if found[2] in {"S", "s"} else north
    longitude = -east if found[4] in {"W", "w"} else east
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise Refusal(
            f"{words.shown(text)} is off the globe",
            "write a latitude from -90 to 90, then a longitude from -180 to 180, as 42.93,-76.02",
        )
    return latitude, longitude


def _figure(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def elevation_ft(text: str) -> float:
    """An elevation in feet."""
    return number(text, -1500, 20000, "an elevation in feet, as 960")


def number(text: str, least: float, most: float, like: str) -> float:
    """A number within a range."""
    figure = text.strip().removesuffix("ft").removesuffix("kt").strip()
    found = _figure(figure)
    if found is None and _figure(figure.replace(",", ".")) is not None:
        raise Refusal(f"{words.shown(text)} has a comma", "write a point before the decimals")
    if found is None or not math.isfinite(found):
        raise Refusal(f"{words.shown(text)} is no number", f"write {like}")
    if not least <= found <= most:
        raise Refusal(f"{found:g} is outside {least:g} to {most:g}", f"write {like}")
    return found


def time_zone(text: str) -> str:
    """A name in the time zone database."""
    found = text.strip()
    try:
        zoneinfo.ZoneInfo(found)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        near = words.nearest(found, zoneinfo.available_timezones()) or "America/New_York"
        raise Refusal(
            f"{words.shown(found)} is no time zone", f"write its name in the database, as {near}"
        ) from None
    return found


def hours(text: str) -> tuple[str, str] | None:
    """``07:00-20:00``; nothing or ``always``: None."""
    if text.strip().lower() in {"", "always", "none", "-"}:
        return None
    found = _HOURS.fullmatch(text)
    if found is None:
        raise Refusal(
            f"{words.shown(text)} are no hours",
            "write opening-closing in local time, as 07:00-20:00",
        )
    opens, closes = (checked(words.clock_time, _clock(part)) for part in found.groups())
    if opens == closes:
        raise Refusal(f"it opens and closes at {opens}", "write two different times")
    return opens, closes


def _clock(part: str) -> str:
    """``8`` and ``8:00`` as 08:00; the rest as it was typed, so that a refusal quotes that."""
    whole = f"{part}:00" if part.isdigit() and len(part) <= 2 else part
    return f"0{whole}" if whole[1:2] == ":" else whole


def folder(text: str) -> str:
    """A folder, with / between its parts."""
    return checked(words.path_text, str(PurePath(text.strip()).as_posix()) if text.strip() else "")


def knots(text: str) -> float:
    """A limit in knots."""
    found = number(text, -math.inf, math.inf, "a limit in knots, as 15")
    if not 0 < found <= MOST_KNOTS:
        raise Refusal(
            f"{found:g} would {'always' if found <= 0 else 'never'} be exceeded",
            f"write a limit in knots, above 0 and up to {MOST_KNOTS}, as 15",
        )
    return found


def one_of(text: str, allowed: tuple[str, ...]) -> str:
    """One of some words, or their beginning."""
    typed = text.strip().lower()
    found = [word for word in allowed if word == typed] or [
        word for word in allowed if typed and word.startswith(typed)
    ]
    if len(found) != 1:
        raise Refusal(f"{words.shown(text)} is not known here", f"write {' or '.join(allowed)}")
    return found[0]


def gear(text: str) -> str:
    """Where the third wheel is."""
    found = one_of(text, _GEARS)
    return "nosewheel" if found == "tricycle" else found


def wing(text: str) -> str:
    """Where the wing is."""
    return one_of(text, _WINGS)
