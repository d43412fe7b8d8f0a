"""A METAR or SPECI, decoded in full."""

from __future__ import annotations

import hashlib
from datetime import datetime
from typing import Final

from windwatch.reports import grammar
from windwatch.reports.body import FAIR, UNKNOWN, read_body
from windwatch.reports.header import WindReading, plain_reading
from windwatch.reports.remarks import NO_REMARKS, Remarks, read_remarks
from windwatch.reports.text import first_report
from windwatch.reports.times import resolve_time
from windwatch.reports.values import Report, Weather
from windwatch.reports.word_by_word import is_whole_wind, read_first_part

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
    station, own_kind, at, correction, automatic, nil, wind, said, doubtful = reading
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
    weather, temperature, dew_point, pressure, unread, undecoded = read_body(observed)
    if undecoded and (contradicting := _contradicting(undecoded, observed)):
        problems += contradicting
        doubtful = doubtful or wind is not None
    remarks = NO_REMARKS
    if mark:
        remarks = read_remarks(remark_text, at)
        weather = _weather_as_remarked(weather, remarks)
        if remarks.temperature_c is not None:
            temperature, dew_point = remarks.temperature_c, remarks.dew_point_c
    if unread or remarks.problems:
        problems += (*unread, *remarks.problems)
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
            remarks.peak_wind,
            remarks.wind_shift_at,
            weather,
            temperature,
            dew_point,
            pressure,
            problems,
            undecoded,
            doubtful,
            remarks.maintenance,
            remarks.frontal_passage,
        ),
    )


def _weather_as_remarked(weather: Weather, remarks: Remarks) -> Weather:
    """Add what the remarks say about the weather."""
    if remarks.no_weather_sensor and weather is FAIR:
        weather = UNKNOWN  # a station that cannot see weather has not said that there is none
    if remarks.thunder_ended_at is None:
        return weather
    return weather._replace(thunder_ended_at=remarks.thunder_ended_at)


def _contradicting(undecoded: tuple[str, ...], observed: str) -> tuple[str, ...]:
    """Say which unclaimed groups would change the wind, were they taken."""
    words = observed.split()
    problems = []
    for word in undecoded:
        before = words[max(0, words.index(word) - 1)]
        if is_whole_wind(word) and not grammar.LABELS_A_PLACE.fullmatch(before):
            problems.append(f"a second wind {word}: not taken")
        elif grammar.SECTOR_GROUP.fullmatch(word):
            problems.append(f"sector {word} is not behind its wind: not taken")
    return tuple(problems)


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
