"""The questions of ``config new`` about the airfield: which it is, its runways, its hours."""

from __future__ import annotations

from datetime import date
from typing import Final

from windwatch.airfields.config_text import runway_lines
from windwatch.airfields.table import (
    AmbiguousAirfield,
    Table,
    UnknownAirfield,
    find_airfield,
    nearest,
)
from windwatch.airfields.values import KnownAirfield
from windwatch.airfields.zones import zone_of
from windwatch.cli import runways_words
from windwatch.cli.new_ask import Asker, read_option
from windwatch.cli.new_given import Given
from windwatch.cli.new_stations import Field, Neighbours, ask_stations
from windwatch.errors import UsageError
from windwatch.settings import starting_read as read
from windwatch.settings.starting import AirfieldAnswer
from windwatch.settings.starting_parts import runways as read_runways
from windwatch.settings.starting_text import typed_runway_lines

_AS_SHOWN: Final = "as shown"
_LONGEST_NAME: Final = 60


def ask_airfield(
    asker: Asker, given: Given, table: Table, neighbours: Neighbours, today: date
) -> AirfieldAnswer:
    """Ask everything about the airfield.

    Parameters
    ----------
    today : date
        For the magnetic variation of the runway numbers.
    """
    field = _which(asker, given, table, today)
    lines, as_shown = _runways(asker, given, field)
    zone = _time_zone(asker, given, field, table)
    reporting = ask_stations(asker, given, field, table, neighbours)
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
    known = field.known
    shown = known.runways if known is not None and as_shown else ()
    return AirfieldAnswer(
        id=field.id,
        name=field.name,
        latitude=field.place[0],
        longitude=field.place[1],
        elevation_ft=field.elevation_ft,
        time_zone=zone,
        station=reporting.station,
        runway_lines=lines,
        fall_backs=reporting.fall_backs,
        hours=hours,
        remark="Typed in by hand." if known is None else known.provenance.words,
        station_known=reporting.seen,
        table_runways=tuple(runway.name for runway in shown),
        doubts=tuple(
            f"{runway.name} is doubtful: {doubt}" for runway in shown for doubt in runway.doubts
        ),
    )


# --- which ------------------------------------------------------------------------------


def _which(asker: Asker, given: Given, table: Table, today: date) -> Field:
    answer = given.airfield
    tried: list[str] = []
    while True:
        typed = asker.ask(
            "Airfield",
            read.airfield_id,
            option="--airfield XLKS",
            given=answer,
            said=(
                "Which airfield? Type its identifier: ICAO, IATA, local or national, as on the "
                f"chart. {table.provenance.airfields} airfields are known."
            ),
            explained=bool(tried),
            # What was just declined is not offered again.
            about=" ".join(tried),
        )
        tried.append(typed)
        try:
            known = find_airfield(typed, today, table)
        except AmbiguousAirfield as error:
            if answer is not None or asker.silent:
                raise
            asker.say(f"  {error}.")
            continue
        except UnknownAirfield as error:
            if given.position is None and asker.silent:
                raise UsageError(
                    f"{_suggested(error)} To type it in, add --position 42.93,-76.02 "
                    "--elevation 960 --runways 10=91/28=271"
                ) from None
            if given.position is not None or _type_in(asker, error):
                return _typed(asker, given, typed)
            answer = None
            continue
        asker.say("", runways_words.in_words(known, today), "")
        if (
            answer is not None
            or asker.silent
            or asker.yes("Is it this one?", option="--airfield", about=typed)
        ):
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


def _from_table(asker: Asker, given: Given, known: KnownAirfield) -> Field:
    row = known.row
    called = row.name[:_LONGEST_NAME].strip() or row.ident
    place = (row.latitude, row.longitude)
    if given.position is not None:
        place = read_option("--position", given.position, read.place)
    elevation = known.elevation_ft
    if elevation is None or given.elevation is not None:
        elevation_ft = _elevation(asker, given, row.ident)
    else:
        elevation_ft = float(elevation)
    if given.name is not None:
        called = read_option("--name", given.name, read.name)
    return Field(row.icao or row.ident, called, place, elevation_ft, known)


def _elevation(asker: Asker, given: Given, identifier: str) -> float:
    return asker.ask(
        "Elevation, feet",
        read.elevation_ft,
        option="--elevation 960",
        given=given.elevation,
        said="How high does the field lie above the sea?",
        about=identifier,
    )


def _typed(asker: Asker, given: Given, identifier: str) -> Field:
    called = asker.ask(
        "Name",
        read.name,
        option="--name",
        given=given.name,
        offered=identifier,
        said="What do people call it? It stands in every notice.",
    )
    place = asker.ask(
        "Position",
        read.place,
        option="--position 42.93,-76.02",
        given=given.position,
        said=(
            "Where does it lie? Latitude and longitude in degrees and decimals, north and east "
            "positive, as 42.93,-76.02; or 42.93N 76.02W."
        ),
        about=identifier,
    )
    return Field(identifier, called, place, _elevation(asker, given, identifier))


# --- runways, time zone -------------------------------------------------------------------


def _runways(asker: Asker, given: Given, field: Field) -> tuple[tuple[str, ...], bool]:
    """The text of its runways, and whether it is that of the table."""
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

    def reader(text: str) -> tuple[tuple[str, ...], bool]:
        if usable and text.lower() in {_AS_SHOWN, "yes", "y"}:
            return tuple(lines), True
        return typed_runway_lines(read_runways(text)), False

    return asker.ask(
        "Runways",
        reader,
        option="--runways 10=91.4/28=271.4",
        given=given.runways,
        offered=_AS_SHOWN if usable else None,
        said=said,
        about=field.about,
    )


def _time_zone(asker: Asker, given: Given, field: Field, table: Table) -> str:
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
        about=field.about,
    )
