"""``windwatch stations``: who reports near an airfield or a place.

JSON: ``near`` {``airfield`` or null, ``latitude``, ``longitude``, ``elevation_ft`` or null},
``within_nm``, ``source``, ``stations`` [{``id``, ``name``, ``latitude``, ``longitude``,
``distance_nm``, ``bearing_true_deg`` (from the place to it), ``elevation_ft``, ``higher_by_ft``
(positive: above the place), ``observed_at``, ``age_min``}], ``problems``.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

import click

from windwatch import clock
from windwatch.cli import stations_seen as seen_words
from windwatch.cli.runways import TABLE
from windwatch.cli.show import (
    examples,
    fail,
    hanging,
    load_settings,
    paragraph,
    print_json,
    with_exit_status,
)
from windwatch.cli.stations_seen import MOST_NM, WITHIN_NM, StationSeen, boxes_around, seen_from
from windwatch.errors import NoUsableReports, UsageError

if TYPE_CHECKING:
    from windwatch.airfields.table import Table
    from windwatch.feeds.values import FeedSettings

# What the request says of who asks, where no configuration names anybody.
BY_HAND: Final = "one look by hand, no contact given"
_MOST_BY_NAME: Final = 100


class Place(NamedTuple):
    """Where the stations shall be near to."""

    latitude: float
    longitude: float
    elevation_ft: float | None = None
    airfield: str | None = None


class Nearby(NamedTuple):
    """Stations near a place, nearest first, and what could not be used."""

    stations: tuple[StationSeen, ...]
    problems: tuple[str, ...]


@click.command(
    epilog=examples(
        "windwatch stations --at LKRA",
        "windwatch stations --near 42.93,-76.02 --within 30",
        "windwatch stations --at XLKS --config field.toml --json",
    ),
)
@click.option("--near", metavar="LAT,LON", help="A place; north and east positive.")
@click.option("--at", "identifier", metavar="ID", help="An airfield of the table.")
@click.option(
    "--within",
    type=click.FloatRange(1, MOST_NM),
    default=WITHIN_NM,
    show_default=True,
    metavar="NM",
    help="How far.",
)
@click.option(
    "--config",
    "config_file",
    type=click.Path(path_type=Path),
    metavar="CONFIG",
    help="Ask the address of its feed, with its contact.",
)
@click.option("--contact", metavar="ADDRESS", help="Your address: public feeds wish to know it.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of words.")
@TABLE
@with_exit_status
def stations(
    near: str | None,
    identifier: str | None,
    within: float,
    config_file: Path | None,
    contact: str | None,
    as_json: bool,
    table_file: Path | None,
) -> None:
    """Stations that report near a place, asked of the feed: how far, how high, how old.

    Exit status 3: the feed did not answer, or nobody reports there.
    """
    from windwatch.airfields.table import open_table  # noqa: PLC0415 # not for --help

    table = open_table(table_file)
    place = _place(near, identifier, table)
    settings, remark = _feed(config_file, contact)
    found = stations_near(settings, place, within, table)
    if as_json:
        print_json(
            {
                "near": {
                    "airfield": place.airfield,
                    "latitude": place.latitude,
                    "longitude": place.longitude,
                    "elevation_ft": place.elevation_ft,
                },
                "within_nm": within,
                "source": settings.kind,
                "stations": [seen_words.as_json(each) for each in found.stations],
                "problems": list(found.problems),
            }
        )
        if not found.stations:
            raise click.exceptions.Exit(3)
        return
    for said in (*([remark] if remark else []), *found.problems):
        click.echo(hanging(f"Look at {said}"), err=True)
    if not found.stations:
        fail(
            NoUsableReports(
                f"nobody has reported within {within:g} NM in the last hour and a half; ask with "
                "a larger --within"
            )
        )
    where = place.airfield or f"{place.latitude:g}, {place.longitude:g}"
    click.echo(paragraph(f"Reporting within {within:g} NM of {where}, nearest first:"))
    click.echo(seen_words.stations_table(found.stations))
    click.echo(seen_words.caution_lines())


def stations_near(settings: FeedSettings, place: Place, within_nm: float, table: Table) -> Nearby:
    """Ask the feed who reports near a place.

    Raises
    ------
    FeedError
        If it does not answer in its format.
    """
    from windwatch.airfields.table import nearest, station_of  # noqa: PLC0415 # not for --help
    from windwatch.feeds.stations import find_stations  # noqa: PLC0415 # the HTTP client

    here = (place.latitude, place.longitude)
    # The area is thinned by the feed: whoever might report nearby is asked for by name as well.
    by_name = [
        station_of(each.row)
        for each in nearest(*here, _MOST_BY_NAME, table)
        if each.distance_nm <= within_nm
    ]
    system = clock.SystemClock()
    found = find_stations(settings, system, boxes_around(*here, within_nm), by_name)
    seen = seen_from(here, place.elevation_ft, found.stations, within_nm, system.now())
    return Nearby(seen, found.problems)


def _place(near: str | None, identifier: str | None, table: Table) -> Place:
    if (near is None) == (identifier is None):
        raise UsageError(
            "name one place: --at XLKS for an airfield, or --near 42.93,-76.02"
            if near is None
            else "--near and --at are both given; keep one"
        )
    if near is not None:
        from windwatch.cli.wind_option import place  # noqa: PLC0415 # not for --help

        return Place(*place(near, "--near"))
    from windwatch.airfields.table import UnknownAirfield, find_airfield  # noqa: PLC0415
    from windwatch.cli import runways_words  # noqa: PLC0415

    try:
        known = find_airfield(identifier or "", clock.utc_now().date(), table)
    except UnknownAirfield as error:
        fail(NoUsableReports(runways_words.not_found(error)))
    row = known.row
    return Place(row.latitude, row.longitude, known.elevation_ft, row.icao or row.ident)


def _feed(config_file: Path | None, contact: str | None) -> tuple[FeedSettings, str]:
    """What is asked, and a remark where that is not what the configuration says."""
    from windwatch.feeds.values import FeedSettings  # noqa: PLC0415 # not for --help

    if config_file is None:
        return FeedSettings("awc", contact=contact or BY_HAND), ""
    from windwatch.wiring import feed_settings  # noqa: PLC0415 # loads much

    settings = feed_settings(load_settings([config_file], require_secrets=False).feed)
    if settings.kind == "awc":
        return settings, ""
    return (
        FeedSettings("awc", contact=contact or settings.contact or BY_HAND),
        f'the feed: kind = "{settings.kind}" cannot be asked for stations; awc is asked instead',
    )
