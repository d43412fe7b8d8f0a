"""Names: each given once, and each that is referred to given somewhere."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from windwatch.settings import words
from windwatch.settings.findings import Findings
from windwatch.settings.lines import Loc


def twice(
    found: Findings,
    named: Sequence[tuple[Loc, str]],
    what: str = "the name of another",
    mend: str = "give each its own name",
) -> None:
    """Refuse the second of two with one name."""
    first: dict[str, Loc] = {}
    for loc, name in named:
        if name not in first:
            first[name] = loc
            continue
        file, line = found.merged.locate(first[name])
        place = f" in {file}" if file != found.merged.locate(loc)[0] else ""
        found.refuse(
            loc,
            f"{words.shown(name)} is already {what}, line {line}{place}",
            mend,
            first[name],
        )


def unknown_names(
    found: Findings, loc: Loc, names: Iterable[str], known: Sequence[str] | None, what: str
) -> None:
    """Refuse names in a list that nothing bears."""
    for number, name in enumerate(names):
        unknown_name(found, (*loc, number), name, known, what)


def unknown_name(
    found: Findings, loc: Loc, name: str, known: Sequence[str] | None, what: str
) -> None:
    """Refuse a name that nothing bears; where one of the names cannot be read, none is refused."""
    if known is not None and name not in known:
        found.refuse(loc, f"no {what} is called {words.shown(name)}", _meant(name, known))


def _meant(name: str, known: Sequence[str]) -> str:
    near = words.nearest(name, known)
    if near is not None:
        return f"did you mean {words.toml(near)}?"
    if not known:
        return "none is configured; add one, or take this out"
    return f"configured are {', '.join(words.toml(each) for each in known)}"


def known_airfields(found: Findings) -> list[str] | None:
    """Return the identifiers in the files, in the form that they must have."""
    names = _names(found, "airfield", "id")
    return None if names is None else [name.upper() for name in names]


def known_aircraft(found: Findings) -> list[str] | None:
    """Return the names of aircraft in the files."""
    return _names(found, "aircraft", "name")


def known_contacts(found: Findings) -> list[str] | None:
    """Return the names of contacts in the files."""
    return _names(found, "contact", "name")


def known_pilots(found: Findings) -> list[str] | None:
    """Return the names of pilot standards in the files."""
    return _names(found, "pilot_limits", "name")


def _names(found: Findings, kind: str, key: str) -> list[str] | None:
    items = found.merged.raw.get(kind, [])
    if not found.stands((kind,)) or not isinstance(items, list):
        return None
    names = [item.get(key) if isinstance(item, dict) else None for item in items]
    readable = [name for name in names if isinstance(name, str)]
    return readable if len(readable) == len(names) else None
