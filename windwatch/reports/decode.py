"""A METAR or SPECI, decoded in full."""

from __future__ import annotations

import hashlib
from datetime import datetime
from typing import Final

from windwatch.reports import grammar
from windwatch.reports.body import FAIR, UNKNOWN, read_body
from windwatch.reports.header import WindReading, plain_reading
from windwatch.reports.places import read_place_winds
from windwatch.reports.remarks import NO_REMARKS, read_remarks
from windwatch.reports.text import first_report
from windwatch.reports.times import resolve_time
from windwatch.reports.trends import NO_CHANGE, read_trends
from windwatch.reports.values import PlaceWind, Report, ThunderTime, Trend, Weather
from windwatch.reports.word_by_word import is_of_a_place, is_whole_wind, read_first_part

_KINDS: Final = ("METAR", "SPECI")
_made = tuple.__new__
_plain_report = grammar.PLAIN_REPORT.match


def read_wind(text: str, now: datetime) -> WindReading:
    """Read station, kind, time, state and wind of a METAR or SPECI: what the watch needs first.

    Parameters
    ----------
    text : str
        The report, as it came; whatever it is, nothing is raised.
    now : datetime
        When it is read, aware, UTC: day and hour are resolved against it.

    Returns
    -------
    WindReading
        As in the full decode, which looks further and may find more problems.
    """
    found = _plain_report(text)
    if found is not None:
        plain = plain_reading(found, now)
        if plain is not None:
            return plain
    raw, problems = first_report(text)
    reading, _ = read_first_part(raw, now)
    return reading._replace(problems=(*problems, *reading.problems)) if problems else reading


def decode_report(
    text: str, now: datetime, observed_at: datetime | None = None, kind: str | None = None
) -> Report:
    """Decode one METAR or SPECI in full.

    Parameters
    ----------
    text : str
        The report, as it came. Of several in one text the first is read; part them with
        `windwatch.reports.text.split_reports` before.
    now : datetime
        When it is read, aware, UTC: day and hour are resolved against it.
    observed_at : datetime or None
        Full time of the observation where the feed gives one. It settles month and year.
        Where the text's own day and time say something else, they win and the disagreement
        is a problem.
    kind : str or None
        ``METAR`` or ``SPECI`` where the feed says so; the text's own word wins.

    Returns
    -------
    Report
        Nothing is raised, whatever the text: what is wrong stands in `problems`.
    """
    raw, problems = first_report(text)
    reference = now if observed_at is None else observed_at
    reading, rest = read_first_part(raw, reference)
    station, own_kind, at, correction, automatic, nil, wind, said, doubtful, estimated = reading
    if said:
        problems += said
    if observed_at is not None and at != observed_at:
        at, disagreement = _settle_time(at, observed_at, now)
        problems += disagreement
    if not station or nil or own_kind == "TAF":
        return Report(
            raw, station, own_kind, at, correction, automatic, nil, weather=UNKNOWN,
            problems=problems,
        )  # fmt: skip
    if kind in _KINDS and not raw.startswith(_KINDS):
        own_kind = kind
    observed, mark, remark_text = rest.partition(grammar.REMARKS)
    weather, temperature, dew_point, pressure, unread, undecoded, shear, trend = read_body(observed)
    runway_winds: tuple[PlaceWind, ...] = ()
    if undecoded:
        runway_winds, contradicting = _unclaimed(undecoded, observed.removesuffix(trend), station)
        problems += contradicting
        doubtful = doubtful or bool(contradicting and wind)
    trends: tuple[Trend, ...] = ()
    if trend:
        trends, in_trend, unread_trend = _trends(trend, at, station)
        runway_winds += in_trend
        unread += unread_trend
    (
        peak_wind, wind_shift_at, frontal_passage, thunder_times, lightning, estimated_too,
        in_remarks, tenths, dew_tenths, no_weather_sensor, maintenance, unread_remarks,
    ) = read_remarks(remark_text, at, station) if mark else NO_REMARKS  # fmt: skip
    if no_weather_sensor or thunder_times:
        weather = _weather_as_remarked(weather, thunder_times, no_weather_sensor)
    if tenths is not None:
        temperature, dew_point = tenths, dew_tenths
    if unread or unread_remarks:
        problems += (*unread, *unread_remarks)
    return _made(
        Report,
        (
            raw,
            station,
            own_kind,
            at,
            correction,
            automatic,
            nil,
            wind,
            peak_wind,
            wind_shift_at,
            weather,
            temperature,
            dew_point,
            pressure,
            problems,
            undecoded,
            doubtful,
            maintenance,
            frontal_passage,
            trends,
            runway_winds + in_remarks if in_remarks else runway_winds,
            shear,
            thunder_times,
            lightning,
            estimated or (estimated_too and wind is not None),
        ),
    )


def _weather_as_remarked(
    weather: Weather, thunder_times: tuple[ThunderTime, ...], no_weather_sensor: bool
) -> Weather:
    """Add what the remarks say about the weather."""
    if no_weather_sensor and weather is FAIR:
        weather = UNKNOWN  # a station that cannot see weather has not said that there is none
    if thunder_times and not thunder_times[-1].begins:
        weather = weather._replace(thunder_ended_at=thunder_times[-1].at)
    return weather


def _trends(
    text: str, observed_at: datetime | None, station: str
) -> tuple[tuple[Trend, ...], tuple[PlaceWind, ...], tuple[str, ...]]:
    """The trend, winds of a place in it, and what is wrong; mostly no change is expected."""
    if text == " NOSIG":
        return NO_CHANGE, (), ()
    trends, unread = read_trends(text, observed_at, station)
    return trends, read_place_winds(text, station), unread


def _unclaimed(
    undecoded: tuple[str, ...], observed: str, station: str
) -> tuple[tuple[PlaceWind, ...], tuple[str, ...]]:
    """What unclaimed groups say: winds of a place; and those that contradict the wind."""
    words = observed.split()
    unclaimed = set(undecoded)
    problems = []
    for at, word in enumerate(words):
        if word not in unclaimed:
            continue
        if is_whole_wind(word) and not is_of_a_place(words, at):
            problems.append(f"a second wind {word}: not taken")
        elif grammar.SECTOR_GROUP.fullmatch(word) and not _is_of_place_wind(words, at):
            problems.append(f"sector {word} is not behind its wind: not taken")
    return read_place_winds(observed, station), tuple(problems)


def _is_of_place_wind(words: list[str], at: int) -> bool:
    """Whether a sector stands behind the wind of a place."""
    return at > 0 and is_whole_wind(words[at - 1]) and is_of_a_place(words, at - 1)


def _settle_time(
    at: datetime | None, observed_at: datetime, now: datetime
) -> tuple[datetime | None, tuple[str, ...]]:
    """Time of a report whose text and feed differ, and what to say about it."""
    if at is None:
        return observed_at, ()
    if (at.day, at.hour, at.minute) == (observed_at.day, observed_at.hour, observed_at.minute):
        return observed_at, ()
    own = resolve_time(at.day, at.hour, at.minute, now)
    return own, (f"time {at:%d%H%MZ} in the text, but the feed says {observed_at:%d %b %H:%MZ}",)


def identity(report: Report) -> str:
    """Id of a report, the same whichever feed brought it.

    A leading METAR is not always sent, so only station, kind, time and the text after the
    kind count.
    """
    text = report.raw
    for word in _KINDS:
        text = text.removeprefix(word).lstrip()
    at = "" if report.observed_at is None else f"{report.observed_at:%Y-%m-%dT%H:%MZ}"
    parts = f"{report.station}\n{at}\n{report.kind}\n{text}"
    return hashlib.sha256(parts.encode()).hexdigest()[:32]
