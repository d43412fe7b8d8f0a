"""The questions of ``config new`` about the airfield, its runways and who reports for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from windwatch.airfields.config_text import runway_lines
from windwatch.airfields.crosscheck import bearing_true, distance_ft
from windwatch.airfields.table import (
    AmbiguousAirfield,
    Table,
    UnknownAirfield,
    find_airfield,
    nearest,
    station_of,
)
from windwatch.airfields.values import KnownAirfield
from windwatch.airfields.zones import zone_of
from windwatch.cli import runways_words
from windwatch.cli.new_ask import Asker, read_option
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
from windwatch.errors import FeedError, UsageError
from windwatch.feeds.values import FeedSettings
from windwatch.settings import starting_read as read
from windwatch.settings.starting import AirfieldAnswer, StationAnswer
from windwatch.settings.starting_parts import runways as read_runways
from windwatch.settings.starting_text import typed_runway_lines
from windwatch.wind import DegreesTrue

_FEET_PER_NM: Final = 1852 / 0.3048
_FALL_BACK_WITHIN_NM: Final = 30.0
_FALL_BACKS: Final = 2
_MOST_SHOWN: Final = 8
# A position needs no date; this is inside the years of the magnetic model.
_SOME_DAY: Final = date(2026, 1, 1)
_AS_SHOWN: Final = "as shown"
_NONE: Final = "none"
_LONGEST_NAME: Final = 60
_STATION_SAID: Final = "Which station's reports count for the field? Four letters or digits."
_UNSEEN: Final = (
    "Many small airfields send none (no METAR): then name the nearest one that does. It can be "
    "changed in the file at any time."
)


@dataclass(frozen=True, slots=True)
class _Field:
    """What is known of the airfield before its station is asked for."""

    id: str
    name: str
    place: tuple[float, float]
    elevation_ft: float
    known: KnownAirfield | None = None


def ask_airfield(
    asker: Asker, given: Given, table: Table, feed: FeedSettings | None, today: date
) -> AirfieldAnswer:
    """Ask everything about the airfield.

    Parameters
    ----------
    feed : FeedSettings or None
        Who is asked for stations nearby; None: nobody.
    today : date
        For the magnetic variation of the runway numbers.
    """
    field = _which(asker, given, table, today)
    lines = _runways(asker, given, field)
    zone = _time_zone(asker, given, field, table)
    seen = () if given.station is not None else _asked(asker, field, table, feed)
    station, fall_backs = _stations(asker, given, field, table, seen)
    hours = asker.ask(
        "Hours",
        read.hours,
        option="--hours 07:00-20:00",
        given=given.hours,
        offered="always",
        said=(
            "Local hours of flying, as 07:00-20:00. Outside them runway warnings wait for the "
            "opening; parked aircraft and thunder are told at any time."
        ),
    )
    remark = "Typed in by hand." if field.known is None else field.known.provenance.words
    return AirfieldAnswer(
        id=field.id,
        name=field.name,
        latitude=field.place[0],
        longitude=field.place[1],
        elevation_ft=field.elevation_ft,
        time_zone=zone,
        station=station,
        runway_lines=lines,
        fall_backs=fall_backs,
        hours=hours,
        remark=remark,
        station_known=given.station is not None or station.id in {each.id for each in seen},
    )


# --- which ------------------------------------------------------------------------------


def _which(asker: Asker, given: Given, table: Table, today: date) -> _Field:
    said = (
        "Which airfield? Type its identifier: ICAO, IATA, local or national, as on the chart. "
        f"{table.provenance.airfields} airfields are known."
    )
    answer = given.airfield
    while True:
        typed = asker.ask(
            "Airfield", read.airfield_id, option="--airfield XLKS", given=answer, said=said
        )
        said = ""
        try:
            known = find_airfield(typed, today, table)
        except AmbiguousAirfield as error:
            if answer is not None or asker.silent:
                raise
            asker.say(f"  {error}.")
            continue
        except UnknownAirfield as error:
            if given.position is None and (asker.silent or answer is not None):
                asker.say(_suggested(error))
                if asker.silent:
                    raise UsageError(
                        f"{_suggested(error)} To type it in, add --position 42.93,-76.02 "
                        "--elevation 960 --runways 10=91/28=271"
                    ) from None
            if given.position is not None or _type_in(asker, error):
                return _typed(asker, given, typed)
            answer = None
            continue
        asker.say("", runways_words.in_words(known, today), "")
        if answer is not None or asker.silent or asker.yes("Is it this one?", option="--airfield"):
            return _from_table(asker, given, known)


def _suggested(error: UnknownAirfield) -> str:
    if not error.suggestions:
        return f"{error}."
    meant = "; ".join(f"{row.ident} ({row.name}, {row.country})" for row in error.suggestions)
    return f"{error}. Did you mean one of these? {meant}."


def _type_in(asker: Asker, error: UnknownAirfield) -> bool:
    asker.say(
        "",
        f"{_suggested(error)} No: another identifier. Yes: where it lies and its runways are asked "
        "next.",
    )
    return asker.yes(
        f"Type in {error.identifier} yourself?", option="--position 42.93,-76.02", offered=False
    )


def _from_table(asker: Asker, given: Given, known: KnownAirfield) -> _Field:
    row = known.row
    called = row.name[:_LONGEST_NAME].strip() or row.ident
    place = (row.latitude, row.longitude)
    if given.position is not None:
        place = read_option("--position", given.position, read.place)
    elevation = known.elevation_ft
    if elevation is None or given.elevation is not None:
        elevation_ft = _elevation(asker, given)
    else:
        elevation_ft = float(elevation)
    if given.name is not None:
        called = read_option("--name", given.name, read.name)
    return _Field(row.icao or row.ident, called, place, elevation_ft, known)


def _elevation(asker: Asker, given: Given) -> float:
    return asker.ask(
        "Elevation, feet",
        read.elevation_ft,
        option="--elevation 960",
        given=given.elevation,
        said="How high does the field lie above the sea?",
    )


def _typed(asker: Asker, given: Given, identifier: str) -> _Field:
    called = asker.ask("Name", read.name, option="--name", given=given.name, offered=identifier)
    place = asker.ask(
        "Position",
        read.place,
        option="--position 42.93,-76.02",
        given=given.position,
        said=(
            "Where does it lie? Latitude and longitude in degrees and decimals, north and east "
            "positive, as 42.93,-76.02; or 42.93N 76.02W."
        ),
    )
    return _Field(identifier, called, place, _elevation(asker, given))


# --- runways, time zone -------------------------------------------------------------------


def _runways(asker: Asker, given: Given, field: _Field) -> tuple[str, ...]:
    lines, usable = ([], 0) if field.known is None else runway_lines(field.known)
    said = (
        "Its runways: the names of both ends as painted, each with the heading of somebody landing "
        "on it, in degrees true: 10=91.4/28=271.4, a comma before the next. A magnetic heading "
        "gets an m: 10=103m. Without a heading the number stands for it, approximate: 10/28. One "
        "end alone is used one way."
    )
    if usable:
        said = (
            "Enter takes these runways. What is doubtful or approximate should be compared with a "
            "current chart; it stays marked in the file. To write them yourself instead: "
            "10=91.4/28=271.4, degrees true, a comma before the next."
        )

    def reader(text: str) -> tuple[str, ...]:
        if usable and text in {_AS_SHOWN, "yes", "y"}:
            return tuple(lines)
        return typed_runway_lines(read_runways(text))

    return asker.ask(
        "Runways",
        reader,
        option="--runways 10=91.4/28=271.4",
        given=given.runways,
        offered=_AS_SHOWN if usable else None,
        said=said,
    )


def _time_zone(asker: Asker, given: Given, field: _Field, table: Table) -> str:
    if field.known is not None:
        zone = field.known.time_zone
    else:
        near = nearest(*field.place, 1, table)
        row = near[0].row if near else None
        zone = zone_of(
            "" if row is None else row.country, "" if row is None else row.region, *field.place
        )
    sure = "" if zone.sure else " It is only the likeliest: check it."
    return asker.ask(
        "Time zone",
        read.time_zone,
        option="--time-zone America/New_York",
        given=given.time_zone,
        offered=zone.name or None,
        said=f"Its time zone, by its name in the time zone database.{sure if zone.name else ''}",
    )


# --- who reports ---------------------------------------------------------------------------


def _stations(
    asker: Asker, given: Given, field: _Field, table: Table, seen: tuple[StationSeen, ...]
) -> tuple[StationAnswer, tuple[StationAnswer, ...]]:
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
    )
    return (
        _answer(main, stands.get(main), field, table),
        tuple(_answer(each, stands.get(each), field, table) for each in fall_backs),
    )


def _asked(
    asker: Asker, field: _Field, table: Table, feed: FeedSettings | None
) -> tuple[StationSeen, ...]:
    """Stations nearby, from the feed; where it does not answer, that is said."""
    if feed is None:
        asker.say("", "Stations nearby were not asked for.")
        return ()
    asker.say("", "Asking the feed which stations report nearby …")
    place = Place(*field.place, field.elevation_ft, field.id)
    try:
        found = stations_near(feed, place, WITHIN_NM, table)
    except FeedError as error:
        asker.say(
            f"The feed did not answer ({error}). Type the station yourself; windwatch stations "
            "asks again later."
        )
        return ()
    if not found.stations:
        asker.say(f"Nobody has reported within {WITHIN_NM:g} NM in the last hour and a half.")
        return ()
    asker.say("", stations_table(found.stations[:_MOST_SHOWN]), "", NOT_YOUR_WIND)
    return found.stations


def _likeliest(field: _Field, seen: Sequence[StationSeen]) -> str:
    """The field's own station if it reports, else the nearest; unasked, what the table says."""
    own = station_of(field.known.row) if field.known is not None else ""
    if seen:
        return own if own in {each.id for each in seen} else seen[0].id
    if field.known is None:
        return ""
    near = field.known.station_nearby
    return own or ("" if near is None else near.row.icao)


def _answer(name: str, seen: StationSeen | None, field: _Field, table: Table) -> StationAnswer:
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
