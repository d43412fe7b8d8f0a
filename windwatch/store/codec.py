"""Frozen values to JSON text and back, by their types.

A value is written by the field names of its class, so that a stored text can be read by a
person, and by a later version that has more fields: what is missing takes its default, what
is no longer known is ignored.
"""

from __future__ import annotations

import json
import types
from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields, is_dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import Enum
from functools import cache
from typing import (
    Any,
    Final,
    NamedTuple,
    TypeVar,
    Union,
    cast,
    get_args,
    get_origin,
    get_type_hints,
)

from windwatch.errors import StoreError

T = TypeVar("T")

# Which class of a union a value has: written beside its fields.
IS: Final = "is"
# Made once: `json.dumps` with settings of its own makes an encoder at every call.
_COMPACT: Final = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"))


class Coder(NamedTuple):
    """Both directions for one type."""

    write: Callable[[Any], Any]
    read: Callable[[Any], Any]


def to_json(value: T, kind: type[T]) -> str:
    """Write a value of type `kind` as JSON text.

    Raises
    ------
    TypeError
        If the type holds something that has no written form; seen by the first test.
    """
    return _COMPACT.encode(_coder(kind).write(value))


def from_json(text: str, kind: type[T]) -> T:
    """Read a value of type `kind` from JSON text.

    Raises
    ------
    StoreError
        If the text does not hold such a value.
    """
    try:
        return cast("T", _coder(kind).read(json.loads(text)))
    except (ValueError, KeyError, TypeError, IndexError, AttributeError) as error:
        raise StoreError(
            f"the store holds a text that is no {getattr(kind, '__name__', kind)}"
            f" ({type(error).__name__}: {error}): {text[:120]!r}"
        ) from error


def _coder(kind: Any) -> Coder:
    return coder(kind)


@cache
def coder(kind: Any) -> Coder:
    """Choose how a type is written and read."""
    while hasattr(kind, "__supertype__"):
        kind = kind.__supertype__
    origin = get_origin(kind)
    if kind is Any:
        return _AS_IT_IS
    if origin in (Union, types.UnionType):
        return _union(get_args(kind))
    if origin is not None:
        return _container(origin, get_args(kind))
    if kind in _PLAIN:
        return _PLAIN[kind]
    if isinstance(kind, type) and issubclass(kind, Enum):
        return Coder(lambda value: value.value, kind)
    if is_dataclass(kind) or hasattr(kind, "_fields"):
        return _record(cast("type[Any]", kind))
    raise TypeError(f"{kind!r} has no written form in the store")


def _datetime(text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"{text} has no time zone")
    return moment.astimezone(UTC)


def _number(value: Any) -> float:
    # JSON keeps 15 and 15.0 apart only sometimes; a knot is a float either way.
    return float(value)


_AS_IT_IS: Final = Coder(lambda value: value, lambda value: value)
_PLAIN: Final[dict[Any, Coder]] = {
    str: _AS_IT_IS,
    bool: _AS_IT_IS,
    int: _AS_IT_IS,
    float: Coder(_number, _number),
    type(None): _AS_IT_IS,
    datetime: Coder(lambda value: value.isoformat(), _datetime),
    date: Coder(lambda value: value.isoformat(), date.fromisoformat),
    time: Coder(lambda value: value.isoformat(), time.fromisoformat),
    timedelta: Coder(
        lambda value: value / timedelta(microseconds=1),
        lambda value: timedelta(microseconds=value),
    ),
    dict: _AS_IT_IS,
    list: _AS_IT_IS,
}


def _union(kinds: tuple[Any, ...]) -> Coder:
    some = [kind for kind in kinds if kind is not type(None)]
    if len(some) == 1:
        inner = coder(some[0])
        return Coder(
            lambda value: None if value is None else inner.write(value),
            lambda value: None if value is None else inner.read(value),
        )
    if not all(is_dataclass(kind) or hasattr(kind, "_fields") for kind in some):
        raise TypeError(f"a union of {some} has no written form in the store")
    by_name = {kind.__name__: coder(kind) for kind in some}

    def write(value: Any) -> Any:
        if value is None:
            return None
        name = type(value).__name__
        return {IS: name, **by_name[name].write(value)}

    def read(value: Any) -> Any:
        return None if value is None else by_name[value[IS]].read(value)

    return Coder(write, read)


def _container(origin: Any, inside: tuple[Any, ...]) -> Coder:
    if origin is tuple and (len(inside) != 2 or inside[1] is not Ellipsis):
        each = [coder(kind) for kind in inside]
        return Coder(
            lambda value: [part.write(item) for part, item in zip(each, value, strict=True)],
            lambda value: tuple(part.read(item) for part, item in zip(each, value, strict=True)),
        )
    if origin in (tuple, list, frozenset, set):
        item = coder(inside[0])
        # Sets are sorted by what is written, so that the same state gives the same text.
        order: Callable[[Any], Any] = (
            (lambda items: sorted(items, key=json.dumps)) if origin in (frozenset, set) else list
        )
        return Coder(
            lambda value: order([item.write(x) for x in value]),
            lambda value: origin(item.read(x) for x in value),
        )
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return _mapping(inside)
    raise TypeError(f"{origin!r} has no written form in the store")


def _mapping(inside: tuple[Any, ...]) -> Coder:
    if inside[0] is str:
        of = coder(inside[1])
        return Coder(
            lambda value: {key: of.write(x) for key, x in value.items()},
            lambda value: {key: of.read(x) for key, x in value.items()},
        )
    key_of, of = coder(inside[0]), coder(inside[1])
    return Coder(
        lambda value: [[key_of.write(key), of.write(x)] for key, x in value.items()],
        lambda value: {key_of.read(key): of.read(x) for key, x in value},
    )


def _record(kind: type[Any]) -> Coder:
    """Write a dataclass or named tuple as an object with its field names."""
    hints = get_type_hints(kind)
    if is_dataclass(kind):
        names = [field.name for field in fields(kind) if field.init]
        needed = [
            field.name
            for field in fields(kind)
            if field.init and field.default is MISSING and field.default_factory is MISSING
        ]
    else:
        names = list(kind._fields)
        needed = [name for name in names if name not in kind._field_defaults]
    # Looked up on first use: a class may hold itself.
    parts: dict[str, Coder] = {}

    def parts_of() -> dict[str, Coder]:
        if not parts:
            parts.update({name: coder(hints[name]) for name in names})
        return parts

    def write(value: Any) -> dict[str, Any]:
        return {name: part.write(getattr(value, name)) for name, part in parts_of().items()}

    def read(value: dict[str, Any]) -> Any:
        missing = [name for name in needed if name not in value]
        if missing:
            raise KeyError(", ".join(missing))
        return kind(**{n: part.read(value[n]) for n, part in parts_of().items() if n in value})

    return Coder(write, read)
