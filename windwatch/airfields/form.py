"""The form of the table: one line of text an airfield, and back again.

The first lines say where it comes from, a key and its words each; an empty line ends them. Then
one airfield a line, sorted by its key, parts parted by tabs: the identifiers (``=``: as the
first), kind, country, region, latitude, longitude, elevation, name, town, and the runways.
Runways are parted by ``|`` and their parts by ``;``. The thresholds are counted in 0.00001
degrees (about 1 m) from the airfield's own position, which makes the table half as large.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Final

from windwatch.airfields.values import Provenance, Row, RowEnd, RowRunway
from windwatch.errors import UsageError

FORM: Final = "windwatch airfields, form 1"
_SAME: Final = "="
_STEPS: Final = 100_000  # to a degree
_HEADER_KEYS: Final = ("source", "licence", "copied", "made", "airfields", "runways")
_LONGEST_HEADER: Final = 4096
ROW_PARTS: Final = 14
# Where the parts stand that a search through all lines looks at.
KIND, LATITUDE, LONGITUDE, NAME = 5, 8, 9, 11


# --- the head ------------------------------------------------------------------------


def head(provenance: Provenance) -> str:
    """The first lines of a table."""
    lines = [FORM, *(f"{key}\t{getattr(provenance, key)}" for key in _HEADER_KEYS)]
    return "\n".join(lines) + "\n\n"


def read_head(table: bytes, where: str) -> tuple[Provenance, int]:
    """Where a table comes from, and the place at which its airfields begin.

    Raises
    ------
    UsageError
        If it is no such table.
    """
    end = table.find(b"\n\n", 0, _LONGEST_HEADER)
    try:
        first, *lines = table[: max(end, 0)].decode().split("\n")
        said = dict(line.split("\t", 1) for line in lines if first == FORM)
        provenance = Provenance(
            source=said["source"],
            licence=said["licence"],
            copied=date.fromisoformat(said["copied"]),
            made=said["made"],
            airfields=int(said["airfields"]),
            runways=int(said["runways"]),
        )
    except (ValueError, KeyError):
        raise UsageError(
            f"{where} is no table of airfields of this version; make one with windwatch "
            "airfields rebuild, or do without --table"
        ) from None
    # The second line break stays: every airfield's line then has one before it.
    return provenance, end + 1


# --- a line --------------------------------------------------------------------------


def write_row(row: Row) -> str:
    """One airfield as a line, without its line break."""
    others = [_SAME if each == row.ident else each for each in row.identifiers[1:]]
    region = row.region.removeprefix(f"{row.country}-")
    return "\t".join(
        (
            row.ident,
            *others,
            row.kind,
            row.country,
            region,
            _figure(row.latitude, 5),
            _figure(row.longitude, 5),
            _whole(row.elevation_ft),
            row.name,
            row.town,
            "|".join(_write_runway(runway, row) for runway in row.runways),
        )
    )


def read_row(line: str) -> Row:
    """The airfield of a line.

    Raises
    ------
    ValueError
        If the line is no such line.
    """
    parts = line.split("\t")
    if len(parts) != ROW_PARTS:
        raise ValueError(f"{len(parts)} parts instead of {ROW_PARTS}")
    icao, gps, iata, local = (parts[0] if each == _SAME else each for each in parts[1:5])
    kind, country, region, latitude, longitude, elevation, name, town, runways = parts[5:]
    place = (float(latitude), float(longitude))
    return Row(
        ident=parts[0],
        icao=icao,
        gps=gps,
        iata=iata,
        local=local,
        kind=kind,
        country=country,
        region=f"{country}-{region}",
        latitude=place[0],
        longitude=place[1],
        elevation_ft=_read_whole(elevation),
        name=name,
        town=town,
        runways=tuple(_read_runway(each, place) for each in runways.split("|") if each),
    )


def _write_runway(runway: RowRunway, row: Row) -> str:
    flags = ("L" if runway.lighted else "") + ("X" if runway.closed else "")
    first, second = runway.ends
    parts = [
        *(first.name, second.name),
        *(_whole(runway.length_ft), _whole(runway.width_ft), runway.surface, flags),
        *_write_end(first, row),
        *_write_end(second, row),
    ]
    return ";".join(parts).rstrip(";")


def _write_end(end: RowEnd, row: Row) -> Iterable[str]:
    return (
        _steps(end.latitude, row.latitude),
        _steps(end.longitude, row.longitude),
        _whole(end.elevation_ft),
        "" if end.heading_true is None else _figure(end.heading_true, 2),
        _whole(end.displaced_ft),
    )


def _read_runway(text: str, place: tuple[float, float]) -> RowRunway:
    parts = text.split(";")
    if len(parts) > 16:
        raise ValueError(f"a runway of {len(parts)} parts")
    parts += [""] * (16 - len(parts))
    return RowRunway(
        ends=(
            _read_end(parts[0], parts[6:11], place),
            _read_end(parts[1], parts[11:16], place),
        ),
        length_ft=_read_whole(parts[2]),
        width_ft=_read_whole(parts[3]),
        surface=parts[4],
        lighted="L" in parts[5],
        closed="X" in parts[5],
    )


def _read_end(name: str, parts: list[str], place: tuple[float, float]) -> RowEnd:
    north, east, elevation, heading, displaced = parts
    return RowEnd(
        name=name,
        latitude=_from_steps(north, place[0]),
        longitude=_from_steps(east, place[1]),
        elevation_ft=_read_whole(elevation),
        heading_true=float(heading) if heading else None,
        displaced_ft=_read_whole(displaced),
    )


def _steps(value: float | None, origin: float) -> str:
    return "" if value is None else str(round(value * _STEPS) - round(origin * _STEPS))


def _from_steps(text: str, origin: float) -> float | None:
    return (round(origin * _STEPS) + int(text)) / _STEPS if text else None


def _figure(value: float, places: int) -> str:
    text = f"{value:.{places}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _whole(value: int | None) -> str:
    return "" if value is None else str(value)


def _read_whole(text: str) -> int | None:
    return int(text) if text else None
