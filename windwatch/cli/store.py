"""`windwatch store`: a backup, a look through the whole store, forgetting a person."""

from __future__ import annotations

import os
import socket
from dataclasses import asdict
from pathlib import Path

import click

from windwatch.cli.show import (
    examples,
    hanging,
    iso,
    load_settings,
    paragraph,
    print_json,
    table,
    with_exit_status,
)
from windwatch.clock import SystemClock
from windwatch.errors import StoreError, UsageError
from windwatch.settings.running import Settings
from windwatch.store.store import Store
from windwatch.store.values import StoreCheck
from windwatch.wiring import open_store_of

_MEGABYTE = 1_000_000


@click.group
@click.argument("config", type=click.Path(path_type=Path))
@click.pass_context
def store(context: click.Context, config: Path) -> None:
    """Back up the store, look through it, or take a person out of it.

    CONFIG is the configuration of the watch, which may go on meanwhile.
    """
    context.obj = config


def _open(context: click.Context, *, check: bool = True) -> tuple[Settings, Store]:
    settings = load_settings([context.obj], require_secrets=False)
    path = settings.store.path
    if path is not None and not path.exists():
        raise UsageError(f"{path}: there is no store yet; the first `windwatch watch` makes it")
    return settings, open_store_of(settings, SystemClock(), check=check)


@store.command(
    short_help="Copy the store while the watch goes on.",
    epilog=examples("windwatch store field.toml backup saved/windwatch.db"),
)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--force", is_flag=True, help="Replace a file of that name.")
@click.pass_context
@with_exit_status
def backup(context: click.Context, file: Path, force: bool) -> None:
    """Make a consistent copy of the store in FILE, while the watch goes on.

    The copy holds what people were told: keep it where only you can read it. To go back to it,
    stop the watch, set the store aside, and put the copy in its place.
    """
    _, opened = _open(context)
    with opened:
        size = opened.backup(file, force=force)
    click.echo(hanging(f"{file} is a whole copy of the store, {_megabytes(size)}."))


@store.command(
    short_help="Look through the whole store for damage.",
    epilog=examples("windwatch store field.toml check"),
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of words.")
@click.pass_context
@with_exit_status
def check(context: click.Context, as_json: bool) -> None:
    """Look through the whole store for damage, and say how it is kept.

    Exit status 0: it is sound; 2: it is damaged, or cannot be read.
    """
    _, opened = _open(context, check=False)
    with opened:
        found = opened.check()
    if as_json:
        print_json(_as_json(found))
    else:
        _show(found)
    if found.problems:
        raise StoreError(
            f"{found.place} is damaged; start the watch anew, and it keeps the damaged store and"
            " begins a new one, or put a backup in its place",
            "damaged",
        )


def _as_json(found: StoreCheck) -> dict[str, object]:
    leader = found.leader
    return asdict(found) | {
        "counts": dict(found.counts),
        "problems": list(found.problems),
        "leader": None
        if leader is None
        else {
            "owner": leader.owner,
            "number": leader.number,
            "since": iso(leader.since),
            "until": None if leader.until is None else iso(leader.until),
        },
    }


def _show(found: StoreCheck) -> None:
    click.echo(hanging(f"{found.place}: {_megabytes(found.size_bytes)}"))
    for problem in found.problems:
        click.echo(hanging(f"damaged: {problem}"))
    if found.problems:
        return
    click.echo("Nothing is damaged.\n")
    click.echo(table([(name, str(count)) for name, count in found.counts.items()], ("", "rows")))
    click.echo()
    click.echo(paragraph(f"Version {found.version} of the tables, the newest is {found.newest}."))
    click.echo(paragraph(f"Kept by {found.journal}: {found.why}."))
    if found.leader is not None:
        last = found.leader
        click.echo(
            paragraph(f"Watched last by {last.owner}, from {last.since:%Y-%m-%d %H:%MZ} on.")
        )


def _megabytes(size: int) -> str:
    return f"{size / _MEGABYTE:.1f} MB"


@store.command(
    short_help="Take a person out of the store.",
    epilog=examples('windwatch store field.toml forget "owner of X-WREN"'),
)
@click.argument("contact")
@click.pass_context
@with_exit_status
def forget(context: click.Context, contact: str) -> None:
    """Take out everything that was sent to CONTACT, and their name.

    What the wind did, and what was found about aircraft and runways, stays. Take the contact out
    of the configuration first, and stop the watch while this runs: it would write from memory
    what is taken out. Older backups are not touched.
    """
    settings, opened = _open(context)
    with opened:
        if any(known.name == contact for known in settings.fleet.contacts):
            raise UsageError(
                f"{contact} is still in {context.obj} and would be told again; take the contact"
                " out of the configuration first"
            )
        owner = f"windwatch store forget, process {os.getpid()} on {socket.gethostname()}"
        with opened.hold(owner):
            gone = opened.forget(contact)
    words = "one notice is" if gone == 1 else f"{gone} notices are"
    click.echo(paragraph(f"{contact} is forgotten: {words} gone from the store."))
    click.echo(paragraph("Backups made before still hold them; so do logs of mail servers."))
