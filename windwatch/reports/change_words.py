"""What a change group says, of a forecast or of the trend of a report: its wind and weather."""

from __future__ import annotations

from windwatch.reports import grammar
from windwatch.reports.body import read_body
from windwatch.reports.values import Weather
from windwatch.reports.wind_group import SPEEDS, read_odd_group, with_sector
from windwatch.reports.word_by_word import is_of_a_place, is_whole_wind
from windwatch.wind import Wind


def read_change_words(
    words: tuple[str, ...], station: str
) -> tuple[Wind | None, Weather, list[str]]:
    """Read the words of one change group.

    Parameters
    ----------
    words : tuple of str
        Without those that begin the group.
    station : str
        For where; its first letter tells the national unit.

    Returns
    -------
    tuple of Wind or None, Weather and list of str
        The first wind, None where there is none; the weather; what is wrong with the wind.
    """
    wind: Wind | None = None
    problems: list[str] = []
    following = (*words[1:], "")[: len(words)]
    for place, (word, after) in enumerate(zip(words, following, strict=True)):
        if grammar.SHEAR.fullmatch(word) or _is_elsewhere(words, place):
            continue  # a wind aloft, or of one runway
        if grammar.SECTOR_GROUP.fullmatch(word) and wind is not None:
            wind, problem = with_sector(wind, word)
            problems += [problem] if problem else []
        elif wind is None and _looks_like_wind(word, after, place):
            reading = read_odd_group(word, after, station)
            if reading is not None:
                wind = reading.wind
                problems += [reading.problem] if reading.problem else []
    return wind, read_body("".join(f" {word}" for word in words)).weather, problems


def _is_elsewhere(words: tuple[str, ...], at: int) -> bool:
    """Whether a wind is of a runway or place: NOSIG RWY17L 36014KT; but WND 21015KT is not."""
    return is_of_a_place(words, at) and words[at - 1] not in grammar.NAMES_A_WIND


def _looks_like_wind(word: str, after: str, place: int) -> bool:
    """Whether a word of a forecast is a wind: figures alone are one only where one belongs."""
    if is_whole_wind(word) or grammar.MISSING_WIND.fullmatch(word):
        return True
    if grammar.PLAIN_FIGURES.fullmatch(word):
        return place == 0 or after in SPEEDS
    return grammar.MEANT_AS_WIND.fullmatch(word) is not None and not word.isdecimal()
