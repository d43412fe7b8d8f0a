"""``windwatch config new``: from nothing to a watched airfield, in plain words."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import click

from windwatch import clock
from windwatch.cli.runways import TABLE
from windwatch.cli.show import INTERRUPTED, examples, hanging, paragraph, with_exit_status

FEED_KINDS: Final = ("awc", "awc-cache", "noaa-text", "noaa-cycles", "nws", "recorded", "json")


@click.command(
    short_help="Guided start: ask, write, check.",
    epilog=examples(
        "windwatch config new",
        "windwatch config new field.toml --airfield XLKS \\",
        '    --aircraft "X-LARK,nosewheel,high,crosswind=15,tie_down=25" \\',
        '    --pilot "student solo,crosswind=7,wind=15" \\',
        "    --email ops@larkspur.example --yes",
    ),
)
@click.argument(
    "path", metavar="[FILE]", type=click.Path(path_type=Path), default=Path("field.toml")
)
@click.option("--airfield", metavar="ID", help="Any identifier; runways come from the table.")
@click.option("--name", help="What people call the airfield.")
@click.option("--position", metavar="LAT,LON", help="Where it is, if not in the table.")
@click.option("--elevation", metavar="FT", help="How high, if not in the table.")
@click.option(
    "--runways", metavar="RUNWAYS", help="10=91.4/28=271.4, true; m for magnetic: 10=103m."
)
@click.option("--time-zone", metavar="NAME", help="As America/New_York.")
@click.option("--station", metavar="ID", help="Who reports for it; the feed is not asked then.")
@click.option("--fall-back", metavar="ID", multiple=True, help="Others in order; or none.")
@click.option("--hours", metavar="FROM-TO", help="Local hours of flying, 07:00-20:00; or always.")
@click.option(
    "--aircraft",
    metavar="TEXT",
    multiple=True,
    help="NAME,GEAR,WING and limits: crosswind= tailwind= wind= gust_spread= taxi_wind= tie_down= "
    "shelter=; demonstrated= stall= flown_by=A+B.",
)
@click.option("--pilot", metavar="TEXT", multiple=True, help="NAME and limits, as above.")
@click.option("--email", metavar="ADDRESS", help="Tell the operations desk by mail.")
@click.option("--webhook", metavar="URL", help="Tell it by calling an address.")
@click.option("--folder", metavar="DIR", help="Leave its notices as files.")
@click.option(
    "--contact",
    metavar="TEXT",
    multiple=True,
    help="Somebody else: NAME,email= webhook= folder= hears=usual|all|last|ground aircraft=A+B.",
)
@click.option(
    "--mail-server", metavar="TEXT", help="HOST[:PORT],username= sender= security=; no password."
)
@click.option(
    "--feed",
    type=click.Choice(FEED_KINDS),
    default="awc",
    show_default=True,
    help="Where reports come from.",
)
@click.option("--feed-contact", metavar="ADDRESS", help="Said to the feed; your mail if not given.")
@click.option("--feed-url", metavar="URL", help="Another address of the feed.")
@click.option("--feed-network", metavar="NET", multiple=True, help="Private network it may be in.")
@click.option("--feed-file", metavar="FILE", multiple=True, help="Recorded reports.")
@click.option("--feed-mapping", metavar="TEXT", help="Keys of a json feed: station=XLKS,report=raw")
@click.option("--feed-every", metavar="TIME", help="How often to ask, as 60s.")
@click.option("--offline", is_flag=True, help="Do not ask the feed for stations nearby.")
@click.option("--yes", is_flag=True, help="Ask nothing: take what is offered.")
@click.option("--test/--no-test", default=None, help="Send a test notice at the end.")
@click.option("--replace", "replacing", is_flag=True, help="Write over the file if it is there.")
@TABLE
@with_exit_status
def new(path: Path, replacing: bool, table_file: Path | None, **options: Any) -> None:
    """Ask for airfield, aircraft, pilots and whom to tell; write FILE (field.toml), checked.

    Every question can be answered by an option instead; with --yes none is asked. Nothing is
    written before the end: Ctrl-C leaves no trace.
    """
    # The schema and the table of airfields take their time: not for --help.
    from windwatch.cli.new_file import refuse_existing, write_schema  # noqa: PLC0415
    from windwatch.cli.new_given import Given  # noqa: PLC0415
    from windwatch.cli.new_talk import Talk  # noqa: PLC0415

    refuse_existing(path, replacing=replacing)
    options["fall_back"] = options["fall_back"] or None
    given = Given(table=table_file, **options)
    talk = Talk(given, path, clock.utc_now().date(), replacing=replacing)
    try:
        written = talk.write()
    except KeyboardInterrupt:
        click.echo()
        written = None
    if written is None:
        click.echo("Nothing was written.", err=True)
        raise click.exceptions.Exit(INTERRUPTED)
    path = written.path
    write_schema(path.parent)
    if not given.yes:
        click.echo()
    click.echo(
        paragraph(f"{path} is written and checked. What applies: windwatch config show {path}")
    )
    for line in talk.last_words(written.settings):
        click.echo(hanging(line) if line.startswith("Look at ") else paragraph(line))
    if talk.wants_test():
        _test(path, talk.mail_folder())
    click.echo(f"\nTo suppose a wind:\n\n  windwatch now {path} --wind 24018G28KT")
    click.echo(f"\nTo start the watch:\n\n  windwatch watch {path}")


def _test(path: Path, mail_folder: str) -> None:
    """The test notice of ``send-test``; that it does not leave is no reason to lose the file."""
    from windwatch.cli.log import send_test  # noqa: PLC0415 # loads much

    try:
        click.get_current_context().invoke(send_test, config=path, contact=None, turn_on=False)
    except SystemExit:
        click.echo(paragraph(f"Once that is mended: windwatch send-test {path}"), err=True)
        return
    if mail_folder:
        click.echo(paragraph(f"The mail is a file in {mail_folder}; any mail program opens it."))
