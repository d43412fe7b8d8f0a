"""The forecast beside the wind strip, as plain frozen values. Shown, not yet judged."""

from __future__ import annotations

from typing import NamedTuple

from windwatch.board.values import When
from windwatch.wind import Wind


class ForecastWind(NamedTuple):
    """One forecast wind over one time.

    Attributes
    ----------
    begins, ends : When
    change : str
        ``prevailing``, ``becoming`` or ``temporary``.
    probability_percent : int or None
        Where the forecast says so.
    wind : Wind or None
        None: the forecast gives none for this time.
    words : str
        Time and wind in one sentence, in the reader's unit.
    """

    begins: When
    ends: When
    change: str
    probability_percent: int | None
    wind: Wind | None
    words: str


class ForecastShown(NamedTuple):
    """What is forecast where the airfield's configuration says; no limit is compared with it.

    Attributes
    ----------
    station : str
        For where.
    standing : str
        ``holds``: it is drawn; ``ended``, ``cancelled``, ``not made`` (NIL), ``unreadable``,
        ``none``: nothing is drawn, and `headline` says why.
    headline : str
        Of which station, issued when, until when.
    issued, valid_from, valid_until : When or None
        None where it is not known.
    winds : tuple of ForecastWind
        From now on, in the order of their beginning.
    notes : tuple of str
        That it is not judged, that it is of another place, what of it could not be read.
    raw : str
        As it came, made harmless.
    """

    station: str
    standing: str
    headline: str
    issued: When | None = None
    valid_from: When | None = None
    valid_until: When | None = None
    winds: tuple[ForecastWind, ...] = ()
    notes: tuple[str, ...] = ()
    raw: str = ""
