"""What was probably meant by an unknown key: another word, another unit, another table."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

from windwatch.settings import words
from windwatch.settings.files import LISTS
from windwatch.settings.lines import Loc
from windwatch.settings.places import known_keys
from windwatch.settings.schema_limits import LimitTable

Hint = tuple[str, str]

# Words that people use for ours, where no likeness of letters would tell.
_OTHER_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "aerodrome": "airfield",
        "airport": "airfield",
        "plane": "aircraft",
        "airplane": "aircraft",
        "aeroplane": "aircraft",
        "pilot": "pilot_limits",
        "standard": "pilot_limits",
        "person": "contact",
        "recipient": "contact",
        "source": "feed",
        "database": "store",
        "smtp": "mail",
        "mail": "email",
        "mailto": "email",
        "registration": "name",
        "lat": "latitude",
        "lon": "longitude",
        "lng": "longitude",
        "elev": "elevation_ft",
        "altitude": "elevation_ft",
        "tz": "time_zone",
        "zone": "time_zone",
        "hours": "operating_hours",
        "opening_hours": "operating_hours",
        "icao": "id",
        "interval": "every",
        "poll": "every",
        "frequency": "every",
        "type": "kind",
        "server": "host",
        "user": "username",
        "login": "username",
        "from": "sender",
        "tls": "security",
        "directory": "folder",
        "dir": "folder",
        "file": "path",
        "airport_id": "id",
        "base": "based_at",
        "wheel": "gear",
        "undercarriage": "gear",
        "pilots": "flown_by",
        "vs": "stall_speed_kt",
        "declination": "variation_deg",
    }
)
_NEVER: Final[Mapping[str, Hint]] = MappingProxyType(
    dict.fromkeys(
        ("phone", "sms", "telephone", "mobile", "tel"),
        (
            "windwatch calls no telephones",
            "take it out, and give email, a webhook, a folder or push instead",
        ),
    )
)


class _Unit(NamedTuple):
    """A unit that is not ours, what ours is called, and how one becomes the other."""

    ours: str
    called: str
    becomes: str


_UNITS: Final[Mapping[str, _Unit]] = MappingProxyType(
    {
        "mph": _Unit("kt", "knots", "1 mph is 0.87 kt"),
        "ms": _Unit("kt", "knots", "1 m/s is 1.94 kt"),
        "mps": _Unit("kt", "knots", "1 m/s is 1.94 kt"),
        "kmh": _Unit("kt", "knots", "1 km/h is 0.54 kt"),
        "kph": _Unit("kt", "knots", "1 km/h is 0.54 kt"),
        "m": _Unit("ft", "feet", "1 m is 3.28 ft"),
        "km": _Unit("nm", "nautical miles", "1 km is 0.54 NM"),
        "rad": _Unit("deg", "degrees", "1 rad is 57.3°"),
    }
)


def another_word(last: str, known: tuple[str, ...]) -> str | None:
    """Our word for a key, if it may stand there."""
    for word in (last.lower(), last.lower().removesuffix("s")):
        ours = _OTHER_WORDS.get(word)
        if ours in known:
            return ours
    return None


def hint_for(loc: Loc) -> Hint | None:
    """What is wrong with an unknown key and what to write, where more than its letters tell."""
    last, known = str(loc[-1]), known_keys(loc)
    if last.lower() in _NEVER and "email" in known:
        return _NEVER[last.lower()]
    return (
        _another_unit(last, known) or _about_a_limit(last, known) or _of_the_airfield(loc, known)
    ) or _further_up(loc, known)


def _another_unit(last: str, known: tuple[str, ...]) -> Hint | None:
    stem, _, unit = last.rpartition("_")
    found = _UNITS.get(unit.lower())
    if found is None or f"{stem}_{found.ours}" not in known:
        return None
    key = f"{stem}_{found.ours}"
    return f"given in {unit}, and it counts in {found.called}", (
        f"write {key} with the figure in {found.called} ({found.becomes})"
    )


def _about_a_limit(last: str, known: tuple[str, ...]) -> Hint | None:
    if last in LimitTable.model_fields and "crosswind_kt" in known:
        return "it belongs to one of the limits", (
            "write it into the limit it is about, as crosswind_kt = { kt = 15, near_at = 0.9 }"
        )
    return None


def _of_the_airfield(loc: Loc, known: tuple[str, ...]) -> Hint | None:
    """A table of an airfield that was written as one of the file."""
    last = str(loc[-1])
    if len(loc) != 1 or last in known:
        return None
    inside = known_keys(("airfield", ""))
    meant = last if last in inside else words.nearest(last, inside, 0.85)
    if meant not in {"runway", "taxi_leg", "fall_back_station"}:
        return None
    return "it belongs to an airfield", f"write [[airfield.{meant}]], below its [[airfield]]"


def _further_up(loc: Loc, known: tuple[str, ...]) -> Hint | None:
    """A key of the table around the one that it stands in."""
    last = str(loc[-1])
    names = [str(part) for part in loc[:-1] if isinstance(part, str)]
    if len(names) < 2 or last in known:
        return None
    for length in range(len(names) - 1, 0, -1):
        around = tuple(names[:length])
        if last not in known_keys((*around, "")):
            continue
        table = ".".join(names[: length + 1])
        owner = f"[[{around[0]}]]" if around[0] in LISTS else f"[{around[0]}]"
        if last == "demonstrated_crosswind_kt":
            return "it is no limit, and never used as one", f"move it out of limits, to {owner}"
        return f"it belongs to {owner}", (
            f"move it up: below {owner} and above what begins {table}"
        )
    return None


def in_another_list(last: str) -> Hint | None:
    """A key of another kind of thing, where only one or two kinds have it."""
    kinds = [kind for kind in LISTS if last in known_keys((kind, ""))]
    if not 1 <= len(kinds) <= 2:
        return None
    return "unknown key here", f"move it to a {' or '.join(f'[[{kind}]]' for kind in kinds)}"


# --- values --------------------------------------------------------------------------


_WITH_UNIT: Final = re.compile(
    r"([+-]?\d+(?:\.\d+)?)\s*(?:kts?|knots|ft|feet|nm|deg|°|kcas|kias)?", re.IGNORECASE
)


def as_number(given: object) -> str | None:
    """The figure in a text: ``15`` of ``"15 kt"``; None where it is not that plain."""
    found = _WITH_UNIT.fullmatch(given.strip()) if isinstance(given, str) else None
    return None if found is None else found[1]
