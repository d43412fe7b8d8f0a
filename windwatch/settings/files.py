"""The files of a configuration: found, read, put together, and every key's place remembered."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

from windwatch.errors import Fault
from windwatch.settings.lines import Loc, line_of, lines_of
from windwatch.settings.syntax import syntax_fault

MOST_BYTES: Final = 1 << 20  # a thousand airfields fit; a log named by mistake does not
NO_FILE: Final = "no file"
LISTS: Final = ("airfield", "aircraft", "pilot_limits", "contact")


@dataclass(frozen=True, slots=True)
class Source:
    """One file that could be read; `fingerprint` is of the very text that was."""

    path: Path
    raw: dict[str, Any]
    lines: dict[Loc, int]
    fingerprint: str


@dataclass(frozen=True, slots=True)
class Merged:
    """All files as one, and where each part came from.

    Attributes
    ----------
    raw : dict
        What the files say together.
    origin : dict
        For a place in `raw`: the file, and the place in it.
    """

    sources: tuple[Source, ...]
    raw: dict[str, Any] = field(default_factory=dict)
    origin: dict[Loc, tuple[Source, Loc]] = field(default_factory=dict)

    def locate(self, loc: Loc) -> tuple[Path, int | None]:
        """Return the file and line of a place, or of its nearest parent that was written."""
        for length in range(len(loc), 0, -1):
            if loc[:length] in self.origin:
                source, inside = self.origin[loc[:length]]
                return source.path, line_of(source.lines, (*inside, *loc[length:]))
        return self.sources[0].path, None

    def folder(self, loc: Loc) -> Path:
        """Return the folder from which the paths in the file of `loc` count."""
        return self.locate(loc)[0].parent


def toml_files(paths: Sequence[Path]) -> tuple[tuple[Path, ...], list[Fault]]:
    """Return the files meant by `paths`, each once; a folder means every .toml in it, sorted."""
    found: dict[Path, Path] = {}
    faults: list[Fault] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(p for p in path.glob("*.toml") if p.is_file())
            if not inside:
                faults.append(
                    Fault(
                        str(path),
                        None,
                        "this folder",
                        "no .toml file is in it",
                        "name a file, or a folder with one",
                    )
                )
        else:
            inside = [path]
        for file in inside:
            found.setdefault(file.resolve(), file)
    return tuple(found.values()), faults


def read_source(path: Path) -> Source | Fault:
    """Read one file, or say why it cannot be read."""
    whole = "the file"
    try:
        with path.open("rb") as stream:
            content = stream.read(MOST_BYTES + 1)
    except FileNotFoundError:
        return Fault(str(path), None, whole, "there is none of that name", "check the name")
    except OSError as error:
        reason = error.strerror or "it cannot be read"
        return Fault(str(path), None, whole, reason.lower(), "let the user of windwatch read it")
    if len(content) > MOST_BYTES:
        return Fault(str(path), None, whole, "it is over 1 MiB", "name a configuration in TOML")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        return Fault(str(path), line, whole, "it is not in UTF-8", "save it again as UTF-8")
    text = text.replace("\r\n", "\n")
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return syntax_fault(path, str(error), text)
    except (ValueError, RecursionError):
        return Fault(
            str(path),
            None,
            "the file",
            "a number in it is too long or its lists too deep",
            "take that out",
        )
    return Source(path, raw, lines_of(text), fingerprint(content))


def fingerprint(content: bytes) -> str:
    """Tell one content of a file from another."""
    return sha256(content).hexdigest()


def no_fingerprint(error: OSError) -> str:
    """What stands for the content of a file that cannot be read."""
    return NO_FILE if isinstance(error, IsADirectoryError) else f"{error.errno}"


def merge(sources: Sequence[Source]) -> tuple[Merged, list[Fault]]:
    """Put files together: lists one behind the other, tables key by key without contradiction."""
    merged = Merged(tuple(sources))
    faults: list[Fault] = []
    for source in sources:
        for key, value in source.raw.items():
            known = merged.raw.get(key)
            if key in LISTS and isinstance(value, list) and isinstance(known, list | None):
                _append(merged, source, key, value)
            elif isinstance(value, dict) and isinstance(known, dict | None):
                faults += _join(merged, source, key, value)
            elif key not in merged.raw:
                merged.raw[key] = value
                merged.origin[(key,)] = (source, (key,))
            elif known != value:
                faults.append(_contradiction(merged, source, (key,)))
    return merged, faults


def _append(merged: Merged, source: Source, key: str, items: list[Any]) -> None:
    together = merged.raw.setdefault(key, [])
    merged.origin.setdefault((key,), (source, (key,)))
    for number, item in enumerate(items):
        merged.origin[(key, len(together))] = (source, (key, number))
        together.append(item)


def _join(merged: Merged, source: Source, key: str, table: dict[str, Any]) -> list[Fault]:
    together = merged.raw.setdefault(key, {})
    merged.origin.setdefault((key,), (source, (key,)))
    faults = []
    for name, value in table.items():
        if name not in together:
            together[name] = value
            merged.origin[(key, name)] = (source, (key, name))
        elif together[name] != value:
            faults.append(_contradiction(merged, source, (key, name)))
    return faults


def _contradiction(merged: Merged, source: Source, loc: Loc) -> Fault:
    """Two files say different things in one place."""
    first, line = merged.locate(loc)
    return Fault(
        str(source.path),
        line_of(source.lines, loc),
        ".".join(str(part) for part in loc),
        f"it is set otherwise in {first}{f':{line}' if line else ''}",
        "keep one of the two",
    )


def relative(folder: Path, text: str) -> Path:
    """Return a path as counted from a folder, in its shortest spelling that means the same."""
    path = folder / text
    parts: list[str] = []
    for part in path.parts:
        if part == ".." and parts and parts[-1] not in {"..", path.anchor}:
            parts.pop()
        else:
            parts.append(part)
    short = Path(*parts) if parts else Path()
    # Through a symbolic link, `..` leads elsewhere than the spelling says.
    return short if short.resolve() == path.resolve() else path
