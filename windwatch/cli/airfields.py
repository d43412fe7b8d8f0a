"""``windwatch airfields``: the table of airfields itself."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import click

from windwatch.cli.runways import TABLE
from windwatch.cli.show import examples, hanging, paragraph, print_json, table, with_exit_status
from windwatch.errors import UsageError

_INPUT = click.Path(path_type=Path, dir_okay=False)


@click.group
def airfields() -> None:
    """Airfields near a place; the table of airfields made anew from newer files."""


@airfields.command(
    short_help="Airfields near a place.",
    context_settings={"ignore_unknown_options": True},
    epilog=examples("windwatch airfields near 42.93,-76.02"),
)
@click.argument("place", metavar="LAT,LON")
@click.option("--count", type=click.IntRange(1, 100), default=8, help="How many; 8 if not given.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of words.")
@TABLE
@with_exit_status
def near(place: str, count: int, as_json: bool, table_file: Path | None) -> None:
    """Airfields with runways near LAT,LON (north and east positive), nearest first."""
    from windwatch.airfields.table import nearest, open_table  # noqa: PLC0415 # not for --help
    from windwatch.cli import runways_words as words  # noqa: PLC0415
    from windwatch.cli.wind_option import place as place_of  # noqa: PLC0415

    opened = open_table(table_file)
    latitude, longitude = place_of(place)
    found = nearest(latitude, longitude, count, opened)
    if as_json:
        print_json(
            {
                "airfields": [words.nearby_as_json(each) for each in found],
                "copied": opened.provenance.copied.isoformat(),
            }
        )
        return
    click.echo(table([words.nearby_words(each) for each in found], words.NEARBY_HEADERS))
    click.echo(paragraph(opened.provenance.words))


@airfields.command(
    short_help="Make the table anew from newer files.",
    epilog=examples(
        "windwatch airfields rebuild --airports airports.csv --runways runways.csv \\",
        "    --out airfields.txt.gz",
        "windwatch runways LKRA --table airfields.txt.gz",
    ),
)
@click.option("--airports", type=_INPUT, required=True, metavar="FILE", help="airports.csv")
@click.option("--runways", type=_INPUT, required=True, metavar="FILE", help="runways.csv")
@click.option("--out", type=_INPUT, required=True, metavar="FILE", help="Where the table goes.")
@click.option(
    "--dated",
    metavar="DATE",
    help="Date of the copy, as 2026-09-23; that of the older file if not given.",
)
@with_exit_status
def rebuild(airports: Path, runways: Path, out: Path, dated: str | None) -> None:
    """Make the table from airports.csv and runways.csv, downloaded from ourairports.com.

    Use it with --table FILE, or set WINDWATCH_AIRFIELDS to its path. Rows and figures that
    cannot be right are named and left out.
    """
    from windwatch.airfields import rebuild as making  # noqa: PLC0415 # not for --help
    from windwatch.cli.runways_words import problems_in_words  # noqa: PLC0415

    made = making.rebuild(airports, runways, _date(dated, airports, runways))
    packed = making.table_bytes(made.rows, made.provenance)
    making.write_table(out, packed)
    for line in problems_in_words(made.problems):
        click.echo(hanging(f"Look at {line}"), err=True)
    left_out = ", ".join(f"{count} {what}" for what, count in made.left_out.items())
    provenance = made.provenance
    click.echo(
        hanging(
            f"{provenance.airfields} airfields with {provenance.runways} runways in {out} "
            f"({len(packed) / 1e6:.2f} MB), copy of {provenance.copied}."
        )
    )
    if left_out:
        click.echo(hanging(f"Left out: {left_out}."))


def _date(dated: str | None, *files: Path) -> date:
    if dated is not None:
        try:
            return date.fromisoformat(dated.strip())
        except ValueError:
            raise UsageError(f"--dated {dated!r} is no date; write it as 2026-09-23") from None
    try:
        changed = min(path.stat().st_mtime for path in files)
    except OSError as error:
        raise UsageError(f"{error.filename} cannot be read: {error.strerror or error}") from None
    return datetime.fromtimestamp(changed, UTC).date()
