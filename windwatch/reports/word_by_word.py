"""The first part of a report, word by word where it is not as it should be."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final, NamedTuple

from windwatch.reports import grammar
from windwatch.reports.header import WindReading, plain_reading
from windwatch.reports.times import resolve_time
from windwatch.reports.wind_group import SPEEDS, read_odd_group, with_sector
from windwatch.wind import Wind

# Words of the header that stand for themselves, and what each says; they come in any order.
_STATES: Final[dict[str, dict[str, Any]]] = {
    "METAR": {"kind": "METAR"},
    "SPECI": {"kind": "SPECI"},
    "TAF": {"kind": "TAF"},
    "COR": {"correction": 1},
    "AUTO": {"automatic": True},
    "NIL": {"nil": True},
    "AMD": {},
    "RTD": {},
}


class _Header(NamedTuple):
    """The header as far as it is read, and the number of words it took."""

    station: str = ""
    kind: str = ""
    observed_at: datetime | None = None
    correction: int = 0
    automatic: bool = False
    nil: bool = False
    problems: tuple[str, ...] = ()
    words: int = 0


def read_first_part(raw: str, now: datetime) -> tuple[WindReading, str]:
    """Read a report as far as its wind, word by word where it is not as it should be.

    Parameters
    ----------
    raw : str
        Normalised text.
    now : datetime
        When it is read, aware, UTC.

    Returns
    -------
    tuple of WindReading and str
        The reading, and what follows the wind, from its space on.
    """
    found = grammar.PLAIN_REPORT.match(raw)
    if found is not None:
        plain = plain_reading(found, now)
        if plain is not None:
            return plain, raw[found.end() :]
    words = raw.split(" ")
    header = _read_header(words, now)
    if not header.station or header.nil or header.kind == "TAF":
        return _reading(header, None), _from_word(words, header.words)
    return _read_wind_words(header, words)


def _from_word(words: list[str], number: int) -> str:
    """The words from a number on, each with its space before it."""
    return "".join(f" {word}" for word in words[number:])


def _reading(
    header: _Header,
    wind: Wind | None,
    *more: str,
    doubtful: bool = False,
    estimated: bool = False,
) -> WindReading:
    return WindReading(
        header.station,
        header.kind or "METAR",
        header.observed_at,
        header.correction,
        header.automatic,
        header.nil,
        wind,
        (*header.problems, *(problem for problem in more if problem)),
        doubtful and wind is not None,
        estimated and wind is not None,
    )


def _read_header(words: list[str], now: datetime) -> _Header:
    """Read kind, station, time and state, in whatever order they were sent."""
    header = _read_states(_Header(), words)
    station = words[header.words] if header.words < len(words) else ""
    if grammar.STATION_GROUP.fullmatch(station) is None:
        return _Header(problems=("no report: it does not begin with a station and a time",))
    header = header._replace(station=station, words=header.words + 1)
    header, dated = _read_time_and_states(header, words, now)
    if not dated:
        if header.words == 1 and not header.kind:
            return _Header(problems=("no report: no day and time (ddhhmmZ) after the first word",))
        header = _said(header, "no day and time (ddhhmmZ)")
    validity = words[header.words] if header.words < len(words) else ""
    if header.kind == "TAF" or grammar.VALIDITY_GROUP.fullmatch(validity):
        return _said(header._replace(kind="TAF"), "a forecast (TAF), not an observation")
    return _said(header, "NIL: no report was made") if header.nil else header


def _said(header: _Header, problem: str) -> _Header:
    return header._replace(problems=(*header.problems, problem))


def _read_states(header: _Header, words: list[str]) -> _Header:
    """Take the words that say a state, as long as they come."""
    while header.words < len(words) and words[header.words] in _STATES:
        state = _STATES[words[header.words]]
        header = header._replace(**state, words=header.words + 1)
    return header


def _read_time_and_states(header: _Header, words: list[str], now: datetime) -> tuple[_Header, bool]:
    """Read what stands between station and wind; also whether a time was there."""
    time_word = ""
    while (header := _read_states(header, words)).words < len(words):
        word = words[header.words]
        if lettered := grammar.CORRECTION_GROUP.fullmatch(word):
            header = header._replace(correction=ord(lettered[1]) - ord("A") + 1)
        elif not time_word and (group := grammar.TIME_GROUP.fullmatch(word)):
            time_word = word
            header = _read_time(header, group, now)
        elif word not in {header.station, time_word}:  # some feeds say these twice
            break
        header = header._replace(words=header.words + 1)
    return header, bool(time_word)


def _read_time(header: _Header, group: re.Match[str], now: datetime) -> _Header:
    """Resolve a time group; say where it cannot be, or has no Z."""
    at = resolve_time(int(group[1]), int(group[2]), int(group[3]), now)
    if at is None:
        return _said(header, f"time {group[0]}: no such day, hour or minute")
    header = header._replace(observed_at=at)
    return header if group[4] else _said(header, f"time {group[0]}: no Z, read as UTC")


def _read_wind_words(header: _Header, words: list[str]) -> tuple[WindReading, str]:
    """Read the wind where it should stand; else where a whole group of it stands."""
    word, following, third = (*words[header.words : header.words + 3], "", "", "")[:3]
    group = read_odd_group(word, following, header.station) if word else None
    if group is None:
        return _read_displaced(header, words)
    taken, glued = header.words + 1, group.glued
    if group.unit_apart:
        taken, following = taken + 1, third
    wind, problem, doubtful = group.wind, "", group.doubtful
    if not glued and grammar.SECTOR_GROUP.fullmatch(following):
        taken += 1
        if wind is None:
            problem = f"sector {following} without a wind"
        else:
            wind, problem = with_sector(wind, following)
            doubtful = doubtful or wind.sector is None
    result = _reading(
        header, wind, group.problem, problem, doubtful=doubtful, estimated=group.estimated
    )
    return result, (f" {glued}" if glued else "") + _from_word(words, taken)


def _read_displaced(header: _Header, words: list[str]) -> tuple[WindReading, str]:
    """Find a whole wind group that stands later in the observed part.

    Only one with its unit counts, and none that the word before gives to a runway or a height.
    """
    first = header.words
    for place in range(first + 1, len(words)):
        word, before = words[place], words[place - 1]
        if grammar.REMARKS in before or grammar.TREND_WORD.fullmatch(before):
            break
        if is_whole_wind(word) and not is_of_a_place(words, place):
            rest = [*words[:place], *words[place + 1 :]]
            moved = [*words[:first], *words[place : place + 2]]
            result, left = _read_wind_words(header, moved)
            if not left:  # its sector was taken with it
                rest = [*words[:place], *words[place + 2 :]]
            note = f"wind {word} is not in its place"
            return result._replace(problems=(*result.problems, note)), _from_word(rest, first)
    if first < len(words) and grammar.SECTOR_GROUP.fullmatch(words[first]):
        result = _reading(header, None, f"sector {words[first]} without a wind")
        return result, _from_word(words, first + 1)
    return _reading(header, None, "no wind group"), _from_word(words, first)


def is_whole_wind(word: str) -> bool:
    """Whether a word is a complete wind group with its unit, wherever it stands."""
    found = grammar.WIND_GROUP.fullmatch(word)
    return found is not None and found["unit"] in SPEEDS and not found["slash"]


def is_of_a_place(words: Sequence[str], at: int) -> bool:
    """Whether the words before one say that it is of a runway, a height or a named place."""
    if at > 0 and grammar.LABELS_A_PLACE.fullmatch(words[at - 1]):
        return True
    return at > 1 and words[at - 2] in grammar.NAMES_A_PLACE_AHEAD
