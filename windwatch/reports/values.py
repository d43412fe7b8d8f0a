"""What a decoded report says."""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

from windwatch.wind import PeakWind, Wind


class Weather(NamedTuple):
    """The present weather and cloud that matter on an apron.

    Attributes
    ----------
    reported : bool
        The report has a weather part at all (false for NIL or an unreadable report).
    thunderstorm, squall, funnel_cloud : bool
        At the field (TS, SQ, FC, +FC).
    thunder_in_vicinity : bool
        VCTS.
    cumulonimbus : bool
        A cloud group ending in CB.
    thunder_ended_at : datetime or None
        The last thunder's end from the remarks (TSE51, TSB04E41), UTC.
    rain, snow, ice : bool
        Any liquid; snow, snow grains or pellets; freezing or ice pellets, hail.
    groups : tuple of str
        The weather groups as coded, for people.
    """

    reported: bool = False
    thunderstorm: bool = False
    squall: bool = False
    funnel_cloud: bool = False
    thunder_in_vicinity: bool = False
    cumulonimbus: bool = False
    thunder_ended_at: datetime | None = None
    rain: bool = False
    snow: bool = False
    ice: bool = False
    groups: tuple[str, ...] = ()


class Report(NamedTuple):
    """One METAR or SPECI, decoded.

    Attributes
    ----------
    raw : str
        Normalised text: white space collapsed, upper case, end mark removed.
    station : str
        Who reports.
    kind : str
        ``METAR`` or ``SPECI``.
    observed_at : datetime or None
        Aware, UTC; None where the text has no readable time.
    correction : int
        0 for an original, 1 and up for corrections (COR, CCA, CCB ...).
    automatic, nil : bool
        AUTO, NIL.
    wind : Wind or None
        None: not reported, which is never calm.
    peak_wind : PeakWind or None
        The strongest one where two are given.
    wind_shift_at : datetime or None
        From WSHFT, UTC.
    temperature_c, dew_point_c, pressure_hpa : float or None
    problems : tuple of str
        What contradicts itself or could not be read, the group named.
    undecoded : tuple of str
        Groups before the remarks that nobody claimed.
    wind_doubtful : bool
        The wind is a likely reading, not a certain one (a figure, the direction or the unit
        is in doubt): it may open an alert, and must not close one.
    maintenance : bool
        ``$`` in the remarks: the station says that it needs maintenance.
    frontal_passage : bool
        FROPA in the remarks: the wind shifted because a front passed.
    """

    raw: str
    station: str
    kind: str
    observed_at: datetime | None
    correction: int = 0
    automatic: bool = False
    nil: bool = False
    wind: Wind | None = None
    peak_wind: PeakWind | None = None
    wind_shift_at: datetime | None = None
    weather: Weather = Weather()
    temperature_c: float | None = None
    dew_point_c: float | None = None
    pressure_hpa: float | None = None
    problems: tuple[str, ...] = ()
    undecoded: tuple[str, ...] = ()
    wind_doubtful: bool = False
    maintenance: bool = False
    frontal_passage: bool = False

    @property
    def corrected(self) -> bool:
        """Whether it corrects an earlier report."""
        return self.correction > 0
