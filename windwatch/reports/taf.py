"""A TAF, decoded into a timeline of winds: FM 51, and the habits of the United States and Canada.

FM replaces everything before it. BECMG changes only what it names; inside its window both the
old and the new wind may hold. TEMPO and PROB come on top of what prevails.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

from windwatch.reports import grammar
from windwatch.reports.change_words import read_change_words
from windwatch.reports.forecast import Change, Forecast, Spell, WindShear
from windwatch.reports.text import first_report
from windwatch.reports.times import resolve_time
from windwatch.reports.values import Weather
from windwatch.reports.wind_group import read_odd_group
from windwatch.wind import Wind

_DAY = timedelta(days=1)


class _Part(NamedTuple):
    """One change group: what kind, when, the words that begin it, and those it says."""

    change: Change
    replaces_all: bool
    from_at: datetime
    to_at: datetime
    probability_percent: int | None
    title: tuple[str, ...] = ()
    words: tuple[str, ...] = ()


def decode_forecast(text: str, now: datetime) -> Forecast:
    """Decode one TAF.

    Parameters
    ----------
    text : str
        The forecast, as it came; whatever it is, nothing is raised.
    now : datetime
        When it is read, aware, UTC: days and hours are resolved against it.

    Returns
    -------
    Forecast
        What is wrong stands in `problems`.
    """
    raw, problems = first_report(text)
    words = raw.split(" ")
    states = {"TAF", "AMD", "COR"}
    at = next((i for i, word in enumerate(words) if word not in states), len(words))
    header = set(words[:at])
    station = words[at] if at < len(words) else ""
    if grammar.STATION_GROUP.fullmatch(station) is None:
        return Forecast(raw, "", problems=(*problems, "no forecast: no station at its beginning"))
    at += 1
    forecast = Forecast(raw, station, problems=problems)
    issued = grammar.TIME_GROUP.fullmatch(words[at]) if at < len(words) else None
    if issued is not None and (issued[4] or not _is_validity(words[at])):
        issued_at = resolve_time(int(issued[1]), int(issued[2]), int(issued[3]), now)
        forecast = forecast._replace(issued_at=issued_at)
        at += 1
    while at < len(words) and words[at] in states | {"NIL"}:
        header.add(words[at])
        at += 1
    forecast = forecast._replace(
        amended="AMD" in header, corrected="COR" in header, nil="NIL" in header
    )
    if forecast.nil:
        return forecast
    validity = _read_validity(words[at] if at < len(words) else "", forecast.issued_at or now)
    if validity is None:
        return _said(forecast, "no period of validity (ddhh/ddhh)")
    forecast = forecast._replace(valid_from=validity[0], valid_to=validity[1])
    if "CNL" in words[at + 1 :]:
        return forecast._replace(cancelled=True)
    return _with_timeline(forecast, words[at + 1 :], *validity)


def _said(forecast: Forecast, problem: str) -> Forecast:
    return forecast._replace(problems=(*forecast.problems, problem))


def _is_validity(word: str) -> bool:
    """Whether six figures may be an old validity: an hour has no 60 minutes, a day no 25 hours."""
    found = grammar.OLD_VALIDITY.fullmatch(word)
    return found is not None and int(found[2]) <= 24 and int(found[3]) <= 24


# --- times -----------------------------------------------------------------


def _nearest(day: int, hour: int, near: datetime) -> datetime | None:
    """Time of a day and hour nearest to another; hour 24 is the next midnight."""
    candidates = []
    for months in (-1, 0, 1):
        month = near.year * 12 + near.month - 1 + months
        try:
            midnight = datetime(month // 12, month % 12 + 1, day, tzinfo=UTC)
        except ValueError:  # the month is too short
            continue
        candidates.append(midnight + timedelta(hours=hour))
    if not candidates or hour > 24:
        return None
    return min(candidates, key=lambda moment: abs(moment - near))


def _read_validity(word: str, near: datetime) -> tuple[datetime, datetime] | None:
    """Period of validity, the first hour nearest to the issue."""
    if found := grammar.VALIDITY.fullmatch(word):
        from_day, from_hour, to_day, to_hour = map(int, found.groups())
        valid_from = _nearest(from_day, from_hour, near)
        valid_to = valid_from and _nearest(to_day, to_hour, valid_from + _DAY)
    elif found := grammar.OLD_VALIDITY.fullmatch(word):
        from_day, from_hour, to_hour = map(int, found.groups())
        valid_from = _nearest(from_day, from_hour, near)
        valid_to = valid_from and _next_hour(to_hour, valid_from)
    else:
        return None
    if valid_from is None or valid_to is None or valid_to <= valid_from:
        return None
    return valid_from, valid_to


def _next_hour(hour: int, after: datetime) -> datetime | None:
    """Next time a clock shows an hour, later than `after`."""
    if hour > 24:
        return None
    moment = after.replace(hour=0, minute=0) + timedelta(hours=hour)
    return moment if moment > after else moment + _DAY


def _read_period(
    word: str, valid_from: datetime, valid_to: datetime
) -> tuple[datetime, datetime] | None:
    """Period of a change group, within the validity."""
    middle = valid_from + (valid_to - valid_from) / 2
    if found := grammar.VALIDITY.fullmatch(word):
        from_day, from_hour, to_day, to_hour = map(int, found.groups())
        from_at, to_at = _nearest(from_day, from_hour, middle), _nearest(to_day, to_hour, middle)
    elif found := grammar.OLD_PERIOD.fullmatch(word):
        from_at = _next_hour(int(found[1]), valid_from - timedelta(minutes=1))
        to_at = from_at and _next_hour(int(found[2]), from_at)
    else:
        return None
    if from_at is None or to_at is None or to_at <= from_at:
        return None
    return from_at, to_at


def _read_from(found: re.Match[str], valid_from: datetime, valid_to: datetime) -> datetime | None:
    """Time of FM; without a day it is the next such time of the validity."""
    day, hour, minute = found.groups()
    minutes = timedelta(minutes=int(minute))
    if int(hour) > 24 or int(minute) > 59:
        return None
    if day:
        moment = _nearest(int(day), int(hour), valid_from + (valid_to - valid_from) / 2)
    else:
        moment = _next_hour(int(hour), valid_from - timedelta(minutes=1))
    return moment and moment + minutes


# --- parts -----------------------------------------------------------------


def _with_timeline(
    forecast: Forecast, words: list[str], valid_from: datetime, valid_to: datetime
) -> Forecast:
    """Part the words into change groups, and lay them along the time."""
    parts, problems = _parts(words, valid_from, valid_to)
    spells: list[Spell] = []
    shears: list[WindShear] = []
    for part in parts:
        wind, weather, shear, said = _read_part(part, forecast.station)
        problems += said
        shears += shear
        spells = _laid(spells, part, wind, weather)
        if part.change is Change.PREVAILING and wind is None and not said:
            problems.append(f"no wind in {' '.join(part.title) or 'the forecast'}")
    kept = [spell for spell in spells if spell.from_at < spell.to_at]
    return forecast._replace(
        spells=tuple(sorted(kept, key=lambda spell: spell.from_at)),
        shears=tuple(shears),
        problems=(*forecast.problems, *problems),
    )


def _parts(
    words: list[str], valid_from: datetime, valid_to: datetime
) -> tuple[list[_Part], list[str]]:
    """The base and every change group, with their times."""
    problems: list[str] = []
    part = _Part(Change.PREVAILING, True, valid_from, valid_to, None)
    parts: list[_Part] = []
    said_by_part: list[str] = []
    at = 0
    while at < len(words) and words[at] not in grammar.END_OF_FORECAST:
        change, taken, said = _begun(words[at : at + 3], part, valid_from, valid_to)
        if said:
            problems.append(said)
        if change is None:
            said_by_part += words[at : at + taken]
        else:
            parts.append(part._replace(words=tuple(said_by_part)))
            part, said_by_part = change, []
        at += taken
    parts.append(part._replace(words=tuple(said_by_part)))
    return parts, problems


def _begun(
    words: list[str], before: _Part, valid_from: datetime, valid_to: datetime
) -> tuple[_Part | None, int, str]:
    """Begin a change group where one begins: the part, the words it took, what is wrong."""
    if found := grammar.FROM.fullmatch(words[0]):
        from_at = _read_from(found, valid_from, valid_to)
        if from_at is None:
            # When it comes is not known, so it may be there at any time: the safe side.
            part = _Part(Change.TEMPORARY, False, valid_from, valid_to, None, (words[0],))
            return part, 1, f"{words[0]}: no such time"
        return _Part(Change.PREVAILING, True, from_at, valid_to, None, (words[0],)), 1, ""
    probability, taken = None, 0
    if prob := grammar.PROBABILITY.fullmatch(words[0]):
        probability, taken = int(prob[1]), 1
    name = grammar.CHANGES.get(words[taken]) if taken < len(words) else None
    taken += name is not None
    change = Change(name) if name else Change.TEMPORARY
    if taken == 0:  # a period alone goes on as the group before it did
        change, probability = before.change, before.probability_percent
        if change is Change.PREVAILING or not grammar.VALIDITY.fullmatch(words[0]):
            return None, 1, ""
    period = _read_period(words[taken], valid_from, valid_to) if taken < len(words) else None
    group = tuple(words[: taken + 1])
    if period is None:
        # Without a time it may come at any time, as above.
        said = f"{' '.join(group)}: no period (ddhh/ddhh)"
        part = _Part(change, False, valid_from, valid_to, probability, group[:taken])
        return part, max(taken, 1), said
    return _Part(change, False, *period, probability, group), taken + 1, ""


def _read_part(
    part: _Part, station: str
) -> tuple[Wind | None, Weather, list[WindShear], list[str]]:
    """Read wind, weather and wind shear of one change group."""
    wind, weather, problems = read_change_words(part.words, station)
    shears: list[WindShear] = []
    for word in part.words:
        if found := grammar.SHEAR.fullmatch(word):
            aloft = read_odd_group(found[2], "", station)
            if aloft is not None and aloft.wind is not None:
                height_ft = int(found[1]) * 100
                shears.append(WindShear(part.from_at, part.to_at, height_ft, aloft.wind))
    return wind, weather, shears, problems


# --- timeline --------------------------------------------------------------


def _laid(spells: list[Spell], part: _Part, wind: Wind | None, weather: Weather) -> list[Spell]:
    """Lay one change group over the spells before it."""
    group = " ".join((*part.title, *part.words))
    spell = Spell(
        part.change, part.from_at, part.to_at, wind, part.probability_percent, weather, group
    )
    if part.replaces_all:
        cut = [_cut(earlier, part.from_at) for earlier in spells]
        return [*(earlier for earlier in cut if earlier.from_at < earlier.to_at), spell]
    if part.change is Change.TEMPORARY:
        spells.append(spell)
        return spells
    if wind is None:  # BECMG changes only what it names
        return spells
    end = max((earlier.to_at for earlier in spells), default=part.to_at)
    lasting = spell._replace(change=Change.PREVAILING, from_at=part.to_at, to_at=end)
    kept = [
        _cut(earlier, part.to_at) if earlier.change is Change.PREVAILING else earlier
        for earlier in spells
    ]
    return [*kept, spell, lasting]


def _cut(spell: Spell, end: datetime) -> Spell:
    """End a spell at a time, if it does not end before."""
    return spell._replace(to_at=min(spell.to_at, end))
