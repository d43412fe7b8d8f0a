"""A table of airfields made from two downloaded files of the open data."""

from __future__ import annotations

import csv
import gzip
import io
import os
import re
import tempfile
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Final, NamedTuple

from windwatch.airfields.form import head, write_row
from windwatch.airfields.values import Provenance, Row, RowEnd, RowRunway
from windwatch.errors import UsageError

SOURCE: Final = "OurAirports (ourairports.com), airports.csv and runways.csv"
LICENCE: Final = "public domain"
_MADE: Final = (
    "heliports, balloonports, closed aerodromes, helipads and places without a runway left out; "
    "positions rounded to 0.00001 degrees"
)

# The world's files had 12.7 MB and 85,572 rows, 4.0 MB and 48,011 rows in September 2026.
_LARGEST_FILE: Final = 100_000_000
_MOST_ROWS: Final = 500_000
_LONGEST_FIELD: Final = 20_000
_LONGEST_TEXT: Final = 80
_MOST_RUNWAYS: Final = 60  # of one airfield

_KINDS: Final = {
    "large_airport": "L",
    "medium_airport": "M",
    "small_airport": "S",
    "seaplane_base": "W",
}
_LEFT_OUT: Final = {
    "heliport": "heliports",
    "balloonport": "balloonports",
    "closed": "closed aerodromes",
}
_IDENTIFIER: Final = re.compile(r"[A-Z0-9][A-Z0-9-]{1,9}")
_HELIPAD: Final = re.compile(r"H[0-9IX]*[A-Z]?|PAD|B[0-9]")
_NOT_NAMED: Final = {"XX", "UNKNOWN", "-", ".", "..", "X"}
# Signs that part the table, and what nobody can see.
_PARTING: Final = frozenset(";|")
_INVISIBLE: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})

_AIRPORT_COLUMNS: Final = (
    "ident", "type", "name", "latitude_deg", "longitude_deg", "elevation_ft", "iso_country",
    "iso_region", "municipality", "icao_code", "iata_code", "gps_code", "local_code",
)  # fmt: skip
_RUNWAY_COLUMNS: Final = (
    "airport_ident", "length_ft", "width_ft", "surface", "lighted", "closed",
    *(f"{end}_{part}" for end in ("le", "he") for part in (
        "ident", "latitude_deg", "longitude_deg", "elevation_ft", "heading_degT",
        "displaced_threshold_ft",
    )),
)  # fmt: skip

_NOTHING: Final = RowRunway(ends=(RowEnd(""), RowEnd("")))

Fields = Mapping[str, str]
Complain = Callable[[str], None]


class Rebuilt(NamedTuple):
    """What came of making a table.

    Attributes
    ----------
    problems : tuple of str
        Rows and figures that were left out, a sentence each with file and line.
    left_out : mapping of str to int
        How many of each sort were left out on purpose.
    """

    rows: tuple[Row, ...]
    provenance: Provenance
    problems: tuple[str, ...]
    left_out: Mapping[str, int]


def rebuild(airports: Path, runways: Path, copied: date) -> Rebuilt:
    """Make the rows of a table from two downloaded files.

    Parameters
    ----------
    airports, runways : Path
        ``airports.csv`` and ``runways.csv`` of the open data.
    copied : date
        Date of that copy; it is shown wherever the table is used.

    Raises
    ------
    UsageError
        If a file cannot be read, is too large, or is not of this form.
    """
    making = _Making()
    by_airfield = _runways_of(runways, making)
    rows = _airfields_of(airports, by_airfield, making)
    for ident in by_airfield.keys() - making.known:
        making.problems.append(f"{runways.name}: {ident[:20]!r}: a runway of no known airfield")
    if not rows:
        raise UsageError(
            f"no airfield with a runway in {airports} and {runways}; are they the right files?"
        )
    kept = tuple(rows[ident] for ident in sorted(rows))
    count = sum(len(row.runways) for row in kept)
    provenance = Provenance(SOURCE, LICENCE, copied, _MADE, len(kept), count)
    return Rebuilt(kept, provenance, tuple(making.problems), dict(sorted(making.left_out.items())))


@dataclass
class _Making:
    """What is noted while a table is made."""

    problems: list[str] = field(default_factory=list)
    left_out: Counter[str] = field(default_factory=Counter)
    known: set[str] = field(default_factory=set)

    def complaint(self, path: Path, line: int, ident: str) -> Complain:
        """Take complaints about one row."""
        return lambda words: self.problems.append(f"{path.name}:{line}: {ident[:20]}: {words}")


def _runways_of(path: Path, making: _Making) -> dict[str, list[RowRunway]]:
    """Runways by the key of their airfield."""
    found: dict[str, list[RowRunway]] = {}
    for line, fields in _rows_of(path, _RUNWAY_COLUMNS, making.problems.append):
        ident = fields["airport_ident"].upper()
        complain = making.complaint(path, line, ident)
        if _is_helipad(fields):
            making.left_out["helipads"] += 1
            continue
        runway = _runway(fields, complain)
        here = found.setdefault(ident, [])
        if runway == _NOTHING:
            making.left_out["runways of which nothing is stated"] += 1
        elif len(here) >= _MOST_RUNWAYS:
            complain(f"more than {_MOST_RUNWAYS} runways at one airfield; left out")
        else:
            here.append(runway)
    return found


def _airfields_of(
    path: Path, by_airfield: Mapping[str, list[RowRunway]], making: _Making
) -> dict[str, Row]:
    """Airfields with their runways, by their key."""
    rows: dict[str, Row] = {}
    for line, fields in _rows_of(path, _AIRPORT_COLUMNS, making.problems.append):
        ident = fields["ident"].upper()
        complain = making.complaint(path, line, ident)
        kind = _KINDS.get(fields["type"])
        twice = ident in making.known
        making.known.add(ident)
        if kind is None:
            making.left_out[_LEFT_OUT.get(fields["type"], "of no known type")] += 1
            if fields["type"] not in _LEFT_OUT:
                complain(f"type {fields['type'][:40]!r} is not known; left out")
        elif twice:
            complain("stands twice; the second is left out")
        elif not by_airfield.get(ident):
            making.left_out["airfields without a runway"] += 1
        else:
            runways = tuple(sorted(by_airfield[ident], key=_order))
            row = _airfield(fields, kind, runways, complain)
            if row is not None:
                rows[ident] = row
    return rows


def table_bytes(rows: Iterable[Row], provenance: Provenance) -> bytes:
    """The table, compressed; the same rows give the same bytes."""
    text = head(provenance) + "".join(f"{write_row(row)}\n" for row in rows)
    # No name and no time in the head of the compressed file.
    return gzip.compress(text.encode(), compresslevel=9, mtime=0)


def write_table(out: Path, table: bytes) -> None:
    """Write a table in one go: whoever reads it meanwhile finds the old one or the new one.

    Raises
    ------
    UsageError
        If it cannot be written.
    """
    part = ""
    try:
        handle, part = tempfile.mkstemp(dir=out.parent, prefix=f".{out.name}.")
        with os.fdopen(handle, "wb") as file:
            file.write(table)
            file.flush()
            os.fsync(file.fileno())
        # As any file that a person makes, not as the private one that it began as.
        Path(part).chmod(0o644)
        Path(part).replace(out)
    except OSError as error:
        with suppress(OSError):
            Path(part or out.parent / f".{out.name}.").unlink(missing_ok=True)
        raise UsageError(f"{out} cannot be written: {error.strerror or error}") from None


# --- rows ------------------------------------------------------------------------------


def _rows_of(
    path: Path, columns: Iterable[str], complain: Complain
) -> Iterator[tuple[int, Fields]]:
    """Line number and fields of every row; a row of the wrong length is reported and skipped."""
    reader = csv.reader(io.StringIO(_text_of(path), newline=""), strict=True)
    csv.field_size_limit(_LONGEST_FIELD)
    try:
        names = next(reader, [])
        missing = [name for name in columns if name not in names]
        if missing:
            raise UsageError(
                f"{path}: no column {', '.join(missing[:4])}; is it the right file, with its first "
                "line?"
            )
        for count, values in enumerate(reader):
            if count >= _MOST_ROWS:
                raise UsageError(f"{path}: more than {_MOST_ROWS} rows; is it the right file?")
            if len(values) != len(names):
                complain(
                    f"{path.name}:{reader.line_num}: {len(values)} fields instead of "
                    f"{len(names)}; left out"
                )
                continue
            yield reader.line_num, dict(zip(names, map(str.strip, values), strict=True))
    except csv.Error as error:
        raise UsageError(
            f"{path}, line {reader.line_num}: {error}; is the file whole? Download it again"
        ) from None


def _text_of(path: Path) -> str:
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise UsageError(f"{path} is larger than {_LARGEST_FILE // 1_000_000} MB; not read")
        return path.read_bytes().decode("utf-8-sig", errors="replace")
    except OSError as error:
        raise UsageError(f"{path} cannot be read: {error.strerror or error}") from None


def _airfield(
    fields: Fields, kind: str, runways: tuple[RowRunway, ...], complain: Complain
) -> Row | None:
    latitude = _number(fields["latitude_deg"], -90, 90, "latitude", complain)
    longitude = _number(fields["longitude_deg"], -180, 180, "longitude", complain)
    if latitude is None or longitude is None:
        complain("no position; left out")
        return None
    identifiers = [
        _identifier(fields[name], complain)
        for name in ("ident", "icao_code", "gps_code", "iata_code", "local_code")
    ]
    if not identifiers[0]:
        complain("its key is no identifier; left out")
        return None
    ident, icao, gps, iata, local = identifiers
    return Row(
        ident=ident,
        icao=icao,
        gps=gps,
        iata=iata,
        local=local,
        kind=kind,
        country=_identifier(fields["iso_country"], complain),
        region=_identifier(fields["iso_region"], complain),
        latitude=round(latitude, 5),
        longitude=round(longitude, 5),
        elevation_ft=_whole(fields["elevation_ft"], -1500, 20_000, "elevation", complain),
        name=_plain(fields["name"]),
        town=_plain(fields["municipality"]),
        runways=runways,
    )


def _is_helipad(fields: Fields) -> bool:
    names = {fields["le_ident"].upper(), fields["he_ident"].upper()} - {"", "-"}
    return bool(names) and all(map(_HELIPAD.fullmatch, names))


def _runway(fields: Fields, complain: Complain) -> RowRunway:
    names = [fields["le_ident"].upper(), fields["he_ident"].upper()]
    first, second = (
        _end("" if name in _NOT_NAMED else _plain(name)[:8], fields, end, complain)
        for name, end in zip(names, ("le", "he"), strict=True)
    )
    return RowRunway(
        ends=(first, second),
        length_ft=_whole(fields["length_ft"], 1, 60_000, "length", complain),
        width_ft=_whole(fields["width_ft"], 1, 9_000, "width", complain),
        surface=_plain(fields["surface"])[:40],
        lighted=fields["lighted"] == "1",
        closed=fields["closed"] == "1",
    )


def _end(name: str, fields: Fields, end: str, complain: Complain) -> RowEnd:
    which = f"end {name or end}"
    latitude = _number(fields[f"{end}_latitude_deg"], -90, 90, f"{which}, latitude", complain)
    longitude = _number(fields[f"{end}_longitude_deg"], -180, 180, f"{which}, longitude", complain)
    heading = _number(fields[f"{end}_heading_degT"], 0, 360, f"{which}, heading", complain)
    if latitude is None or longitude is None or latitude == longitude == 0:
        latitude = longitude = None
    return RowEnd(
        name=name,
        latitude=None if latitude is None else round(latitude, 5),
        longitude=None if longitude is None else round(longitude, 5),
        elevation_ft=_whole(
            fields[f"{end}_elevation_ft"], -1500, 20_000, f"{which}, elevation", complain
        ),
        heading_true=None if heading is None else round(heading, 2) or 360.0,
        displaced_ft=_whole(
            fields[f"{end}_displaced_threshold_ft"], 1, 10_000, f"{which}, displaced", complain
        ),
    )


def _order(runway: RowRunway) -> tuple[bool, str, str, int]:
    """Open ones first, then by name."""
    first, second = runway.ends
    return runway.closed, first.name, second.name, runway.length_ft or 0


# --- fields ----------------------------------------------------------------------------


def _number(text: str, least: float, most: float, what: str, complain: Complain) -> float | None:
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if least <= value <= most:
        return value
    complain(f"{what} {text[:20]!r} is not from {least:g} to {most:g}; taken as not stated")
    return None


def _whole(text: str, least: int, most: int, what: str, complain: Complain) -> int | None:
    if text in {"0", "0.0"} and least > 0:
        return None  # a length of 0 says: not known
    value = _number(text, least, most, what, complain)
    return None if value is None else round(value)


def _identifier(text: str, complain: Complain) -> str:
    """An identifier in capitals; '' where there is none, or nothing that could be one."""
    if not text:
        return ""
    if _IDENTIFIER.fullmatch(text.upper()):
        return text.upper()
    complain(f"{text[:20]!r} is no identifier; taken as not stated")
    return ""


def _plain(text: str) -> str:
    """Text for one part of a line: no line breaks, nothing invisible, no parting signs."""
    seen = (
        " " if sign in _PARTING or unicodedata.category(sign) in _INVISIBLE else sign
        for sign in text
    )
    return " ".join("".join(seen).split())[:_LONGEST_TEXT].rstrip()
