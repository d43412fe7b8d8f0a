"""A known airfield as the ``[[airfield]]`` block of a configuration, to be looked over.

A heading that is not settled is left out: the number then stands for it, which is called
approximate wherever it is shown and keeps `config check` asking. What the configuration cannot
take as it stands is there as a comment, with the reason.
"""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterable, Iterator
from typing import Final

from windwatch.airfields.values import Basis, KnownAirfield, KnownEnd, KnownRunway

_WIDTH: Final = 80
_LONGEST_NAME: Final = 60  # that a configuration takes
# What a configuration takes: the name of an end, and one whose number it understands.
_END: Final = re.compile(r"[A-Z0-9]{1,4}")
_NUMBERED: Final = re.compile(r"(\d{1,2})[LRCGSW]?")
_TENS_IN_A_HALF_CIRCLE: Final = 18


def as_toml(known: KnownAirfield) -> str:
    """The airfield as text for a configuration file.

    It passes ``windwatch config check`` in a file with the rest of a configuration, as long as
    one open runway has names and headings that can be used; where none has, the text says so.
    """
    row = known.row
    place = ", ".join(filter(None, (row.name, row.town, row.country)))
    lines = [
        *_comment(f"{place}. {known.provenance.words}"),
        "[[airfield]]",
        f"id = {_text(row.icao or row.ident)}",
        f"name = {_text(row.name[:_LONGEST_NAME].strip() or row.ident)}",
        *_station_lines(known),
        f"latitude = {_figure(row.latitude, 5)}",
        f"longitude = {_figure(row.longitude, 5)}",
        *_elevation_lines(known),
        *_zone_lines(known),
    ]
    blocks, usable = runway_lines(known)
    lines += blocks
    if not usable:
        lines += [
            "",
            *_comment(
                "No runway of it can be taken as it stands: write at least one, with the names of "
                "its ends as painted and their true headings from a chart."
            ),
        ]
    return "\n".join(lines) + "\n"


def runway_lines(known: KnownAirfield) -> tuple[list[str], int]:
    """The ``[[airfield.runway]]`` blocks, indented, each after an empty line.

    Returns
    -------
    list of str
        What cannot be taken is there as a comment, with the reason.
    int
        How many runways a configuration takes.
    """
    lines: list[str] = []
    taken: set[str] = set()
    usable = 0
    for runway in known.runways:
        block, used = _runway_lines(runway, taken)
        usable += used
        lines += ["", *(f"  {line}" for line in block)]
    return lines, usable


def _station_lines(known: KnownAirfield) -> Iterable[str]:
    if known.station:
        yield from _comment(
            "Who reports for it. If nothing comes from this one, name a station nearby."
        )
        yield f"station = {_text(known.station)}"
    elif known.station_nearby is not None:
        near = known.station_nearby
        yield from _comment(
            f"It has no identifier under which it could report. This is the nearest larger "
            f"airport, {near.row.name}, {near.distance_nm:.0f} NM away: does it report, and is its "
            "wind yours?"
        )
        yield f"station = {_text(near.row.icao)}"
    else:
        yield from _comment('Name the station that reports for it: station = "...."')


def _elevation_lines(known: KnownAirfield) -> Iterable[str]:
    if known.elevation_ft is None:
        yield from _comment("The table does not know its elevation: write it here.")
    yield f"elevation_ft = {known.elevation_ft or 0}"


def _zone_lines(known: KnownAirfield) -> Iterable[str]:
    zone = known.time_zone
    if not zone.name:
        yield from _comment("Its time zone is not known: write it here.")
    elif not zone.sure:
        yield from _comment("The likeliest time zone of several: check it.")
    yield f"time_zone = {_text(zone.name or 'UTC')}"


# --- runways ---------------------------------------------------------------------------


def _runway_lines(runway: KnownRunway, taken: set[str]) -> tuple[list[str], bool]:
    """Lines of a runway, and whether the configuration takes it; else it is all comment."""
    about = list(_comment(f"{runway.name}: {describe(runway)}.", room=_WIDTH - 2))
    why = _unusable(runway, taken)
    if why:
        return [*about, *_comment(f"Left out: {why}.", room=_WIDTH - 2)], False
    taken.update(end.name.lstrip("0") for end in runway.ends)
    ends = [f"  {{ {_end(end, runway)} }}," for end in runway.ends]
    if not runway.supported:
        about += _comment(
            "No heading is taken: the numbers stand for it, approximate, until you write "
            "heading_true_deg from a chart.",
            room=_WIDTH - 2,
        )
    return [*about, "[[airfield.runway]]", "ends = [", *ends, "]"], True


def describe(runway: KnownRunway) -> str:
    """Size, surface, what its headings rest on, doubts and remarks, in one sentence."""
    size = "length not known" if runway.length_ft is None else f"{runway.length_ft} ft"
    if runway.length_ft is not None and runway.width_ft is not None:
        size = f"{runway.length_ft} × {runway.width_ft} ft"
    said = [size, f"surface {runway.surface}"]
    if runway.closed:
        said.append("CLOSED")
    said.append(f"headings {basis_words(runway)}" if runway.ends[0].heading_true else "")
    said += [f"DOUBTFUL: {doubt}" for doubt in runway.doubts]
    return "; ".join(filter(None, (*said, *runway.remarks)))


def basis_words(runway: KnownRunway) -> str:
    """What the headings rest on; where they are doubtful, also whether a second one agrees."""
    basis = runway.ends[0].basis.value
    if not runway.doubtful:
        return basis
    return f"{basis}, another figure agreeing" if runway.supported else f"{basis}, not settled"


def _unusable(runway: KnownRunway, taken: set[str]) -> str:
    """Why a configuration cannot take a runway; '' where it can."""
    names = [end.name for end in runway.ends]
    numbers = [_number(name) for name in names]
    if runway.closed:
        return "it is closed in the table"
    if any(not _END.fullmatch(name) for name in names):
        return "its ends have no names that can be used"
    if any(name.isdigit() and number is None for name, number in zip(names, numbers, strict=True)):
        return "its ends have no runway numbers"
    if runway.ends[0].heading_true is None:
        return "nothing tells its headings"
    if names[0] == names[1] or taken & {name.lstrip("0") for name in names}:
        return "another end has the same name; rename one of them"
    if _by_number_alone(runway) or runway.supported:
        return ""
    return "its figures disagree, and no number tells which is right: look it up in a chart"


def _by_number_alone(runway: KnownRunway) -> bool:
    """Whether both numbers can stand for the headings: plain ones, opposite to each other."""
    first, second = (_number(end.name) for end in runway.ends)
    return (
        first is not None
        and second is not None
        and (first - second) % (2 * _TENS_IN_A_HALF_CIRCLE) == _TENS_IN_A_HALF_CIRCLE
    )


def _number(name: str) -> int | None:
    found = _NUMBERED.fullmatch(name)
    number = int(found[1]) if found else 0
    return number if 1 <= number <= 2 * _TENS_IN_A_HALF_CIRCLE else None


def _end(end: KnownEnd, runway: KnownRunway) -> str:
    name = f"name = {_text(end.name)}"
    by_number = end.basis is Basis.NUMBER or not runway.supported
    if end.heading_true is None or (by_number and _by_number_alone(runway)):
        return name
    # Degrees that only a name tells are no survey, even where they are true already.
    doubt = ", approximate = true" if end.basis.approximate else ""
    return f"{name}, heading_true_deg = {_figure(end.heading_true, 1)}{doubt}"


# --- text ------------------------------------------------------------------------------


def _comment(words: str, room: int = _WIDTH) -> Iterator[str]:
    yield from textwrap.wrap(
        words, room, initial_indent="# ", subsequent_indent="# ", break_on_hyphens=False
    )


def _figure(value: float, places: int) -> str:
    return f"{value:.{places}f}".rstrip("0").rstrip(".")


def _text(value: str) -> str:
    # A basic string of TOML takes the escapes of JSON.
    return json.dumps(value, ensure_ascii=False)
