"""The trend of a report: what is expected in the two hours to come, 15.14.

A wind of a trend is never the observed one. The outlook looks at it, the watch does not.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from windwatch.reports import grammar
from windwatch.reports.change_words import read_change_words
from windwatch.reports.times import next_time
from windwatch.reports.values import Trend

NO_CHANGE: Final = (Trend("NOSIG", group="NOSIG"),)


@dataclass(slots=True)
class _Part:
    """One change group as it is gathered: its word, its times, the words it says, and all."""

    word: str
    coded: tuple[str, ...]
    probability_percent: int | None = None
    times: list[str] = field(default_factory=list)
    words: list[str] = field(default_factory=list)
    group: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.group.extend(self.coded)

    @property
    def is_colour(self) -> bool:
        """Whether a colour state, and no word for a change, begins it."""
        return grammar.COLOUR_STATE.fullmatch(self.word) is not None

    @property
    def awaits_time(self) -> bool:
        """Whether FM would belong to it, and not begin a group of its own."""
        takes_one = self.word not in {"NOSIG", "FM"} and not self.is_colour
        return takes_one and not self.words and not self.times


def read_trends(
    text: str, observed_at: datetime | None, station: str
) -> tuple[tuple[Trend, ...], tuple[str, ...]]:
    """Read the trend of a report.

    Parameters
    ----------
    text : str
        From the first word of the trend on, without the remarks.
    observed_at : datetime or None
        Time of the report: the times of the trend come after it.
    station : str
        Who reports; its first letter tells the national unit.

    Returns
    -------
    tuple of Trend, and tuple of str
        The trends in their order; what is wrong with them, the group named.
    """
    trends: list[Trend] = []
    problems: list[str] = []
    for part in _parts(text.split()):
        trend, said = _read_part(part, observed_at, station)
        trends.append(trend)
        problems += [f"trend {part.word}: {problem}" for problem in said]
    return tuple(trends), tuple(problems)


def _parts(words: list[str]) -> list[_Part]:
    """Part the words into change groups."""
    parts: list[_Part] = []
    for word, coded in _joined(words):
        last = parts[-1] if parts else None
        change = grammar.TREND_CHANGE_WORD.fullmatch(word)
        is_time = word[:2] in grammar.TREND_TIME_APART and word[2:].isdecimal()
        if change is not None:
            _begin(parts, change, coded)
        elif is_time and word.startswith("FM") and not (last and last.awaits_time):
            parts.append(_Part("FM", coded, times=[word]))
        elif grammar.COLOUR_STATE.fullmatch(word) and (last is None or last.is_colour):
            parts.append(_Part(word, coded))
        elif last is not None:
            last.group.extend(coded)
            (last.times if is_time else last.words).append(word)
    # The first colour is that of the observation, unless groups to come stand behind it.
    return parts[1:] if parts and parts[0].is_colour and not parts[0].words else parts


def _joined(words: list[str]) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Each word, with a time joined to the FM, TL or AT before it; and as it was coded."""
    at = 0
    while at < len(words):
        word, after = words[at], words[at + 1] if at + 1 < len(words) else ""
        if word in grammar.TREND_TIME_APART and after.isdecimal():
            yield word + after, (word, after)
            at += 2
        else:
            yield word, (word,)
            at += 1


def _begin(parts: list[_Part], change: re.Match[str], coded: tuple[str, ...]) -> None:
    """Begin a change group; PROB40 TEMPO is one and not two."""
    word, probability = change.groups()
    last = parts[-1] if parts else None
    if word and last and last.word == "PROB" and last.awaits_time:
        last.word = word
        last.group.extend(coded)
    elif probability:
        parts.append(_Part("PROB", coded, int(probability)))
    else:
        parts.append(_Part(word, coded))


def _read_part(part: _Part, observed_at: datetime | None, station: str) -> tuple[Trend, list[str]]:
    """Read times, wind and weather of one change group, and say what is wrong with them."""
    # No change is expected: what stands behind it is of a runway, or of another report.
    words = () if part.word == "NOSIG" else tuple(part.words)
    wind, weather, problems = read_change_words(words, station)
    from_at = to_at = None
    for word in part.times:
        at = _time(word, observed_at)
        if at is None and observed_at is not None:
            problems.append(f"{word}: no such time")
        if not word.startswith("TL"):
            from_at = at
        if not word.startswith("FM"):
            to_at = at
    if from_at is not None and to_at is not None and to_at < from_at:
        # Kept, and for the whole time that it may mean.
        problems.append("ends before it begins")
        from_at = to_at = None
    group = " ".join(part.group)
    trend = Trend(part.word, from_at, to_at, wind, part.probability_percent, weather, group)
    return trend, problems


def _time(word: str, observed_at: datetime | None) -> datetime | None:
    found = grammar.TREND_TIME.fullmatch(word)
    if found is None or observed_at is None:
        return None
    return next_time(int(found[2]), int(found[3]), observed_at)
