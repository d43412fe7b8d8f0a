"""The remarks of a report, as far as they concern the wind: FMH-1, 12.7.1."""

from __future__ import annotations

from datetime import datetime
from typing import Final, NamedTuple

from windwatch.reports import grammar
from windwatch.reports.places import read_place_winds
from windwatch.reports.times import last_time
from windwatch.reports.values import Lightning, PlaceWind, ThunderTime
from windwatch.wind import DegreesTrue, Knots, PeakWind


class Remarks(NamedTuple):
    """What the remarks say.

    Attributes
    ----------
    peak_wind : PeakWind or None
        The strongest, the latest of equals.
    wind_shift_at : datetime or None
        UTC.
    frontal_passage : bool
        FROPA: the wind shifted because a front passed.
    thunder_times : tuple of ThunderTime
        In the order of time.
    lightning : tuple of Lightning
    wind_estimated : bool
        WIND ESTD.
    runway_winds : tuple of PlaceWind
    temperature_c, dew_point_c : float or None
        To the tenth.
    no_weather_sensor : bool
        PWINO or TSNO: no present weather, or no lightning, can be reported.
    maintenance : bool
        ``$``: the station says that it needs maintenance.
    problems : tuple of str
        What could not be read.
    """

    peak_wind: PeakWind | None = None
    wind_shift_at: datetime | None = None
    frontal_passage: bool = False
    thunder_times: tuple[ThunderTime, ...] = ()
    lightning: tuple[Lightning, ...] = ()
    wind_estimated: bool = False
    runway_winds: tuple[PlaceWind, ...] = ()
    temperature_c: float | None = None
    dew_point_c: float | None = None
    no_weather_sensor: bool = False
    maintenance: bool = False
    problems: tuple[str, ...] = ()


NO_REMARKS: Final = Remarks()
_PER_DEGREE: Final = {"0": 10, "1": -10}  # tenths, FMH-1 12.7.2.d: 1 is below zero
_tenths_group = grammar.TENTHS.search
_made = tuple.__new__  # see `windwatch.reports.header`


def read_remarks(text: str, observed_at: datetime | None, station: str) -> Remarks:
    """Read the remarks, from the space after RMK on.

    Parameters
    ----------
    text : str
        Everything after RMK.
    observed_at : datetime or None
        Time of the report: the times in the remarks are before it.
    station : str
        Who reports.

    Returns
    -------
    Remarks
        Looked for word by word only where the text holds the word at all.
    """
    problems: list[str] = []
    peak_wind = wind_shift_at = temperature = dew_point = None
    thunder_times: tuple[ThunderTime, ...] = ()
    lightning: tuple[Lightning, ...] = ()
    runway_winds: tuple[PlaceWind, ...] = ()
    if "PK WND" in text:
        peak_wind = _peak_wind(text, observed_at, problems)
    if "WSHFT" in text:
        wind_shift_at = _wind_shift(text, observed_at, problems)
    if "TSE" in text or "TSB" in text:
        thunder_times = _thunder_times(text, observed_at)
    if "LTG" in text:
        lightning = _lightning(text)
    if "KT" in text or "MPS" in text:
        runway_winds = read_place_winds(text, station)
    if " T" in text and (found := _tenths_group(text)):
        sign, figures, dew_sign, dew_figures = found.groups()
        temperature = int(figures) / _PER_DEGREE[sign]
        dew_point = None if dew_sign is None else int(dew_figures) / _PER_DEGREE[dew_sign]
    return _made(
        Remarks,
        (
            peak_wind,
            wind_shift_at,
            "FROPA" in text,
            thunder_times,
            lightning,
            "EST" in text and grammar.ESTIMATED_WIND.search(text) is not None,
            runway_winds,
            temperature,
            dew_point,
            "TSNO" in text or "PWINO" in text,
            "$" in text,
            tuple(problems),
        ),
    )


def _words_from(text: str, mark: str, number: int) -> str:
    """So many words from a mark on."""
    return " ".join(text[text.find(mark) :][:40].split()[:number])


def _time(hour: str, minute: str, observed_at: datetime | None) -> datetime | None:
    if observed_at is None:
        return None
    return last_time(int(hour) if hour else None, int(minute), observed_at)


def _peak_wind(text: str, observed_at: datetime | None, problems: list[str]) -> PeakWind | None:
    """Strongest of the peak winds; say what cannot be read."""
    peaks, problem = read_peak_winds(text, observed_at)
    if problem:
        problems.append(problem)
    return max(peaks, key=lambda peak: (peak.speed, peak.at), default=None)


def read_peak_winds(text: str, observed_at: datetime | None) -> tuple[list[PeakWind], str]:
    """Every peak wind after PK WND, in the order of the text; and what cannot be read."""
    peaks: list[PeakWind] = []
    problem = ""
    found = grammar.PEAK_WINDS.search(text)
    for peak in grammar.PEAK_WIND.finditer(found[1] if found else ""):
        direction, at_least, speed, hour, minute = peak.groups()
        at = _time(hour, minute, observed_at)
        if at is None or int(direction) > 360:
            continue
        if direction == "000":
            # The speed is what counts, and it is there: an aircraft on the ground needs it.
            problem = f"peak wind{peak[0]}: direction 000 read as north"
        wind_from = DegreesTrue(float(direction) or 360.0)
        peaks.append(PeakWind(wind_from, Knots(float(speed)), at, bool(at_least)))
    if not peaks:
        problem = f"peak wind cannot be read: {_words_from(text, 'PK WND', 3)}"
    return peaks, problem


def _wind_shift(text: str, observed_at: datetime | None, problems: list[str]) -> datetime | None:
    found = grammar.WIND_SHIFT.search(text)
    at = _time(found[1], found[2], observed_at) if found else None
    if at is None:
        problems.append(f"wind shift cannot be read: {_words_from(text, 'WSHFT', 2)}")
    return at


def _thunder_times(text: str, observed_at: datetime | None) -> tuple[ThunderTime, ...]:
    """When thunder began and ended.

    Where the text's own order contradicts the times the later time counts: thunder that began
    after it ended is not over.
    """
    times = []
    for found in grammar.THUNDER.finditer(text):
        for which, hour, minute in grammar.THUNDER_TIME.findall(found[1]):
            at = _time(hour, minute, observed_at)
            if at is not None:
                times.append(ThunderTime(which == "B", at))
    return tuple(sorted(times, key=lambda time: time.at))


def _lightning(text: str) -> tuple[Lightning, ...]:
    """Every lightning remark: how often, of what kind, where."""
    return tuple(
        Lightning(found[1] or "", tuple(grammar.LIGHTNING_TYPE.findall(found[2])), found[3].strip())
        for found in grammar.LIGHTNING.finditer(text)
    )
