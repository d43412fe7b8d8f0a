"""``windwatch runways``: an airfield's runways from the table that comes with windwatch."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from windwatch import clock
from windwatch.cli.show import examples, fail, print_json, with_exit_status
from windwatch.errors import NoUsableReports

TABLE = click.option(
    "--table",
    "table_file",
    type=click.Path(path_type=Path, dir_okay=False),
    envvar="WINDWATCH_AIRFIELDS",
    show_envvar=True,
    metavar="FILE",
    help="A rebuilt table instead of the one that comes with windwatch.",
)


@click.command(
    epilog=examples(
        "windwatch runways LKRA",
        "windwatch runways 7B9 --toml > airfield.toml",
        "windwatch runways jfk --json",
    ),
)
@click.argument("identifier", metavar="ID")
@click.option("--toml", "as_text", is_flag=True, help="Only the text for a configuration.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of words.")
@TABLE
@with_exit_status
def runways(identifier: str, as_text: bool, as_json: bool, table_file: Path | None) -> None:
    """Runways of an airfield with their true headings, and as text for a configuration.

    ID is any identifier: ICAO, IATA, GPS, local, or that of the open data. What two figures
    disagree about is called doubtful. Exit status 3: it is not in the table.
    """
    # The table and the model of the earth's field take their time: not for --help.
    from windwatch.airfields.config_text import as_toml  # noqa: PLC0415
    from windwatch.airfields.table import (  # noqa: PLC0415
        UnknownAirfield,
        find_airfield,
        open_table,
    )
    from windwatch.cli import runways_words as words  # noqa: PLC0415

    today = clock.utc_now().date()
    try:
        known = find_airfield(identifier, today, open_table(table_file))
    except UnknownAirfield as error:
        if as_json:
            found: list[dict[str, Any]] = [words.row_as_json(row) for row in error.suggestions]
            print_json({"airfield": None, "suggestions": found})
        fail(NoUsableReports(words.not_found(error)))
    if as_json:
        print_json(words.as_json(known))
    elif as_text:
        click.echo(as_toml(known), nl=False)
    else:
        click.echo(words.in_words(known, today))
        click.echo("\nFor a configuration:\n")
        click.echo(as_toml(known), nl=False)
