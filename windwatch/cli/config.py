"""``windwatch config``: check a configuration, show what it comes to, print its rules."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from windwatch import clock
from windwatch.cli.show import (
    caution_line,
    examples,
    hanging,
    load_settings,
    print_json,
    with_exit_status,
)
from windwatch.errors import SettingsError

_PATHS = click.argument(
    "paths", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="CONFIG..."
)


class _Group(click.Group):
    """The guided start is imported only when it is asked for: its options are many."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands, the guided start first."""
        return ["new", *super().list_commands(ctx), "examples"]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command; None where there is none of that name."""
        if cmd_name == "new":
            from windwatch.cli.new import new  # noqa: PLC0415

            return new
        if cmd_name == "examples":
            from windwatch.cli.examples import examples as copied  # noqa: PLC0415

            return copied
        return super().get_command(ctx, cmd_name)


@click.group(cls=_Group)
def config() -> None:
    """Make a configuration, check it, show what it comes to, print its rules.

    CONFIG is a TOML file, or a folder of which every .toml file counts; several may be named.
    """


@config.command(
    short_help="Find every fault at once.",
    epilog=examples("windwatch config check config/larkspur.toml"),
)
@_PATHS
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of words.")
@with_exit_status
def check(paths: tuple[Path, ...], as_json: bool) -> None:
    """Find every fault at once, each with file, line and what to write instead.

    Secrets need not be there: those that are missing are named. Exit status 0: it can be used;
    2: it cannot.
    """
    try:
        settings = load_settings(paths, require_secrets=False)
    except SettingsError as error:
        if as_json:
            print_json({"faults": [asdict(fault) for fault in error.faults], "warnings": []})
            raise click.exceptions.Exit(2) from None
        raise
    if as_json:
        print_json({"faults": [], "warnings": list(settings.warnings)})
        return
    for warning in settings.warnings:
        click.echo(hanging(f"Look at {warning}"))
    fleet = settings.fleet
    # Here, for the sake of the quick refusal above.
    from windwatch.cli.config_words import not_judged, not_judged_words, plans_of  # noqa: PLC0415

    for plan in plans_of(settings, clock.utc_now().date()):
        for name in not_judged(plan, fleet.based_at(plan.airfield.id)):
            click.echo(hanging(f"Look at {not_judged_words(name)}"))
    counts = ", ".join(
        (
            _count(len(fleet.airfields), "airfield"),
            f"{len(fleet.aircraft)} aircraft",
            _count(len(fleet.pilot_limits), "pilot standard"),
            _count(len(fleet.contacts), "contact"),
        )
    )
    click.echo(hanging(f"No fault: {counts}. The limits: windwatch config show."))


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


@config.command(
    short_help="Show the limits that apply, and whose they are.",
    epilog=examples("windwatch config show config/larkspur.toml"),
)
@_PATHS
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of tables.")
@with_exit_status
def show(paths: tuple[Path, ...], as_json: bool) -> None:
    """Show the limits that apply, whose each is, and who hears what. No secret is shown.

    Of the limits of the aircraft, the pilot standard and the runway, the smallest applies.
    """
    # The words and the model of the earth's field take their time: only this command needs them.
    from windwatch.cli.config_words import settings_as_json, settings_in_words  # noqa: PLC0415

    settings = load_settings(paths, require_secrets=False)
    today = clock.utc_now().date()
    if as_json:
        print_json(settings_as_json(settings, today))
        return
    click.echo(settings_in_words(settings, today))
    click.echo(caution_line())


@config.command(
    short_help="Print the rules of the file for an editor.",
    epilog=examples("windwatch config schema > windwatch.schema.json"),
)
@with_exit_status
def schema() -> None:
    """Print the rules of the file as JSON Schema: an editor then completes and checks it."""
    from windwatch.settings import schema as rules  # noqa: PLC0415 # pydantic takes its time

    print_json(rules.schema())
