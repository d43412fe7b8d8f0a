"""`windwatch board`: the pages alone, beside a watch that runs elsewhere on the same store."""

from __future__ import annotations

import logging
import sys
import threading
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from windwatch.cli.show import examples, load_settings, paragraph, with_exit_status
from windwatch.cli.stopping import stop_cleanly
from windwatch.clock import SystemClock
from windwatch.errors import SettingsError, StoreError, UsageError
from windwatch.settings.running import BoardValues, Settings
from windwatch.settings.seen import Seen, seen

if TYPE_CHECKING:
    from windwatch.board.beside import Beside
    from windwatch.store.store import Store

LOOK_EVERY_S: Final = 5.0
BELOW: Final = (
    "Write this line below [board] in the configuration; viewer_password_hash takes one for those "
    "who may only look."
)

log = logging.getLogger(__name__)


@click.command(epilog=examples("windwatch board field.toml", "windwatch board --hash-password"))
@click.argument("config", nargs=-1, type=click.Path(path_type=Path))
@click.option("--port", type=click.IntRange(1, 65535), help="Another port than configured.")
@click.option("--hash-password", is_flag=True, help="Ask for a password, and write its hash.")
@click.option("--verbose", is_flag=True, help="Log more than troubles.")
@with_exit_status
def board(config: tuple[Path, ...], port: int | None, hash_password: bool, verbose: bool) -> None:
    """Show pages of every airfield, until stopped (Ctrl-C or SIGTERM).

    It reads what a watch on the same store writes, and changes nothing but to take note of
    episodes. A watch whose configuration has [board] opens it by itself. It listens on this
    machine alone, unless the configuration names another address and a password.
    """
    if hash_password:
        _hash_password()
        return
    if not config:
        raise UsageError("name the configuration, as: windwatch board field.toml")
    from windwatch.logs import log_to  # noqa: PLC0415 - not for a password
    from windwatch.wiring import hidden_texts  # noqa: PLC0415

    # Of all secrets it needs only its own.
    settings = load_settings(config, require_secrets=False)
    values = settings.board or BoardValues()
    settings = replace(settings, board=values if port is None else replace(values, port=port))
    level = logging.INFO if verbose else logging.WARNING
    log_to(sys.stderr, level, hide=hidden_texts(settings))
    _serve(config, settings)


def _serve(config: tuple[Path, ...], settings: Settings) -> None:
    from windwatch.board.opening import open_board  # noqa: PLC0415 - loads the web libraries
    from windwatch.wiring import open_store_of  # noqa: PLC0415

    clock = SystemClock()
    stop = threading.Event()
    stop_cleanly(stop)
    with ExitStack() as opened:
        store = opened.enter_context(open_store_of(settings, clock))
        beside = opened.enter_context(open_board(settings, store, clock))
        click.echo(f"windwatch shows its board on {beside.url}; stop it with Ctrl-C", err=True)
        follow = _Follow(config, settings, beside, opened)
        while not clock.wait(stop, LOOK_EVERY_S):
            follow.look()
            if not beside.runs:
                raise UsageError("the board has ended by itself; the log says why")


class _Follow:
    """Keeps the board at what the files say: the configuration, and a store begun anew."""

    def __init__(
        self, config: tuple[Path, ...], settings: Settings, beside: Beside, opened: ExitStack
    ) -> None:
        self._config = config
        self._settings = settings
        self._beside = beside
        self._opened = opened
        self._files = self._seen()
        self._file = self._store_file()
        beside.follow(lambda: self._settings)

    def look(self) -> None:
        """Look once."""
        files = self._seen()
        if files != self._files:
            self._files = files
            self._read_again()
        file = self._store_file()
        if file not in (None, self._file):
            self._open_again()
            self._file = file

    def _read_again(self) -> None:
        try:
            read = load_settings(self._config, require_secrets=False)
        except (SettingsError, OSError) as error:
            log.error("config_refused", extra={"problem": str(error)})  # noqa: TRY400 - said in words
            return
        # Where it listens, and on which store, counts from the next start on.
        self._settings = replace(read, board=self._settings.board, store=self._settings.store)

    def _open_again(self) -> None:
        from windwatch.wiring import open_store_of  # noqa: PLC0415 - as above

        try:
            store: Store = open_store_of(self._settings, SystemClock(), check=False)
        except StoreError as error:
            log.error("store_not_opened", extra={"problem": str(error)})  # noqa: TRY400 - as above
            return
        # The old one is closed with it: somebody may still be reading there.
        self._beside.use(self._opened.enter_context(store))

    def _seen(self) -> Seen:
        return seen(self._config, self._settings.secret_files)

    def _store_file(self) -> tuple[int, int] | None:
        """Which file it is, whatever its name; None: a database, or gone for now."""
        path = self._settings.store.path
        try:
            found = None if path is None else path.stat()
        except OSError:
            return None
        return None if found is None else (found.st_dev, found.st_ino)


def _hash_password() -> None:
    from windwatch.board.passwords import hash_password  # noqa: PLC0415 - as above

    if sys.stdin.isatty():
        password = click.prompt("Password", hide_input=True, confirmation_prompt=True, err=True)
    else:
        password = sys.stdin.readline().rstrip("\r\n")
    try:
        made = hash_password(password)
    except ValueError as error:
        raise UsageError(str(error)) from None
    click.echo(f'password_hash = "{made}"')
    click.echo(paragraph(BELOW), err=True)
