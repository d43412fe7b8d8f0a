"""The questions of ``config new`` about who reports: the station, and who while it is silent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, NamedTuple

from windwatch.airfields.crosscheck import bearing_true, distance_ft
from windwatch.airfields.table import (
    AmbiguousAirfield,
    Table,
    UnknownAirfield,
    find_airfield,
    station_of,
)
from windwatch.airfields.values import KnownAirfield
from windwatch.cli.new_ask import Asker
from windwatch.cli.new_given import Given
from windwatch.cli.stations import Place, stations_near
from windwatch.cli.stations_seen import (
    MOST_NM,
    NOT_YOUR_WIND,
    WITHIN_NM,
    StationSeen,
    beside_words,
    stations_table,
)
from windwatch.errors import FeedError
from windwatch.feeds.values import FeedSettings
from windwatch.settings import starting_read as read
from windwatch.settings.starting import AirfieldAnswer, StationAnswer
from windwatch.wind import DegreesTrue

_FEET_PER_NM: Final = 1852 / 0.3048
_FALL_BACK_WITHIN_NM: Final = 30.0
_FALL_BACKS: Final = 2
_MOST_SHOWN: Final = 8
# A position needs no date; this is inside the years of the magnetic model.
_SOME_DAY: Final = date(2026, 1, 1)
_NONE: Final = "none"
_STATION_SAID: Final = "Which station's reports count for the field? Four letters or digits."
_UNSEEN: Final = (
    "Many small airfields send none (no METAR): then name the nearest one that does. It can be "
    "changed in the file at any time."
)


@dataclass(frozen=True, slots=True)
class Field:
    """What is known of the airfield before its station is asked for.

    Attributes
    ----------
    place : tuple of two float
        Latitude and longitude. [°]
    elevation_ft : float
        [ft]
    known : KnownAirfield or None
        None: somebody typed it in.
    """

    id: str
    name: str
    place: tuple[float, float]
    elevation_ft: float
    known: KnownAirfield | None = None

    @property
    def about(self) -> str:
        """What an answer about it belongs to: another place is another airfield."""
        return f"{self.id} {self.place}"


class Reporting(NamedTuple):
    """Who reports for an airfield.

    Attributes
    ----------
    seen : bool
        The station was named by the user, or has been seen to report.
    """

    station: StationAnswer
    fall_backs: tuple[StationAnswer, ...]
    seen: bool


class Neighbours:
    """Stations near a place, asked of the feed once each, however often one goes back.

    Parameters
    ----------
    feed : FeedSettings or None
        Who is asked; None: nobody.
    """

    def __init__(self, feed: FeedSettings | None, table: Table) -> None:
        self._feed = feed
        self._table = table
        self._found: dict[Place, tuple[StationSeen, ...] | FeedError] = {}

    def of(self, asker: Asker, field: Field) -> tuple[StationSeen, ...]:
        """Those near an airfield; where the feed does not answer, that is said."""
        if self._feed is None:
            asker.say("", "Stations nearby were not asked for.")
            return ()
        place = Place(*field.place, field.elevation_ft, field.id)
        if place not in self._found:
            asker.say("", "Asking the feed which stations report nearby …")
            try:
                near = stations_near(self._feed, place, WITHIN_NM, self._table)
                self._found[place] = near.stations
            except FeedError as error:
                self._found[place] = error
        found = self._found[place]
        if isinstance(found, FeedError):
            asker.say(
                f"The feed did not answer ({found}). Type the station yourself; windwatch stations "
                "asks again later."
            )
            return ()
        if not found:
            asker.say(f"Nobody has reported within {WITHIN_NM:g} NM in the last hour and a half.")
            return ()
        asker.say("", stations_table(found[:_MOST_SHOWN]), "", NOT_YOUR_WIND)
        return found


def ask_stations(
    asker: Asker, given: Given, field: Field, table: Table, neighbours: Neighbours
) -> Reporting:
    """Ask who reports for the airfield, with those offered that the feed knows nearby."""
    seen = () if given.station is not None else neighbours.of(asker, field)
    stands = {each.id: each for each in seen}

    def near(text: str) -> str:
        found = read.station(text)
        away = _answer(found, stands.get(found), field, table).distance_nm
        if away is not None and away > MOST_NM:
            raise read.Refusal(
                f"{found} is {away:.0f} NM away", f"name a station within {MOST_NM:g} NM"
            )
        return found

    main = asker.ask(
        "Station",
        near,
        option="--station XLKS",
        given=given.station,
        offered=_likeliest(field, seen) or None,
        said=_STATION_SAID if seen else f"{_STATION_SAID} {_UNSEEN}",
        about=field.about,
    )
    others = [each.id for each in seen if each.id != main][:_FALL_BACKS]
    offered = [each for each in others if stands[each].distance_nm <= _FALL_BACK_WITHIN_NM]

    def reader(text: str) -> tuple[str, ...]:
        names = [part for part in text.replace(",", " ").split() if part.lower() != _NONE]
        found = tuple(dict.fromkeys(near(part) for part in names))
        if main in found:
            raise read.Refusal(f"{main} is the station itself", "name others, or none")
        return found

    fall_backs = asker.ask(
        "Fall-backs",
        reader,
        option="--fall-back XBRN",
        given=None if given.fall_back is None else " ".join(given.fall_back),
        offered=" ".join(offered) or _NONE,
        said="Which stations shall be listened to, in this order, while that one is silent?",
        about=f"{field.about} {main}",
    )
    return Reporting(
        _answer(main, stands.get(main), field, table),
        tuple(_answer(each, stands.get(each), field, table) for each in fall_backs),
        seen=given.station is not None or main in stands,
    )


def _likeliest(field: Field, seen: Sequence[StationSeen]) -> str:
    """The field's own station if it reports, else the nearest; unasked, what the table says."""
    own = station_of(field.known.row) if field.known is not None else ""
    if seen:
        return own if own in {each.id for each in seen} else seen[0].id
    if field.known is None:
        return ""
    near = field.known.station_nearby
    return own or ("" if near is None else near.row.icao)


def _answer(name: str, seen: StationSeen | None, field: Field, table: Table) -> StationAnswer:
    """How a station stands to the field: by the feed, else by the table, else not known."""
    if seen is not None:
        return StationAnswer(name, seen.distance_nm, seen.bearing_true, seen.elevation_ft)
    if field.known is not None and name == station_of(field.known.row):
        return StationAnswer(name, 0.0, None, field.elevation_ft)
    try:
        known = find_airfield(name, _SOME_DAY, table)
    except (UnknownAirfield, AmbiguousAirfield):
        return StationAnswer(name)
    if station_of(known.row) != name:
        return StationAnswer(name)
    there = (known.row.latitude, known.row.longitude)
    elevation = known.elevation_ft
    return StationAnswer(
        name,
        distance_ft(field.place, there) / _FEET_PER_NM,
        bearing_true(field.place, there),
        None if elevation is None else float(elevation),
    )


def stands_words(field: AirfieldAnswer) -> list[str]:
    """How each station stands to the airfield, a sentence each."""
    found = []
    for number, station in enumerate((field.station, *field.fall_backs)):
        stands = _stands(station, field)
        if not number and not field.station_known:
            found.append(
                f"Reports shall come from {stands}; that it does report was not seen. Ask: "
                f"windwatch stations --near {field.latitude:g},{field.longitude:g}"
            )
            continue
        role = "Reports come from" if not number else "While it is silent, from"
        found.append(f"{role} {stands}.")
    return found


def _stands(station: StationAnswer, field: AirfieldAnswer) -> str:
    if station.id == field.station.id == field.id:
        return f"{station.id}, at the field"
    if station.distance_nm is None or station.bearing_true_deg is None:
        return f"{station.id}; how far it is, nobody knows here"
    known = station.elevation_ft is not None
    return beside_words(
        StationSeen(
            id=station.id,
            name="",
            latitude=0.0,
            longitude=0.0,
            distance_nm=station.distance_nm,
            bearing_true=DegreesTrue(station.bearing_true_deg),
            higher_by_ft=(station.elevation_ft or 0) - field.elevation_ft if known else None,
        )
    )
