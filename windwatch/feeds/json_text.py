"""Reading JSON from outside: bounded depth, no key twice, and words for what is wrong."""

from __future__ import annotations

import json
from typing import Any, Final

MAX_DEPTH: Final = 64  # reliability.md section 5


class NotTheFormat(ValueError):
    """What came is not what this feed speaks."""


class Ambiguous(dict[str, Any]):
    """An object that has a key twice: nobody can know which of the two was meant.

    It is marked, not raised, so that one such record does not lose the others.
    """

    twice: str = ""


def _members_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Build an object, and mark it if a key comes twice."""
    found = dict(pairs)
    if len(found) == len(pairs):
        return found
    seen: set[str] = set()
    marked = Ambiguous(found)
    marked.twice = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
    return marked


def _no_constant(name: str) -> float:
    """Refuse NaN and Infinity, which JSON does not know."""
    raise NotTheFormat(f"{name} is no JSON number")


def read_json(body: bytes) -> Any:
    """Read a JSON document.

    Bytes that are not UTF-8 become replacement characters, so that one bad report among
    thousands does not lose the others.

    Raises
    ------
    NotTheFormat
        If it is no JSON, or nested deeper than 64 levels.
    """
    try:
        value = json.loads(
            body.decode("utf-8-sig", errors="replace"),
            object_pairs_hook=_members_once,
            parse_constant=_no_constant,
            strict=False,
        )
    except RecursionError as error:
        raise NotTheFormat(f"JSON nested deeper than {MAX_DEPTH} levels") from error
    except json.JSONDecodeError as error:
        raise NotTheFormat(
            f"no JSON: {error.msg} at line {error.lineno}, column {error.colno}"
        ) from error
    except NotTheFormat:
        raise
    except ValueError as error:  # a number of thousands of digits
        raise NotTheFormat("no JSON: a number that is too long") from error
    level: list[Any] = [value]
    for _ in range(MAX_DEPTH):
        level = [
            item
            for part in level
            for item in (
                part.values() if isinstance(part, dict) else part if isinstance(part, list) else ()
            )
            if isinstance(item, dict | list)
        ]
        if not level:
            return value
    raise NotTheFormat(f"JSON nested deeper than {MAX_DEPTH} levels")


def members(value: Any, what: str) -> dict[str, Any]:
    """Take a value as an object.

    Raises
    ------
    NotTheFormat
        If it is none, or has a key twice.
    """
    if isinstance(value, Ambiguous):
        raise NotTheFormat(f"{what} has the key {value.twice[:40]!r} twice")
    if not isinstance(value, dict):
        raise NotTheFormat(f"{what} is no JSON object but {json.dumps(value)[:40]}")
    return value
