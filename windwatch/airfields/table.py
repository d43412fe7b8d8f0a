"""Look-up in the table of airfields: by any identifier, by place, and by what was nearly typed.

The table stays text: a look-up searches its bytes and reads one line, which takes a few
hundredths of a second with everything that Python needs for it.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Final, NamedTuple

from windwatch.airfields.crosscheck import (
    bearing_true,
    cross_check,
    distance_ft,
    other_name,
)
from windwatch.airfields.form import (
    KIND,
    LATITUDE,
    LONGITUDE,
    NAME,
    read_head,
    read_row,
)
from windwatch.airfields.surface import plain_surface
from windwatch.airfields.values import (
    IDENTIFIER_KINDS,
    Basis,
    KnownAirfield,
    KnownEnd,
    KnownRunway,
    Nearby,
    Provenance,
    Row,
    RowRunway,
)
from windwatch.airfields.zones import zone_of
from windwatch.airmanship.variation import variation
from windwatch.errors import NoUsableReports, UsageError

PACKAGED: Final = "airfields.txt.gz"
_LARGEST: Final = 64_000_000  # decompressed; the world had 3.6 MB in September 2026
_FEET_PER_NM: Final = 1852 / 0.3048
_STATION: Final = re.compile(r"[A-Z][A-Z0-9]{3}")
_TYPED: Final = re.compile(r"[A-Z0-9-]{2,10}")
# Lines of large and medium airports with an ICAO identifier; one search is faster than taking
# thirty thousand lines apart.
_LARGE_OR_MEDIUM: Final = re.compile(
    rb"^[^\t\n]+\t[^\t\n]+\t(?:[^\t\n]*\t){3}[LM]\t(?:[^\t\n]*\t){2}"
    rb"(?P<latitude>[-0-9.]+)\t(?P<longitude>[-0-9.]+)\t.*$",
    re.MULTILINE,
)
_LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
_BIGGEST_FIRST: Final = "LMSW"
_MOST_SUGGESTED: Final = 6


class UnknownAirfield(NoUsableReports):
    """No airfield of that identifier is in the table.

    Attributes
    ----------
    identifier : str
        As asked for.
    suggestions : tuple of Row
        Airfields whose identifier is nearly that, or whose name holds it.
    """

    def __init__(self, identifier: str, suggestions: tuple[Row, ...], table: Provenance) -> None:
        self.identifier = identifier
        self.suggestions = suggestions
        super().__init__(
            f"{identifier!r} is no airfield with a runway in the table of {table.copied}"
        )


class AmbiguousAirfield(UsageError):
    """The identifier stands for several airfields, and none has more right to it.

    Attributes
    ----------
    candidates : tuple of Row
    """

    def __init__(self, identifier: str, candidates: tuple[Row, ...]) -> None:
        self.identifier = identifier
        self.candidates = candidates
        listed = "; ".join(f"{row.ident} ({row.name}, {row.country})" for row in candidates)
        super().__init__(
            f"{identifier} stands for several airfields: {listed}; ask for the first of these words"
        )


@dataclass(frozen=True, slots=True)
class Table:
    """A table as bytes, and where it comes from."""

    text: bytes
    begins: int
    provenance: Provenance
    where: str


class _Found(NamedTuple):
    """A line in which an identifier stands, and at which place of its identifiers."""

    rank: int
    row: Row


# --- opening -------------------------------------------------------------------------


def open_table(path: Path | None = None) -> Table:
    """Open the table that comes with the program, or a rebuilt one.

    Raises
    ------
    UsageError
        If the file cannot be read or is no such table.
    """
    return _packaged() if path is None else _opened(path)


@lru_cache(maxsize=1)
def _packaged() -> Table:
    packed = (resources.files("windwatch.airfields") / "data" / PACKAGED).read_bytes()
    return _table(packed, f"the packaged {PACKAGED}")


def _opened(path: Path) -> Table:
    try:
        if path.stat().st_size > _LARGEST:
            raise UsageError(f"{path} is larger than {_LARGEST // 1_000_000} MB: no such table")
        return _table(path.read_bytes(), str(path))
    except OSError as error:
        raise UsageError(
            f"{path} cannot be read: {error.strerror or error}; name a table made with windwatch "
            "airfields rebuild"
        ) from None


def _table(packed: bytes, where: str) -> Table:
    # Told to understand the head of a gzip file; never more than the largest size is unpacked.
    opener = zlib.decompressobj(wbits=zlib.MAX_WBITS | 16)
    try:
        text = opener.decompress(packed, _LARGEST)
    except zlib.error:
        text = b""
    if not opener.eof:
        raise UsageError(
            f"{where} is no compressed table, or not whole; make it anew with windwatch "
            "airfields rebuild"
        )
    provenance, begins = read_head(text, where)
    return Table(text, begins, provenance, where)


# --- by identifier ---------------------------------------------------------------------


def find_airfield(identifier: str, on: date, table: Table | None = None) -> KnownAirfield:
    """Find an airfield by any of its identifiers, and check its runways.

    Parameters
    ----------
    identifier : str
        The data set's own, ICAO, GPS, IATA or local; capitals do not matter.
    on : date
        For the magnetic variation.
    table : Table or None
        None: the one that comes with the program.

    Raises
    ------
    UnknownAirfield
        If it is not in the table; with suggestions.
    AmbiguousAirfield
        If it is the same kind of identifier of several airfields.
    """
    table = table or open_table()
    asked_for = identifier.strip().upper()
    found = sorted(_lines_with(asked_for, table), key=lambda each: each.rank)
    if not found:
        raise UnknownAirfield(asked_for[:40], suggestions(identifier, table), table.provenance)
    first = [each.row for each in found if each.rank == found[0].rank]
    if len(first) > 1:
        raise AmbiguousAirfield(asked_for, tuple(each.row for each in found))
    row = found[0].row
    variation_there = variation(row.latitude, row.longitude, on, row.elevation_ft or 0.0)
    station = station_of(row)
    return KnownAirfield(
        row=row,
        asked_for=asked_for,
        asked_kind=IDENTIFIER_KINDS[found[0].rank],
        runways=tuple(_known(runway, variation_there.variation_deg) for runway in row.runways),
        variation=variation_there,
        time_zone=zone_of(row.country, row.region, row.latitude, row.longitude),
        station=station,
        station_nearby=None if station else _nearest_station(row, table),
        namesakes=tuple(each.row for each in found[1:]),
        provenance=table.provenance,
    )


def _lines_with(identifier: str, table: Table) -> Iterator[_Found]:
    """Every line that has the identifier among its identifiers."""
    if not _TYPED.fullmatch(identifier):
        return
    seen: set[int] = set()
    # As the first part of a line, or as one of the next four; once a line, where it comes first.
    for sign in ("\n", "\t"):
        wanted = f"{sign}{identifier}\t".encode()
        at = table.text.find(wanted, table.begins)
        while at >= 0:
            start = table.text.rfind(b"\n", 0, at + 1) + 1
            rank = table.text.count(b"\t", start, at + 1)
            if rank < len(IDENTIFIER_KINDS) and start not in seen:
                seen.add(start)
                yield _Found(rank, _row_at(start, table))
            at = table.text.find(wanted, at + 1)


def _row_at(start: int, table: Table) -> Row:
    end = table.text.find(b"\n", start)
    return _row(table.text[start : end if end >= 0 else len(table.text)], table)


def _row(line: bytes, table: Table) -> Row:
    try:
        return read_row(line.decode())
    except ValueError as error:
        raise UsageError(
            f"{table.where}: a line is damaged ({error}); make the table anew with windwatch "
            "airfields rebuild"
        ) from None


def _known(runway: RowRunway, variation_deg: float) -> KnownRunway:
    checked = cross_check(runway, variation_deg)
    names = [end.name for end in runway.ends]
    remarks = list(checked.remarks)
    for end, other in ((0, 1), (1, 0)):
        completed = "" if names[end] else other_name(names[other])
        if completed:
            names[end] = completed
            remarks.append(
                f"the end {completed} is not named in the table: it is taken from {names[other]}"
            )
    if checked.basis is Basis.NONE:
        remarks.append("nothing tells its headings")
    headings = checked.headings_true or (None, None)
    first, second = (
        KnownEnd(
            name=name,
            heading_true=heading,
            basis=checked.basis,
            latitude=end.latitude,
            longitude=end.longitude,
            elevation_ft=end.elevation_ft,
            displaced_ft=end.displaced_ft,
        )
        for name, heading, end in zip(names, headings, runway.ends, strict=True)
    )
    return KnownRunway(
        ends=(first, second),
        length_ft=runway.length_ft,
        width_ft=runway.width_ft,
        surface=plain_surface(runway.surface),
        surface_as_written=runway.surface,
        lighted=runway.lighted,
        closed=runway.closed,
        doubts=checked.doubts,
        supported=checked.supported,
        remarks=tuple(remarks),
    )


def station_of(row: Row) -> str:
    """The identifier under which an airfield would report, if it does; '' where it has none."""
    candidates = (row.icao, row.ident, row.gps)
    return next((each for each in candidates if _STATION.fullmatch(each)), "")


# --- by place ----------------------------------------------------------------------------


def nearest(
    latitude: float, longitude: float, count: int = 5, table: Table | None = None
) -> tuple[Nearby, ...]:
    """The airfields nearest to a place, nearest first.

    Parameters
    ----------
    latitude, longitude : float
        North and east positive. [°]
    """
    table = table or open_table()
    found = sorted(_distances((latitude, longitude), table), key=lambda each: each[0])[:count]
    return tuple(_nearby((latitude, longitude), line, table) for _, line in found)


def _nearest_station(row: Row, table: Table) -> Nearby | None:
    """The nearest large or medium airport with an ICAO identifier: the likeliest to report."""
    place = (row.latitude, row.longitude)
    found = ((distance_ft(place, there), line) for there, line in _larger_airports(table))
    best = min(found, default=None)
    return None if best is None else _nearby(place, best[1], table)


@lru_cache(maxsize=2)
def _larger_airports(table: Table) -> tuple[tuple[tuple[float, float], bytes], ...]:
    """Place and line of every large or medium airport with an ICAO identifier."""
    return tuple(
        ((float(match["latitude"]), float(match["longitude"])), match[0])
        for match in _LARGE_OR_MEDIUM.finditer(table.text, table.begins)
    )


def _distances(place: tuple[float, float], table: Table) -> Iterator[tuple[float, bytes]]:
    """Distance in feet and line of every airfield."""
    for parts, line in _lines(table):
        yield distance_ft(place, (float(parts[LATITUDE]), float(parts[LONGITUDE]))), line


def _nearby(place: tuple[float, float], line: bytes, table: Table) -> Nearby:
    row = _row(line, table)
    there = (row.latitude, row.longitude)
    return Nearby(row, distance_ft(place, there) / _FEET_PER_NM, bearing_true(place, there))


def _lines(table: Table) -> Iterator[tuple[list[bytes], bytes]]:
    for line in table.text[table.begins :].split(b"\n"):
        parts = line.split(b"\t", NAME + 1)
        if len(parts) == NAME + 2:
            yield parts, line


# --- what was nearly typed -----------------------------------------------------------------


def suggestions(typed: str, table: Table | None = None) -> tuple[Row, ...]:
    """Airfields with an identifier one slip away from what was typed, or with it in their name.

    Two signs swapped, one wrong, one missing, one too many; names from four letters on. Large
    airports first.
    """
    table = table or open_table()
    wanted = typed.strip().upper()
    slips = {each.encode(): rank for rank, each in reversed(list(enumerate(_slips(wanted))))}
    in_name = typed.strip().casefold() if len(typed.strip()) >= 4 else None
    found: list[tuple[bool, int, int, bytes]] = []
    for parts, line in _lines(table):
        size = _BIGGEST_FIRST.find(parts[KIND].decode(errors="replace"))
        ranks = [slips[each] for each in parts[: len(IDENTIFIER_KINDS)] if each in slips]
        if ranks:
            found.append((False, size, min(ranks), line))
        elif in_name and in_name in parts[NAME].decode(errors="replace").casefold():
            found.append((True, size, len(parts[NAME]), line))
    by_name_first = not _TYPED.fullmatch(wanted) or len(wanted) > len("K123")
    found.sort(key=lambda each: (each[0] != by_name_first, *each[1:]))
    return tuple(_row(each[-1], table) for each in found[:_MOST_SUGGESTED])


def _slips(word: str) -> Iterator[str]:
    """What was perhaps meant, likeliest first."""
    if not _TYPED.fullmatch(word):
        return
    for at in range(len(word) - 1):
        yield word[:at] + word[at + 1] + word[at] + word[at + 2 :]
    yield word.replace("O", "0")
    yield word.replace("0", "O")
    for at in range(len(word)):
        yield word[:at] + word[at + 1 :]
    for at in range(len(word)):
        yield from (word[:at] + letter + word[at + 1 :] for letter in _LETTERS)
    for at in range(len(word) + 1):
        yield from (word[:at] + letter + word[at:] for letter in _LETTERS)
