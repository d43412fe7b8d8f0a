"""What all commands share: lines and tables for 80 columns, times in words, exit statuses."""

from __future__ import annotations

import functools
import json
import os
import re
import sys
import textwrap
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn, ParamSpec, TypeVar

import click

from windwatch.errors import (
    DeliveryFailed,
    FeedError,
    NoUsableReports,
    SettingsError,
    UsageError,
    WindwatchError,
)

if TYPE_CHECKING:
    from windwatch.settings.running import Settings

WIDTH: Final = 80
_GAP: Final = "  "
_LEAST_COLUMN: Final = 6
_NUMBER: Final = re.compile(r"[-+−]?\d+(\.\d+)?|")

# Exit statuses, design.md section 5.
DONE: Final = 0
SOMETHING_OVER: Final = 1  # only where --exit-level asks for it
USAGE: Final = 2
NO_DATA: Final = 3
INTERRUPTED: Final = 130  # by custom of shells: 128 and the number of SIGINT

Parameters = ParamSpec("Parameters")
Result = TypeVar("Result")


# --- exit statuses -------------------------------------------------------------


def exit_status(error: WindwatchError) -> int:
    """Exit status of an error: 3 where the world gave nothing usable, else 2."""
    if isinstance(error, (NoUsableReports, FeedError, DeliveryFailed)):
        return NO_DATA
    return USAGE


def fail(error: WindwatchError) -> NoReturn:
    """Say what is wrong on the error stream, and end with the status that belongs to it."""
    context = click.get_current_context(silent=True)
    if isinstance(error, SettingsError):
        for fault in error.faults:
            click.echo(hanging(str(fault)), err=True)
        count = len(error.faults)
        click.echo(f"{count} {'fault' if count == 1 else 'faults'} found.", err=True)
    else:
        click.echo(hanging(f"windwatch: {error}"), err=True)
        if isinstance(error, UsageError) and context is not None:
            click.echo(f"Help: {context.command_path} --help", err=True)
    sys.exit(exit_status(error))


def with_exit_status(command: Callable[Parameters, Result]) -> Callable[Parameters, Result]:
    """Make a command end with the exit statuses of the contract instead of a traceback.

    It stands directly over the function, under click's own decorators.
    """

    @functools.wraps(command)
    def guarded(*args: Parameters.args, **kwargs: Parameters.kwargs) -> Result:
        try:
            return command(*args, **kwargs)
        except WindwatchError as error:
            fail(error)
        except BrokenPipeError:
            # Whoever reads us has had enough (``| head``): that is no error, and what is still
            # buffered must not raise once more while Python ends.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            sys.exit(DONE)
        except KeyboardInterrupt:
            sys.exit(INTERRUPTED)

    return guarded


# --- text ----------------------------------------------------------------------


def paragraph(text: str, indent: str = "", hang: str | None = None) -> str:
    """Text broken into lines of at most 80 columns.

    Parameters
    ----------
    indent : str
        Before the first line, and before the others where `hang` is not given.
    hang : str or None
        Before all lines but the first.
    """
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent if hang is None else hang,
        break_on_hyphens=False,
    )


def hanging(text: str) -> str:
    """Each line of a message broken for 80 columns; a path or address is never cut in two."""
    return "\n".join(
        textwrap.fill(
            line, WIDTH, subsequent_indent="  ", break_on_hyphens=False, break_long_words=False
        )
        for line in text.splitlines()
    )


def caution_line() -> str:
    """The caution that stands under all advice, broken for 80 columns."""
    from windwatch.airmanship.cautions import CAUTION  # noqa: PLC0415 # only advice needs it

    return paragraph(CAUTION)


def table(
    rows: Sequence[Sequence[str]],
    headers: Sequence[str],
    widths: Sequence[int] | None = None,
) -> str:
    """Rows under headers, in at most 80 columns; long cells go on in the next line.

    Parameters
    ----------
    rows : sequence of sequences of str
        One cell a header each. A column of nothing but numbers stands to the right.
    headers : sequence of str
    widths : sequence of int or None
        Width of each column; None: as wide as needed, the widest giving way first.
    """
    columns = list(zip(headers, *rows, strict=True))
    fitted = list(widths) if widths else _fit([max(map(len, column)) for column in columns])
    numeric = [bool(rows) and all(map(_NUMBER.fullmatch, column[1:])) for column in columns]
    lines = [
        *_lines(headers, fitted, numeric),
        _GAP.join("-" * width for width in fitted),
        *(line for row in rows for line in _lines(row, fitted, numeric)),
    ]
    return "\n".join(line.rstrip() for line in lines)


def _fit(widths: list[int]) -> list[int]:
    """Take from the widest column until all fit."""
    fitted = list(widths)
    room = WIDTH - len(_GAP) * (len(fitted) - 1)
    while sum(fitted) > room and max(fitted) > _LEAST_COLUMN:
        fitted[fitted.index(max(fitted))] -= 1
    return fitted


def _lines(cells: Sequence[str], widths: Sequence[int], numeric: Sequence[bool]) -> list[str]:
    """One row, as many lines as its longest cell needs."""
    wrapped = [
        textwrap.wrap(cell, width, break_on_hyphens=False) or [""]
        for cell, width in zip(cells, widths, strict=True)
    ]
    height = max(map(len, wrapped))
    return [
        _GAP.join(
            (f"{part:>{width}}" if right else f"{part:<{width}}")
            for part, width, right in zip(
                (cell[line] if line < len(cell) else "" for cell in wrapped),
                widths,
                numeric,
                strict=True,
            )
        )
        for line in range(height)
    ]


def examples(*lines: str) -> str:
    """Lines for the end of a help text (``epilog``), kept as they are."""
    # The backspace tells click not to fill the lines.
    return "\b\n" + "\n".join(
        ("Examples:" if len(lines) > 1 else "Example:", *map("  ".__add__, lines))
    )


def print_json(value: Any, *, one_line: bool = False) -> None:
    """Print one JSON document; ASCII, so that every pipe and terminal takes it."""
    click.echo(json.dumps(value, indent=None if one_line else 2, allow_nan=False))


# --- times ---------------------------------------------------------------------


def iso(moment: datetime | None) -> str | None:
    """``2026-09-22T19:07:00Z``, as JSON has it."""
    return None if moment is None else f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def time_words(moment: datetime, time_zone: str | None, now: datetime) -> str:
    """``15:07 local (19:07Z)``, the date before it where it is not today; UTC without a zone."""
    from zoneinfo import ZoneInfo  # noqa: PLC0415 # most commands show no local time

    from windwatch.notices.words import Times  # noqa: PLC0415

    return Times(None if time_zone is None else ZoneInfo(time_zone), now).at(moment)


def moment_of(text: str) -> datetime:
    """A moment typed by a person: ISO 8601, UTC where no offset is given.

    Raises
    ------
    UsageError
        If it is none.
    """
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise UsageError(
            f"{text!r} is no time; write it in ISO form and UTC, for example 2026-09-22T19:07Z"
        ) from None
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)


# --- configuration -------------------------------------------------------------


def load_settings(paths: Sequence[Path], *, require_secrets: bool = True) -> Settings:
    """Read a configuration with this process's environment.

    Raises
    ------
    SettingsError
        With every fault found.
    """
    from windwatch.settings.read import read_settings  # noqa: PLC0415 # pydantic takes its time

    return read_settings(paths, os.environ, require_secrets=require_secrets)
