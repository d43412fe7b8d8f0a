"""One table, two readings: what a value is in JSON, and the schema that says so."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from operator import attrgetter
from typing import Any, Final, NamedTuple


class Kind(NamedTuple):
    """One kind of value.

    Attributes
    ----------
    schema : dict
        JSON Schema, as OpenAPI 3.1 takes it.
    of : callable
        From a value to JSON.
    shapes : tuple of Shape
        Objects that the schema refers to.
    """

    schema: dict[str, Any]
    of: Callable[[Any], Any]
    shapes: tuple[Shape, ...] = ()


class Key(NamedTuple):
    """One key of an object.

    Attributes
    ----------
    about : str
        What it is, with its unit.
    value : str or callable
        Where it comes from: a dotted path of attributes (its own name where it is empty), or a
        function of the value.
    """

    name: str
    kind: Kind
    about: str
    value: str | Callable[[Any], Any] = ""


class Shape(NamedTuple):
    """An object: its name among the schemas, what it is, and its keys; all are always there."""

    name: str
    about: str
    keys: tuple[Key, ...]

    def of(self, value: Any) -> dict[str, Any]:
        """The object of a value."""
        return {key.name: key.kind.of(_get(key, value)) for key in self.keys}

    @property
    def schema(self) -> dict[str, Any]:
        """Its JSON Schema."""
        return {
            "type": "object",
            "description": self.about,
            "properties": {
                key.name: {**key.kind.schema, "description": key.about} for key in self.keys
            },
            "required": [key.name for key in self.keys],
            "additionalProperties": False,
        }


def _get(key: Key, value: Any) -> Any:
    if callable(key.value):
        return key.value(value)
    return attrgetter(key.value or key.name)(value)


# --- kinds -------------------------------------------------------------------------


def iso(moment: datetime) -> str:
    """``2026-09-22T19:07:00Z``."""
    return f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def _same(value: Any) -> Any:
    return value


TEXT: Final = Kind({"type": "string"}, str)
FLAG: Final = Kind({"type": "boolean"}, bool)
WHOLE: Final = Kind({"type": "integer"}, int)
NUMBER: Final = Kind({"type": "number"}, _same)
# From a moment, or from one that is shown with its words.
TIME: Final = Kind(
    {"type": "string", "format": "date-time"},
    lambda value: iso(value if isinstance(value, datetime) else value.at),
)


def one_of(*texts: str) -> Kind:
    """One of these words."""
    return Kind({"type": "string", "enum": list(texts)}, str)


def optional(kind: Kind) -> Kind:
    """That, or null."""
    schema: dict[str, Any] = {"anyOf": [kind.schema, {"type": "null"}]}
    return Kind(schema, lambda value: None if value is None else kind.of(value), kind.shapes)


def many(kind: Kind) -> Kind:
    """A list of them."""
    return Kind(
        {"type": "array", "items": kind.schema},
        lambda values: [kind.of(value) for value in values],
        kind.shapes,
    )


def shaped(shape: Shape) -> Kind:
    """An object of that shape."""
    return Kind({"$ref": f"#/components/schemas/{shape.name}"}, shape.of, (shape,))


def ready(schema: dict[str, Any], of: Callable[[Any], Any]) -> Kind:
    """What another room turns into JSON, with the schema that it keeps to."""
    return Kind(schema, of)


def shapes_in(shapes: Iterable[Shape]) -> Iterator[Shape]:
    """These and all that they refer to, each once."""
    known: set[str] = set()
    waiting = list(shapes)
    while waiting:
        shape = waiting.pop(0)
        if shape.name in known:
            continue
        known.add(shape.name)
        yield shape
        for key in shape.keys:
            waiting += key.kind.shapes
