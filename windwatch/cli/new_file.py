"""A new configuration into its file: checked first, written whole or not at all."""

from __future__ import annotations

import json
import os
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Final

from windwatch.errors import SettingsError, UsageError
from windwatch.settings.read import read_settings
from windwatch.settings.running import Settings
from windwatch.settings.schema import schema

SCHEMA_NAME: Final = "windwatch.schema.json"


def refuse_existing(path: Path, *, replacing: bool) -> None:
    """Refuse early what could not be written in the end.

    Raises
    ------
    UsageError
        If the file is there and may not be replaced, or its folder is not there or not to be
        written into.
    """
    if path.is_dir():
        raise UsageError(f"{path} is a folder; name a file, as {path / 'field.toml'}")
    if path.exists() and not replacing:
        raise UsageError(f"{path} is there already; name another file, or add --replace")
    if not path.parent.is_dir():
        raise UsageError(f"there is no folder {path.parent}; make it, or name another")
    # Rights do not tell all (a disk may be read-only): it is tried.
    draft = _draft(path)
    try:
        _write(draft, b"")
    except OSError as error:
        raise _unwritable(path, error) from None
    finally:
        with suppress(OSError):
            draft.unlink()


def checked(path: Path, text: str) -> Settings:
    """What a text comes to, read as ``config check`` would read it at its place.

    Raises
    ------
    SettingsError
        If it cannot be used.
    UsageError
        If nothing can be written beside its place.
    """
    draft = _draft(path)
    try:
        _write(draft, text.encode())
        return _read(draft, path)
    except OSError as error:
        raise _unwritable(path, error) from None
    finally:
        with suppress(OSError):
            draft.unlink()


def write_checked(path: Path, text: str, *, replacing: bool) -> Settings:
    """Write a configuration, if it can be used.

    It is written beside its place, read as ``config check`` reads it, and moved there whole.

    Returns
    -------
    Settings
        What it says; secrets need not be there yet.

    Raises
    ------
    SettingsError
        If it cannot be used; then nothing is left behind.
    UsageError
        If the file cannot be written, or came to be there meanwhile.
    """
    draft = _draft(path)
    try:
        _write(draft, text.encode())
        settings = _read(draft, path)
        if replacing:
            draft.replace(path)
        else:
            _put_where_nothing_is(draft, path)
    except FileExistsError:
        raise UsageError(
            f"{path} came to be there meanwhile; name another file, or add --replace"
        ) from None
    except OSError as error:
        raise _unwritable(path, error) from None
    finally:
        with suppress(OSError):
            draft.unlink()
    return replace(settings, files=(path,))


def _draft(path: Path) -> Path:
    # Not .toml: a watch that reads the whole folder shall not take it in.
    return path.with_name(f".{path.name}.{os.getpid()}.draft")


def _unwritable(path: Path, error: OSError) -> UsageError:
    return UsageError(f"{path} cannot be written: {error.strerror or error}; name a file elsewhere")


def _put_where_nothing_is(draft: Path, path: Path) -> None:
    """Unlike a rename this fails where somebody else was faster."""
    try:
        os.link(draft, path)
    except FileExistsError:
        raise
    except (OSError, AttributeError):
        # A file system without links: written where nothing may be, though not at one stroke.
        _write(path, draft.read_bytes())


def _write(path: Path, content: bytes) -> None:
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _read(draft: Path, path: Path) -> Settings:
    try:
        settings = read_settings([draft], os.environ, require_secrets=False)
    except SettingsError as error:
        faults = tuple(replace(fault, file=str(path)) for fault in error.faults)
        raise SettingsError(faults) from None
    warnings = tuple(each.replace(str(draft), str(path)) for each in settings.warnings)
    return replace(settings, warnings=warnings)


def write_schema(folder: Path) -> bool:
    """Write the rules for editors beside the configuration, unless a foreign file is there.

    Returns
    -------
    bool
        Whether they are there now.
    """
    path = folder / SCHEMA_NAME
    rules = schema()
    try:
        if path.exists() and json.loads(path.read_bytes()).get("title") != rules["title"]:
            return False
        draft = path.with_name(f".{path.name}.{os.getpid()}")
        draft.write_text(json.dumps(rules, indent=2) + "\n", encoding="utf-8")
        draft.replace(path)
    except (OSError, ValueError, AttributeError):
        return False
    return True
