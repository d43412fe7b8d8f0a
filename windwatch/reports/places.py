"""Winds of single runways, heights and places: kept with their place, and never the observed wind.

States report them in the remarks, each in its own way; a few put them before the remarks. A wind
that no word gives to a place is not taken at all.
"""

from __future__ import annotations

from windwatch.reports import grammar
from windwatch.reports.values import PlaceWind
from windwatch.reports.wind_group import read_odd_group, with_sector
from windwatch.reports.word_by_word import is_of_a_place

_LONGEST_LABEL = 3


def read_place_winds(text: str, station: str) -> tuple[PlaceWind, ...]:
    """Read every wind whose place is named, in the order of the text.

    Parameters
    ----------
    text : str
        Remarks, or the observed part after its wind.
    station : str
        Who reports; its first letter tells the national unit.

    Returns
    -------
    tuple of PlaceWind
    """
    words = text.split()
    found: list[PlaceWind] = []
    begin = 0  # the words of a label stand after the wind before it
    for at, word in enumerate(words):
        if "/" not in word and not word.endswith(("KT", "MPS", "KMH")):
            continue
        group = grammar.WIND_OF_PLACE.fullmatch(word)
        if group is None:
            continue
        glued_before, coded, glued_after = group.groups()
        label = [] if glued_before or glued_after else _label(words, begin, at)
        label += [part for part in (glued_before, glued_after) if part]
        if glued_before and at > begin and grammar.LABELS_A_PLACE.fullmatch(words[at - 1]):
            label.insert(0, words[at - 1])  # TDZ R01/27004MPS
        begin = at + 1
        if not label:
            continue
        reading = read_odd_group(coded, "", station)
        wind = None if reading is None else reading.wind
        after = words[at + 1] if at + 1 < len(words) else ""
        if wind is not None and grammar.SECTOR_GROUP.fullmatch(after):
            wind, _ = with_sector(wind, after)
            begin += 1
        place = " ".join(label)
        runway = grammar.RUNWAY_OF_PLACE.search(place)
        height = grammar.HEIGHT_OF_PLACE.search(place)
        found.append(
            PlaceWind(place, runway[1] if runway else "", int(height[1]) if height else None, wind)
        )
    return tuple(found)


def _label(words: list[str], begin: int, at: int) -> list[str]:
    """The words right before a wind that say where it blows."""
    first = at
    while first > max(begin, at - _LONGEST_LABEL) and (
        grammar.LABELS_A_PLACE.fullmatch(words[first - 1])
        or (first == at and is_of_a_place(words, at))
    ):
        first -= 1
    named = words[first:at]
    if grammar.NAMES_A_WIND.issuperset(named):
        # HARBOR WIND, MIDFLD WND; but neither WIND alone nor TEMPO WND says where.
        name = words[first - 1] if named and first > begin else ""
        place = name.isalpha() and not grammar.TREND_WORD.fullmatch(name)
        return [name, *named] if place else []
    return named
