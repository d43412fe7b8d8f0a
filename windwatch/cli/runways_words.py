"""A known airfield in words and as JSON.

JSON of ``runways``: ``airfield`` {``id``, ``identifiers``, ``name``, ``town``, ``kind``,
``country``, ``region``, ``latitude``, ``longitude``, ``elevation_ft``, ``variation_deg`` (east
positive), ``station``, ``station_nearby``, ``time_zone``, ``time_zone_sure``, ``runways``},
``namesakes``, ``provenance``, ``toml``. A runway: ``name``, ``ends`` [{``name``,
``heading_true_deg``, ``basis``, ``approximate``, ``latitude``, ``longitude``, ``elevation_ft``,
``displaced_threshold_ft``}], ``length_ft``, ``width_ft``, ``surface``, ``surface_as_written``,
``lighted``, ``closed``, ``doubtful``, ``supported``, ``doubts``, ``remarks``. What is not known
is null.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any, Final

from windwatch.airfields.config_text import as_toml, basis_words
from windwatch.airfields.table import UnknownAirfield
from windwatch.airfields.values import (
    IDENTIFIER_KINDS,
    KINDS,
    KnownAirfield,
    KnownEnd,
    KnownRunway,
    Nearby,
    Row,
)
from windwatch.cli.show import paragraph, table
from windwatch.cli.wind_option import east_or_west

_KIND_WORDS: Final = {
    "ident": "open data",
    "icao": "ICAO",
    "gps": "GPS",
    "iata": "IATA",
    "local": "local",
}

_BY_HAND: Final = """\
To type it in by hand, with surveyed headings in degrees true:
  [[airfield]]
  id = "XLKS"
  station = "XBRN"                    # who reports nearby
  latitude = 42.93                    # north positive
  longitude = -76.02                  # east positive
  elevation_ft = 960
  time_zone = "America/New_York"
  [[airfield.runway]]
  ends = [
    { name = "10", heading_true_deg = 91.4 },
    { name = "28", heading_true_deg = 271.4 },
  ]
A table from newer files: windwatch airfields rebuild --help"""


# --- in words ------------------------------------------------------------------------


def in_words(known: KnownAirfield, on: date) -> str:
    """Everything about an airfield but its text for a configuration."""
    row = known.row
    variation = known.variation
    elevation = "not known" if known.elevation_ft is None else f"{known.elevation_ft} ft"
    lines = [
        paragraph(f"{row.icao or row.ident} {row_words(row)}"),
        paragraph(
            f"{row.latitude:g}, {row.longitude:g}; elevation {elevation}; variation "
            f"{east_or_west(variation.variation_deg)} on {on} ({variation.model})."
        ),
    ]
    if variation.remark is not None:
        lines.append(paragraph(f"Note: {variation.remark}."))
    lines.append(paragraph(f"Identifiers: {_identifier_words(row)}."))
    if known.namesakes:
        lines.append(
            paragraph(
                f"{known.asked_for} is taken as the {_KIND_WORDS[known.asked_kind]} identifier; "
                f"as another kind it also stands for {_rows_words(known.namesakes)}."
            )
        )
    lines += ["", table([_cells(each) for each in known.runways], _HEADERS)]
    for runway in known.runways:
        lines += [
            paragraph(f"{runway.name} is doubtful: {doubt}.", hang="  ") for doubt in runway.doubts
        ]
        lines += [paragraph(f"{runway.name}: {each}.", hang="  ") for each in runway.remarks]
    return "\n".join([*lines, "", paragraph(known.provenance.words)])


_HEADERS: Final = ("runway", "headings true", "rest on", "feet", "surface")


def _cells(runway: KnownRunway) -> tuple[str, ...]:
    headings = " / ".join(
        "?"
        if end.heading_true is None
        # A figure after the point would promise what a painted number cannot keep.
        else f"{end.heading_true:.{0 if end.basis.approximate else 1}f}°"
        for end in runway.ends
    )
    size = "?" if runway.length_ft is None else f"{runway.length_ft}"
    if runway.width_ft is not None:
        size += f" × {runway.width_ft}"
    written = runway.surface_as_written
    surface = f"CLOSED; {runway.surface}" if runway.closed else runway.surface
    if written and written.casefold() != runway.surface:
        surface += f" ({written})"
    if runway.lighted:
        surface += ", lighted"
    basis = f"DOUBTFUL {basis_words(runway)}" if runway.doubtful else basis_words(runway)
    return runway.name, headings, basis, size, surface


def row_words(row: Row) -> str:
    """``Larkspur, Small Town, US (small airport)``."""
    place = ", ".join(filter(None, (row.name, row.town, row.country)))
    return f"{place} ({KINDS.get(row.kind, 'airfield')})"


def _rows_words(rows: Iterable[Row]) -> str:
    return "; ".join(f"{each.ident}, {row_words(each)}" for each in rows)


def _identifier_words(row: Row) -> str:
    """``KDED (open data, GPS), DED (local)``."""
    kinds: dict[str, list[str]] = {}
    for kind, name in _identifiers(row).items():
        kinds.setdefault(name, []).append(_KIND_WORDS[kind])
    return ", ".join(f"{name} ({', '.join(words)})" for name, words in kinds.items())


def nearby_words(near: Nearby) -> tuple[str, ...]:
    """Cells of one airfield seen from a place."""
    elevation = near.row.elevation_ft
    return (
        near.row.ident,
        row_words(near.row),
        f"{near.distance_nm:.1f}",
        f"{near.bearing_true:03.0f}",
        "?" if elevation is None else str(elevation),
    )


NEARBY_HEADERS: Final = ("airfield", "name", "NM", "bearing true", "feet")


def not_found(error: UnknownAirfield) -> str:
    """What to say where an identifier is not in the table: what was perhaps meant, and by hand."""
    lines = [f"{error}."]
    if error.suggestions:
        lines.append("Did you mean one of these?")
        lines += [
            f"  {', '.join(dict.fromkeys(filter(None, row.identifiers)))}: {row_words(row)}"
            for row in error.suggestions
        ]
    return "\n".join([*lines, _BY_HAND])


def _identifiers(row: Row) -> dict[str, str]:
    """Kind and identifier of all that it has."""
    return {
        kind: name for kind, name in zip(IDENTIFIER_KINDS, row.identifiers, strict=True) if name
    }


# --- as JSON -------------------------------------------------------------------------


def as_json(known: KnownAirfield) -> dict[str, Any]:
    """The same as plain values, documented above."""
    row = known.row
    near = known.station_nearby
    provenance = known.provenance
    return {
        "airfield": {
            **row_as_json(row),
            "elevation_ft": known.elevation_ft,
            "variation_deg": round(known.variation.variation_deg, 4),
            "station": known.station or None,
            "station_nearby": None if near is None else nearby_as_json(near),
            "time_zone": known.time_zone.name or None,
            "time_zone_sure": known.time_zone.sure,
            "runways": [_runway_as_json(runway) for runway in known.runways],
        },
        "asked_for": {"identifier": known.asked_for, "kind": known.asked_kind},
        "namesakes": [row_as_json(each) for each in known.namesakes],
        "provenance": {
            "source": provenance.source,
            "licence": provenance.licence,
            "copied": provenance.copied.isoformat(),
            "made": provenance.made,
        },
        "toml": as_toml(known),
    }


def row_as_json(row: Row) -> dict[str, Any]:
    """An airfield without its runways."""
    return {
        "id": row.ident,
        "identifiers": _identifiers(row),
        "name": row.name,
        "town": row.town or None,
        "kind": KINDS.get(row.kind, "airfield"),
        "country": row.country or None,
        "region": row.region or None,
        "latitude": row.latitude,
        "longitude": row.longitude,
        "elevation_ft": row.elevation_ft,
    }


def nearby_as_json(near: Nearby) -> dict[str, Any]:
    """An airfield seen from a place."""
    return {
        **row_as_json(near.row),
        "distance_nm": round(near.distance_nm, 2),
        "bearing_true_deg": round(near.bearing_true, 1),
    }


def _runway_as_json(runway: KnownRunway) -> dict[str, Any]:
    return {
        "name": runway.name,
        "ends": [_end_as_json(end) for end in runway.ends],
        "length_ft": runway.length_ft,
        "width_ft": runway.width_ft,
        "surface": runway.surface,
        "surface_as_written": runway.surface_as_written,
        "lighted": runway.lighted,
        "closed": runway.closed,
        "doubtful": runway.doubtful,
        "supported": runway.supported,
        "doubts": list(runway.doubts),
        "remarks": list(runway.remarks),
    }


def _end_as_json(end: KnownEnd) -> dict[str, Any]:
    return {
        "name": end.name or None,
        "heading_true_deg": None if end.heading_true is None else round(end.heading_true, 2),
        "basis": end.basis.value,
        "approximate": end.basis.approximate,
        "latitude": end.latitude,
        "longitude": end.longitude,
        "elevation_ft": end.elevation_ft,
        "displaced_threshold_ft": end.displaced_ft,
    }


def problems_in_words(problems: Iterable[str], most: int = 20) -> list[str]:
    """The first of the problems of a rebuilt table, and how many more there are."""
    every = list(problems)
    more = len(every) - most
    return every[:most] + ([f"and {more} more of this kind"] if more > 0 else [])
