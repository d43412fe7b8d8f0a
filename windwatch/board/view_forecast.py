"""The forecast that follows the wind strip: drawn where it holds, and said in words. Pure.

Shown, not yet judged: no level on any page depends on it.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from windwatch.board.forecast_values import ForecastShown, ForecastWind
from windwatch.board.now import FieldNow
from windwatch.board.values import When
from windwatch.board.view_stations import where
from windwatch.board.words import (
    FORECAST_NONE,
    FORECAST_NOT_JUDGED,
    FORECAST_OF_OTHER,
    FORECAST_THUNDER,
)
from windwatch.drawings.strip_facts import Strip, spans_of
from windwatch.drawings.wind_words import wind_sentence
from windwatch.notices.clean import REMARK_LIMIT, REPORT_LIMIT, visible
from windwatch.reports.forecast import Change, Forecast, Spell

# How far the strip reaches beyond now: a working day, and at least so far that it can be seen.
AHEAD: Final = timedelta(hours=12)
LEAST_AHEAD: Final = timedelta(hours=3)
_KIND: Final = {
    Change.PREVAILING: "",
    Change.BECOMING: "becoming",
    Change.TEMPORARY: "for a time",
}


def with_forecast(strip: Strip, here: FieldNow) -> Strip:
    """The strip with the forecast that follows, where one holds."""
    read = here.read.forecast
    if read is None or standing(read.forecast, here.now) != "holds":
        return strip
    until = read.forecast.valid_to or here.now
    ahead = min(AHEAD, max(LEAST_AHEAD, until - here.now))
    return strip._replace(
        forecast=spans_of(read.forecast), ahead=ahead, forecast_of=read.forecast.station
    )


def standing(forecast: Forecast, now: datetime) -> str:
    """How a forecast stands: see `ForecastShown`."""
    if forecast.cancelled:
        return "cancelled"
    if forecast.nil:
        return "not made"
    if forecast.valid_to is None:
        return "unreadable"
    if forecast.valid_to <= now:
        return "ended"
    return "holds" if any(spell.wind is not None for spell in forecast.spells) else "unreadable"


def forecast_shown(here: FieldNow) -> ForecastShown | None:
    """The forecast in words; None where the airfield names no station for it."""
    station = here.airfield.forecast_station
    if station is None:
        return None
    read = here.read.forecast
    if read is None:
        return ForecastShown(station, "none", FORECAST_NONE.format(station=station))
    forecast = read.forecast
    stands = standing(forecast, here.now)
    return ForecastShown(
        station=station,
        standing=stands,
        headline=_headline(here, forecast, stands),
        issued=_when(here, forecast.issued_at),
        valid_from=_when(here, forecast.valid_from),
        valid_until=_when(here, forecast.valid_to),
        winds=_winds(here, forecast) if stands == "holds" else (),
        notes=_notes(here, forecast, stands),
        raw=visible(read.raw, REPORT_LIMIT),
    )


def _when(here: FieldNow, moment: datetime | None) -> When | None:
    return None if moment is None else here.when(moment)


def _headline(here: FieldNow, forecast: Forecast, stands: str) -> str:
    of = f"The forecast of {forecast.station}"
    if forecast.issued_at is not None:
        kind = "amended, " if forecast.amended else "corrected, " if forecast.corrected else ""
        of += f", {kind}issued {here.when(forecast.issued_at).words},"
    match stands:
        case "cancelled":
            return f"{of} says that it is cancelled; none newer has come."
        case "not made":
            return f"{of} says that none was made; none newer has come."
        case "unreadable":
            return f"{of} could not be read: it is not drawn."
        case _:
            ends = here.when(forecast.valid_to or here.now).words
            if stands == "ended":
                return f"{of} ended {ends}; none newer has come."
            if forecast.valid_from is not None and forecast.valid_from > here.now:
                return f"{of} is valid from {here.when(forecast.valid_from).words} until {ends}."
            return f"{of} is valid until {ends}."


def _winds(here: FieldNow, forecast: Forecast) -> tuple[ForecastWind, ...]:
    """What is still to come, or goes on now."""
    return tuple(
        ForecastWind(
            begins=here.when(spell.from_at),
            ends=here.when(spell.to_at),
            change=spell.change.value,
            probability_percent=spell.probability_percent,
            wind=spell.wind,
            words=_spell_in_words(here, spell),
        )
        for spell in forecast.spells
        if spell.to_at > here.now
    )


def _spell_in_words(here: FieldNow, spell: Spell) -> str:
    kind = _KIND[spell.change]
    if spell.probability_percent is not None:
        kind += f"{', ' if kind else ''}probability {spell.probability_percent} %"
    if spell.wind is not None:
        said = wind_sentence(spell.wind, here.unit)
        said = said[0].lower() + said[1:]
    else:
        said = "no wind of its own, what prevails holds on"
    end = ", thunder" if _thunder(spell) else ""
    return f"{_span(here, spell)}: {f'{kind}, ' if kind else ''}{said}{end}."


def _thunder(spell: Spell) -> bool:
    """At the field or near it; where no word is said of weather, that of before may go on."""
    return spell.weather.thunderstorm or spell.weather.thunder_in_vicinity


def _span(here: FieldNow, spell: Spell) -> str:
    """``14:00 to 16:00 local (18:00Z to 20:00Z)``; a day that both share is said once."""
    begins, ends = here.when(spell.from_at), here.when(spell.to_at)
    if here.times.zone is None:
        return f"{begins.utc} to {ends.utc}"
    day = begins.local.rpartition(" ")[0]
    until = ends.local.removeprefix(f"{day} ") if day else ends.local
    # Beside the local day the other day's date would only confuse.
    utc = f"{spell.from_at:%H:%MZ} to {spell.to_at:%H:%MZ}"
    return f"{begins.local} to {until} local ({utc})"


def _notes(here: FieldNow, forecast: Forecast, stands: str) -> tuple[str, ...]:
    notes = [FORECAST_NOT_JUDGED] if stands == "holds" else []
    if stands == "holds" and any(_thunder(s) for s in forecast.spells if s.to_at > here.now):
        notes.append(FORECAST_THUNDER)
    if forecast.station not in (here.airfield.station.id, here.airfield.id):
        notes.append(_elsewhere(here, forecast.station))
    if stands in ("holds", "unreadable"):
        notes += [f"{visible(problem, REMARK_LIMIT)}." for problem in forecast.problems]
    return tuple(notes)


def _elsewhere(here: FieldNow, station: str) -> str:
    field = here.airfield
    known = next((each for each in field.fall_back_stations if each.id == station), None)
    place = "" if known is None else where(known, here)
    return FORECAST_OF_OTHER.format(station=station, place=f" ({place})" if place else "")
