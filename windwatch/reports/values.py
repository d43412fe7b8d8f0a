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
    blowing : bool
        The wind lifts dust, sand or snow at the field (BLDU, BLSA, BLSN, DRDU ...), or is a
        dust whirl, duststorm or sandstorm (PO, DS, SS).
    funnel_cloud_in_vicinity, blowing_in_vicinity : bool
        VCFC; VCBLDU, VCPO, VCDS ...
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
    blowing: bool = False
    funnel_cloud_in_vicinity: bool = False
    blowing_in_vicinity: bool = False


class Trend(NamedTuple):
    """What is expected in the two hours after a report, 15.14: never the observed wind.

    Attributes
    ----------
    word : str
        As coded: ``NOSIG``, ``BECMG``, ``TEMPO``; by national practice ``INTER``, ``PROB``
        alone, ``FM`` alone; or the colour state (``BLU``, ``WHT`` ...) that military stations
        put before the groups to come.
    from_at, to_at : datetime or None
        FM and TL, UTC; both the same for AT. None where the report does not say: from its own
        time, to the end of the two hours.
    wind : Wind or None
        None where the trend names none: the wind stays as it is.
    probability_percent : int or None
        Where PROB says so.
    weather : Weather
        What is expected with it.
    group : str
        The words it comes from.
    """

    word: str
    from_at: datetime | None = None
    to_at: datetime | None = None
    wind: Wind | None = None
    probability_percent: int | None = None
    weather: Weather = Weather()
    group: str = ""


class PlaceWind(NamedTuple):
    """A wind of one runway, height or place, where states report it: never the observed wind.

    Attributes
    ----------
    place : str
        The words that say where, as coded: ``RWY03``, ``WIND THR28``, ``TDZ R01``,
        ``WIND 2600FT``, ``TWR WND``.
    runway : str
        The end it is measured at, ``03``, ``24L``; empty where it is none.
    height_ft : int or None
        Where it is measured on a hill or mast. [ft]
    wind : Wind or None
        None: not reported.
    """

    place: str
    runway: str
    height_ft: int | None
    wind: Wind | None


class ThunderTime(NamedTuple):
    """Thunder that began or ended (TSB, TSE in the remarks), UTC."""

    begins: bool
    at: datetime


class Lightning(NamedTuple):
    """Lightning in the remarks, FMH-1 12.7.1.j.

    Attributes
    ----------
    frequency : str
        ``OCNL``, ``FRQ``, ``CONS``; empty where not said, as from automatic stations.
    types : tuple of str
        ``IC`` in cloud, ``CC`` between clouds, ``CG`` to the ground, ``CA`` to the air.
    location : str
        As coded: ``OHD``, ``VC S``, ``DSNT W AND NW``, ``ALQDS``; empty where not said.
    """

    frequency: str
    types: tuple[str, ...]
    location: str


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
    trends : tuple of Trend
        What is expected in the two hours to come, in the order of the report.
    runway_winds : tuple of PlaceWind
        Winds of single runways, heights and places.
    wind_shear : tuple of str
        Runways with wind shear on take-off or landing (``WS R23``): ``23``; ``ALL``.
    thunder_times : tuple of ThunderTime
        When thunder began and ended, in the order of time.
    lightning : tuple of Lightning
    wind_estimated : bool
        The wind was estimated, not measured (E before it, WIND ESTD in the remarks).
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
    trends: tuple[Trend, ...] = ()
    runway_winds: tuple[PlaceWind, ...] = ()
    wind_shear: tuple[str, ...] = ()
    thunder_times: tuple[ThunderTime, ...] = ()
    lightning: tuple[Lightning, ...] = ()
    wind_estimated: bool = False

    @property
    def corrected(self) -> bool:
        """Whether it corrects an earlier report."""
        return self.correction > 0
