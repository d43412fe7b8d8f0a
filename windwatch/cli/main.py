"""The command ``windwatch``: a table of commands, each imported only when it is asked for."""

from __future__ import annotations

import importlib
import io
import sys
from types import MappingProxyType
from typing import Final, NamedTuple

import click

from windwatch import __version__
from windwatch.cli.show import examples


class Entry(NamedTuple):
    """Where a command lives, and what it does in one line.

    Attributes
    ----------
    module, attribute : str
        The click command is that attribute of that module.
    """

    module: str
    attribute: str
    summary: str


WATCHING: Final = "Watching"
ASKING: Final = "Asking (no configuration needed)"
SETTING_UP: Final = "Setting up"

COMMANDS: Final = MappingProxyType(
    {
        WATCHING: {
            "watch": Entry("windwatch.cli.watch", "watch", "Watch the reports and tell people."),
            "now": Entry("windwatch.cli.now", "now", "Show every airfield as it stands now."),
            "replay": Entry("windwatch.cli.replay", "replay", "Play recorded reports through."),
            "log": Entry("windwatch.cli.log", "log", "Show what happened and what was sent."),
            "explain": Entry("windwatch.cli.log", "explain", "Show how a notice came about."),
            "acknowledge": Entry("windwatch.cli.log", "acknowledge", "Take note of an episode."),
            "board": Entry("windwatch.cli.board", "board", "Show pages of every airfield."),
            "health": Entry("windwatch.cli.health", "health", "Say whether the watch works."),
        },
        ASKING: {
            "decode": Entry("windwatch.cli.decode", "decode", "Say what reports say of the wind."),
            "components": Entry(
                "windwatch.cli.components", "components", "Head-, tail- and crosswind."
            ),
            "taxi": Entry("windwatch.cli.taxi", "taxi", "How to hold the controls while taxiing."),
            "teach": Entry(
                "windwatch.cli.teach", "teach", "Printed questions and answers on taxiing."
            ),
            "tie-down": Entry(
                "windwatch.cli.parked", "tie_down", "Reminders for a parked aircraft."
            ),
            "variation": Entry(
                "windwatch.cli.magnetic", "variation", "Magnetic variation of a place."
            ),
        },
        SETTING_UP: {
            "config": Entry("windwatch.cli.config", "config", "Check and show a configuration."),
            "runways": Entry("windwatch.cli.runways", "runways", "Runways of an airfield."),
            "stations": Entry(
                "windwatch.cli.stations", "stations", "Who reports near an airfield."
            ),
            "airfields": Entry(
                "windwatch.cli.airfields", "airfields", "Airfields near a place; their table."
            ),
            "send-test": Entry("windwatch.cli.log", "send_test", "Prove that a channel works."),
            "store": Entry("windwatch.cli.store", "store", "Back up, check, or forget a person."),
        },
    }
)


class LazyGroup(click.Group):
    """A group that knows its commands from a table and imports the one that is invoked."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands."""
        del ctx
        return [name for entries in COMMANDS.values() for name in entries]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command; None where there is none of that name."""
        del ctx
        for entries in COMMANDS.values():
            if cmd_name in entries:
                entry = entries[cmd_name]
                found = getattr(importlib.import_module(entry.module), entry.attribute)
                if not isinstance(found, click.Command):
                    raise TypeError(f"{entry.module}.{entry.attribute} is no command")
                return found
        return None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands from the table alone."""
        del ctx
        for title, entries in COMMANDS.items():
            with formatter.section(title):
                formatter.write_dl([(name, entry.summary) for name, entry in entries.items()])


@click.group(
    cls=LazyGroup,
    name="windwatch",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    epilog=examples(
        'windwatch components --wind "22030G40KT 190V250" --heading-true 180',
        "windwatch taxi --wind 24018KT --heading-true 180 --gear tailwheel",
        "windwatch COMMAND --help",
    ),
)
@click.version_option(__version__, prog_name="windwatch", message="%(prog)s %(version)s")
def main() -> None:
    """Wind warnings for the small airfield.

    windwatch reads public weather reports, judges their wind against the limits of your
    aircraft, runways and pilots, and tells people before it matters. What it says is advisory:
    the pilot in command decides.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A terminal that has no degree sign gets a question mark, not a traceback.
            stream.reconfigure(errors="replace")


if __name__ == "__main__":
    main()
