"""The rules of the file, looked up by place: field, known keys, example, range."""

from __future__ import annotations

import types
from collections.abc import Iterator
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from windwatch.settings.lines import Loc
from windwatch.settings.schema import WholeFile


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    elif get_origin(annotation) in {Union, types.UnionType, list, dict} or hasattr(
        annotation, "__metadata__"
    ):
        for part in get_args(annotation):
            yield from _models_in(part)


def field_at(loc: Loc) -> FieldInfo | None:
    """Return the field that rules a place, or None for an unknown one."""
    model: type[BaseModel] | None = WholeFile
    found: FieldInfo | None = None
    own_names = False
    for part in loc:
        if isinstance(part, int):
            continue
        if own_names:
            own_names = False  # any name is right here, and what follows is ruled by the table
            continue
        fields = _fields(model)
        if part not in fields:
            return None
        found = fields[part]
        own_names = get_origin(found.annotation) is dict
        model = next(_models_in(found.annotation), None)
    return found


def _fields(model: type[BaseModel] | None) -> dict[str, FieldInfo]:
    if model is None:
        return {}
    return {info.alias or name: info for name, info in model.model_fields.items()}


def known_keys(loc: Loc) -> tuple[str, ...]:
    """Return the keys that may stand beside the last of `loc`."""
    parent = tuple(part for part in loc[:-1] if isinstance(part, str))
    if not parent:
        return tuple(_fields(WholeFile))
    info = field_at(parent)
    return tuple(_fields(next(_models_in(info.annotation), None))) if info else ()


def example_at(loc: Loc) -> Any:
    """Return a value that is right at a place: the field's example, or an item of it."""
    info = field_at(loc)
    if info is None or not info.examples:
        return None
    example = info.examples[0]
    for part in _tail(loc):
        if isinstance(example, list):
            example = example[min(int(part), len(example) - 1)]
        elif isinstance(example, dict) and isinstance(part, str):
            example = next(iter(example.values()))
    return example


def _tail(loc: Loc) -> Loc:
    """Return what follows the last part of `loc` that names a field of a table."""
    for length in range(len(loc), 0, -1):
        if isinstance(loc[length - 1], str) and loc[length - 1] in known_keys(loc[:length]):
            return loc[length:]
    return ()


def tables_with(key: str, parent: Loc) -> list[str]:
    """Return the single tables inside a place that have a key of that name."""
    return [
        table
        for table in known_keys((*parent, ""))
        if (info := field_at((*parent, table))) is not None
        and get_origin(info.annotation) not in {list, dict}
        and key in _fields(next(_models_in(info.annotation), None))
    ]


def out_of_range(loc: Loc) -> str:
    """Return in words how a number misses its range, from the field's own bounds."""
    info = field_at(loc)
    low = high = ""
    above = False
    for bound in _bounds(info.annotation, info.metadata) if info else ():
        for name in ("ge", "gt"):
            if getattr(bound, name, None) is not None:
                low = f"{getattr(bound, name):g}"
                above = name == "gt"
        for name in ("le", "lt"):
            if getattr(bound, name, None) is not None:
                high = f"{getattr(bound, name):g}"
    return f"not above {low} and up to {high}" if above else f"outside {low} to {high}"


def _bounds(annotation: Any, metadata: list[Any]) -> Iterator[Any]:
    """Every bound that a field or the type inside it carries."""
    for item in metadata:
        if isinstance(item, FieldInfo):
            yield from item.metadata
        else:
            yield item
    inner = list(getattr(annotation, "__metadata__", ()))
    for part in get_args(annotation):
        yield from _bounds(part, inner)
        inner = []
